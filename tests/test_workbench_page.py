"""The workbench in a real browser without a window, driven as a cutter's hands would."""

from __future__ import annotations

import base64
import io
import json
import re
import struct
import tomllib
import zlib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import scanned
import trimesh
from PIL import Image
from playwright.sync_api import Browser, ConsoleMessage, Route, WebSocketRoute
from workbench_process import BenchProcess

import raylab as rl
from raylab.color.picture import Picture
from raylab.cutting.blocked import blocked_stone
from raylab.cutting.last_facets import finished
from raylab.optics.color import srgb_decode
from raylab.scene.pixel_grid import PixelGrid
from raylab.stone.facet_table import facet_table
from raylab.stone.index_wheel import index_of, index_words
from raylab.workbench.answers import STEPS
from raylab.workbench.design_json import DEMO, facet_design, stone_of
from raylab.workbench.file_exchange import open_bytes

WAIT_MS = 240_000  # a first start compiles; on a busy machine that takes minutes
SLIDERS = {
    "table_pct": 59.5,
    "crown_angle_deg": 33.25,
    "star_pct": 52.5,
    "pavilion_angle_deg": 41.15,
    "lower_half_pct": 80,
    "culet_pct": 1.5,
    "girdle_pct": 4.2,
    "diameter_mm": 5.5,
    "absorption_per_mm": 0.02,
    "tilt_deg": 3.5,
    "tilt_azimuth_deg": 77,
}


SIZE = {"width": 1280, "height": 900}
FORGET = """
if (location.protocol === 'http:' && window.name !== 'kept') {
  sessionStorage.clear();
  localStorage.clear();
  localStorage.setItem('raylab-strips', '%s');
  window.name = 'kept';
}"""
"""Run before a page's own scripts, and nothing on a reload: the window's name outlives it."""


NUMBERS = """Object.fromEntries([...document.querySelectorAll('[data-number]')].map(
  (one) => [one.dataset.number, one.innerText.trim().split(/\\s/)[0]]))"""


class Workbench:
    """A page and what it did: console lines of any weight, addresses asked for."""

    def __init__(self, browser: Browser, strips: str = "", **context: Any) -> None:
        """`strips` is what stands along each slider: nothing, so that no page computes what no test reads."""
        self.complaints: list[str] = []
        self.asked: list[str] = []
        self.page = browser.new_page(viewport=SIZE, **context)
        self.page.set_default_timeout(WAIT_MS)
        self.page.on("console", self._hear)
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))
        self.page.on("request", lambda request: self.asked.append(request.url))
        self.page.on("websocket", lambda socket: self.asked.append(socket.url))
        self.page.add_init_script(FORGET % strips)

    def open(self, address: str) -> None:
        self.page.goto(address)
        self.rest()

    def leave(self) -> None:
        """Leave the workbench; who opens it again finds nothing kept."""
        self.page.unroute_all()
        self.page.goto("about:blank")
        self.page.evaluate("window.name = ''")
        self.page.set_viewport_size(SIZE)

    def _hear(self, message: ConsoleMessage) -> None:
        if message.type in ("error", "warning") and "GPU stall due to ReadPixels" not in message.text:  # a screenshot's own
            self.complaints.append(message.text)

    def refusals_are_the_only_complaints(self) -> None:
        """The browser's own lines on a refusal are forgotten, and there are no others."""
        assert [line for line in self.complaints if "422" not in line] == []
        self.complaints.clear()

    def rest(self) -> None:
        """Wait until an exact picture of exactly what the controls say is shown."""
        self.page.wait_for_selector("html[data-state=exact]", state="attached")

    def slide(self, key: str, value: float) -> None:
        self.page.locator(f"[data-slider={key}]").fill(str(value))
        self.rest()

    def numbers(self) -> dict[str, str]:
        """Every number on the page by its name, as it is written; all at once, since each look costs some milliseconds."""
        return dict(self.page.evaluate(NUMBERS))

    def number(self, name: str) -> str:
        return self.numbers()[name]

    def field(self, key: str) -> float:
        return float(self.page.locator(f"[data-field={key}]").input_value())

    def values(self) -> dict[str, float]:
        found = self.page.evaluate("keys => keys.map((key) => document.querySelector(`[data-field=${key}]`).value)", [*SLIDERS])
        return {key: float(value) for key, value in zip(SLIDERS, found, strict=True)}

    def problem(self) -> str:
        return self.page.locator("#problem-text").inner_text()

    def drop(self, name: str, data: bytes) -> None:
        self.page.set_input_files("#file", {"name": name, "mimeType": "application/octet-stream", "buffer": data})


@pytest.fixture(scope="module")
def usual_page(browser: Browser) -> Workbench:
    """The page of most tests. A page that is opened again costs a third of a new one."""
    return Workbench(browser)


@pytest.fixture
def open_page(browser: Browser, workbench: BenchProcess, usual_page: Workbench) -> Iterator[Callable[..., Workbench]]:
    opened: list[Workbench] = []

    def go(**context: Any) -> Workbench:
        opened.append(usual_page if not (opened or context) else Workbench(browser, **context))
        opened[-1].open(workbench.address)
        return opened[-1]

    yield go
    for one in opened:
        if one is usual_page:
            one.leave()
        else:
            one.page.context.close()
        assert one.complaints == []
        assert {re.match(r"\w+://([^/]+)|blob:|data:", url)[1] for url in one.asked} <= {workbench.host, None}
        one.asked.clear()


FEW = 16
"""Pixels along a side where only numbers are looked at, which hang on none."""


def traced(values: dict[str, float], resolution: int = FEW, **more: Any) -> rl.Result:
    """What the library says of the page's controls."""
    view = rl.View(tilt_deg=values["tilt_deg"], tilt_azimuth_deg=values["tilt_azimuth_deg"])
    design = {**DEMO, **{key: value for key, value in values.items() if not key.startswith("tilt")}, **more}
    return seen(stone_of(design), view, resolution=resolution)


def seen(stone: rl.Stone, view: rl.View | None = None, dome: str | Path = "head-shadow", resolution: int = FEW) -> rl.Result:
    """What the library says of a stone, without the account that the page doesn't tell."""
    settings, _ = STEPS["exact"]
    return rl.trace_scene(rl.Scene(stone, rl.load_dome(dome), view or rl.View(), settings, resolution), by_facet=False)


def written(value: float, digits: int = 4) -> str:
    """A number as the page writes it: a true minus sign, and none before a zero."""
    text = f"{value:.{digits}f}"
    return text.replace("-", "") if float(text) == 0 else text.replace("-", "−")


def assert_reported(page: Workbench, result: rl.Result, side: str = "a") -> None:
    """Every number on the page is the library's."""
    wanted = {f"{name}.{side}": written(statistic.value) for name, statistic in result.summary.statistics.items()}
    wanted[f"weight_ct.{side}"] = written(result.scene.stone.weight_ct, 3)
    numbers = page.numbers()
    assert {name: numbers[name] for name in wanted} == wanted


# --- the page as it opens --------------------------------------------------------------------------------------------


