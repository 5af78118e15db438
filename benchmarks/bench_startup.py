"""Import, first command and later commands.

What: `import raylab` in a fresh interpreter; the README's render command with an empty cache of compiled code, and the same
again three times.
How: wall time of subprocesses; the import is timed inside the interpreter (best of 7, so files are in the disk cache), the
commands from outside, interpreter start included. The cache is a new folder by NUMBA_CACHE_DIR, thrown away afterwards.

    python benchmarks/bench_startup.py [more options for raylab render]
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
IMPORT = "import time; start = time.perf_counter(); import raylab; print(time.perf_counter() - start)"


def command_seconds(out: str, cache: str, options: list[str]) -> float:
    """Wall time of one render command."""
    scene = str(ROOT / "scenes" / "well-proportioned.toml")
    command = [sys.executable, "-m", "raylab", "render", scene, "--out", out, "--force", *options]
    start = time.perf_counter()
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL, env={**os.environ, "NUMBA_CACHE_DIR": cache})
    return time.perf_counter() - start


def main() -> None:
    imports = [float(subprocess.run([sys.executable, "-c", IMPORT], check=True, capture_output=True).stdout) for _ in range(7)]
    print(f"import raylab         {min(imports):6.3f} s  (target 0.4)")
    with tempfile.TemporaryDirectory() as folder:
        out, cache = str(Path(folder, "out")), str(Path(folder, "cache"))
        first, *later = (command_seconds(out, cache, sys.argv[1:]) for _ in range(4))
    print(f"first render command  {first:6.2f} s  (target 25)")
    print(f"later ones            {min(later):6.2f} s  (target 3); all: {', '.join(f'{t:.2f}' for t in later)}")


if __name__ == "__main__":
    main()
