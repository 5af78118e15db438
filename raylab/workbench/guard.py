"""Access to the workbench: only for a page that the workbench itself served to its own user's browser on this machine.

The server listens on the loopback interface alone. That keeps out neither other users of the machine nor a web page from
elsewhere which the user has open at the same time: it can address 127.0.0.1, or have its own name resolve to it (DNS
rebinding). So the path of every request must begin with a random token that only the user's terminal shows, every request
must name the workbench as its host, and what changes or computes anything must come from the workbench's own page.

A browser is started with a command line, which other users can read. So it gets another address, a ticket, that leads to the
page once and never again.
"""

from __future__ import annotations

import secrets

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

SAFE = ("GET", "HEAD")
"""Methods that compute nothing and change nothing; browsers send them without an Origin."""


class Guard:
    """ASGI middleware: refuses requests without the token and from foreign hosts and origins, and keeps the page from loading
    from or sending to other hosts."""

    def __init__(self, app: ASGIApp, *, port: int, token: str, ticket: str) -> None:
        self.app, self.token, self.ticket = app, token, ticket
        self.hosts = (f"127.0.0.1:{port}", f"localhost:{port}")
        sockets = " ".join(f"ws://{host}" for host in self.hosts)
        self.policy = (
            "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; "
            f"connect-src 'self' {sockets}; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
        )

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request through, or answer it here."""
        if scope["type"] not in ("http", "websocket"):
            await self.app(scope, receive, send)
            return
        first, slash, _ = scope["path"].removeprefix("/").partition("/")
        ours = self._is_ours(scope)
        if ours and slash and _same(first, self.token):
            scope["root_path"] = f"/{self.token}"
            await self.app(scope, receive, self._marked(send))
        elif scope["type"] == "websocket":
            await send({"type": "websocket.close", "code": 1008})  # before it was accepted: the browser sees a 403
        else:
            answer: Response = PlainTextResponse("This address serves the workbench page only.\n", status_code=403)
            if ours and not slash and _same(first, self.ticket):
                self.ticket = secrets.token_urlsafe()  # this one is used up
                answer = RedirectResponse(f"/{self.token}/", status_code=303)
            await answer(scope, receive, self._marked(send))

    def _is_ours(self, scope: Scope) -> bool:
        headers = Headers(scope=scope)
        hosts, origins = headers.getlist("host"), headers.getlist("origin")
        if len(hosts) != 1 or hosts[0].lower() not in self.hosts or len(origins) > 1:
            return False
        if origins:
            return origins[0].lower() == f"http://{hosts[0].lower()}"
        return scope["type"] == "http" and scope["method"] in SAFE

    def _marked(self, send: Send) -> Send:
        async def with_policy(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                headers["content-security-policy"] = self.policy
                headers["x-content-type-options"] = "nosniff"
                headers["referrer-policy"] = "no-referrer"
                headers["cross-origin-resource-policy"] = "same-origin"
                headers["cross-origin-opener-policy"] = "same-origin"
                headers["cache-control"] = "no-cache"  # a newer raylab must not meet an older page
            await send(message)

        return with_policy


def _same(given: str, secret: str) -> bool:
    """Whether a text is the secret; how long the answer takes doesn't say how much of it is right."""
    return secrets.compare_digest(given.encode(), secret.encode())