def test_every_slider_moves_the_stone_to_what_the_library_says(open_page):
    page = open_page()
    assert_reported(page, traced(page.values()))
    before = page.values()
    for key, value in SLIDERS.items():
        page.slide(key, value)
        assert page.field(key) == value
        facts = traced(page.values())
        assert_reported(page, facts)
        cell, bright = page.page.locator('[data-number="brightness.a"]'), facts.summary.brightness
        assert cell.locator(".bracket").inner_text() == (f"± {error}" if float(error := written(bright.error)) else "")
        hover = f"; certainly between {written(bright.low, 6)} and {written(bright.high, 6)}"
        assert cell.get_attribute("title") == f"{written(bright.value, 6)} ± {written(bright.error, 6)} (standard error){hover}"
        if key == "absorption_per_mm":  # a tint costs time that the tilts need not pay again
            page.slide(key, 0)
    page.page.select_option("#choice-girdle_finish", "absorbing")
    page.page.select_option("#material", "corundum")
    page.rest()
    assert_reported(page, traced(page.values(), girdle_finish="absorbing", material="sapphire"))
    note = page.page.locator("#figures .note").first.inner_text()
    assert note == "corundum: doubly refracting: traced with the ordinary index only", "it stands with the numbers too"
    for _ in range(len([key for key in SLIDERS if not key.startswith("tilt")]) + 3):
        page.page.keyboard.press("Control+z")
    page.page.click("#face-up")
    page.rest()
    assert page.values() == before
    assert_reported(page, traced(before))


def test_another_cut_has_its_own_sliders(open_page):
    """The table, which has no default, is kept; the rest has the cut's defaults. Undo brings the first cut back."""
    page = open_page()
    before = page.values()
    page.slide("table_pct", 61)
    for name in ("emerald cut", "oval brilliant"):
        page.page.select_option("#cut", name)
        page.rest()
        assert_reported(page, seen(rl.cut(name, table_pct=61)))
        assert page.field("length_ratio") == 1.4
    page.slide("length_ratio", 1.2)
    assert page.number("weight_ct.a") == written(rl.oval_brilliant(table_pct=61, length_ratio=1.2).weight_ct, 3)
    assert page.number("length_mm.a") == "6.000"
    keel = page.page.locator("[data-box=pavilion_end_angle_deg]")
    for angle in (37.0, None):  # the middle of the slider, and back to one point below
        keel.set_checked(angle is not None)
        page.rest()
        oval = rl.oval_brilliant(table_pct=61, length_ratio=1.2, pavilion_end_angle_deg=angle)
        assert page.number("weight_ct.a") == written(oval.weight_ct, 3)
    for _ in range(6):
        page.page.keyboard.press("Control+z")
    page.rest()
    assert page.page.locator("#cut").input_value() == "round brilliant"
    assert page.number("diameter_mm.a") == "6.500"
    assert page.values() == before


def test_keys_move_sliders_and_fields_and_a_typed_nothing_is_not_taken(open_page):
    page = open_page()
    slider, field = page.page.locator("[data-slider=crown_angle_deg]"), page.page.locator("[data-field=crown_angle_deg]")
    slider.focus()
    page.page.keyboard.press("ArrowLeft")
    page.rest()
    assert page.field("crown_angle_deg") == 34.45
    field.fill("33.333")
    field.press("Enter")
    page.rest()
    assert page.field("crown_angle_deg") == 33.333
    assert_reported(page, traced(page.values()))
    field.fill("")
    field.press("Enter")
    assert page.field("crown_angle_deg") == 33.333
    page.page.keyboard.press("Tab")
    page.page.keyboard.press("Control+z")
    page.rest()
    assert page.field("crown_angle_deg") == 34.45
    page.page.keyboard.press("Control+Shift+z")
    page.rest()
    assert page.field("crown_angle_deg") == 33.333
    page.page.click("#reset")
    page.rest()
    assert page.field("crown_angle_deg") == 34.5


def test_an_impossible_stone_is_reported_and_the_page_goes_on(open_page):
    page = open_page()
    shown = page.number("brightness.a")
    page.page.locator("[data-field=girdle_pct]").fill("0.1")
    page.page.keyboard.press("Enter")
    page.page.wait_for_selector("#problem:not([hidden])")
    assert page.problem().startswith("Girdle thickness = 0.1: the girdle vanishes")
    assert page.page.locator("[data-field=girdle_pct]").get_attribute("aria-invalid") == "true"
    page.page.wait_for_selector("html[data-state=fault]", state="attached")
    assert page.page.locator("#state").inner_text() == "last valid stone shown"
    assert page.number("brightness.a") == shown
    page.slide("girdle_pct", 4)
    assert page.page.locator("#problem").is_hidden()
    assert page.page.locator("[data-field=girdle_pct]").get_attribute("aria-invalid") == "false"
    assert_reported(page, traced(page.values()))
    page.page.locator("[data-field=pavilion_angle_deg]").fill("86")
    page.page.keyboard.press("Enter")
    page.page.wait_for_selector("#problem:not([hidden])")
    assert page.problem().startswith("Pavilion angle changed: Girdle thickness = 4.0: ")
    assert "; expected pavilion angle at most " in page.problem(), "labels, wherever a key is named"
    marked = page.page.locator("[aria-invalid=true]")
    assert marked.evaluate_all("found => found.map((one) => one.dataset.field)") == ["pavilion_angle_deg"]
    page.page.click("#undo")
    page.rest()
    assert marked.count() == 0


def test_the_maps_are_the_librarys_pixel_by_pixel(open_page):
    """The painted canvas, read back where a map is even, has the colours of the shared tables."""
    page = open_page()
    page.page.locator("#edges").uncheck()
    page.page.get_by_label("Map 2 of stone A").select_option("leak")
    page.rest()
    result = traced(page.values(), STEPS["exact"][1])
    box = page.page.evaluate(
        """() => { const c = document.querySelector('[data-map="1"] canvas');
        return { side: c.width, pixels: Array.from(c.getContext('2d').getImageData(0, 0, c.width, c.width).data) }; }"""
    )
    picture = np.array(box["pixels"]).reshape(box["side"], box["side"], 4)[::-1]
    extent = 1.06 * result.scene.stone.size_mm[:2].max()
    places = ((np.arange(box["side"]) + 0.5) / box["side"] - 0.5) * extent
    leak = result.maps.leak.interp(x=places, y=places, method="nearest").values
    from matplotlib import colormaps

    wanted = np.rint(np.array(colormaps["magma"](np.clip(leak, 0.0, 1.0)))[..., :3] * 255)
    near = [np.roll(leak, shift, axis) for axis in (0, 1) for shift in (-3, -2, -1, 1, 2, 3)]
    even = np.all([np.abs(leak - other) < 1e-3 for other in near], axis=0)
    assert even.sum() > 5000
    assert np.abs(picture[..., :3] - wanted)[even].max() <= 3, "a step of 256 and the browser's scaling"
    assert (picture[0, :, 3] == 0).all(), "nothing is painted beside the stone"
    page.page.get_by_label("Map 2 of stone A").select_option("untraced")
    page.rest()
    most = result.summary.statistics["untraced"].high
    assert page.page.locator('[data-map="1"] .map-head span').first.inner_text() == f"mean {written(most)}", "of what is shown"


# --- light, facets, paths --------------------------------------------------------------------------------------------


def canvas(page: Workbench, selector: str) -> bytes:
    return page.page.locator(selector).screenshot()


def colors(png: bytes) -> int:
    """How many different pixels a screenshot holds (8-bit RGB or RGBA, as chromium writes them)."""
    _, height, depth, kind = struct.unpack(">IIBB", png[16:26])
    assert (depth, kind in (2, 6)) == (8, True)
    data, at = b"", 8
    while at < len(png):
        length, name = struct.unpack(">I4s", png[at : at + 8])
        data += png[at + 8 : at + 8 + length] if name == b"IDAT" else b""
        at += 12 + length
    rows = np.frombuffer(zlib.decompress(data), np.uint8).reshape(height, -1)
    return len(np.unique(rows[:, 1:].reshape(-1, 3 if kind == 2 else 4), axis=0))


