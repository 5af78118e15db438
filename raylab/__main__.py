"""``raylab`` and ``python -m raylab``: the command, from its first moment on.

What the command imports takes a third of a second. Ctrl-C may strike there too, before anything of `cli` could handle it.
"""

from __future__ import annotations

import sys


def run() -> int:
    """The command line as a process of its own; returns the exit code."""
    try:
        from .cli import run as run_command
    except KeyboardInterrupt:
        sys.stderr.write("raylab: interrupted\n")
        return 130
    return run_command()


if __name__ == "__main__":
    sys.exit(run())
