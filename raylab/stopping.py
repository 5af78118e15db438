"""Long work ends soon where nobody waits for it any more.

Long work calls `pause` between steps of a tenth of a second or less. Whoever starts work says within `stopped_by` when it
must end: by a check that raises, which each pause of that thread calls. Threads that `threads` starts end with the one that
waits for them. So no function on the way needs to know of it, and no result depends on it: a step is done in full or the work
is given up. In the main thread of a command Ctrl-C needs no check, as it raises by itself between two steps.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager

Check = Callable[[], None]
"""Called at each pause, by any thread of the work; raises to end it."""


class Stopped(BaseException):
    """Nobody waits for this work any more. As with an interrupt, what handles faults lets it pass."""


class _Here(threading.local):
    def __init__(self) -> None:
        self.check: Check = lambda: None


_here = _Here()


def pause() -> None:
    """Raise what the checks of this thread raise; nothing where there are none."""
    _here.check()


def present_check() -> Check:
    """What `pause` calls in this thread now, for other threads that work for it."""
    return _here.check


@contextmanager
def stopped_by(check: Check) -> Iterator[None]:
    """Within the block each pause of this thread calls the check, after the checks of blocks around.

    >>> with stopped_by(lambda: print("looked")):
    ...     pause()
    looked
    """
    before = _here.check

    def all_checks() -> None:
        before()
        check()

    _here.check = all_checks
    try:
        yield
    finally:
        _here.check = before