def test_a_facet_chosen_in_3d_lights_up_in_the_maps_and_in_the_table(open_page):
    page = open_page()
    assert page.page.locator("#solid-missing").is_hidden()
    assert colors(canvas(page, "#solid-canvas")) > 50, "the stone is drawn"
    page.page.get_by_role("button", name="Below").click()
    plain = canvas(page, '[data-map="0"] .map-frame canvas')
    solid = page.page.locator("#solid-canvas")
    box = solid.bounding_box()
    # from below a pavilion main lies to the right of the middle; the view is from -z with y mirrored
    page.page.mouse.click(box["x"] + box["width"] * 0.68, box["y"] + box["height"] * 0.5)
    page.rest()
    assert page.page.locator("#facet-card h3").inner_text() == "pavilion main 0"
    assert canvas(page, '[data-map="0"] .map-frame canvas') != plain
    page.page.get_by_role("tab", name="Facets").click()
    row = page.page.locator("tr.chosen")
    assert row.get_by_role("button").get_attribute("aria-label") == "Choose pavilion main 0"
    assert row.get_by_role("button").get_attribute("aria-pressed") == "true"
    solid.focus()
    page.page.keyboard.press(".")
    page.rest()
    assert page.page.locator("#facet-card h3").inner_text() == "pavilion main 1"
    page.page.get_by_role("button", name="Choose pavilion main 1", exact=True).click()
    page.rest()
    assert page.page.locator("tr.chosen").count() == 0


def test_an_edited_facet_makes_a_table_of_facets(open_page):
    page = open_page()
    page.page.get_by_role("tab", name="Facets").click()
    slope = page.page.get_by_label("slope of pavilion main 2, degrees")
    assert slope.input_value() == "40.75"
    slope.fill("41.0")
    slope.press("Enter")
    page.rest()
    design = facet_design(stone_of(DEMO))
    for row in design["facets"]:
        if row[:2] == ["pavilion main", 2]:
            row[3] = 41.0
    assert_reported_but_symmetry(page, seen(stone_of(design)))
    kept = page.page.evaluate("JSON.parse(sessionStorage.getItem('raylab-workbench')).state.designs.a")
    assert (kept["cut"], kept["measured"]) == ("round brilliant", False), "nobody measured it"
    page.page.get_by_role("tab", name="Proportions").click()
    assert "edit its facets in the panel Facets" in page.page.locator("#panel-proportions").inner_text()
    page.page.get_by_role("tab", name="Facets").click()
    distance = page.page.get_by_label("distance of table 0, millimetres from the centre")
    distance.fill("9")
    distance.press("Enter")
    page.page.wait_for_selector("#problem:not([hidden])")
    assert "table 0" in page.problem()
    page.page.keyboard.press("Control+z")
    page.page.keyboard.press("Control+z")
    page.rest()
    assert_reported(page, traced(page.values()))


def assert_reported_but_symmetry(page: Workbench, result: rl.Result) -> None:
    """As `assert_reported`; a sampled symmetry is told with its error instead of a bracket."""
    numbers = page.numbers()
    for name, statistic in result.summary.ledger.items():
        assert numbers[f"{name}.a"] == written(statistic.value), name
    assert numbers["symmetry.a"] == written(result.summary.symmetry.value)
    assert "±" in page.page.locator('[data-number="symmetry.a"]').inner_text()


def test_a_map_tilts_when_dragged_and_tells_what_lies_under_the_pointer(open_page):
    page = open_page()
    frame = page.page.locator(".map-frame").first
    box = frame.bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.page.mouse.move(x, y)
    probe = page.page.locator("#probe")
    assert re.search(r"x −?0\.0\d mm, y −?0\.0\d mm: luminance \d\.\d+, contrast −?\d", probe.inner_text())
    for change in (
        lambda: page.page.select_option("#dome", "overcast-sky"),
        lambda: page.page.get_by_label("Map 1 of stone A").select_option("leak"),
        lambda: page.page.select_option("#dome", "head-shadow"),
    ):
        old = probe.inner_text()
        change()
        page.rest()
        assert old != (new := probe.inner_text())
        page.page.mouse.move(x, y)
        assert new == probe.inner_text()
    page.page.mouse.down()
    page.page.mouse.move(x + 30, y, steps=4)
    page.page.mouse.move(x + 60, y, steps=4)
    page.page.mouse.up()
    page.rest()
    assert page.field("tilt_deg") == pytest.approx(60 * 0.12, abs=0.2)
    assert page.field("tilt_azimuth_deg") in (0.0, 360.0)
    assert_reported(page, traced(page.values()))
    frame.focus()
    page.page.keyboard.press("Home")
    page.page.keyboard.press("ArrowUp")
    page.rest()
    assert (page.field("tilt_deg"), page.field("tilt_azimuth_deg")) == (1.0, 90.0)
    page.page.mouse.click(x, y)
    page.page.wait_for_selector("#path-card:not([hidden])")
    assert "table 0" in page.page.locator("#path-card").inner_text()
    page.page.mouse.click(box["x"] + 3, box["y"] + 3)
    page.page.wait_for_selector("#path-card >> text=outside the stone")


# --- two stones, two pages -------------------------------------------------------------------------------------------


WORDS = {"brightness": "equal", "glare": "equal", "symmetry": "equal"}


def test_a_second_stone_stands_beside_the_first(open_page):
    page = open_page()
    page.page.click("#compare")
    page.rest()
    apart = {
        key: page.page.locator("tr", has=page.page.locator(f'[data-number="{key}.b"]')).locator("td").last for key in WORDS
    }
    assert {key: cell.inner_text().split(maxsplit=1)[1] for key, cell in apart.items()} == WORDS, "the same stone twice"
    page.slide("pavilion_angle_deg", 41.6)
    a, b = traced({**page.values(), "pavilion_angle_deg": 40.75}), traced(page.values())
    assert_reported(page, a, "a")
    assert_reported(page, b, "b")
    row = page.page.locator("tr", has=page.page.locator('[data-number="brightness.b"]')).inner_text()
    assert written(b.summary.brightness.value - a.summary.brightness.value) in row.replace("+", "")
    error = np.hypot(a.summary.brightness.error, b.summary.brightness.error)
    assert row.endswith(f" ± {written(error)}"), "larger than two of its standard errors"
    weight = page.page.locator("tr", has=page.page.locator('[data-number="weight_ct.b"]')).inner_text()
    assert f"+{100 * (b.scene.stone.weight_ct - a.scene.stone.weight_ct):.2f} points" in weight
    assert page.page.locator("figure.map").count() == 4
    page.page.click("#edit-a")
    assert page.field("pavilion_angle_deg") == 40.75
    page.page.click("#compare")
    page.rest()
    assert page.page.locator("figure.map").count() == 2


# --- material taken away ---------------------------------------------------------------------------------------------

BLOCKED = Path(__file__).parents[1] / "scenes" / "stones" / "blocked.csv"


def removed_weight(page: Workbench) -> str:
    return page.page.locator("output.removed-weight:visible").inner_text()


