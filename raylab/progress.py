"""A progress bar with rate and time left, in a terminal (rich) or a notebook; nothing where nobody looks."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

Progress = Callable[[int, int], None]
"""Told how many are done, of how many."""

PATIENCE_S = 1.0
"""Work shorter than this shows no bar."""


@contextmanager
def shown(progress: bool | Progress, what: str) -> Iterator[Progress]:
    """What to tell of the work done: a function given, a bar for True, nobody for False.

    `what` is counted, in the plural.
    """
    if callable(progress):
        yield progress
    elif not progress:
        yield lambda done, total: None
    elif (display := _notebook()) is not None:
        yield _NotebookLine(display, what)
    else:
        with _terminal(what) as tell:
            yield tell


def part_of(progress: Callable[[float], None] | None, start: float, span: float) -> Callable[[float], None]:
    """What a part of the work, from the share `start` on, tells of its own share done; nobody where `progress` is None."""
    return lambda share: progress(start + span * share) if progress is not None else None


class Pace:
    """Rate and time left, from what was done since the first report: what an earlier run did doesn't count."""

    def __init__(self) -> None:
        self.start_s = time.monotonic()
        self.first: int | None = None

    def words(self, done: int, total: int, what: str) -> str:
        """Such as ``"120 of 1000 designs, 98.5 designs/s, 9 s left"``."""
        if self.first is None:
            self.first = done
        text = f"{done} of {total} {what}"
        passed = time.monotonic() - self.start_s
        if done == self.first or passed <= 0.0:
            return text
        rate = (done - self.first) / passed
        return f"{text}, {rate:.3g} {what}/s, {_duration((total - done) / rate)} left"


def _duration(seconds: float) -> str:
    """In the largest unit that tells enough.

    >>> _duration(9.2), _duration(150), _duration(9000)
    ('9 s', '2 min 30 s', '2 h 30 min')
    """
    whole = round(seconds)
    if whole < 60:
        return f"{whole} s"
    if whole < 3600:
        return f"{whole // 60} min {whole % 60} s"
    return f"{whole // 3600} h {whole % 3600 // 60} min"


def _notebook() -> Any:
    """IPython's `display` if this is a notebook's kernel, else None."""
    shell = sys.modules["IPython"].get_ipython() if "IPython" in sys.modules else None
    if shell is None or not hasattr(shell, "kernel"):
        return None
    from IPython.display import display

    return display


class _NotebookLine:
    """One line of a notebook's output, renewed in place."""

    def __init__(self, display: Any, what: str) -> None:
        self.display, self.what, self.pace, self.handle = display, what, Pace(), None

    def __call__(self, done: int, total: int) -> None:
        line = {"text/plain": self.pace.words(done, total, self.what)}
        if self.handle is not None:
            self.handle.update(line, raw=True)
        elif time.monotonic() - self.pace.start_s > PATIENCE_S:
            self.handle = self.display(line, raw=True, display_id=True)


@contextmanager
def _terminal(what: str) -> Iterator[Progress]:
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn

    console = Console(stderr=True)
    if not console.is_terminal:
        yield lambda done, total: None
        return
    pace = Pace()
    with Progress(BarColumn(), TextColumn("{task.description}"), console=console, transient=True) as bar:
        task = bar.add_task(what, total=None)

        def tell(done: int, total: int) -> None:
            bar.update(task, completed=done, total=total, description=pace.words(done, total, what))

        yield tell
