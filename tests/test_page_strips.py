"""The numbers above the maps and the strips below the sliders, in a real browser."""

from __future__ import annotations

import pytest
from playwright.sync_api import Locator
from test_workbench_page import Workbench, open_page, traced, usual_page, workbench, written  # noqa: F401 - fixtures among them

GLANCE = ("brightness", "contrast_rms", "leak", "weight_ct")

# Names of the numbers above the maps, and of maps, that are not wholly inside the window, or are covered.
OUT_OF_SIGHT = """() => [...document.querySelectorAll('[data-glance], .map-frame')].filter((e) => {
  const { left, right, top, bottom } = e.getBoundingClientRect();
  const seen = document.elementFromPoint((left + right) / 2, top + 2);
  return left < 0 || right > innerWidth || top < 0 || bottom > innerHeight || !(seen && (e.contains(seen) || seen.contains(e)));
}).map((e) => e.dataset.glance ?? e.ariaLabel)"""

# How many strips are behind once a slider has begun to move.
BEHIND = """([key, value]) => {
  const slider = document.querySelector(`[data-slider=${key}]`);
  slider.focus();
  slider.value = value;
  slider.dispatchEvent(new Event('input', { bubbles: true }));
  if (slider.closest('.slider').querySelector('.strip').matches('.behind')) return 'its own';
  return document.querySelectorAll('.strip.drawn.behind').length;
}"""


def strips(page: Workbench, count: int = 9) -> None:
    """Wait until all strips in sight have so many places of the present stone."""
    page.rest()
    page.page.wait_for_function("count => Number(document.documentElement.dataset.strips) >= count", arg=count)


def line(page: Workbench, key: str) -> str:
    return page.page.locator(f"[data-strip={key}] .strip-line").get_attribute("d") or ""


def glance(page: Workbench, name: str) -> list[str]:
    return page.page.locator(f'[data-glance="{name}"]').inner_text().split()


def test_numbers_stay_in_sight_and_every_slider_has_a_strip(open_page):  # noqa: F811
    page = open_page(strips="brightness")
    page.page.set_viewport_size({"width": 1280, "height": 860})
    strips(page)
    facts = opened = traced(page.values())
    assert page.page.locator(".map-head select").evaluate_all("all => all.map((one) => one.value)") == ["luminance", "contrast"]
    for key in GLANCE[:3]:
        assert glance(page, f"{key}.a") == [written(facts.summary.statistics[key].value), "0.0000"]
    sliders = page.page.locator("[data-slider]:visible")
    assert sliders.count() == page.page.locator(".strip.drawn:visible").count() == 13
    table = line(page, "table_pct")
    assert page.page.evaluate(BEHIND, ["pavilion_angle_deg", 41.5]) == 12, "its own strip is true wherever the slider stands"
    page.slide("pavilion_angle_deg", 41.6)
    strips(page)
    facts = traced(page.values())
    for key in GLANCE[:3]:
        now, before = (one.summary.statistics[key].value for one in (facts, opened))
        assert glance(page, f"{key}.a") == [written(now), f"{'+' * (now > before)}{written(now - before)}"]
    points = 100 * (facts.scene.stone.weight_ct - opened.scene.stone.weight_ct)
    assert glance(page, "weight_ct.a") == [written(facts.scene.stone.weight_ct, 3), "ct", f"+{points:.2f}", "pt"]
    assert line(page, "table_pct") != table, "drawn anew"
    words = page.page.locator("[data-strip=table_pct]").get_attribute("title")
    assert words.startswith("Brightness along Table size, 40 percent to 80 percent, with everything else as it is: from 0.")
    here = float(words.split("here ")[1][:6])
    assert here == pytest.approx(facts.summary.brightness.value, abs=0.03)
    pavilion = line(page, "pavilion_angle_deg")
    page.page.select_option("#strip-choice", "leak")
    assert page.page.locator("[data-strip=table_pct]").get_attribute("title").startswith("Leak along Table size")
    assert line(page, "pavilion_angle_deg") != pavilion
    for tab in ("Facets", "What if", "Brillianteer", "Proportions"):
        page.page.get_by_role("tab", name=tab).click()
        assert page.page.evaluate(OUT_OF_SIGHT) == [], tab
    at_400(page)
    page.page.set_viewport_size({"width": 1280, "height": 860})
    page.page.click("#compare")
    page.rest()
    found = page.page.locator("[data-glance]")
    top = page.page.locator(".map-frame").first.bounding_box()["y"]
    assert [0 < box["y"] < box["y"] + box["height"] <= top for box in map(bounding_box, found.all())] == [True] * 8
    at_400(page)


def bounding_box(element: Locator) -> dict[str, float]:
    box = element.bounding_box()
    assert box is not None
    return dict(box)


def at_400(page: Workbench) -> None:
    """Maps and numbers stay in sight on a narrow window, whichever slider is turned."""
    page.page.set_viewport_size({"width": 400, "height": 800})
    for key in ("table_pct", "girdle_pct", "tilt_azimuth_deg"):
        page.page.locator(f"[data-slider={key}]").evaluate("one => one.scrollIntoView({ block: 'end' })")
        page.page.locator(f"[data-slider={key}]").hover()  # it is not covered
        assert page.page.evaluate(OUT_OF_SIGHT) == [], key
    assert page.page.evaluate("document.documentElement.scrollWidth") <= 400