def test_a_facet_polished_again_stands_beside_the_stone(open_page):
    page = open_page()
    whole = stone_of(DEMO)
    page.page.get_by_role("tab", name="What if").click()
    page.page.select_option("#polish", "pavilion main 3")
    page.slide("polish_slope_deg", 0.4)
    steeper = rl.repolish(whole, "pavilion main 3", slope_deg=0.4)
    before, after = seen(whole), seen(steeper)
    assert_reported(page, before, "a")
    assert_reported(page, after, "b")
    lost = 100 * (whole.weight_ct - steeper.weight_ct)
    assert removed_weight(page).startswith(f"{lost:.2f} points removed")
    assert f"{whole.weight_ct:.4f} ct before, {steeper.weight_ct:.4f} ct after" in removed_weight(page)
    page.page.get_by_label("Map 1 of stone B").select_option("difference")
    page.rest()
    assert page.page.locator('[data-map="0"][data-side="b"] .map-head span').inner_text() == "mean " + written(
        after.summary.brightness.value - before.summary.brightness.value
    )
    depth = page.page.locator("[data-field=polish_depth_mm]")
    depth.fill("0.5")
    depth.press("Enter")
    page.page.wait_for_selector("#problem:not([hidden])")
    assert "after repolishing pavilion main 3 the girdle has no thickness at girdle" in page.problem()
    depth.fill("0")
    depth.press("Enter")
    page.rest()
    page.page.get_by_role("button", name="Continue from here").click()
    page.rest()
    assert page.page.locator("figure.map").count() == 2
    assert page.number("weight_ct.a") == written(steeper.weight_ct, 3)
    page.page.select_option("#polish", "table")
    page.slide("polish_depth_mm", 0.05)
    assert page.number("weight_ct.b") == written(rl.repolish(steeper, "table", depth_mm=0.05).weight_ct, 3)
    page.page.click("#undo")
    page.page.click("#undo")
    page.rest()
    assert page.number("weight_ct.a") == written(whole.weight_ct, 3)
    assert page.number("weight_ct.b") == written(steeper.weight_ct, 3)


def test_a_blocked_stone_is_finished_and_two_choices_stand_side_by_side(open_page):
    page = open_page()
    finish = page.page.get_by_role("tab", name="Brillianteer")
    finish.click()
    assert page.page.locator("#panel-last").inner_text().startswith("For a blocked stone. Open its facet table")
    page.drop("blocked.csv", BLOCKED.read_bytes())
    page.page.wait_for_selector("#title:text-is('W-7, blocked (invented)')")
    page.rest()
    blocked = blocked_stone(stone_of(open_bytes("blocked.csv", BLOCKED.read_bytes()).design))
    page.page.wait_for_selector('[data-number="weight_ct.b"]')
    page.rest()
    assert_reported(page, seen(finished(blocked, rl.LastFacets())), "b")
    page.page.click("#undo")
    page.rest()
    assert page.page.locator("figure.map").count() == 2, "taken away for good"
    page.slide("finish_star_pct", 55)
    first = seen(finished(blocked, rl.LastFacets(star_pct=55)))
    assert_reported(page, first, "b")
    lost = 100 * (blocked.stone.weight_ct - first.scene.stone.weight_ct)
    assert removed_weight(page).startswith(f"{lost:.2f} points removed")
    off = page.page.locator("#panel-last li")
    assert off.all_inner_texts() == ["pavilion main 5\nslope +0.375°"]
    off.get_by_role("button").click()
    page.rest()
    assert page.page.locator("#facet-card h3").inner_text() == "pavilion main 5"
    page.page.get_by_role("button", name="Clear").first.click()
    page.page.get_by_role("button", name="Keep as A").click()
    page.slide("finish_lower_half_pct", 82)
    page.page.get_by_label("Upper-half length (if unchecked, the upper halves meet the tips of the stars)").check()
    page.slide("finish_upper_half_pct", 42)
    assert_reported(page, first, "a")
    assert_reported(page, seen(finished(blocked, rl.LastFacets(star_pct=55, lower_half_pct=82, upper_half_pct=42))), "b")
    page.page.locator("[data-field=finish_star_pct]").fill("3")
    page.page.keyboard.press("Enter")
    page.page.wait_for_selector("#problem:not([hidden])")
    assert page.problem().startswith("Star length = 3.0: star ")
    assert page.page.locator("[data-field=finish_star_pct]").get_attribute("aria-invalid") == "true"
    page.page.click("#reset")
    page.rest()
    page.page.get_by_role("tab", name="History").click()
    step = page.page.locator(".history [aria-current=step] span").first
    assert step.inner_text() == "B: reset to the stone as it was opened"


def test_two_pages_keep_to_themselves(open_page):
    one, other = open_page(), open_page()
    one.page.locator("[data-slider=table_pct]").fill("62")
    other.page.locator("[data-slider=table_pct]").fill("53")
    one.rest()
    other.rest()
    assert_reported(one, traced({**one.values(), "table_pct": 62}))
    assert_reported(other, traced({**other.values(), "table_pct": 53}))


def test_a_reload_brings_the_design_back(open_page):
    page = open_page()
    page.slide("table_pct", 61)
    page.page.reload()
    page.rest()
    assert page.field("table_pct") == 61
    assert_reported(page, traced(page.values()))


# --- the link --------------------------------------------------------------------------------------------------------


def test_no_stale_picture_after_wild_moves(open_page):
    page = open_page()
    page.page.evaluate(
        """async () => { const pause = (ms) => new Promise((done) => setTimeout(done, ms));
        const keys = ['table_pct', 'crown_angle_deg', 'pavilion_angle_deg', 'tilt_deg'];
        const low = [52, 32, 40, 0], high = [62, 36, 42, 12];
        const end = performance.now() + 3000;
        for (let k = 0; performance.now() < end; k = (k + 1) % 4) {
          const slider = document.querySelector(`[data-slider=${keys[k]}]`);
          slider.value = low[k] + (high[k] - low[k]) * Math.random();
          slider.dispatchEvent(new Event('input', { bubbles: true }));
          if (Math.random() < 0.2) slider.dispatchEvent(new Event('change', { bubbles: true }));
          await pause(8 + 30 * Math.random());
        } }"""
    )
    page.rest()
    sliders = {key: float(page.page.locator(f"[data-slider={key}]").input_value()) for key in SLIDERS}
    assert page.values() == pytest.approx(sliders, abs=1e-4)
    assert_reported(page, traced(sliders))


def test_a_cut_link_is_reported_and_comes_back(browser, workbench):
    sockets: list[WebSocketRoute] = []

    def pass_through(socket: WebSocketRoute) -> None:
        sockets.append(socket)
        socket.connect_to_server()

    page = Workbench(browser)
    page.page.route_web_socket("**/link", pass_through)
    page.open(workbench.address)
    sockets[-1].close(code=1001)
    page.page.wait_for_selector("html[data-state=cut]", state="attached")
    page.page.locator("[data-slider=table_pct]").fill("60")
    page.rest()
    assert len(sockets) > 1
    assert_reported(page, traced({**page.values(), "table_pct": 60}))
    page.page.context.close()
    assert page.complaints == []


def test_the_page_survives_a_server_that_is_killed_and_started_again(browser):
    own = BenchProcess()
    try:
        page = Workbench(browser)
        page.open(own.address)
        page.slide("table_pct", 61)
        own.kill()
        page.page.wait_for_selector("html[data-state=cut]", state="attached")
        assert page.page.locator("#state").inner_text().startswith("No connection to raylab; trying again…")
        page.page.locator("[data-slider=crown_angle_deg]").fill("33")
        page.page.get_by_role("button", name="Save the facet table as CSV").click()
        page.page.wait_for_selector("#problem:not([hidden])")
        assert "no answer from raylab" in page.problem()
        own.start()
        page.page.goto(own.address)
        page.rest()
        assert_reported(page, traced({**page.values(), "table_pct": 61, "crown_angle_deg": 33}))
        page.page.context.close()
        refused = [line for line in page.complaints if "ERR_CONNECTION_REFUSED" not in line and "403" not in line]
        assert refused == [], "but for the browser's own word that nobody listened, or not to the old address"
    finally:
        own.kill()


