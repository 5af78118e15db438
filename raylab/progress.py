"""Progress of work: one protocol, and one bar with rate and time left, in a terminal or a notebook.

A function that takes long has a parameter ``progress: bool | Progress = False``: True shows the bar; a function is called with
the finished and the total amount of work. Work within work reports a part of the whole, see `part_of`.
"""

from __future__ import annotations

import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from html import escape
from typing import Any

Progress = Callable[[float, float], None]
"""Called with how much is done and of how much: numbers of things, or a share of 1."""

PATIENCE_S = 1.0
"""Work shorter than this shows no bar."""
RENEWED_S = 0.2
"""A notebook's line is renewed no sooner than this: each time is a message to its page."""

LONG_S = 10.0
"""Where no terminal shows a bar, work that takes longer than this is announced with the time it takes, and then tells how far
it is, each time this long later."""


def silent(done: float, total: float) -> None:
    """Nobody wants to know."""


@contextmanager
def reporter(progress: bool | Progress, what: str, *, counted: bool = True) -> Iterator[Progress]:
    """What the work calls as it goes on: the function given, a bar for True, `silent` for False.

    Parameters
    ----------
    what : the things that are counted, in the plural, such as ``"designs"``; or the work, where it reports a share.
    counted : False for a share.
    """
    if callable(progress):
        yield progress
    elif not progress:
        yield silent
    elif (display := _notebook()) is not None:
        yield _NotebookLine(display, Pace(what, counted))
    elif not sys.stderr.isatty():
        yield _Lines(Pace(what, counted))
    else:
        with _terminal(Pace(what, counted)) as update:
            yield update


def part_of(progress: Progress, start: float, span: float) -> Progress:
    """What a part of the work calls, which takes a share `span` of the whole from the share `start` on."""
    return lambda done, total: progress(start + span * (done / total), 1.0)


class Pace:
    """Rate and time left, from what was done since the first report: what an earlier run did doesn't count."""

    def __init__(self, what: str, counted: bool = True) -> None:
        self.what, self.counted = what, counted
        self.first: tuple[float, float] | None = None

    def left_s(self, done: float, total: float) -> float | None:
        """Seconds left; None before anything is done."""
        now = time.monotonic()
        begun, start_s = self.first = self.first or (done, now)
        return (total - done) * (now - start_s) / (done - begun) if done > begun and now > start_s else None

    def words(self, done: float, total: float) -> str:
        """Such as ``"120 of 1000 designs, 98.5 designs/s, 9 s left"`` or ``"tracing: 37 %, 9 s left"``."""
        text = f"{done:.0f} of {total:.0f} {self.what}" if self.counted else f"{self.what}: {100.0 * done / total:.0f} %"
        left_s = self.left_s(done, total)
        if left_s is None:
            return text
        begun, start_s = self.first or (done, 0.0)
        if self.counted:
            rate = (done - begun) / (time.monotonic() - start_s)
            text += f", {rate:.3g} {self.what}/s" if rate < 100.0 else f", {rate:.0f} {self.what}/s"
        return f"{text}, {duration(left_s)} left"


def duration(seconds: float) -> str:
    """A time in the largest unit that says enough.

    >>> duration(9.2), duration(150), duration(9000), duration(1e8)
    ('9 s', '2 min 30 s', '2 h 30 min', '1,157 days')
    """
    whole = round(seconds)
    if whole < 60:
        return f"{whole} s"
    if whole < 3600:
        return f"{whole // 60} min {whole % 60} s"
    if whole < 86400:
        return f"{whole // 3600} h {whole % 3600 // 60} min"
    return f"{whole / 86400:,.0f} days"


def _notebook() -> Any:
    """IPython's `display` if this is a notebook's kernel, else None."""
    shell = sys.modules["IPython"].get_ipython() if "IPython" in sys.modules else None
    if shell is None or not hasattr(shell, "kernel"):
        return None
    from IPython.display import display

    return display


class _NotebookLine:
    """One line of a notebook's output, renewed in place: a bar that every browser has, and words. It needs no widgets."""

    def __init__(self, display: Any, pace: Pace) -> None:
        self.display, self.pace, self.handle, self.next_s = display, pace, None, time.monotonic() + PATIENCE_S

    def __call__(self, done: float, total: float) -> None:
        words, now_s = self.pace.words(done, total), time.monotonic()
        if now_s <= self.next_s and (self.handle is None or done < total):
            return
        self.next_s = now_s + RENEWED_S
        bar = f'<progress max="1" value="{done / total:.3f}" style="vertical-align:middle"></progress>'
        line = {"text/plain": words, "text/html": f"<div>{bar} {escape(words)}</div>"}
        if self.handle is None:
            self.handle = self.display(line, raw=True, display_id=True)
        else:
            self.handle.update(line, raw=True)


class _Lines:
    """Lines on stderr where that is no terminal: one when it is known that the work is long, then one now and then: every
    `LONG_S`, and of work that takes days every hundredth of the time so far."""

    def __init__(self, pace: Pace) -> None:
        self.pace, self.start_s = pace, time.monotonic()
        self.said_s: float | None = None

    def __call__(self, done: float, total: float) -> None:
        left_s, now = self.pace.left_s(done, total), time.monotonic()
        if left_s is None or done >= total:
            return
        if self.said_s is None:
            due = now - self.start_s > PATIENCE_S and left_s > LONG_S
        else:
            due = now - self.said_s > max(LONG_S, 0.01 * (now - self.start_s))
        if due:
            self.said_s = now
            sys.stderr.write(f"raylab: {self.pace.words(done, total)}\n")
            sys.stderr.flush()


@contextmanager
def _terminal(pace: Pace) -> Iterator[Progress]:
    """A bar on stderr, once the work has taken longer than the patience."""
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn

    console = Console(stderr=True)
    bar = Progress(BarColumn(), TextColumn("{task.description}"), console=console, transient=True)
    task = bar.add_task(pace.what, total=None)
    later = threading.Timer(PATIENCE_S, bar.start)
    later.daemon = True
    later.start()
    try:
        yield lambda done, total: bar.update(task, completed=done, total=total, description=pace.words(done, total))
    finally:
        later.cancel()
        later.join()
        bar.stop()
