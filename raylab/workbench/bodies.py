"""Bodies of HTTP requests, read within a limit of bytes and of time."""

from __future__ import annotations

import asyncio

from starlette.requests import ClientDisconnect, Request
from starlette.responses import JSONResponse, Response

from ..errors import InputError

BODY_S = 60.0
"""Seconds that a request's body may take; 64 MiB on one machine take less than one."""


class RefusedError(Exception):
    """A body that is too long or too slow.

    Attributes
    ----------
    error : what to say. status : of HTTP.
    """

    def __init__(self, error: InputError, status: int) -> None:
        super().__init__(str(error))
        self.error, self.status = error, status


async def body_of(request: Request, most: int, name: str | None = None) -> bytes:
    """The body of a request. Raises RefusedError for more than `most` bytes or `BODY_S` seconds; `name` is that of a file."""
    data = bytearray()
    try:
        async with asyncio.timeout(BODY_S):
            async for chunk in request.stream():
                data += chunk
                if len(data) > most:
                    what = "request too long" if name is None else "file too large"
                    raise RefusedError(InputError(what, file=name, expected=f"at most {most // (1 << 20)} MiB"), 413)
    except TimeoutError:
        raise RefusedError(InputError("request too slow", file=name, expected=f"all of it within {BODY_S:g} s"), 408) from None
    return bytes(data)


def refusal(error: InputError, status: int = 422) -> Response:
    """The answer that says what is wrong."""
    return JSONResponse({"error": {"text": str(error), "key": error.key}}, status_code=status)


async def refused(_: Request, error: Exception) -> Response:
    """The answer to a request whose body was refused, or whose client left in the middle of it (nobody hears that one)."""
    if isinstance(error, RefusedError):
        return refusal(error.error, error.status)
    return Response(status_code=400)


HANDLERS = {RefusedError: refused, ClientDisconnect: refused}
"""What the application answers to these errors."""
