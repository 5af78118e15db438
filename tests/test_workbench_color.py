"""Colour pictures and films of the page: the library's pixels, transparent off the stone, and refusals in one line."""

from __future__ import annotations

import asyncio
import base64
import io
import json
from typing import Any

import numpy as np
import pytest
from PIL import Image
from workbench_link import PORT, TICKET, TOKEN

import raylab as rl
from raylab.optics.color import srgb_encode
from raylab.workbench import color_maps
from raylab.workbench.color_maps import LIGHT, MADE, STEPS, color_map
from raylab.workbench.design_json import DEMO, stone_of
from raylab.workbench.file_exchange import open_demo
from raylab.workbench.pages import Workbench
from raylab.workbench.server import make_app

DOMES = {"head-shadow": rl.load_dome("head-shadow")}
ASKED: dict[str, Any] = {"design": DEMO, "dome": "head-shadow", "tilt_deg": 6.0, "exposure": 0.8, "step": "coarse"}


def still(done: float, total: float) -> None:
    pass


def test_the_map_in_colour_is_the_librarys_picture():
    found = color_map(ASKED, DOMES, still)
    pixels = np.asarray(Image.open(io.BytesIO(base64.b64decode(found["png"])))) / 255.0
    resolution, spectrum = STEPS["coarse"]
    scene = rl.Scene(stone_of(DEMO), DOMES["head-shadow"], rl.View(tilt_deg=6.0), color_maps.LOOSE, resolution)
    seen = rl.color_picture(scene, LIGHT, 0.8, spectrum)
    np.testing.assert_allclose(pixels[..., 3], seen.coverage, atol=0.5 / 255 + 1e-9)
    full = seen.coverage > 1.0 - 1e-9
    assert full.sum() > 0.5 * full.size
    np.testing.assert_allclose(pixels[full][:, :3], seen.srgb()[full], atol=0.5 / 255 + 1e-9)
    edge = (seen.coverage > 0.2) & (seen.coverage < 0.9)  # no dark rim: laid on black by its coverage it is the same as that
    linear = seen.linear()[edge] / seen.coverage[edge][:, None]
    inside = ((linear >= 0.0) & (linear <= 1.0)).all(axis=1)
    np.testing.assert_allclose(pixels[edge][inside][:, :3], srgb_encode(linear[inside]), atol=0.5 / 255 + 1e-6)
    assert found["grid"] == {**vars_of(seen), "side": resolution}
    assert (found["light"], found["about"]) == ("D65", seen.about)


def vars_of(seen: rl.Picture) -> dict[str, float]:
    return {key: getattr(seen.grid, key) for key in ("x0_mm", "y0_mm", "pixel_mm")}


def test_a_film_rocks_the_stone(monkeypatch):
    for key, value in (("STILLS", 3), ("FILM_SIZE", 24), ("FILM_WAVES", 3)):
        monkeypatch.setattr(color_maps, key, value)
    shares: list[float] = []
    found = MADE["film"](ASKED, DOMES, lambda done, total: shares.append(done / total))
    moving = Image.open(io.BytesIO(base64.b64decode(found["webp"])))
    assert (moving.format, moving.n_frames, moving.size) == ("WEBP", 3, (24, 24))
    stills = []
    for k in range(3):
        moving.seek(k)
        stills.append(np.asarray(moving.convert("RGB"), dtype=int))
    assert np.abs(stills[1] - stills[2]).max() > 50, "it leans to either side"
    assert found["name"] == "w-1-invented-rocking.webp"
    assert shares[-1] == 1.0


@pytest.mark.parametrize(
    ("what", "changes", "words"),
    [
        ("color", {"step": "finest"}, "step = 'finest': unknown step"),
        ("color", {"exposure": 0.0}, "exposure = 0.0: out of range"),
        ("film", {"exposure": -1.0}, "exposure = -1.0: out of range"),
        ("color", {"dome": "tea"}, "dome = 'tea': unknown dome"),
        ("film", {"tilt_deg": "x"}, "tilt_deg = 'x': wrong type"),
        ("film", {"design": {"kind": "tea"}}, "unknown kind of design"),
        ("color", {"tea": 1}, "unknown key"),
    ],
)
def test_what_cannot_be_made_is_reported_in_one_line(what, changes, words):
    lines = posted(f"/made/{what}", {**ASKED, **changes})
    assert words in lines[-1]["error"]["text"]


def test_nothing_else_is_made():
    assert "what = 'tea': unknown; expected one of color, film" in posted("/made/tea", ASKED)[-1]["error"]["text"]


def posted(path: str, question: dict[str, Any]) -> list[dict[str, Any]]:
    """The lines of JSON that the application answers, without a server between."""

    async def talk() -> bytes:
        headers = [(b"host", f"127.0.0.1:{PORT}".encode()), (b"origin", f"http://127.0.0.1:{PORT}".encode())]
        scope = {
            "type": "http", "method": "POST", "path": f"/{TOKEN}{path}", "headers": headers, "query_string": b"",
            "http_version": "1.1", "scheme": "http",
        }  # fmt: skip
        said, heard = asyncio.Queue[dict[str, Any]](), []
        said.put_nowait({"type": "http.request", "body": json.dumps(question).encode(), "more_body": False})

        async def send(message: dict[str, Any]) -> None:
            heard.append(message.get("body", b""))

        await make_app(Workbench(open_demo()), PORT, TOKEN, TICKET)(scope, said.get, send)
        return b"".join(heard)

    return [json.loads(line) for line in asyncio.run(asyncio.wait_for(talk(), 60.0)).splitlines()]
