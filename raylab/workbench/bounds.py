"""What one question of a page may take, and when it is given up.

A question ends early where nobody waits for its answer: the page has left, a newer question has overtaken it, the server ends.
It also ends, with an error in one line, where it takes more time or memory than one question may.
"""

from __future__ import annotations

import time

from ..errors import InputError
from ..room import used_memory
from ..stopping import Check, Stopped
from .answers import COARSE
from .request_queue import BACKGROUND, Question, RequestQueue

SOON_S = 1.0
"""A coarse picture that comes so soon is given although it was overtaken: pictures follow a slider that moves on and on. All
other answers are given up at once, as the next picture waits for their end."""
MOST_S = 60.0
"""Seconds that one question may take."""
MOST_MEMORY = 2_000_000_000
"""Bytes by which the process may grow meanwhile."""


def bounds_of(question: Question, queue: RequestQueue) -> Check:
    """The check of a question that begins now, see `stopping`.

    Raises Stopped where nobody waits for the answer, and InputError where it takes too much. The bound on memory holds where
    the system says what the process uses.
    """
    begun_s, memory = time.monotonic(), used_memory()
    patience_s = SOON_S if question.get("step") == COARSE and question.get("kind") not in BACKGROUND else 0.0

    def check() -> None:
        took_s = time.monotonic() - begun_s
        if queue.left or (took_s >= patience_s and queue.overtaken(question)):
            raise Stopped
        if took_s > MOST_S:
            raise _too_much(f"{MOST_S:g} s")
        if memory is not None and (used_memory() or 0) - memory > MOST_MEMORY:
            raise _too_much(f"{MOST_MEMORY / 1e9:g} GB of memory")

    return check


def _too_much(what: str) -> InputError:
    return InputError(f"the answer takes more than {what}", expected="fewer facets, or the command raylab render")
