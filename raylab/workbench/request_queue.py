"""The request queue of one page: it keeps the latest request of each kind for each stone.

A moving slider sends requests faster than they can be computed. A newer request replaces the waiting one, which is then never
answered, and overtakes the one that is being answered. A picture does so to what is computed in the background, too.
"""

from __future__ import annotations

import asyncio
from typing import Any

Question = dict[str, Any]


PICTURE, BACKGROUND = "picture", ("strip", "dark", "inclusions")
"""Kinds of question: what is asked in the background, while nothing moves, is of no use once a picture is asked for."""


class RequestQueue:
    """The newest question of each kind and side. Used from one event loop; any thread may look at `left` and `overtaken`.

    Attributes
    ----------
    left : True once the page has left.
    """

    def __init__(self) -> None:
        self.left = False
        self._waiting: dict[str, Question] = {}
        self._newest: dict[str, Question] = {}
        self._bell = asyncio.Event()

    def put(self, question: Question) -> None:
        """Put a question in the queue, in place of an older one of the same kind and side."""
        kind = _kind(question)
        if question.get("kind") == PICTURE:
            for waiting in (self._waiting, self._newest):
                for one in [key for key in waiting if key.startswith(BACKGROUND)]:
                    del waiting[one]
        self._waiting.pop(kind, None)  # so that it goes to the end of the queue: no stone starves another
        self._waiting[kind] = self._newest[kind] = question
        self._bell.set()

    def overtaken(self, question: Question) -> bool:
        """Has a newer question taken its place?"""
        return self._newest.get(_kind(question)) is not question

    async def take(self) -> Question:
        """The question that has waited longest; waits for one if there is none."""
        while not self._waiting:
            self._bell.clear()
            await self._bell.wait()
        return self._waiting.pop(next(iter(self._waiting)))

    def __len__(self) -> int:
        return len(self._waiting)


def _kind(question: Question) -> str:
    return f"{question.get('kind')} {question.get('side')}"
