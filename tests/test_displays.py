"""What a notebook shows of an object: numbers that are the object's, in HTML that does no harm to the page around it."""

from __future__ import annotations

import base64
import io
import re
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

import raylab as rl
from raylab.notebook.html import Html, tag
from raylab.notebook.map_picture import map_picture, sky_picture
from raylab.workbench.colors import color_tables

MOST_BYTES = 300_000
VOID = {"img"}
NAME = '<script>alert("W-1")</script> & co'


class Reader(HTMLParser):
    """The tags, the text and the pictures of a card; a tag that isn't closed is an error."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.tags: list[tuple[str, dict[str, str]]] = []
        self.text: list[str] = []
        self.feed(html)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, {key: value or "" for key, value in attrs}))
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.text.append(data)


def assert_fit_for_a_notebook(shown: Any, pictures: int, more: frozenset[str] = frozenset()) -> str:
    """Self-contained, small, the same bytes each time, readable in every theme, of plain tags and `more`; returns its text."""
    html = shown._repr_html_()
    assert html == shown._repr_html_()
    assert len(html.encode()) < MOST_BYTES
    found = Reader(html)
    assert {tag for tag, _ in found.tags} <= {
        "div",
        "span",
        "strong",
        "table",
        "tbody",
        "tr",
        "th",
        "td",
        "img",
        "svg",
        "path",
    } | more
    for kind, attributes in found.tags:
        assert not {key for key in attributes if key.startswith("on") or key in ("id", "class", "href")}
        assert not re.search(r"url\(|(?<!-)color:(?!inherit)", attributes.get("style", "")), "no colour of its own for text"
        if kind == "img":
            assert attributes["src"].startswith("data:image/png;base64,")
            assert attributes["alt"]
        if kind == "svg":
            assert (attributes["stroke"], attributes["role"]) == ("currentColor", "img")
            assert attributes["aria-label"]
    assert sum(kind == "img" for kind, _ in found.tags) == pictures
    return "".join(found.text)


def pixels(picture: str) -> np.ndarray:
    """Red, green, blue and opacity of a card's picture."""
    data = re.search(r"base64,([^\"]+)", picture)[1]
    return np.asarray(Image.open(io.BytesIO(base64.b64decode(data))).convert("RGBA"))


@pytest.fixture(scope="module")
def result() -> rl.Result:
    stone = rl.round_brilliant(table_pct=57, crown_angle_deg=34.5, pavilion_angle_deg=40.75, girdle_facets=16, name=NAME)
    return rl.trace(stone, "head-shadow", rl.View(tilt_deg=4), resolution=24, precision=0.05, by_facet=False)


def test_a_stone_shows_its_drawings_and_what_is_measured(result):
    words = assert_fit_for_a_notebook(result.scene.stone, pictures=0, more=frozenset({"canvas", "script"}))
    assert NAME in words
    for text in (
        f"diamond, {result.scene.stone.weight_ct:.3f} ct",
        "Pavilion angle",
        "40.75°",
        "Table size",
        "57.00 %",
        "from the side",
        "by its proportions",
    ):
        assert text in words, text
    stone = result.scene.stone
    facets = re.findall(r' d="([^"]+)"', stone._repr_html_())
    up, front = stone.normals[~stone.on_girdle, 2], -stone.normals[~stone.on_girdle, 1]
    drawn = [int((seen > 1e-9).sum()) for seen in (up, front, -up)]
    assert [part.count("M") for part in facets] == [drawn[0], 1, drawn[1], 1, drawn[2], 1], "facets, and the outline"
    assert drawn[0] == 33


