"""The workbench and those who mean it harm, or whose software is broken: no answer ends the link, nobody else gets in."""

from __future__ import annotations

import asyncio
import http.client
import json
import os
import re
import signal
import subprocess
import sys
import time
import warnings
from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import Any

import pytest
from starlette.types import ASGIApp, Message
from uvicorn import Config
from uvicorn.server import ServerState
from websockets.exceptions import InvalidStatus
from websockets.sync.client import connect
from workbench_link import PORT, TICKET, TOKEN, answers_to
from workbench_process import ROOT

import raylab as rl
from raylab.single_ray import ray_path
from raylab.workbench import bodies, connection
from raylab.workbench.design_json import DEMO, stone_of
from raylab.workbench.file_exchange import open_demo
from raylab.workbench.messages import encode
from raylab.workbench.pages import Workbench
from raylab.workbench.questions import about
from raylab.workbench.server import make_app

sys.path.insert(0, str(Path(__file__).parent / "fuzz"))

import run
from doors import DOORS

RAY: dict[str, Any] = {"kind": "ray", "id": 1, "side": "a", "design": DEMO, "dome": "head-shadow", "x_mm": 0, "y_mm": 0}
DEEP = "[" * 500 + "]" * 500


def ray(**values: str) -> str:
    """A question about a ray, with values as JSON."""
    written = {**{key: json.dumps(value) for key, value in RAY.items()}, **values}
    return "{" + ", ".join(f'"{key}": {value}' for key, value in written.items()) + "}"


# --- the link --------------------------------------------------------------------------------------------------------

FAULTY: dict[str, str | bytes] = {
    "half a character": '{"kind": "\\ud800"}',
    "half a character as id": ray(id='"\\udfff"'),
    "half a character as the stone's name": ray(design=json.dumps({**DEMO, "name": "N"}).replace('"N"', '"\\ud800"')),
    "half a character as a key": ray(**{"\\ud800": "1"}),
    "deep id": ray(id=DEEP),
    "deep kind": ray(kind=DEEP),
    "deep design": ray(design='{"kind": "facets", "facets": ' + DEEP + "}"),
    "less deep id": ray(id="[" * 150 + "]" * 150),
    "id of too many digits": ray(id="9" * 6000),
    "number of many digits": ray(x_mm="9" * 4000),
    "kind of no kind": ray(kind='{"a": 1}'),
    "side of no side": ray(side='"c"'),
    "unknown key": ray(tea="1"),
    "not a number": ray(y_mm="NaN"),
    "binary": ray().encode(),
    "binary nonsense": b"\xff\xfe\0",
    "empty": "",
}


def test_a_faulty_message_is_answered_in_a_line_and_the_link_lives():
    frames = [frame for faulty in FAULTY.values() for frame in (faulty, ray())]
    found = answers_to(frames)
    for name, faulty, good in zip(FAULTY, found[::2], found[1::2], strict=True):
        line = faulty["error"]["text"]
        assert line.isprintable(), name
        assert "internal error" not in line, name
        assert good["path"]["hits"], name
    known = dict(zip(FAULTY, found[::2], strict=True))
    assert known["side of no side"]["id"] == 1, "the page learns which question it was"
    assert known["less deep id"]["id"] is None


@pytest.mark.parametrize("value", ["\ud800", "x" * 61, "\n", [1], {}, 2**53, -(10**4000), float("nan"), float("inf"), None])
def test_only_plain_values_are_repeated(value):
    assert about({"id": value, "kind": "ray"}) == {"id": None, "kind": "ray", "side": None, "step": None}


def test_every_answer_is_utf8():
    assert b"a?b" in encode({"word": "a\ud800b"})


def test_random_messages_are_answered():
    assert run.run(0, 300 * len(DOORS), "link.json") == []


