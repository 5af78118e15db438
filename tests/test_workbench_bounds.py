"""A question that takes long blocks nobody: overtaken, page left, server ended, or beyond what one question may take."""

from __future__ import annotations

import asyncio
import json
import signal
import time
from collections.abc import Callable, Coroutine
from typing import Any

import pytest
from polyhedra import many_facets
from processor_time import of_ended_s, processor_s
from workbench_link import PORT, TICKET, TOKEN
from workbench_process import BenchProcess, unpack

from raylab.stopping import Check
from raylab.workbench import bounds, conversation
from raylab.workbench.design_json import DEMO, facet_design
from raylab.workbench.file_exchange import open_demo
from raylab.workbench.pages import Workbench
from raylab.workbench.server import make_app

LATE_S = 1.0
"""A question must end within this, in time of the processor; 0.3 s by the clock are promised on a machine that does nothing
else."""
HEAVY = facet_design(many_facets(2000))
"""Its exact picture takes minutes."""
SLOW = facet_design(many_facets(150))
"""Its coarse picture takes several times as long as a brilliant's."""


def picture(number: int, design: dict[str, Any], step: str) -> str:
    question = {"kind": "picture", "id": number, "side": "a", "step": step, "design": design, "dome": "head-shadow"}
    return json.dumps({**question, "maps": ["leak"]})


class Page:
    """A page on a link to the whole application, without a server between."""

    def __init__(self, workbench: Workbench) -> None:
        self.said, self.heard = asyncio.Queue[dict[str, Any]](), asyncio.Queue[dict[str, Any]]()
        headers = [(b"host", f"127.0.0.1:{PORT}".encode()), (b"origin", f"http://127.0.0.1:{PORT}".encode())]
        scope = {"type": "websocket", "path": f"/{TOKEN}/link", "headers": headers, "query_string": b"", "subprotocols": []}
        self.said.put_nowait({"type": "websocket.connect"})
        self.link = asyncio.create_task(make_app(workbench, PORT, TOKEN, TICKET)(scope, self.said.get, self.heard.put))

    def ask(self, *question: Any) -> None:
        self.said.put_nowait({"type": "websocket.receive", "text": picture(*question)})

    async def answer(self) -> dict[str, Any]:
        while (message := await self.heard.get())["type"] != "websocket.send":
            pass
        return unpack(message["bytes"])[0]

    async def leave(self) -> None:
        self.said.put_nowait({"type": "websocket.disconnect", "code": 1001})
        await self.link


@pytest.fixture
def pauses(monkeypatch) -> list[float]:
    """When the questions of this process paused."""
    seen: list[float] = []
    made = conversation.bounds_of

    def watched(*given: Any) -> Check:
        check = made(*given)

        def seen_too() -> None:
            seen.append(time.monotonic())
            check()

        return seen_too

    monkeypatch.setattr(conversation, "bounds_of", watched)
    return seen


def told(story: Callable[[Workbench], Coroutine[Any, Any, Any]]) -> Any:
    """What a story with a workbench comes to; its threads have ended then."""
    workbench = Workbench(open_demo())
    try:
        return asyncio.run(asyncio.wait_for(story(workbench), 240.0))
    finally:
        workbench.ended = True
        workbench.worker.shutdown()


async def busy(pauses: list[float], more: int = 40) -> None:
    """Wait until the question in work has paused so often, so that its kernels run."""
    wanted = len(pauses) + more
    while len(pauses) < wanted:
        await asyncio.sleep(0.01)


def test_a_newer_question_ends_the_older_one(pauses):
    async def story(workbench: Workbench) -> tuple[dict[str, Any], float, dict[str, Any]]:
        page = Page(workbench)
        page.ask(1, HEAVY, "exact")
        await busy(pauses)
        page.ask(2, DEMO, "coarse")
        wished = time.process_time()
        first, late_s = await page.answer(), time.process_time() - wished
        second = await page.answer()
        await page.leave()
        return first, late_s, second

    first, late_s, second = told(story)
    assert first == {"kind": "picture", "id": 1, "side": "a", "step": "exact", "overtaken": True, "arrays": []}
    assert late_s < LATE_S
    assert (second["id"], "summary" in second) == (2, True)


def test_a_page_that_leaves_takes_its_question_with_it(pauses):
    async def story(workbench: Workbench) -> float:
        gone, here = Page(workbench), Page(workbench)
        gone.ask(1, HEAVY, "exact")
        await busy(pauses)
        here.ask(1, DEMO, "coarse")
        await gone.leave()
        wished = time.process_time()
        await here.answer()
        late_s = time.process_time() - wished
        await here.leave()
        return late_s

    assert told(story) < LATE_S + 1.0, "with the time of the other page's picture"


def test_quick_pictures_follow_a_slider_that_never_rests(monkeypatch, pauses):
    """A coarse picture that comes soon is given although a newer one waits."""
    monkeypatch.setattr(bounds, "SOON_S", 60.0)

    async def story(workbench: Workbench) -> list[dict[str, Any]]:
        page = Page(workbench)
        page.ask(1, SLOW, "coarse")
        await busy(pauses, 1)
        page.ask(2, DEMO, "coarse")
        found = [await page.answer(), await page.answer()]
        await page.leave()
        return found

    assert ["summary" in one for one in told(story)] == [True, True]


@pytest.mark.parametrize(("bound", "value", "words"), [("MOST_S", 0.5, "0.5 s"), ("MOST_MEMORY", -(10**12), "GB of memory")])
def test_what_takes_too_much_is_given_up_in_a_line(monkeypatch, bound, value, words):
    monkeypatch.setattr(bounds, bound, value)

    async def story(workbench: Workbench) -> dict[str, Any]:
        page = Page(workbench)
        page.ask(1, HEAVY, "exact")
        found = await page.answer()
        await page.leave()
        return found

    text = told(story)["error"]["text"]
    assert text.startswith("the answer takes more than")
    assert words in text
    assert "\n" not in text


def test_the_server_ends_while_a_question_runs():
    own = BenchProcess()
    try:
        with own.link() as page:
            page.send(picture(1, DEMO, "exact"))  # what it takes is compiled
            page.recv(timeout=120)
            page.send(picture(2, HEAVY, "exact"))
            with pytest.raises(TimeoutError):
                page.recv(timeout=1.5)
            wished = processor_s(own.process.pid) + of_ended_s()
            own.process.send_signal(signal.SIGTERM)
            _, err = own.process.communicate(timeout=60)
    finally:
        own.kill()
    assert (own.process.returncode, err) == (0, "")
    assert of_ended_s() - wished < 2.0, "1 s by the clock is promised on a machine that does nothing else"
