"""The report: a page that needs nothing else, tells what the comparison found, and works in a real browser and on paper."""

from __future__ import annotations

import html
import itertools
import re
from collections.abc import Iterator
from dataclasses import replace
from decimal import Decimal
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest
import scanned
import trimesh
from blank_pictures import blank_pictures
from playwright.sync_api import Browser, Page

from raylab.cli.compare import _loaded
from raylab.comparison.comparing import compare
from raylab.comparison.comparison import Comparison
from raylab.comparison.verdicts import words
from raylab.demo import own_or_demo
from raylab.errors import InputError
from raylab.lighting.dome_file import load_dome
from raylab.report import film, liveliness, looks, pictures, report_html, save_report, tables
from raylab.report.appearance import Appearance, appearance_of
from raylab.report.live_stones import live_page
from raylab.report.pictures import drawn, picture_names
from raylab.scene.settings import TraceSettings
from raylab.stone.cuts.round_brilliant import round_brilliant
from raylab.stone.measuring.plane_uncertainty import Uncertainty

SHAPE = {"table_pct": 57.0, "crown_angle_deg": 34.5, "girdle_facets": 16}
NAMES = ('<b>first</b> & "last"', "second, $x^2$", "third")


def stone(name: str, key: int, **changed: float):
    shape = {**SHAPE, "pavilion_angle_deg": 40.75, **changed}
    return Uncertainty(0.15, 0.0, 3.0).drawn(round_brilliant(**shape, name=name), (60, key)).relabeled(measured=True)


STONES = (
    stone(NAMES[0], 1),
    stone(NAMES[1], 2, pavilion_angle_deg=42.5),
    stone(NAMES[2], 3, table_pct=62.0, material="moissanite"),
)
QUICK = {"dome": load_dome("head-shadow"), "known_to_pct": 45.0, "resolution": 64, "settings": TraceSettings(precision=2e-2)}


@pytest.fixture(scope="module")
def two() -> Comparison:
    return compare(*STONES[:2], tilts=(0.0, 15.0), **QUICK)


SMALL = {looks: {"SIDE": 40, "WAVELENGTHS": 2}, film: {"SIDE": 32, "STILLS": 5, "WAVELENGTHS": 2}, liveliness: {"LEAN_DEG": 2}}
"""Colour pictures and films of few pixels at few wavelengths; the page is the same."""


def small_appearance(found: Comparison) -> Appearance:
    with pytest.MonkeyPatch.context() as patch:
        for module, values in SMALL.items():
            for name, value in values.items():
                patch.setattr(module, name, value)
            if hasattr(module, "LOOSE"):
                patch.setattr(module, "LOOSE", TraceSettings(precision=0.2))
        return appearance_of(found)


@pytest.fixture(scope="module")
def seen_of_two(two: Comparison) -> Appearance:
    return small_appearance(two)


@pytest.fixture(scope="module")
def drawn_of_two(two: Comparison) -> dict[str, bytes]:
    return drawn(two)


@pytest.fixture(scope="module")
def page_of_two(two: Comparison, drawn_of_two: dict[str, bytes], seen_of_two: Appearance) -> str:
    return report_html(two, drawn_of_two, seen_of_two)


def test_the_same_comparison_gives_the_same_bytes(two, seen_of_two, page_of_two):
    """Of what the stones look like, `test_report_looks.py` asks the same."""
    assert report_html(two, drawn(two), replace(seen_of_two)) == page_of_two
    assert "<svg" in page_of_two or "image/svg+xml" in page_of_two


def test_the_stones_traced_live_stand_in_a_frame_of_their_own(two, drawn_of_two, seen_of_two, page_of_two):
    frame = live_page(two)
    page = report_html(two, drawn_of_two, seen_of_two, live=frame)
    (found,) = [attributes for tag, attributes in Reader(page).tags if tag == "iframe"]
    assert found["srcdoc"] == frame
    assert found["sandbox"] == "allow-scripts allow-downloads"
    assert re.findall("<strong>(.*?)</strong>", html.unescape(frame)) == ['A: <b>first</b> & "last"', "B: second, $x^2$"]
    assert not any(tag == "iframe" for tag, _ in Reader(page_of_two).tags)