def test_a_tilt_next_to_nothing_is_followed_without_a_warning():
    """Planes all but parallel to a ray are met infinitely far away, which is no overflow to warn of."""
    scene = rl.Scene(stone_of(DEMO), rl.load_dome("head-shadow"), rl.View(tilt_deg=1e-320, tilt_azimuth_deg=20.0))
    level = rl.Scene(scene.stone, scene.dome)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        tilted = ray_path(scene, 0.5, -1.0)
    assert [hit.facet for hit in tilted.hits] == [hit.facet for hit in ray_path(level, 0.5, -1.0).hits]


# --- who may ask -----------------------------------------------------------------------------------------------------


def app() -> ASGIApp:
    return make_app(Workbench(open_demo()), PORT, TOKEN, TICKET)


async def asked(app: ASGIApp, path: str, receive: Callable[[], Awaitable[Message]], method: str = "POST") -> list[Message]:
    """What the application sends for one request to a path."""
    headers = [(b"host", f"127.0.0.1:{PORT}".encode()), (b"origin", f"http://127.0.0.1:{PORT}".encode())]
    scope = {"type": "http", "method": method, "path": path, "headers": headers, "query_string": b"name=x.toml"}
    sent: list[Message] = []

    async def send(message: Message) -> None:
        sent.append(message)

    await asyncio.wait_for(app({**scope, "http_version": "1.1", "root_path": ""}, receive, send), 20.0)
    return sent


async def nothing() -> Message:
    return {"type": "http.request", "body": b"", "more_body": False}


PATHS = ("/", "/start.json", "/static/main.js", "/open", "/save/csv", "/report", "/link", "/nothing")


def test_without_the_token_nothing_is_answered(workbench):
    token, origin = workbench.token, {"Origin": f"http://{workbench.host}"}
    wrong = ("", f"/{token[:-1]}", f"/{token}x", f"/{token[::-1]}", f"//{token}", f"/static/{token}", "/..", "/%00", "/%C3%BC")
    for path in PATHS:
        for start in wrong:
            for method in ("GET", "POST"):
                assert workbench.request_bare(method, start + path, **origin)[0] in (400, 403), (method, start, path)
    assert workbench.request_bare("GET", f"/{token}")[0] == 403
    assert workbench.request_bare("GET", f"/?{token}")[0] == 403
    assert workbench.request_bare("GET", f"/{token}/")[0] == 200
    for start in wrong[:4]:
        with pytest.raises(InvalidStatus) as facts:
            connect(f"ws://{workbench.host}{start}/link", origin=f"http://{workbench.host}", proxy=None)
        assert facts.value.response.status_code == 403


def test_the_page_asks_below_its_own_address_only():
    for file in (ROOT / "raylab" / "workbench" / "static").iterdir():
        assert re.findall(r"""(?:src|href)="/|(?:fetch|post)\(["'`]/""", file.read_text("utf-8")) == [], file.name


def test_a_browsers_command_line_shows_an_address_that_is_good_once(tmp_path):
    """As every user of the machine can list it."""
    browser, seen = tmp_path / "browser", tmp_path / "seen"
    browser.write_text(f'#!/bin/sh\necho "$1" > {seen}.part && mv {seen}.part {seen}\n')
    browser.chmod(0o700)
    process = subprocess.Popen(
        [sys.executable, "-m", "raylab", "workbench", "--port", "0"],
        env={**os.environ, "PYTHONPATH": str(ROOT), "BROWSER": f"{browser} %s"},
        stdout=subprocess.PIPE,
        text=True,
    )
    try:
        port, token = re.search(r"http://127\.0\.0\.1:(\d+)/([\w-]+)/", process.stdout.readline()).groups()
        deadline = time.monotonic() + 20.0
        while not seen.exists() and time.monotonic() < deadline:
            time.sleep(0.02)
        address = seen.read_text().strip()
        assert token not in address
        path = address.removeprefix(f"http://127.0.0.1:{port}")
        found = []
        for _ in range(2):
            own = http.client.HTTPConnection("127.0.0.1", int(port), timeout=20)
            own.request("GET", path)
            answer = own.getresponse()
            found.append((answer.status, answer.getheader("location")))
            own.close()
        assert found == [(303, f"/{token}/"), (403, None)]
    finally:
        process.send_signal(signal.SIGINT)
        process.communicate(timeout=20)


