"""Memory that a process keeps for its next piece of work, where the process is raylab's own."""

from __future__ import annotations

LARGEST_KEPT = 31 << 20
"""Bytes; glibc's own limit is 32 MiB."""


def keep_freed_memory() -> None:
    """Let the C library keep freed blocks of up to 31 MiB instead of handing each back to the system.

    Where many stones are traced, memory that each hands back costs the next a tenth of its time to get again. The price is
    memory kept, 200 MB in a film on two threads (benchmarks/README.md). glibc hands back blocks that are larger than the
    largest such block ever freed, up to 32 MiB: this function frees one, never touched. Other C libraries are left as they are.

    This changes the whole process, so no import does it. The command line calls it, and with it the workbench and the workers
    of a sweep. Call it yourself, once, in a script that traces many stones.
    """
    bytes(LARGEST_KEPT)