# --- files -----------------------------------------------------------------------------------------------------------

GOOD = b"schema = 1\ntitle = 'From a file'\n[stone]\ncut = 'round brilliant'\ntable_pct = 60\ncrown_angle_deg = 33\n"
GOOD += b"pavilion_angle_deg = 41\n"


def test_files_are_opened_or_refused_in_one_line(open_page, workbench):
    page = open_page()
    bad = {
        "empty.toml": b"",
        "cut.toml": GOOD[:50],
        "typo.toml": GOOD.replace(b"table_pct", b"tabel_pct"),
        "binary.toml": bytes(range(256)),
        "picture.png": b"\x89PNG",
        "impossible.toml": GOOD.replace(b"41", b"99"),
    }
    for name, data in bad.items():
        page.drop(name, data)
        page.page.wait_for_selector(f"#problem-text:text-matches('^{re.escape(name)}: ')".replace("\\", "\\\\"))
        assert "\n" not in page.problem()
        page.page.get_by_role("button", name="Dismiss the message").click()
        assert page.page.locator("#problem").is_hidden()
    page.drop("good.toml", GOOD)
    page.page.wait_for_selector("#title:text-is('From a file')")
    page.rest()
    assert (page.field("table_pct"), page.field("crown_angle_deg")) == (60, 33)
    assert_reported(page, traced(page.values()))
    title = json.loads(workbench.request("GET", "/start.json")[2])["title"]
    page.page.click("#undo")
    page.rest()
    assert page.field("table_pct") == 57
    assert saved_title(page) == page.page.locator("#title").inner_text() == title
    page.page.click("#redo")
    page.rest()
    assert saved_title(page) == page.page.locator("#title").inner_text() == "From a file"
    page.slide("table_pct", 62)
    page.page.click("#reset")
    page.rest()
    assert page.field("table_pct") == 60, "Reset returns to the opened file"
    for _ in range(3):
        page.page.click("#undo")
    page.page.reload()
    page.rest()
    assert (page.field("table_pct"), page.page.locator("#title").inner_text()) == (57, title)
    page.slide("table_pct", 62)
    page.page.click("#reset")
    page.rest()
    assert page.field("table_pct") == 57, "the file is not opened any more"
    page.refusals_are_the_only_complaints()


def saved_title(page: Workbench) -> str:
    """The title in the scene file that the page saves."""
    with page.page.expect_download() as download:
        page.page.get_by_role("button", name="as TOML").click()
    return tomllib.loads(Path(download.value.path()).read_text())["title"]


def a_scan_of_unknown_noise(page: Workbench, stone: rl.Stone) -> None:
    """The page says so, and takes the user's number, which undo takes back."""
    vertices, triangles = scanned.tessellated(stone, 0)
    mesh = trimesh.Trimesh(scanned.noisy(vertices, 0.001, np.random.default_rng(3)), triangles, process=False)
    page.drop("coarse.ply", mesh.export(file_type="ply"))
    page.page.wait_for_selector("#noise-cause:text-matches('^Not known: the mesh has too few points')")
    page.page.wait_for_selector("#cut-known:text-matches('^Recognised by its shape: round brilliant, 100.0 %')")
    noise = page.page.locator("#noise")
    for stated, cause in (("-1", "Not known"), ("2", "As stated")):
        noise.fill(stated)
        noise.press("Enter")
        page.page.wait_for_selector(f"#noise-cause:text-matches('^{cause}')")
        page.page.wait_for_function("() => document.querySelector('#noise').value !== '-1'")
        assert page.page.locator("#problem").is_visible() == (stated == "-1")
    assert noise.input_value() == "2"
    page.page.click("#undo")
    page.rest()
    assert noise.input_value() == ""


def test_tables_and_meshes_are_opened_or_refused_in_one_line(open_page, tmp_path):
    page = open_page()
    stone = rl.round_brilliant(table_pct=59, crown_angle_deg=33.5, pavilion_angle_deg=41, girdle_facets=16, diameter_mm=6)
    files = {}
    for suffix in ("csv", "stl", "ply", "obj", "glb"):
        rl.save_stone(stone, tmp_path / f"offer {suffix}.{suffix}")
        files[suffix] = (tmp_path / f"offer {suffix}.{suffix}").read_bytes()
    page.drop("offer stl.stl", files["stl"])
    page.page.wait_for_selector("#problem-text:text-matches('^offer stl.stl: unit: a .stl file states no unit')")
    assert page.page.locator("#unit").get_attribute("aria-invalid") == "true", "no unit is guessed"
    for suffix, data in files.items():
        page.page.select_option("#unit", "mm" if suffix in ("stl", "ply", "obj") else "")
        page.drop(f"offer {suffix}.{suffix}", data)
        title = stone.name if suffix == "csv" else f"offer {suffix}"  # a table tells its stone's name
        page.page.wait_for_selector(f"#title:text-is('{title}')")
        page.rest()
        assert page.number("weight_ct.a") == written(stone.weight_ct, 3), suffix
        assert page.page.locator("#problem").is_hidden()
    page.page.select_option("#unit", "cm")
    page.drop("offer cm.stl", files["stl"])
    page.page.wait_for_selector("#title:text-is('offer cm')")
    page.rest()
    assert float(page.number("weight_ct.a")) == pytest.approx(1000 * stone.weight_ct, rel=1e-5)
    page.page.click("#undo")
    page.page.select_option("#unit", "mm")
    page.rest()
    a_scan_of_unknown_noise(page, stone)
    lines = files["csv"].decode().splitlines()
    bad = {
        "no pavilion.csv": "\n".join(line for line in lines if "pavilion" not in line and "lower" not in line).encode(),
        "a word.csv": files["csv"].replace(b",33.5,", b",steep,", 1),
        "cut off.stl": files["stl"][:2000],
        "a hole.ply": one_triangle_less(files["ply"], "ply"),
        "a hole.glb": one_triangle_less(files["glb"], "glb"),
        "no mesh.obj": b"v 1 2\n",
    }
    for name, data in bad.items():
        page.drop(name, data)
        page.page.wait_for_function(
            "name => document.querySelector('#problem-text').textContent.startsWith(name + ':')", arg=name
        )
        assert "\n" not in page.problem()
        assert page.number("weight_ct.a") == written(stone.weight_ct, 3)
    page.slide("tilt_deg", 3)
    page.refusals_are_the_only_complaints()


def one_triangle_less(data: bytes, kind: str) -> bytes:
    mesh = trimesh.load(io.BytesIO(data), file_type=kind, force="mesh")
    cut = trimesh.Trimesh(mesh.vertices, mesh.faces[1:], process=False).export(file_type=kind)
    return cut if isinstance(cut, bytes) else cut.encode()


def test_a_file_beyond_the_limit_is_reported_before_it_is_sent(open_page, usual_page):
    def with_small_limit(route: Route) -> None:
        answer = route.fetch()
        route.fulfill(response=answer, json={**answer.json(), "max_bytes": 1000})

    usual_page.page.route("**/start.json", with_small_limit)
    page = open_page()
    page.drop("long.csv", b"x" * 1001)
    page.page.wait_for_selector("#problem:not([hidden])")
    assert page.problem() == "long.csv: file too large (1001 bytes); expected at most 1000 bytes"
    assert not any("/open" in url for url in page.asked)


