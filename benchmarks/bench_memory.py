"""Peak memory of a 4096 x 4096 render.

What: peak resident memory of two fresh processes. One traces from Python: a brilliant with a body colour under a head's shadow,
all maps and the summary. The other is the render command on a shipped scene, which also writes maps, TIFF and pictures.
Rays are traced in tiles of fixed size, so the number of samples per pixel costs time, not memory; one by default.
How: `os.wait4` of each process (Linux: kB).

    python benchmarks/bench_memory.py [resolution] [samples]
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

SCENE = Path(__file__).resolve().parents[1] / "scenes" / "well-proportioned.toml"
TRACE = """
import raylab as rl
stone = rl.round_brilliant(table_pct=57, crown_angle_deg=34.5, pavilion_angle_deg=40.75,
                           material=rl.get_material("diamond").tinted(0.02))
rl.trace(stone, rl.Dome(head_half_angle_deg=15), resolution={0}, samples={1}, engine="rays")
"""


def report(what: str, command: list[str]) -> None:
    """Run a command and print its peak memory and wall time."""
    start = time.perf_counter()
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL)
    _, status, usage = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode != 0:
        raise SystemExit(f"{what} failed with exit code {process.returncode}")
    print(f"{what:15s} peak {usage.ru_maxrss / 2**20:.2f} GiB (target 4) in {time.perf_counter() - start:.0f} s")


def main() -> None:
    resolution, samples = [*sys.argv[1:], *("4096", "1")[len(sys.argv) - 1 :]]
    print(f"{resolution} x {resolution} pixels, {samples} samples per pixel")
    report("rl.trace", [sys.executable, "-c", TRACE.format(resolution, samples)])
    with tempfile.TemporaryDirectory() as folder:
        size = ["--resolution", resolution, "--samples", samples, "--engine", "rays"]
        report("raylab render", [sys.executable, "-m", "raylab", "render", str(SCENE), "--out", folder, *size])


if __name__ == "__main__":
    main()
