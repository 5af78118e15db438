"""One page's questions in and answers out, whatever carries them: a WebSocket, or the messages of a notebook's widget.

The event loop that carries the messages only waits; a thread of the workbench computes, one question at a time.
"""

from __future__ import annotations

import asyncio
import logging
from collections.abc import Awaitable, Callable, Mapping
from concurrent.futures import Executor
from typing import Any, Protocol

from ..errors import InputError
from ..lighting.dome import Dome
from ..stopping import Stopped, stopped_by
from .answers import Answerer
from .bounds import bounds_of
from .messages import encode
from .questions import LINK, about, checked, parsed
from .request_queue import BACKGROUND, Question, RequestQueue

log = logging.getLogger("raylab.workbench")


class Bench(Protocol):
    """What a conversation needs of the workbench: its domes, the threads that compute, and the end of all work."""

    @property
    def domes(self) -> Mapping[str, Dome]:
        """The domes by the names that pages know."""

    @property
    def worker(self) -> Executor:
        """The thread that computes pictures."""

    @property
    def strips(self) -> Executor:
        """The thread that computes what is asked in the background."""

    def until_the_end(self, work: Callable[[Question], bytes], question: Question, /) -> bytes:
        """The work done in this thread; raises `Stopped` where the workbench ends first."""


class Conversation:
    """What one page asks, answered until it leaves.

    Parameters
    ----------
    send : sends an answer to the page. gone : what it raises where the page has left.
    """

    def __init__(
        self, workbench: Bench, send: Callable[[bytes], Awaitable[None]], gone: tuple[type[Exception], ...] = ()
    ) -> None:
        self.workbench, self.send, self.gone = workbench, send, gone
        self.queue = RequestQueue()

    async def hear(self, text: str) -> None:
        """Take a question; one that is none is refused at once."""
        question: dict[str, Any] = {}
        try:
            question = parsed(text)
            self.queue.put(checked(question, LINK))
        except InputError as error:
            await self.send(_fault(question, str(error), error.key))

    async def answer_all(self) -> None:
        """Answer one question after the other, until the page has left."""
        loop, answerer = asyncio.get_running_loop(), Answerer(self.workbench.domes)
        while True:
            question = await self.queue.take()
            worker = self.workbench.strips if question.get("kind") in BACKGROUND else self.workbench.worker
            work = loop.run_in_executor(worker, self._answered, answerer, question)
            await asyncio.wait([work])
            fault = work.exception()
            if fault is None:
                answer = work.result()
            else:  # a bug: the terminal shows it in full and the page in one line
                log.error("a request failed", exc_info=fault)
                line = f"internal error ({type(fault).__name__}); the terminal shows the details. Please report it."
                answer = _fault(question, line)
            try:
                await self.send(answer)
            except self.gone:  # and its questions with it
                return

    def leave(self) -> None:
        """The page has left: what is in work for it ends soon."""
        self.queue.left = True

    def _answered(self, answerer: Answerer, question: Question) -> bytes:
        """The answer within the bounds of a question; where nobody waits for it, a message that says so."""
        try:
            with stopped_by(bounds_of(question, self.queue)):
                return self.workbench.until_the_end(answerer.answer, question)
        except Stopped:
            return encode({**about(question), "overtaken": True})


def _fault(question: dict[str, Any], line: str, key: str | None = None) -> bytes:
    """The answer to a question that has none: one line."""
    return encode({**about(question), "error": {"text": line, "key": key}})
