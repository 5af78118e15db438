"""Several pieces of work at once, handed on in their order, in memory that doesn't grow with their number.

For work that spends its time in kernels, which let other threads run. Twelve wavelengths in threads measured as fast as in
processes (`benchmarks/README.md`), which would have to start and to load the kernels.
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager
from typing import TypeVar

import numba

from .stopping import Check, Stopped, present_check, stopped_by

Item = TypeVar("Item")
Made = TypeVar("Made")


def in_order(work: Callable[[Item], Made], items: Iterable[Item], threads: int | None = None) -> Iterator[Made]:
    """``work(item)`` for each item, in the items' order.

    At most `threads` (numba's number by default) run at a time, and no more than one finished piece waits for each of them.
    What `work` raises is raised here. Where nobody listens any more, the pieces that run end at their next `stopping.pause`.

    >>> list(in_order(abs, [-3, 2, -1]))
    [3, 2, 1]
    """
    several = threads or numba.get_num_threads()
    waiting: deque[Future[Made]] = deque()
    with _crew(several) as (pool, check):
        for item in items:
            waiting.append(pool.submit(_checked, check, work, item))
            if len(waiting) > several:
                yield waiting.popleft().result()
        while waiting:
            yield waiting.popleft().result()


def at_once(work: Callable[[Item], Made], items: Sequence[Item], threads: int | None = None) -> list[Made]:
    """``work(item)`` for each item, in the items' order, by at most `threads` (numba's number by default) at a time.

    What `work` raises is raised here. Where the caller is interrupted meanwhile, the pieces that run end at their next
    `stopping.pause`.

    >>> at_once(abs, [-3, 2, -1])
    [3, 2, 1]
    """
    several = threads or numba.get_num_threads()
    if several == 1 or len(items) == 1:
        return [work(item) for item in items]
    with _crew(several) as (pool, check):
        return [made.result() for made in [pool.submit(_checked, check, work, item) for item in items]]


@contextmanager
def _crew(threads: int) -> Iterator[tuple[ThreadPoolExecutor, Check]]:
    """Threads, and the check of their work: whatever stops their caller stops them, and so does the end of the block."""
    of_caller, left = present_check(), threading.Event()

    def check() -> None:
        if left.is_set():
            raise Stopped
        of_caller()

    pool = ThreadPoolExecutor(threads)
    try:
        yield pool, check
    finally:
        left.set()
        pool.shutdown(cancel_futures=True)


def _checked(check: Check, work: Callable[[Item], Made], item: Item) -> Made:
    with stopped_by(check):
        return work(item)


@contextmanager
def at_most(threads: int | None) -> Iterator[None]:
    """Parallel kernels that this thread calls within the block run on so many threads; None leaves numba's number."""
    before = numba.get_num_threads()
    numba.set_num_threads(before if threads is None else min(threads, before))
    try:
        yield
    finally:
        numba.set_num_threads(before)