def test_a_dome_shows_its_sky_and_its_parts():
    dome = rl.Dome("mine", sky_radiance=0.25, lamps=(rl.Lamp(45.0, 90.0, 10.0),), head_half_angle_deg=20.0, description="a < b")
    words = assert_fit_for_a_notebook(dome, pictures=1)
    for text in ("mine", "a < b", "half-angle 20°", "even, radiance 0.25"):
        assert text in words, text
    picture = pixels(sky_picture(dome, "")[0])
    table = np.array(color_tables()["cividis"]).reshape(-1, 3)
    side = len(picture)
    at = {"head": (side // 2, side // 2), "lamp": (side // 4, side // 2), "sky": (3 * side // 4, side // 2)}
    wanted = {"head": table[0], "lamp": table[-1], "sky": table[round(0.25 * 255)]}
    for part, place in at.items():
        assert np.abs(picture[place][:3].astype(int) - wanted[part]).max() <= 3, part
        assert picture[place][3] == 255
    assert picture[0, 0, 3] == 0, "outside the rim"


def test_a_scene_shows_stone_sky_and_settings(result):
    words = assert_fit_for_a_notebook(result.scene, pictures=1)
    for text in (NAME, "tilted 4° towards 0°, parallel", "head-shadow", "24 pixels a side", "589.3 nm", "tracked"):
        assert text in words, text


def test_a_result_and_a_summary_show_every_number(result):
    for shown, pictures in ((result, 3), (result.summary, 0)):
        words = assert_fit_for_a_notebook(shown, pictures)
        for key, one in result.summary.statistics.items():
            assert f"{one.value:z.4f}" in words, key
            assert one.low == one.high or f"{one.low:z.4f} to {one.high:z.4f}" in words, key
        assert result.summary.notes["symmetry"] in words
        assert len(repr(shown)) < 500, "the text that a notebook keeps beside the card"


def test_a_sweep_shows_curves_pictures_ends_and_the_ledger():
    """Numbers that a shape of a table can be told by, in the labels of a real sweep."""
    rough = rl.TraceSettings(precision=0.1)
    axes = {"pavilion_angle_deg": [42.0, 40.0, 41.0], "tilt_deg": [0.0, 8.0], "dome": ["head-shadow", "even-sky"]}
    found = rl.sweep(axes, table_pct=57, crown_angle_deg=34.5, girdle_facets=16, settings=rough, processes=1)
    assert type(found) is rl.Sweep
    more = frozenset({"details", "summary", "pre"})
    words = assert_fit_for_a_notebook(found, pictures=4, more=more)
    for text in ("Sweep of 12 designs", "40° to 42°, 3 values", "even-sky, head-shadow", "highest of the other axes"):
        assert text in words, text
    bright = found.brightness
    top = bright.where(bright == bright.max(), drop=True)
    where = f"pavilion angle {float(top.pavilion_angle_deg[0]):g}°, tilt {float(top.tilt_deg[0]):g}°, dome {top.dome.item(0)}"
    assert f"highest brightness{float(bright.max()):.4f}{where}" in words
    assert f"leakage below the girdle{float(found.leak.mean()):.4f}{float(found.leak.min()):.4f} to" in words

    curve = assert_fit_for_a_notebook(found.sel(tilt_deg=0.0, dome="even-sky"), pictures=0, more=more)
    assert "Sweep of 3 designs" in curve
    drawn = re.findall(r' d="(M4.0 [^"]+)"', found.sel(tilt_deg=0.0, dome="even-sky")._repr_html_())
    heights = [float(one) for one in re.findall(r"[ML][\d.]+ ([\d.]+)", drawn[0])]
    assert np.argsort(heights).tolist() == np.argsort(-bright.sel(tilt_deg=0.0, dome="even-sky").values[[1, 2, 0]]).tolist()
    assert "over pavilion angle" in assert_fit_for_a_notebook(
        found.sel(dome="even-sky").max("tilt_deg", keep_attrs=True), 0, more
    )
    assert found[["weight_ct"]]._repr_html_().startswith("<div><svg"), "what is no sweep any more is shown by xarray"


def test_numbers_from_memory_are_marked_on_every_card(result):
    mark = "topaz: doubly refracting (biaxial): traced with its lowest handbook index only; refractive index and density from"
    scene = replace(result.scene, stone=result.scene.stone.relabeled(material=rl.get_material("topaz")))
    for shown in (scene.stone, scene, replace(result, scene=scene)):
        assert mark in shown._repr_html_()
    rough = {"settings": rl.TraceSettings(precision=0.3), "processes": 1, "girdle_facets": 16}
    angles = {"table_pct": 57, "crown_angle_deg": 34.5, "pavilion_angle_deg": 41}
    found = rl.sweep({"material": ["topaz", "diamond"]}, "even-sky", **angles, **rough)
    assert found.attrs["materials"].startswith(mark)
    assert mark in found._repr_html_()
    assert "materials" not in rl.sweep({"material": ["diamond"]}, "even-sky", **angles, **rough).attrs


def test_maps_at_several_wavelengths_say_which_is_shown(result):
    scene = result.scene.with_settings(wavelengths_nm=(486.1, 589.3, 656.3))
    words = assert_fit_for_a_notebook(rl.trace_scene(scene, by_facet=False), pictures=3)
    assert "maps at 589.3 nm; numbers are means over 3 wavelengths" in words


def test_a_map_is_drawn_with_y_up_and_nothing_off_the_stone():
    values = np.full((4, 4), np.nan)
    values[0, 1], values[3, 2] = 0.0, 1.0  # below, above
    picture = pixels(map_picture("leak", values, np.isfinite(values).astype(float), "a map")[0])
    table = np.array(color_tables()["magma"]).reshape(-1, 3)
    assert np.array_equal(picture[..., 3] > 0, np.isfinite(values[::-1]))
    assert np.array_equal(picture[3, 1, :3], table[0])
    assert np.array_equal(picture[0, 2, :3], table[-1])


def test_large_maps_are_averaged():
    values = np.ones((700, 700))
    values[::2] = 0.0
    picture = pixels(map_picture("sky", values, np.ones_like(values), "a map")[0])
    assert picture.shape[0] <= 280
    assert len(np.unique(picture.reshape(-1, 4), axis=0)) <= 3, "stripes of one pixel are gone"


def test_text_is_escaped_and_html_is_not():
    assert tag("p", "1 < 2", Html("<b>x</b>"), aria_label='"&') == '<p aria-label="&quot;&amp;">1 &lt; 2<b>x</b></p>'


def test_low_classes_know_nothing_of_what_draws_them():
    """A card is no part of what a kept result depends on."""
    from raylab.package_files import closure

    assert not [name for name in closure("designs.design") if name.startswith(("notebook", "pictures", "workbench"))]
    assert Path(rl.__file__).parent.joinpath("notebook").is_dir()
