"""The workbench's link without a server and a browser: frames in, answers out, through the whole application."""

from __future__ import annotations

import asyncio
from collections.abc import Iterable
from typing import Any

from workbench_process import unpack

from raylab.workbench.file_exchange import open_demo
from raylab.workbench.pages import Workbench
from raylab.workbench.server import make_app

PORT, TOKEN, TICKET = 8407, "token", "ticket"


def answers_to(frames: Iterable[str | bytes], workbench: Workbench | None = None) -> list[dict[str, Any]]:
    """The header of the answer to each frame, all on one link; the next frame is sent when the last one is answered."""
    return asyncio.run(asyncio.wait_for(_talk(frames, workbench or Workbench(open_demo())), 300.0))


async def _talk(frames: Iterable[str | bytes], workbench: Workbench) -> list[dict[str, Any]]:
    said, heard = asyncio.Queue[dict[str, Any]](), asyncio.Queue[dict[str, Any]]()
    headers = [(b"host", f"127.0.0.1:{PORT}".encode()), (b"origin", f"http://127.0.0.1:{PORT}".encode())]
    scope = {"type": "websocket", "path": f"/{TOKEN}/link", "headers": headers, "query_string": b"", "subprotocols": []}
    link = asyncio.create_task(make_app(workbench, PORT, TOKEN, TICKET)(scope, said.get, heard.put))
    said.put_nowait({"type": "websocket.connect"})
    assert (await heard.get())["type"] == "websocket.accept"
    found = []
    for frame in frames:
        said.put_nowait({"type": "websocket.receive", "text" if isinstance(frame, str) else "bytes": frame})
        hearing = asyncio.create_task(heard.get())
        await asyncio.wait([hearing, link], return_when=asyncio.FIRST_COMPLETED)
        assert not link.done(), f"the link ended at {frame[:80]!r}"
        message = await hearing
        assert message["type"] == "websocket.send"
        found.append(unpack(message["bytes"])[0])
    said.put_nowait({"type": "websocket.disconnect", "code": 1001})
    await link
    return found