def test_what_is_saved_can_be_opened_again(open_page, tmp_path):
    page = open_page()
    page.slide("table_pct", 61)
    weight, facts = page.number("weight_ct.a"), {}
    for kind in ("TOML", "CSV", "STL"):
        with page.page.expect_download() as download:
            page.page.get_by_role("button", name=f"as {kind}").click()
        download.value.save_as(tmp_path / download.value.suggested_filename)
        facts[kind] = tmp_path / download.value.suggested_filename
    page.slide("table_pct", 50)
    page.page.select_option("#unit", "mm")
    for kind, path in facts.items():
        page.page.set_input_files("#file", path)
        page.page.wait_for_selector(f'[data-number="weight_ct.a"]:has-text("{weight}")')
        assert page.page.locator("#problem").is_hidden(), kind
        page.page.click("#undo")
        page.rest()
        assert (page.number("weight_ct.a"), page.field("table_pct")) != (weight, 61)


def test_a_design_is_saved(open_page, tmp_path):
    page = open_page()
    page.slide("table_pct", 61)
    stone = stone_of({**DEMO, "table_pct": 61.0})
    for name, kind in (("Save the facet table as CSV", "csv"), ("Save the scene as TOML", "toml")):
        with page.page.expect_download() as download:
            page.page.get_by_role("button", name=name).click()
        assert download.value.suggested_filename == f"w-1-invented.{kind}"
        download.value.save_as(tmp_path / f"x.{kind}")
    assert (tmp_path / "x.csv").read_text() == facet_table(stone)
    scene = rl.load_scene(tmp_path / "x.toml")
    np.testing.assert_array_equal(scene.stone.normals, stone.normals)
    assert scene.dome.name == "head-shadow"


def test_the_report_is_made_while_the_page_goes_on(open_page, tmp_path):
    page = open_page()

    def of_little(route: Route) -> None:
        route.continue_(
            post_data=json.dumps({**route.request.post_data_json, "known_to_pct": 50, "tilts": [0], "looks": False})
        )

    page.page.route("**/report", of_little)
    page.page.get_by_role("button", name="Report").click()
    page.page.wait_for_selector("#problem:not([hidden])")
    assert page.problem() == "The report compares two stones. Add a second stone first."
    page.page.click("#compare")
    page.slide("pavilion_angle_deg", 41.5)
    page.page.get_by_role("button", name="Report").click()
    page.page.wait_for_selector("#report-share[value]:not([hidden])")
    page.slide("table_pct", 60)
    assert page.page.get_by_role("progressbar", name="Progress of the report").is_visible(), (
        "the page was faster than the report"
    )
    assert_reported(page, traced(page.values()), "b")
    with page.page.expect_download() as download:
        page.page.wait_for_selector("#report-share", state="hidden")
    assert download.value.suggested_filename == "report-w-1-invented.html"
    download.value.save_as(tmp_path / "report.html")
    html = (tmp_path / "report.html").read_text()
    assert html.startswith("<!doctype html>")
    assert "can't be put back" in html
    assert f"{stone_of({**DEMO, 'pavilion_angle_deg': 41.5}).weight_ct:.3f} ct" in html, "the stone as it was when asked"
    assert re.findall(r'(?:src|href)="(?!data:|#)', html) == [], "all in one file"
    page.page.get_by_role("button", name="Report").click()
    page.page.get_by_role("button", name="Stop report").click()
    page.page.wait_for_selector("#report:text-is('Report')")
    assert page.page.locator("#problem").is_hidden()


# --- tools of the shop -----------------------------------------------------------------------------------------------

ROOM = b"schema = 1\ndescription = 'A dim room (invented)'\nsky_radiance = 0.2\n[[lamp]]\nelevation_deg = 60\nradius_deg = 20\n"
PASTE = """(text) => {
  const clipboardData = new DataTransfer();
  clipboardData.setData("text/plain", text);
  document.body.dispatchEvent(new ClipboardEvent("paste", { clipboardData, bubbles: true, cancelable: true }));
}"""


COLORED = """() => {
  const canvas = document.querySelector("[data-map='0'] .map-frame canvas");
  const { data } = canvas.getContext("2d").getImageData(0, 0, canvas.width, canvas.height);
  let found = 0;
  for (let k = 0; k < data.length; k += 4) {
    const shades = data.subarray(k, k + 3);
    if (data[k + 3] && Math.max(...shades) - Math.min(...shades) > 15) found++;
  }
  return found;
}"""
"""How many pixels of the first map are no grey."""


def test_wheel_history_pasted_tables_and_a_dome_of_ones_own(open_page, tmp_path):
    """One page for all; few of its pictures are waited for."""
    page = open_page()
    kept = lambda: page.page.evaluate("JSON.parse(sessionStorage.getItem('raylab-workbench')).state.designs.a")  # noqa: E731
    stone = stone_of({**DEMO, "upper_painting_deg": 1.5})
    page.slide("upper_painting_deg", 1.5)
    assert_reported(page, traced(page.values(), upper_painting_deg=1.5))
    bright = page.number("brightness.a")
    # an index wheel
    page.page.get_by_role("tab", name="Facets").click()
    index = page.page.get_by_label("index of pavilion main 2")
    assert not index.is_visible()
    page.page.select_option("#wheel", "96")
    shown = page.page.evaluate(
        "Object.fromEntries([...document.querySelectorAll('td.index input')].map((i) => [i.ariaLabel, i.value]))"
    )
    words = [index_words(index_of(float(azimuth), 96)) for azimuth in stone.azimuth_deg()]
    assert shown == {f"index of {stone.facet_name(f)}": word for f, word in enumerate(words)}
    index.fill("24,4")
    index.press("Enter")
    assert page.page.get_by_label("azimuth of pavilion main 2, degrees").input_value() == "91.5"
    assert index.input_value() == "24.40*"
    index.fill("97")
    index.press("Enter")
    assert index.input_value() == "24.40*"
    page.page.get_by_label("Choose pavilion main 2").click()
    page.page.locator("#facet-card").filter(has_text="azimuth 91.5° (index 24.40* of 96)").wait_for()
    page.page.get_by_label("Choose pavilion main 2").click()
    # a history to go back in
    page.page.get_by_role("tab", name="History").click()
    steps = page.page.locator(".history button")
    moved = "as a facet table; pavilion main 2: azimuth 90° → 91.5°"
    painted = "Painting of the upper halves 0° → 1.5°"
    assert [one.split("\n")[0] for one in steps.all_inner_texts()] == ["As opened", painted, moved]
    assert bright in steps.nth(1).inner_text()
    steps.nth(0).click()
    assert kept() == DEMO
    assert [steps.nth(k).get_attribute("aria-current") for k in range(3)] == ["step", None, None]
    page.page.keyboard.press("Control+Shift+Z")
    assert kept()["upper_painting_deg"] == 1.5
    steps.nth(2).click()
    assert kept()["kind"] == "facets"
    assert page.page.locator("#redo").is_disabled()
    page.page.get_by_role("button", name="Step 1: ").click()
    # a dome of one's own, and a map in colour
    (tmp_path / "my-room.toml").write_bytes(ROOM)
    page.drop("my-room.toml", ROOM)
    page.page.wait_for_selector("#dome option:checked[value=my-room]", state="attached")
    page.page.reload()
    page.page.locator("[data-map='0'] select").select_option("color")
    page.page.wait_for_selector("[data-map='0']:is([data-colored=coarse], [data-colored=exact])")
    assert page.page.locator("#color-controls").is_visible()
    assert page.page.evaluate(COLORED) > 50
    assert page.page.locator("#dome").input_value() == "my-room"
    assert page.page.locator("#dome-note").inner_text() == "A dim room (invented)"
    assert_reported(page, seen(stone, dome=tmp_path / "my-room.toml"))
    # tables pasted in
    table = facet_table(stone).replace(",", "\t").replace("symmetry: 8\t", "symmetry: 8,").replace("slope_deg\t", "Slope °\t")
    page.page.evaluate(PASTE, table)
    page.page.wait_for_selector("#title:text-is('W-1 (invented)')")
    assert kept() == open_bytes("pasted table.tsv", table.encode()).design
    page.page.evaluate(PASTE, "tea")
    page.page.wait_for_selector("#problem:not([hidden])")
    assert page.problem().startswith("pasted table.tsv:1: missing column facet")
    page.page.click("#paste")
    box = page.page.locator("dialog")
    box.get_by_label("Facet table").fill(table.replace("\t40.75\t", "\tsteep\t", 1))
    box.get_by_role("button", name="Open the table").click()
    box.get_by_role("alert").filter(has_text="steep").wait_for()
    main = next(k for k, line in enumerate(table.splitlines(), start=1) if "pavilion main" in line)
    assert f":{main}: slope_deg = 'steep': not a number" in box.get_by_role("alert").inner_text()
    box.get_by_label("Facet table").fill(table.replace("W-1", "W-2"))
    box.get_by_role("button", name="Open the table").click()
    box.wait_for(state="detached")
    assert page.page.locator("#title").inner_text() == "W-2 (invented)"
    assert len(page.complaints) == 2
    page.refusals_are_the_only_complaints()


