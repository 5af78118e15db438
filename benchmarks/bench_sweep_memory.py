"""Memory of a sweep of millions of designs whose result is written in pieces. Tracing is stubbed.

What: a sweep at random over six axes with one condition, by `rl.sweep(zarr=True)`. Everything is real but the tracing: each
design's row of numbers is made up from its axes, so that the machinery's memory, disk and processor time are told.
How: resident memory of the process (psutil) at every chunk, and its peak (getrusage); the size of the folder when it is done.

    python benchmarks/bench_sweep_memory.py 1000000 10000000      # needs the extra zarr
"""

from __future__ import annotations

import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import numpy as np
import psutil

import raylab as rl
from raylab.designs.design import COLUMNS
from raylab.memory import keep_freed_memory
from raylab.sweeps import workers

AXES = {
    "table_pct": (50, 65),
    "crown_angle_deg": (25, 40),
    "pavilion_angle_deg": (38, 44),
    "star_pct": (40, 70),
    "lower_half_pct": (70, 85),
    "girdle_pct": (2, 5),
}
FLAT = rl.LinearBound({"crown_angle_deg": 1, "pavilion_angle_deg": 1}, at_most=78)


def made_up(designs: Iterable[dict[str, Any]], settings: rl.TraceSettings) -> np.ndarray:
    """Rows in place of traced ones: each number depends on all axes, so that no two are alike and compression finds little."""
    axes = np.array([[design[key] for key in AXES] for design in designs]).reshape(-1, len(AXES))
    rows = np.sin(axes @ np.linspace(0.1, 3.0, len(AXES) * len(COLUMNS)).reshape(len(AXES), -1))
    rows[:, -1] = 0.0
    return rows


def one(designs: int) -> None:
    """Sweep so many designs in this process and print what it took."""
    workers.trace_designs = made_up
    notes: list[tuple[int, float]] = []

    def watch(done: int, total: int) -> None:
        notes.append((done, psutil.Process().memory_info().rss / 1e6))

    axes = {key: rl.between(*ends) for key, ends in AXES.items()}
    given = {"layout": "random", "number": designs, "conditions": [FLAT], "zarr": True, "processes": 1}
    start, cpu = time.perf_counter(), time.process_time()
    with tempfile.TemporaryDirectory() as folder:
        rl.sweep(axes, "head-shadow", out=Path(folder) / "sweep", progress=watch, **given)
        size = sum(file.stat().st_size for file in Path(folder).rglob("*") if file.is_file())
        files = sum(1 for file in Path(folder).rglob("*") if file.is_file())
    wall, cpu = time.perf_counter() - start, time.process_time() - cpu
    tenth = next(memory for done, memory in notes if done >= designs / 10)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e3
    print(
        f"{designs} designs: {tenth:.0f} MB after a tenth, {notes[-1][1]:.0f} MB at the end, {peak:.0f} MB at most; "
        f"{size / 1e9:.2f} GB in {files} files; {1e6 * cpu / designs:.0f} us of processor time a design, {wall:.0f} s",
        flush=True,
    )


def main() -> None:
    if sys.argv[1:2] == ["--one"]:
        keep_freed_memory()  # as the command line does
        one(int(sys.argv[2]))
        return
    for designs in sys.argv[1:] or ("1000000",):
        subprocess.run([sys.executable, __file__, "--one", designs], check=True)  # a peak belongs to a process


if __name__ == "__main__":
    main()
