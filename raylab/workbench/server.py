"""The workbench's server: an application with one WebSocket per page on the loopback interface, and what runs it."""

from __future__ import annotations

import contextlib
import gc
import secrets
import socket
from collections.abc import AsyncIterator, Callable
from types import FrameType

from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.routing import Mount, Route, WebSocketRoute
from starlette.staticfiles import StaticFiles

from ..errors import InputError
from ..package_files import shipped
from .bodies import HANDLERS
from .file_exchange import Opened
from .guard import Guard
from .pages import Pages, Workbench
from .questions import MAX_QUESTION

HOST = "127.0.0.1"


def make_app(workbench: Workbench, port: int, token: str, ticket: str, ready: Callable[[], None] = lambda: None) -> Starlette:
    """The ASGI application for a server on `port`; `ready` is called when it is about to answer.

    See `guard` for the token and the ticket.
    """

    @contextlib.asynccontextmanager
    async def lifespan(_: Starlette) -> AsyncIterator[None]:
        ready()
        yield
        workbench.end()

    static = shipped("workbench/static")
    pages = Pages(workbench, static)
    return Starlette(
        routes=[
            Route("/", pages.index),
            Route("/start.json", pages.start),
            Route("/open", pages.open, methods=["POST"]),
            Route("/save/{kind}", pages.save, methods=["POST"]),
            Route("/report", pages.report, methods=["POST"]),
            Route("/made/{what}", pages.made, methods=["POST"]),
            WebSocketRoute("/link", pages.link),
            Mount("/static/live", StaticFiles(directory=str(shipped("live/static")))),
            Mount("/static", StaticFiles(directory=str(static))),
        ],
        middleware=[Middleware(Guard, port=port, token=token, ticket=ticket)],
        exception_handlers=HANDLERS,
        lifespan=lifespan,
    )


def listen(port: int | None) -> socket.socket:
    """A socket on the loopback interface; any free port if `port` is None or 0. Raises InputError if it is taken."""
    own = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    own.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        own.bind((HOST, port or 0))
    except (OSError, OverflowError) as error:
        own.close()
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError(
            f"cannot bind port: {reason}", key="--port", value=port, expected="a free port, or 0 for any free port"
        ) from error
    own.listen(64)
    return own


def serve(opened: Opened, own: socket.socket, ready: Callable[[str, str], None]) -> None:
    """Answer pages on a socket made by `listen`, until interrupted.

    `ready` is called with the page's address and with one that leads there once, which a command line may show.
    """
    workbench = Workbench(opened)
    workbench.worker.submit(workbench.warm)  # while the server and the browser start
    # After that, a full collection of all that is loaded would stop a moving picture for a fifth of a second.
    workbench.worker.submit(gc.freeze)
    import uvicorn

    from .connection import TimedProtocol

    class Server(uvicorn.Server):
        def handle_exit(self, sig: int, frame: FrameType | None) -> None:
            workbench.ended = True  # at once, so that nothing waits for work in threads
            super().handle_exit(sig, frame)

    port, token, ticket = own.getsockname()[1], secrets.token_urlsafe(), secrets.token_urlsafe()
    start = f"http://{HOST}:{port}/"
    app = make_app(workbench, port, token, ticket, lambda: ready(f"{start}{token}/", f"{start}{ticket}"))
    config = uvicorn.Config(
        app,
        log_level="warning",
        access_log=False,
        http=TimedProtocol,
        ws="websockets-sansio",
        ws_max_size=MAX_QUESTION,
        ws_per_message_deflate=False,  # on one machine, packing costs more than it spares
        timeout_graceful_shutdown=1,
        server_header=False,
    )
    Server(config).run(sockets=[own])