# --- slow and broken requests ----------------------------------------------------------------------------------------


async def closed_after_s(start: bytes, drip: bytes) -> float:
    """Seconds until a connection is closed that begins with `start` and then goes on, too slowly, for five seconds."""
    config = Config(app(), http=connection.TimedProtocol, ws="websockets-sansio", log_level="critical")
    config.load()
    loop, state = asyncio.get_running_loop(), ServerState()
    server = await loop.create_server(lambda: connection.TimedProtocol(config, state, {}), "127.0.0.1", 0)
    _, writer = await asyncio.open_connection(*server.sockets[0].getsockname())
    begun = time.monotonic()
    writer.write(start)
    try:
        while time.monotonic() - begun < 5.0:
            writer.write(drip)
            await writer.drain()
            await asyncio.sleep(0.05)
    except ConnectionError:
        pass
    writer.close()
    server.close()
    return time.monotonic() - begun


@pytest.mark.parametrize(
    ("start", "drip"),
    [
        (b"", b""),
        (b"GET / HTTP/1.1\r\n", b"x: y\r\n"),
        (b"GET / HTTP/1.1\r\nhost: x\r\n\r\n", b"GET"),
        (b"POST / HTTP/1.1\r\nhost: x\r\ncontent-length: 1000\r\n\r\n", b"x"),
    ],
    ids=["head", "headers", "second head", "refused body"],
)
def test_a_connection_without_a_whole_request_is_closed(monkeypatch, start, drip):
    monkeypatch.setattr(connection, "HEAD_S", 0.4)
    assert asyncio.run(closed_after_s(start, drip or b"G")) < 2.0


@pytest.mark.parametrize("path", ["open", "save/csv", "report"])
def test_a_body_that_never_ends_is_given_up(monkeypatch, path):
    monkeypatch.setattr(bodies, "BODY_S", 0.3)

    async def drip() -> Message:
        await asyncio.sleep(0.01)
        return {"type": "http.request", "body": b"x", "more_body": True}

    start, body = asyncio.run(asked(app(), f"/{TOKEN}/{path}", drip))
    assert start["status"] == 408
    assert "too slow" in json.loads(body["body"])["error"]["text"]


@pytest.mark.parametrize("path", ["open", "save/csv", "report"])
def test_an_upload_that_breaks_off_is_no_fault_of_ours(path):
    said = iter([{"type": "http.request", "body": b"x", "more_body": True}, {"type": "http.disconnect"}])

    async def broken() -> Message:
        return next(said)

    asyncio.run(asked(app(), f"/{TOKEN}/{path}", broken))


def test_one_upload_at_a_time_is_received():
    """So that all of them together hold no more than one file may."""

    async def story() -> list[tuple[str, int]]:
        ours, now, going = app(), [], asyncio.Event()

        async def body(name: str) -> Message:
            now.append(name)
            if name == "first":
                await going.wait()
            return {"type": "http.request", "body": b"", "more_body": False}

        uploads = []
        for name in ("first", "second"):
            uploads.append(asyncio.create_task(asked(ours, f"/{TOKEN}/open", lambda name=name: body(name))))
            await asyncio.sleep(0.2)
        assert now == ["first"]
        going.set()
        return [(await upload)[0]["status"] for upload in uploads]

    assert asyncio.run(story()) == [422, 422]


@pytest.mark.parametrize("name", ["\U00020000" * 100 + ".toml", "x." + "y" * 300, "\0", "..", "%", "a" * 5000])
def test_a_files_name_may_be_anything(workbench, name):
    from urllib.parse import quote

    status, _, content = workbench.post(f"/open?name={quote(name)}", b"x")
    assert status == 422
    assert json.loads(content)["error"]["text"].isprintable()
