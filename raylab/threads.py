"""Several pieces of work at once, handed on in their order, in memory that doesn't grow with their number.

For work that spends its time in kernels, which let other threads run. Twelve wavelengths in threads measured as fast as in
processes (`benchmarks/README.md`), which would have to start and to load the kernels.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager
from typing import TypeVar

import numba

Item = TypeVar("Item")
Made = TypeVar("Made")


def in_order(work: Callable[[Item], Made], items: Iterable[Item], threads: int | None = None) -> Iterator[Made]:
    """``work(item)`` for each item, in the items' order.

    At most `threads` (numba's number by default) run at a time, and no more than one finished piece waits for each of them.
    Whoever stops listening waits for the pieces that run, and no further one is started. What `work` raises is raised here.

    >>> list(in_order(abs, [-3, 2, -1]))
    [3, 2, 1]
    """
    several = threads or numba.get_num_threads()
    waiting: deque[Future[Made]] = deque()
    with ThreadPoolExecutor(several) as pool:
        try:
            for item in items:
                waiting.append(pool.submit(work, item))
                if len(waiting) > several:
                    yield waiting.popleft().result()
            while waiting:
                yield waiting.popleft().result()
        finally:
            for one in waiting:
                one.cancel()


@contextmanager
def at_most(threads: int | None) -> Iterator[None]:
    """Parallel kernels that this thread calls within the block run on so many threads; None leaves numba's number."""
    before = numba.get_num_threads()
    numba.set_num_threads(before if threads is None else min(threads, before))
    try:
        yield
    finally:
        numba.set_num_threads(before)