# --- traced live in the page -----------------------------------------------------------------------------------------

COUNTED = """
window.asked = 0;
const frame = window.requestAnimationFrame;
window.requestAnimationFrame = (act) => { window.asked += 1; return frame(act); };
Object.defineProperty(document, 'hidden', { get: () => Boolean(window.away) });
"""
"""Counts the frames that a page asks for, and lets a test say that the page is hidden."""
DRAWN_AGAIN = """before => new Promise((done) => {
  const look = () => (window.asked > before ? done() : setTimeout(look, 20));
  look();
})"""

PARTS = 10


def live_parts(page: Workbench) -> np.ndarray:
    """(PARTS, PARTS, 3) mean linear sRGB of parts of the live picture, drawn since now."""
    box = page.page.locator("[data-map='0']")
    box.evaluate("figure => { delete figure.dataset.frames; }")  # the next frame says anew how many there are
    page.page.wait_for_selector(
        "[data-map='0'][data-frames]:not([data-frames='']):not([data-frames='1'], [data-frames='2'], [data-frames='3'])"
    )
    address = box.locator(".map-frame > canvas").evaluate("canvas => canvas.toDataURL()")
    drawn = np.asarray(Image.open(io.BytesIO(base64.b64decode(address.partition(",")[2]))).convert("RGB"))
    long = len(drawn) // PARTS
    whole = srgb_decode(drawn[: PARTS * long, : PARTS * long] / 255.0)
    return np.asarray(whole.reshape(PARTS, long, PARTS, long, 3).mean(axis=(1, 3)))


def known_parts(stone: rl.Stone, view: rl.View) -> Picture:
    """The library's picture of the same parts."""
    half = 0.53 * max(stone.size_mm[:2])
    scene = rl.Scene(stone, "evening-sky", view, rl.TraceSettings(precision=5e-2))
    return rl.color_picture(scene, spectrum=8, grid=PixelGrid(-half, -half, 2.0 * half / PARTS, PARTS))


def off(drawn: np.ndarray, known: Picture) -> float:
    """Mean difference of a live picture from the library's, in the parts that the stone covers."""
    return float(np.abs(drawn - srgb_decode(known.srgb()))[known.coverage > 0.999].mean())


def test_the_map_traced_live_follows_the_controls_and_rests(browser: Browser, workbench: BenchProcess):
    """What the browser draws, against the library's picture of the stone, the light and the tilt that the controls say."""
    page = Workbench(browser)
    page.page.add_init_script(COUNTED)
    page.open(workbench.address)
    page.page.locator("#edges").uncheck()
    page.page.select_option("#dome", "evening-sky")
    page.page.locator("[data-map='0'] select").select_option("live")
    page.slide("pavilion_angle_deg", 45.0)
    drawn, stone, turned = live_parts(page), stone_of({**DEMO, "pavilion_angle_deg": 45.0}), rl.View(tilt_deg=14.0)
    flat = known_parts(stone, rl.View())
    assert off(drawn, flat) < 0.6 * off(drawn, known_parts(stone_of(DEMO), rl.View()))
    page.slide("tilt_deg", 14.0)
    drawn = live_parts(page)
    assert off(drawn, known_parts(stone, turned)) < 0.6 * off(drawn, flat)
    for away, back in (
        ("window.away = true; document.dispatchEvent(new Event('visibilitychange'))", "window.away = false"),
        ("document.querySelector('#maps').style.display = 'none'", "document.querySelector('#maps').style.display = ''"),
    ):
        page.page.evaluate(away)
        page.page.wait_for_timeout(300)
        before = page.page.evaluate("window.asked")
        page.page.wait_for_timeout(300)
        assert page.page.evaluate("window.asked") == before, "nothing is drawn that nobody sees"
        page.page.evaluate(f"{back}; document.dispatchEvent(new Event('visibilitychange'))")
        page.page.evaluate(DRAWN_AGAIN, before)
    page.page.click("#compare")
    page.rest()
    page.page.click("#compare")  # the second stone goes, and comes again
    page.page.click("#undo")
    page.rest()
    page.page.wait_for_selector("[data-map='0'][data-side=b][data-frames]:not([data-frames=''])")
    page.page.add_init_script(
        "HTMLCanvasElement.prototype.getContext = ((get) => function (kind, more) {"
        " return kind === 'webgl2' ? null : get.call(this, kind, more); })(HTMLCanvasElement.prototype.getContext)"
    )
    page.page.reload()
    line = "not traced live, luminance in grey instead: this browser has no WebGL 2"
    page.page.locator("[data-map='0'] .ticks", has_text=line).first.wait_for()  # each stone has one
    assert page.complaints == []
    page.page.close()


# --- for everybody ---------------------------------------------------------------------------------------------------

CONTROLS = {"button", "slider", "spinbutton", "combobox", "checkbox", "tab", "textbox", "application", "link", "radio"}


def test_every_control_has_a_name_of_its_own(open_page):
    page = open_page()
    page.page.click("#compare")
    page.rest()
    for tab in ("Facets", "What if", "Brillianteer", "History", "Proportions"):
        page.page.get_by_role("tab", name=tab).click()
        tree = page.page.context.new_cdp_session(page.page).send("Accessibility.getFullAXTree")["nodes"]
        named = [
            (node["role"]["value"], node.get("name", {}).get("value", "").strip())
            for node in tree
            if not node.get("ignored") and node.get("role", {}).get("value") in CONTROLS
        ]
        assert len(named) > 30
        assert [role for role, name in named if not name] == []
        assert {pair for pair in named if named.count(pair) > 1} <= {("button", "Let go")}


