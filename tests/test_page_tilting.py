"""Curves against the tilt, and dark areas, in a real browser: one page for all tests."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser
from test_workbench_page import Workbench, workbench  # noqa: F401 - a fixture among them
from workbench_process import BenchProcess


@pytest.fixture(scope="module")
def page(browser: Browser, workbench: BenchProcess) -> Iterator[Workbench]:  # noqa: F811
    one = Workbench(browser, workbench.address)
    one.page.get_by_role("tab", name="History").click()  # few sliders, so that little is computed that no test reads
    one.page.select_option("#strip-choice", "brightness")
    curves(one)
    yield one
    one.page.context.close()
    assert one.complaints == []


def curves(page: Workbench) -> None:
    """Wait until the curves of the present stones are drawn."""
    page.rest()
    page.page.wait_for_function("() => Number(document.documentElement.dataset.strips) >= 9")


def read(page: Workbench, tilt_deg: float) -> list[float]:
    """The numbers that the pointer reads at a tilt."""
    box = page.page.locator("#tilt-picture").bounding_box()
    assert box is not None
    page.page.mouse.move(box["x"] + 0.5 + tilt_deg / 45.0 * (box["width"] - 1.0), box["y"] + 40.0)
    words = page.page.locator("#tilting .note").inner_text()
    assert words.startswith(f"brightness at {tilt_deg:g}°: about ")
    return [float(number) for number in re.findall(r"\d\.\d\d", words)]


def drawn(page: Workbench, side: str) -> str:
    return page.page.locator(f"[data-tilt-curve={side}]").get_attribute("d") or ""


def press(page: Workbench, tilt_deg: float) -> None:
    read(page, tilt_deg)
    page.page.mouse.down()
    page.page.mouse.up()


def test_a_curve_reads_what_stands_above_the_maps_and_a_press_sets_the_tilt(page):
    now = float(page.page.locator("[data-glance='brightness.a'] .now").inner_text())
    assert read(page, 0.0) == [pytest.approx(now, abs=0.012)]  # the errors of a coarse trace, and two digits
    assert drawn(page, "b") == ""
    for tilt_deg in (9.0, 0.0):
        press(page, tilt_deg)
        assert page.field("tilt_deg") == tilt_deg
        assert "behind" not in page.page.locator("#tilting").get_attribute("class"), "the curve holds for every tilt"


def test_a_second_stone_has_a_curve_of_its_own_which_its_sliders_change(page):
    page.page.click("#compare")
    page.page.get_by_role("tab", name="Proportions").click()
    page.page.locator("[data-slider=pavilion_angle_deg]").fill("43")
    page.page.get_by_role("tab", name="History").click()
    assert "behind" in page.page.locator("#tilting").get_attribute("class")
    curves(page)
    assert "behind" not in page.page.locator("#tilting").get_attribute("class")
    one, other = read(page, 0.0)
    assert one != other
    assert drawn(page, "a") != drawn(page, "b") != ""


def test_dark_areas_are_listed_and_outlined_in_the_maps(page):
    shown = page.page.locator("#darkness:not(.behind) tbody tr")
    shown.first.wait_for()
    assert [one.split("\t")[0] for one in shown.all_inner_texts()] == ["largest connected dark area", "its centre, x and y"]
    assert 0.0 < float(page.number("dark_area.b")) < 100.0
    canvas = page.page.locator(".map-frame canvas").first
    before = canvas.evaluate("one => one.toDataURL()")
    page.page.check("#outline")
    assert canvas.evaluate("one => one.toDataURL()") != before
    page.page.uncheck("#outline")
    assert canvas.evaluate("one => one.toDataURL()") == before


def test_a_weight_has_no_curve_and_nothing_is_computed_for_nothing(page):
    page.page.select_option("#strip-choice", "")
    assert page.page.locator("#darkness").is_hidden()
    page.page.select_option("#strip-choice", "weight_ct")
    assert page.page.locator("#tilting").is_hidden()
    page.page.select_option("#strip-choice", "leak")
    assert page.page.locator("#tilting h2").inner_text() == "Leak against the tilt"
