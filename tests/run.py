"""Run the tests on any machine: ``python3 tests/run.py``, with arguments for pytest after it.

The script makes `.venv` where there is none, installs raylab and the Python packages of the tests into it, lets `needs.py`
bring what else the tests need, and runs pytest. It runs before anything is installed, hence the standard library only.
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
PYTHON = ROOT / ".venv" / ("Scripts/python.exe" if os.name == "nt" else "bin/python")


def main(arguments: list[str]) -> int:
    """Exit code of the first step that fails, 0 if none does."""
    steps = [
        [PYTHON, "-m", "pip", "install", "-q", "-e", ".[dev]"],
        [PYTHON, "tests/needs.py"],
        [PYTHON, "-m", "pytest", "-n", "2", "--dist", "worksteal", *arguments],
    ]
    if not PYTHON.exists():
        steps.insert(0, [sys.executable, "-m", "venv", ".venv"])
    for step in steps:
        print("+", *step, flush=True)
        code = subprocess.run(step, cwd=ROOT).returncode
        if code:
            return code
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
