"""Commands side by side, for scripts that set a machine up: the standard library only."""

from __future__ import annotations

import subprocess
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
TIMES = ROOT / ".venv" / "test-times.xml"
"""What each test took in the last full run, as pytest reports it."""


def side_by_side(commands: list[list[str | Path]]) -> int:
    """Run commands at once; the exit code of the first in the list that failed, 0 if none did."""
    for command in commands:
        print("+", *command, flush=True)
    running = [subprocess.Popen(command, cwd=ROOT) for command in commands]
    return next((code for code in [process.wait() for process in running] if code), 0)
