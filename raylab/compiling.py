"""Word of kernels that are being compiled: the first call of each takes seconds, once for each state of the installed code.

`jit` reports each kernel; whoever starts a process of raylab may listen. A kernel compiled within another one is not reported.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager

_hearers: list[Callable[[str], None]] = []
_within = threading.local()


@contextmanager
def heard_by(hear: Callable[[str], None]) -> Iterator[None]:
    """Within the block, `hear` is called with the name of each kernel before it is compiled."""
    _hearers.append(hear)
    try:
        yield
    finally:
        _hearers.remove(hear)


@contextmanager
def one_kernel() -> Iterator[None]:
    """Within the block a kernel and those that it calls are got ready. At its end, however it ends, none of them is."""
    depth = getattr(_within, "depth", 0)
    try:
        yield
    finally:
        _within.depth = depth


def begin(kernel: str) -> None:
    """A kernel is about to be compiled, because no cache holds it."""
    depth = getattr(_within, "depth", 0)
    _within.depth = depth + 1
    if depth == 0:
        for hear in _hearers:
            hear(kernel)
