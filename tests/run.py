"""Run the tests on any machine: ``python3 tests/run.py``, with arguments for pytest after it.

The script makes `.venv` where there is none, and installs raylab into it, then the Python packages of the tests while
`kernels.py` compiles. `needs.py` brings what else the tests need. Meanwhile pytest looks for the tests once, which keeps the
bytecode of all that they import: pip would compile four times as much, and two processes of tests each for itself. Then they
run. Without arguments some run once more with the lowest versions that raylab needs, see `lowest.py`. The script runs before
anything is installed, hence the standard library only.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

from steps import ROOT, TIMES, side_by_side

PYTHON = ROOT / ".venv" / ("Scripts/python.exe" if os.name == "nt" else "bin/python")
LOOK_FOR_TESTS = """\
import contextlib, io, sys, pytest
with contextlib.redirect_stdout(io.StringIO()) as said:
    code = pytest.main(["-n0", "--collect-only"])
sys.exit(code and said.getvalue())"""
"""Quiet unless something is wrong."""


def main(arguments: list[str]) -> int:
    """Exit code of the first step that fails, 0 if none does."""
    os.environ["OPENBLAS_NUM_THREADS"] = "1"  # two processes of tests keep two cores busy
    os.environ.pop("PYTHONDONTWRITEBYTECODE", None)  # else each command that a test starts compiles raylab anew
    install: list[str | Path] = [PYTHON, "-m", "pip", "install", "-q", "--no-compile"]
    # A run of some tests tells nothing of the others' times.
    report = [] if arguments else ["-o", "junit_family=xunit1", f"--junitxml={TIMES}"]
    steps = [
        [[*install, "-e", "."]],
        [[*install, "-e", ".[dev]"], *([PYTHON, "tests/kernels.py", engine] for engine in ("beams", "rays"))],
        [[PYTHON, "tests/needs.py"], [PYTHON, "-c", LOOK_FOR_TESTS]],
        [[PYTHON, "-m", "pytest", "-n", "2", "--dist", "worksteal", "--durations", "40", *report, *arguments]],
    ]
    if not arguments:
        steps.append([[sys.executable, "tests/lowest.py"]])
    if not PYTHON.exists():
        steps.insert(0, [[sys.executable, "-m", "venv", ".venv"]])
    for step in steps:
        code = side_by_side(step)
        if code:
            return code
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
