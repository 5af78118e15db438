"""The desk of one page: questions that wait for an answer. The latest of each kind wins and none pile up.

A slider that moves asks faster than anything can be computed. So each place on the desk (a kind of question about one of
the stones) holds one question; a newer one takes its place, and what was there is never answered.
"""

from __future__ import annotations

import asyncio
from typing import Any

Question = dict[str, Any]


class RequestQueue:
    """The newest question of each kind and side. Used from one event loop; `newer` may be called from any thread."""

    def __init__(self) -> None:
        self._waiting: dict[str, Question] = {}
        self._bell = asyncio.Event()

    def put(self, question: Question) -> None:
        """Put a question in the queue, in place of an older one of the same kind and side."""
        kind = f"{question.get('kind')} {question.get('side')}"
        self._waiting.pop(kind, None)  # so that it goes to the end of the queue: no stone starves another
        self._waiting[kind] = question
        self._bell.set()

    async def take(self) -> Question:
        """The question that has waited longest; waits for one if there is none."""
        while not self._waiting:
            self._bell.clear()
            await self._bell.wait()
        return self._waiting.pop(next(iter(self._waiting)))

    def __len__(self) -> int:
        return len(self._waiting)