def test_tab_reaches_every_control_and_focus_is_seen(open_page):
    page = open_page()
    reached = set()
    for _ in range(70):
        page.page.keyboard.press("Tab")
        reached.add(page.page.evaluate("document.activeElement.dataset.slider ?? document.activeElement.id"))
    assert {"undo", "redo"} & reached == set(), "nothing to undo yet"
    assert {"reset", "open", "compare", "theme", "dome", "face-up", "edges", "solid-canvas", *SLIDERS} <= reached
    page.page.locator("#reset").focus()
    page.page.keyboard.press("Tab")
    outline = page.page.evaluate("getComputedStyle(document.activeElement).outlineStyle")
    assert outline != "none"


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_everything_fits_the_window_and_can_be_read(open_page, scheme):
    page = open_page(color_scheme=scheme)
    for pair in (False, True):
        if pair:
            page.page.click("#compare")
        for width in (1280, 768):
            page.page.set_viewport_size({"width": width, "height": 900})
            page.rest()
            assert page.page.evaluate(TOO_WIDE) == [], (width, pair)
            for name in ("#pictures", "#work", "#numbers", "#solid"):
                assert page.page.locator(name).bounding_box()["width"] > 150
            faint = page.page.evaluate(CONTRAST)
            assert faint == [], "text with less contrast than 4.5 to 1 (WCAG 2.2, success criterion 1.4.3)"
            assert "can't be put back" in page.page.locator("footer").inner_text()


TOO_WIDE = """() => [...document.querySelectorAll('body *')]
  .filter((e) => !e.closest('.hidden-head') && e.getClientRects().length && e.getBoundingClientRect().right > innerWidth + 0.5)
  .map((e) => e.outerHTML.slice(0, 80))"""

# Every text on the page against the nearest ground painted below it, as WCAG defines contrast; disabled controls are exempt.
CONTRAST = """() => {
  const probe = document.createElement('canvas').getContext('2d', { willReadFrequently: true });
  const rgba = (colour) => { probe.clearRect(0, 0, 1, 1); probe.fillStyle = colour; probe.fillRect(0, 0, 1, 1);
    return Array.from(probe.getImageData(0, 0, 1, 1).data); };
  const light = ([r, g, b]) => [r, g, b].map((c) => (c /= 255) <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4)
    .reduce((sum, c, k) => sum + c * [0.2126, 0.7152, 0.0722][k], 0);
  const ground = (e) => {
    for (; e; e = e.parentElement) { const c = rgba(getComputedStyle(e).backgroundColor); if (c[3] > 250) return c; }
    return [255, 255, 255];
  };
  const found = [];
  for (const e of document.querySelectorAll('body *')) {
    const own = [...e.childNodes].some((n) => n.nodeType === 3 && n.data.trim());
    if (!own || !e.getClientRects().length || e.disabled || e.closest('.hidden-head, noscript, option')) continue;
    const [a, b] = [light(rgba(getComputedStyle(e).color)), light(ground(e))].sort((x, y) => y - x);
    const ratio = (a + 0.05) / (b + 0.05);
    if (ratio < 4.5) found.push(`${e.textContent.trim().slice(0, 30)} ${ratio.toFixed(2)}`);
  }
  return found;
}"""


def test_the_theme_can_be_chosen(open_page):
    page = open_page(color_scheme="light")
    paper = "getComputedStyle(document.body).backgroundColor"
    light = page.page.evaluate(paper)
    page.page.select_option("#theme", "dark")
    assert page.page.evaluate(paper) != light
    page.page.reload()
    page.rest()
    assert page.page.evaluate(paper) != light
    page.page.select_option("#theme", "light")
    assert page.page.evaluate(paper) == light


def test_maps_stay_in_sight_on_a_narrow_window(open_page):
    page = open_page()
    page.page.set_viewport_size({"width": 768, "height": 800})
    page.page.locator("#face-up").scroll_into_view_if_needed()
    box = page.page.locator(".map-frame").first.bounding_box()
    assert 0 <= box["y"] < 300


def test_a_phones_tools_stand_in_three_rows_and_a_long_state_wraps(open_page):
    page = open_page()
    page.page.set_viewport_size({"width": 400, "height": 860})
    tops = "b => Math.round(b.getBoundingClientRect().top)"
    rows = f"[...document.querySelectorAll('.bar button')].filter(b => b.offsetHeight).map({tops})"
    assert len(set(page.page.evaluate(rows))) == 3
    page.page.evaluate("document.getElementById('state').textContent = 'working… ' + 'for long '.repeat(9)")
    assert page.page.evaluate("document.documentElement.scrollWidth") == 400


def test_the_page_says_what_the_link_sends(workbench):
    """What a page is told before it asks: enough for every list it shows."""
    start = json.loads(workbench.request("GET", "/start.json")[2])
    assert [dome["name"] for dome in start["domes"]] == list(rl.dome_names())
    assert [one["name"] for one in start["materials"]] == list(rl.materials())
    assert {one["colors"] for one in start["maps"]} == set(start["colors"])
    assert all(len(table) == 768 and 0 <= min(table) <= max(table) <= 255 for table in start["colors"].values())


# --- inclusions --------------------------------------------------------------------------------------------------------


RINGED = """canvas => {
  const { data } = canvas.getContext("2d").getImageData(0, 0, canvas.width, canvas.height);
  return data.filter((value, k) => k % 4 === 2 && value > 200).length;
}"""
"""Pixels of a slice with more blue than any of its colours has: the white ring around the inclusion."""


def test_clicks_plot_inclusions_that_are_edited_shown_and_kept(open_page):
    page = open_page()
    page.page.get_by_role("tab", name="Inclusions").click()
    page.page.click("#plot")
    frame = page.page.locator(".map-frame").first.bounding_box()
    before = page.number("absorbed.a")
    page.page.mouse.click(frame["x"] + 0.55 * frame["width"], frame["y"] + 0.45 * frame["height"])
    listed = page.page.locator(".inclusions li")
    listed.nth(1).wait_for()
    assert re.match(r"1: sphere through table 0 at 0\.\d+, 0\.\d+, 0\.3 mm deep", listed.first.inner_text())
    page.page.locator("[data-slider=inclusion_radius_mm]").fill("0.2")
    page.rest()
    assert float(page.number("absorbed.a")) > float(before)
    assert "engine rays" in page.page.locator("#figures .sampled").inner_text()
    page.page.wait_for_selector("#inclusion-images:not(.behind) table.images tbody tr")
    assert "% of the light of the face is taken" in page.page.locator("#inclusion-images").inner_text()
    page.page.click("#ask-visibility")
    page.page.get_by_text("At inclusion 1 a small speck has").wait_for()
    assert page.page.locator("[data-slice=upright]").evaluate(RINGED) > 20
    solid = page.page.locator("#solid-canvas").bounding_box()
    page.page.mouse.click(solid["x"] + 0.5 * solid["width"], solid["y"] + 0.4 * solid["height"])
    listed.nth(2).wait_for()
    assert page.page.locator("#visibility .behind").count() == 1, "the field's inclusions are those of before"
    assert "2: sphere through table 0" in listed.nth(1).inner_text()
    page.page.keyboard.press("Escape")
    page.page.locator("[data-field=inclusion_radius_mm]").fill("0")
    page.page.keyboard.press("Enter")
    page.page.wait_for_selector("#problem:not([hidden])")
    assert page.problem() == "inclusions#2.radius_mm = 0.0: out of range; expected 1e-06 to 1000 mm"
    assert page.page.locator("[data-field=inclusion_radius_mm]").get_attribute("aria-invalid") == "true"
    page.page.click("#undo")
    page.rest()
    assert page.problem() == ""
    with page.page.expect_download() as kept:
        page.page.get_by_role("button", name="Save the scene as TOML").click()
    tables = tomllib.loads(Path(kept.value.path()).read_text(encoding="utf-8"))["stone"]["inclusions"]
    assert [(one["facet"], one["radius_mm"], one["depth_mm"]) for one in tables] == [
        ("table 0", radius, 0.3) for radius in (0.2, 0.05)
    ]
    page.page.get_by_label("Remove inclusion 2").click()
    page.page.get_by_label("Remove inclusion 1").click()
    page.rest()
    assert page.number("absorbed.a") == before
