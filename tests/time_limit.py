"""A limit of time for a block of a test."""

from __future__ import annotations

import signal
from collections.abc import Iterator
from contextlib import contextmanager


class TooLongError(BaseException):
    """The block takes longer than its time. No `Exception`: what reads damaged files makes its own fault of any of those."""


@contextmanager
def within(seconds: int) -> Iterator[None]:
    """Ends what takes longer with a TooLongError."""

    def late(*_: object) -> None:
        raise TooLongError(f"longer than {seconds} s")

    usual = signal.signal(signal.SIGALRM, late)
    signal.alarm(seconds)
    try:
        yield
    finally:
        signal.alarm(0)
        signal.signal(signal.SIGALRM, usual)
