"""How long other processes have computed: unlike the clock, that doesn't run on while a busy machine does something else."""

from __future__ import annotations

import contextlib
import os
import resource
from pathlib import Path


def processor_s(pid: int) -> float:
    """Seconds that a process has computed, on all processors; 0 where it has ended."""
    with contextlib.suppress(OSError):
        fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
        return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")
    return 0.0


def of_ended_s() -> float:
    """Seconds that all processes have computed that were started here and have ended."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime
