"""How large a sweep is: what it takes of memory and disk, in how many processes it is traced, and in how large chunks."""

from __future__ import annotations

import os
from pathlib import Path

from ..errors import InputError
from ..room import Need
from ..tracers.engine import BatchEngine, DeviceEngine, Engine
from .axes import Plan
from .dealing import BLOCK
from .engine_choice import builds_every

MEMORY_BYTES, DISK_BYTES = 1100, 800
"""What a design takes of a result in one file: measured, at the peak, with 400,000 of them; parts and result, on the disk."""
PIECES_MEMORY_BYTES, PIECES_DISK_BYTES = 400_000_000, 440
"""What a sweep takes whose result is in pieces, beside its engine; and a design of it, on the disk."""
CHUNK_S = 4.0
"""Aimed-at work in a chunk, seconds: the most that a killed process loses."""
MOST_IN_CHUNK = 4096
"""Of designs whose stones are built one by one. Where the engine builds them, a chunk is a block."""
LONGEST_S = 20.0
"""A block that takes longer is no chunk: not all of its designs are built by the engine, or they take many rays."""
A_DEVICE = 12
"""Processes that share a device: while it traces for one, the others make numbers of what they have and write them. How many
keep one busy: `benchmarks/README.md`."""


def need_of(plan: Plan, place: Path | None, pieces: bool) -> Need:
    """What a sweep takes of memory and disk; its time is not known yet."""
    memory, disk = MEMORY_BYTES * len(plan), DISK_BYTES * len(plan)
    if pieces:
        memory, disk = min(memory, PIECES_MEMORY_BYTES), PIECES_DISK_BYTES * len(plan)
    return Need(f"{len(plan)} designs", memory, disk, place)


def processes_of(asked: int | None, engine: Engine) -> int:
    """The number of processes: the one asked for, or that of available cores; some for each device, and one for designs that
    are traced together without a device.

    Raises InputError for what is no number of processes.
    """
    if asked is None:
        cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
        if not isinstance(engine, BatchEngine):
            return cores
        devices = engine.devices() if isinstance(engine, DeviceEngine) else 0
        return max(1, min(A_DEVICE * devices, cores))
    if isinstance(asked, bool) or not isinstance(asked, int) or not 1 <= asked <= 4096:
        raise InputError("not a number of processes", key="processes", value=asked, expected="a whole number from 1 to 4096")
    return asked


def chunk_size(plan: Plan, engine: Engine, traced: int, cost_s: float, count: int, alone_s: float) -> int:
    """Designs in a chunk: some seconds of work, and enough chunks for every process.

    Parameters
    ----------
    traced : designs of the plan that meet its conditions. cost_s : seconds that one of them takes. count : of processes.
    alone_s : work of fewer seconds is one chunk. None of this matters where all designs of a chunk are traced at once.
    """
    if isinstance(engine, BatchEngine):
        short = builds_every(plan, engine) and cost_s * BLOCK < LONGEST_S
        return min(BLOCK if short else MOST_IN_CHUNK, len(plan))
    if cost_s * traced <= alone_s:
        return min(traced, MOST_IN_CHUNK)
    return max(1, min(round(CHUNK_S / cost_s), -(-traced // (4 * count)), MOST_IN_CHUNK))
