"""HTTP connections that end when their client takes too long: no open connection waits for ever for a request's head."""

from __future__ import annotations

import asyncio

from uvicorn.protocols.http.h11_impl import H11Protocol

HEAD_S = 10.0
"""Seconds from the opening of a connection, or from an answer, to the whole head of the next request."""


class TimedProtocol(H11Protocol):
    """uvicorn's connection with a limit for heads; bodies have theirs in `bodies`."""

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]  # as uvicorn has it
        """Start to wait for a request."""
        super().connection_made(transport)
        self._wait()

    def on_response_complete(self) -> None:
        """Wait for the next request; what is left of this one's body counts as waiting."""
        super().on_response_complete()
        self._wait()

    def _wait(self) -> None:
        self.loop.call_later(HEAD_S, self._end, self.cycle)

    def _end(self, before: object) -> None:
        """End the connection unless a request began since `before`, or it has become a WebSocket."""
        if self.cycle is before and self.transport.get_protocol() is self:
            self.transport.abort()
