"""Foreign parsers in a process of their own, for files that are packed: what a few kilobytes unpack to is not known beforehand.

A parser that crashes, hangs or fills the memory ends its own process, and the fault is reported. The process costs a few tenths
of a second, so files whose content is no larger than the file, such as STL or a table, are read in this process.
"""

from __future__ import annotations

import importlib
import io
import os
import subprocess
import sys
import warnings

import numpy as np

from .package_files import environment

MOST_BYTES, MOST_S = 4 << 30, 60
"""Memory and time that a parser may take."""


def parsed(module: str, function: str, content: bytes) -> dict[str, np.ndarray]:
    """The arrays that a function of a module of raylab makes of a file's content.

    Raises ValueError, whose text says why, where it makes none.
    """
    command = [sys.executable, "-m", __name__, module, function]
    try:
        done = subprocess.run(command, input=content, capture_output=True, timeout=MOST_S, env=environment(), check=False)
    except subprocess.TimeoutExpired as error:
        raise ValueError(f"reading it takes longer than {MOST_S} s") from error
    if done.returncode:
        raise ValueError(f"its reader crashed ({done.returncode})")
    with np.load(io.BytesIO(done.stdout), allow_pickle=False) as answer:
        found = dict(answer)
    if "fault" in found:
        raise ValueError(str(found["fault"]))
    return found


def main() -> None:
    """The process: a file's content from stdin, arrays to stdout; whatever the parser prints goes nowhere."""
    answers = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)
    module, function = sys.argv[1:]
    content = sys.stdin.buffer.read()
    warnings.simplefilter("ignore")
    try:
        work = getattr(importlib.import_module(module), function)
        _limit_ourselves()
        found = work(content)
    except MemoryError:
        found = {"fault": np.array(f"it unpacks to more than {MOST_BYTES >> 30} GiB")}
    except Exception as error:  # noqa: BLE001 - handed over, and raised there
        found = {"fault": np.array(str(error) or type(error).__name__)}
    packed = io.BytesIO()
    np.savez(packed, **found)
    answers.write(packed.getbuffer())
    answers.flush()


def _limit_ourselves() -> None:
    """Memory and time, where the system can limit them."""
    try:
        import resource
    except ImportError:  # not a POSIX system
        return
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    resource.setrlimit(resource.RLIMIT_CPU, (MOST_S, MOST_S))
    resource.setrlimit(resource.RLIMIT_AS, (MOST_BYTES, MOST_BYTES))


if __name__ == "__main__":
    main()
