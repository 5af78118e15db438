"""Word of kernels that are being compiled: the first call of each takes seconds, once for each state of the installed code.

`jit` reports each kernel; whoever starts a process of raylab may listen. A kernel compiled within another one is not reported.

What would interrupt the compiler waits until it is between two kernels: LLVM's objects are owned by two sides, and an exception
while one is handed over frees it twice; one that strikes in a callback of LLVM's is dropped, and the kernel has no code.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager

_hearers: list[Callable[[str], None]] = []


class _Here(threading.local):
    def __init__(self) -> None:
        self.preparing = 0
        """Kernels that this thread is getting ready, one within another."""
        self.depth = 0
        """Those of them that no cache holds."""
        self.put_off: Callable[[], None] | None = None


_here = _Here()


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
    """Within the block a kernel and those that it calls are got ready. At its end, however it ends, none of them is.

    Before and after it what was put off is done.
    """
    _do_what_was_put_off()
    depth = _here.depth
    _here.preparing += 1
    try:
        yield
    finally:
        _here.preparing -= 1
        _here.depth = depth
        _do_what_was_put_off()


def begin(kernel: str) -> None:
    """A kernel is about to be compiled, because no cache holds it."""
    _here.depth += 1
    if _here.depth == 1:
        for hear in _hearers:
            hear(kernel)


def put_off(interrupt: Callable[[], None]) -> bool:
    """True where this thread gets a kernel ready: `interrupt`, which raises, is then called before or after the next one."""
    if not _here.preparing:
        return False
    _here.put_off = interrupt
    return True


def _do_what_was_put_off() -> None:
    interrupt, _here.put_off = _here.put_off, None
    if interrupt is not None:
        interrupt()