class Reader(HTMLParser):
    """Collects tags with their attributes, and the text outside style sheets."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.words: list[str] = []
        self.open: list[str] = []
        self.feed(page)

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        if tag not in ("meta", "link", "img", "source", "br", "!doctype"):
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag, f"</{tag}> closes nothing of its kind"

    def handle_data(self, data):
        if "style" not in self.open:
            self.words.append(data)

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.words).split())

    def all(self, name: str) -> list[dict[str, str | None]]:
        return [attrs for tag, attrs in self.tags if tag == name]


def test_everything_stands_in_the_page_itself(page_of_two):
    read = Reader(page_of_two)
    assert read.open == []  # every tag is closed
    links = [
        value for _, attrs in read.tags for key, value in attrs.items() if key in ("src", "href", "srcset", "data", "action")
    ]
    assert len(links) > 10
    assert all(link.startswith(("data:", "#")) for link in links)
    assert not re.search(r"@import|url\(|<script[^>]", page_of_two)
    assert page_of_two.count("<script>") == 1, "the stones in 3D"
    targets = {attrs["id"] for _, attrs in read.tags if "id" in attrs}
    assert {link[1:] for link in links if link.startswith("#")} <= targets
    assert len(page_of_two) < 4e6


PICTURES = 12 + 2 + 6 + 2 + 3
"""Colour pictures, film, maps, drawings; verdicts, differences and ledger."""


def test_who_cannot_see_is_reported(page_of_two):
    """Alternative texts with numbers, headings in order, tables with captions and scopes, a language."""
    read = Reader(page_of_two)
    assert read.all("html")[0]["lang"] == "en"
    pictures = read.all("img")
    assert len(pictures) == PICTURES
    assert all(len(picture["alt"] or "") > 40 for picture in pictures)
    levels = [int(tag[1]) for tag, _ in read.tags if re.fullmatch(r"h[1-6]", tag)]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after <= before + 1 for before, after in itertools.pairwise(levels))
    assert len(read.all("caption")) == len(read.all("table"))
    assert all(head.get("scope") in ("row", "col") for head in read.all("th"))


def test_the_page_tells_what_the_comparison_found(two, page_of_two):
    text = Reader(page_of_two).text
    for v in range(2):
        for name in tables.MAIN:
            for verdict in two.light_verdicts(v).get(name, ()):
                assert verdict.sentence in text
        for found in two.light[v]:
            leak = found["leak"]
            assert f"{words('leak').show(leak.statistic.value)} ± {words('leak').bare(leak.uncertainty)}" in text
    for found in two.proportions:
        assert words("weight_ct").show(found["weight_ct"].statistic.value) in text
    assert "displaced 4 times" in text
    assert f"This report holds {tables.count_verdicts(two)} verdicts" in text
    assert "common practice for optical measuring devices" in text


def test_cautions_are_on_the_page(page_of_two):
    text = Reader(page_of_two).text
    for caution in (
        "no grade, no valuation and no cutting order",
        "Material that is removed can't be put back",
        "A larger number is not necessarily better",
    ):
        assert caution in text


def test_names_are_text_and_never_markup(page_of_two):
    text = Reader(page_of_two).text
    assert all(name in text for name in NAMES[:2])
    assert "<b>first" not in page_of_two


def test_three_stones_are_compared_pair_by_pair_and_their_materials_noted():
    found = compare(*STONES, tilts=(0.0,), uncertainty=Uncertainty(0.02, 0.02, 1.0), **QUICK)
    assert {"b-and-c-difference.png", "b-and-c-verdicts.svg"} <= set(picture_names(3))
    assert pictures.verdict_figure(found, 1, 2).axes[0].get_xlabel().startswith("C larger")
    page = report_html(found, blank_pictures(3), title="Three of them")
    read = Reader(page)
    assert len(read.all("img")) == 3 + 3 * 3 + 2 * 3 + 1
    assert "<title>Three of them</title>" in page
    for pair in found.light_verdicts(0)["leak"]:
        assert pair.phrase in read.text
        assert pair.sentence in read.text
    assert {"A and B", "A and C", "B and C"} <= {
        text.removesuffix(": maps of the difference in brightness") for text in read.words
    }
    assert not re.search(r"\b(rank|place|over [A-C]|best|better than|wins)\b", read.text)
    assert "moissanite: " in read.text
    assert "default assumptions" not in read.text  # the user stated his own


def test_each_difference_in_a_table_is_that_of_the_numbers_beside_it(two, page_of_two):
    """Read off the page as a buyer would: with pencil and paper, in every row of every table."""
    rows = 0
    for row in re.findall(r"<tr><th scope=\"row\">[^<]*</th>\s*<td><span class=\"own\">.*?</tr>", page_of_two, re.S):
        cells = re.findall(r"<span class=\"own\">(\N{MINUS SIGN}?[\d.]+)(?:°| |<)", row)[:2]
        numbers = [Decimal(one.replace("\N{MINUS SIGN}", "-")) for one in cells]
        for larger, told in re.findall(r"([AB]) larger than [AB] by ([\d.]+)", row):
            assert (numbers[0] - numbers[1]) * (1 if larger == "A" else -1) == Decimal(told), row
            rows += 1
    assert rows > 10
    assert "without bias" not in page_of_two
    text = Reader(page_of_two).text
    assert "Scaled by" in text
    assert "Estimated bias of each number" in text


def test_a_range_of_one_number_is_that_number(page_of_two):
    even = compare(*(round_brilliant(**SHAPE, pavilion_angle_deg=angle) for angle in (40.75, 41.5)), tilts=(0.0,), **QUICK)
    text = Reader(report_html(even, blank_pictures(2))).text
    for shown in (text, Reader(page_of_two).text):
        assert not [pair for pair in re.findall(r"(\d+\.\d+) to (\d+\.\d+)", shown) if pair[0] == pair[1]]
        assert not re.search(r"[-\N{MINUS SIGN}]0\.0+\b(?!\d)", shown)
    assert "±" not in text.replace("± its standard error", "").replace("sampling ±", "")
    assert "A and B follow from proportions and were not measured" in text


def test_no_share_on_an_axis_exceeds_all_of_the_light(two):
    drawn_in = pictures.ledger_figure(two).axes
    assert len(drawn_in) > 0
    for axes in drawn_in:
        assert max(axes.get_xticks()) == 100


def test_a_report_is_not_written_over_another(two, tmp_path, monkeypatch):
    monkeypatch.setattr("raylab.report.pictures.drawn", lambda _: blank_pictures(2))
    target = tmp_path / "report.html"
    target.write_text("One", encoding="utf-8")
    with pytest.raises(InputError, match="exists already; nothing was written"):
        save_report(two, target, title="Two", looks=False)
    assert target.read_text(encoding="utf-8") == "One"
    save_report(two, target, title="Two", looks=False, force=True)
    assert "<title>Two</title>" in target.read_text(encoding="utf-8")
    assert [file.name for file in tmp_path.iterdir()] == ["report.html"]


# In a real browser.


@pytest.fixture
def page(browser: Browser, page_of_two: str, tmp_path: Path) -> Iterator[tuple[Page, list[str]]]:
    """The report opened from a file, and a list of every complaint and every request but that for the file itself."""
    target = tmp_path / "report.html"
    target.write_text(page_of_two, encoding="utf-8")
    opened = browser.new_page(viewport={"width": 1200, "height": 900})
    seen: list[str] = []
    stall = "GPU stall due to ReadPixels"  # the browser's own, of a canvas that it draws without a graphics card
    opened.on("console", lambda message: None if stall in message.text else seen.append(f"console: {message.text}"))
    opened.on("pageerror", lambda error: seen.append(f"error: {error}"))
    known = ("data:", target.as_uri())
    opened.on("request", lambda request: None if request.url.startswith(known) else seen.append(request.url))
    opened.goto(target.as_uri())
    yield opened, seen
    opened.close()


def test_the_browser_has_nothing_to_complain_of_and_asks_for_nothing(page):
    opened, seen = page
    opened.wait_for_load_state("networkidle")
    assert seen == []
    sizes = opened.evaluate("[...document.images].map(i => [i.complete, i.naturalWidth, i.naturalHeight])")
    assert len(sizes) == PICTURES
    assert all(complete and width >= 32 and height >= 32 for complete, width, height in sizes)


def test_the_first_screen_shows_the_stones_and_says_what_differs(page):
    opened, _ = page
    opened.set_viewport_size({"width": 1280, "height": 860})
    ends = "[...document.querySelectorAll('.look img, .answer')].map(e => e.getBoundingClientRect().bottom)"
    found = opened.evaluate(ends)
    assert len(found) == 13
    assert max(found) < 860
    sides = opened.evaluate("[...document.querySelectorAll('.look img')].map(e => e.getBoundingClientRect().width)")
    assert min(sides) > 150


def test_the_film_stands_still_for_who_asks_for_less_motion_and_in_print(page):
    opened, _ = page
    shown = "[...document.querySelectorAll('#film img')].filter(i => i.offsetHeight > 60).map(i => i.className)"
    for media, wanted in (
        ({"reduced_motion": "no-preference"}, "moving"),
        ({"reduced_motion": "reduce"}, "still"),
        ({"reduced_motion": "no-preference", "media": "print"}, "still"),
    ):
        opened.emulate_media(**media)
        assert opened.evaluate(shown) == [wanted]


def test_details_are_folded_on_the_screen_and_open_in_print_but_for_the_longest(page):
    opened, _ = page
    heights = "[...document.querySelectorAll('details')].map(e => [e.id, e.getBoundingClientRect().height > 60])"
    assert not any(tall for _, tall in opened.evaluate(heights))
    opened.emulate_media(media="print")
    folded = {name for name, tall in opened.evaluate(heights) if not tall}
    assert folded == {"sentences", "every", "biases"}


@pytest.mark.parametrize("width", [1200, 390])
def test_nothing_sticks_out_on_a_desk_or_in_a_pocket(page, width):
    opened, _ = page
    opened.set_viewport_size({"width": width, "height": 900})
    assert opened.evaluate("document.documentElement.scrollWidth") <= width


def test_what_scans_leave_open_is_said(two, page_of_two, tmp_path):
    vertices, triangles = scanned.tessellated(round_brilliant(table_pct=57, crown_angle_deg=34.5, pavilion_angle_deg=40.75), 0)
    mesh = trimesh.Trimesh(scanned.noisy(vertices, 0.001, np.random.default_rng(3)), triangles, process=False)
    mesh.export(tmp_path / "coarse.ply")
    _, (_, stated) = _loaded([own_or_demo("offer-a.csv"), tmp_path / "coarse.ply"], "mm", None)
    assert stated == Uncertainty(scatter_left_out=True)
    unknown = replace(two, uncertainties=(replace(Uncertainty(), unsure_walls=2), stated))
    noise, walls = unknown.about_scans
    assert noise.startswith("The noise of the scan of B is not known")
    assert walls.startswith("Beside 2 walls of the girdle of A, the points of its scan leave room for another wall")
    text = " ".join(Reader(report_html(unknown, blank_pictures(2))).text.split())
    assert noise in text
    assert walls in text
    assert "one verdict in" not in text
    assert two.about_scans == ()
    assert "of the scan" not in page_of_two


def test_negative_numbers_have_a_true_minus_sign(page):
    opened, _ = page
    text = opened.evaluate("document.querySelector('main').innerText + document.querySelector('#details').textContent")
    assert re.search(r"\N{MINUS SIGN}\d", text)
    assert not re.findall(r"(?<=[\s(\[,:;=])-\.?\d", text)


def test_it_prints_without_color_and_without_cut_pictures(page):
    """As printed on A4: no picture or row is wider than the sheet, and each picture fits on one page."""
    opened, _ = page
    opened.emulate_media(media="print")
    opened.set_viewport_size({"width": 688, "height": 1017})  # A4 less margins of 14 mm, at 96 pixels per inch
    assert opened.evaluate("document.documentElement.scrollWidth") <= 688
    assert opened.evaluate("Math.max(...[...document.images].map(i => i.getBoundingClientRect().height))") < 1017
    assert opened.evaluate("getComputedStyle(document.querySelector('nav')).display") == "none"
    facts = opened.evaluate("[...document.querySelectorAll('body, th, td, p, li')].map(e => getComputedStyle(e).color)")
    assert all(len(set(re.findall(r"\d+", color))) == 1 for color in facts)  # greys only: no meaning hangs on a hue
    printed = opened.pdf(format="A4")
    assert printed.startswith(b"%PDF")
    assert 3 < len(re.findall(rb"/Type\s*/Page\b(?!s)", printed)) <= 10


def test_a_page_that_asks_and_complains_would_be_seen(browser, tmp_path):
    """The check itself: an outside picture and a fault in a script both show up."""
    target = tmp_path / "bad.html"
    target.write_text("<img src='http://127.0.0.1:9/x.png'><script>console.error('oh'); nothing()</script>")
    seen: list[str] = []
    opened = browser.new_page()
    opened.on("console", lambda message: seen.append(message.text))
    opened.on("pageerror", lambda error: seen.append(str(error)))
    opened.on("request", lambda request: seen.append(request.url))
    opened.goto(target.as_uri())
    opened.close()
    assert "http://127.0.0.1:9/x.png" in seen
    assert "oh" in seen
    assert any("nothing is not defined" in line for line in seen)
