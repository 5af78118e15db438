"""The numbers above the maps, the strips below the sliders, the curves against the tilt and dark areas, in a real browser."""

from __future__ import annotations

import json
import re

import numpy as np
import pytest
from invented_sweep import BOX, invented_sweep, summed
from playwright.sync_api import Locator
from test_workbench_page import Workbench, open_page, traced, usual_page, written  # noqa: F401 - fixtures among them
from workbench_process import BenchProcess

import raylab as rl
from raylab import netcdf
from raylab.workbench.design_json import DEMO
from raylab.workbench.surrogate_maps import model_of

GLANCE = ("brightness", "contrast_rms", "leak", "weight_ct")

# Names of the numbers above the maps, and of maps, that are not wholly inside the window, or are covered.
OUT_OF_SIGHT = """() => [...document.querySelectorAll('[data-glance], .map-frame')].filter((e) => {
  const { left, right, top, bottom } = e.getBoundingClientRect();
  const seen = document.elementFromPoint((left + right) / 2, top + 2);
  return left < 0 || right > innerWidth || top < 0 || bottom > innerHeight || !(seen && (e.contains(seen) || seen.contains(e)));
}).map((e) => e.dataset.glance ?? e.ariaLabel)"""

# What of the panel in sight is wider than the panel.
CUT_OFF = """() => {
  const room = document.querySelector('#work').getBoundingClientRect().right;
  return [...document.querySelectorAll('#panels *')].filter((e) => e.getClientRects().length && !e.closest('.facet-scroll') &&
    e.getBoundingClientRect().right > room).map((e) => e.id || e.textContent);
}"""

# A number of a model on the cells of a map, by the page's own module.
MAPPED = """async ([model, point]) => {
  const { Spline } = await import('./static/spline.js');
  const spline = new Spline(model);
  const [number] = spline.numbers;
  return [[...spline.map(number, 0, 1, point, 8)].map((one) => (Number.isNaN(one) ? null : one)), spline.at(number, point)];
}"""

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
        assert glance(page, f"{key}.a") == [written(facts.summary.statistics[key].value), "unchanged"]
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
    for tab in ("Facets", "What if", "Brillianteer", "Inclusions", "History", "Proportions"):
        page.page.get_by_role("tab", name=tab).click()
        assert page.page.evaluate(OUT_OF_SIGHT) == [], tab
        assert page.page.evaluate(CUT_OFF) == [], tab
    at_400(page)
    page.page.set_viewport_size({"width": 1280, "height": 860})
    page.page.click("#compare")
    page.rest()
    found = page.page.locator("[data-glance]")
    top = page.page.locator(".map-frame").first.bounding_box()["y"]
    assert [0 < box["y"] < box["y"] + box["height"] <= top for box in map(bounding_box, found.all())] == [True] * 8
    assert page.page.evaluate(OUT_OF_SIGHT) == [], "both rows of maps"
    below, footer = (bounding_box(page.page.locator(one)) for one in (".under-maps", "footer"))
    assert below["y"] + below["height"] <= footer["y"], "what the pointer reads"
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


# --- curves against the tilt, and dark areas ---------------------------------------------------------------------------


def test_the_page_shows_an_opened_sweep_beside_its_sliders(open_page):  # noqa: F811
    found = invented_sweep()
    model, wanted = model_of(found), rl.surrogate(found, "brightness")
    page = open_page()
    values, here = page.page.evaluate(MAPPED, [json.loads(json.dumps(model)), [0.5, 0.5, 0.25]])
    cells = (np.arange(8) + 0.5) / 8
    unit = np.stack([*np.meshgrid(cells, cells, indexing="xy"), np.full((8, 8), 0.25)], axis=-1).reshape(-1, 3)
    at = {key: one.low + unit[:, k] * (one.high - one.low) for k, (key, one) in enumerate(wanted.axes.items())}
    shown = np.array(values, dtype=float)
    assert shown[np.isfinite(shown)] == pytest.approx(wanted(at)[np.isfinite(shown)], abs=1e-9)
    assert np.isnan(shown).any()
    assert (unit[np.isnan(shown), :2] > 0.6).all(), "empty where designs are no stones"
    assert here == pytest.approx(summed(wanted, np.array([0.5, 0.5, 0.25])), abs=1e-12)
    page.drop("sweep.nc", netcdf.of_dataset(found))
    words, fault = page.page.locator("#heat-words"), page.page.locator("#heat-fault")
    page.page.wait_for_function("() => document.querySelector('#heat-words').textContent.includes('sweep.nc')")
    stone = {key: DEMO[key] for key in BOX}
    assert f"cross-validation is {wanted.rmse:.4f}" in words.inner_text()
    assert f"Here {float(wanted(stone)):.4f}" in words.inner_text()
    assert not fault.is_visible()
    box = page.page.locator("#heat-canvas").bounding_box()
    page.page.mouse.click(box["x"] + 0.25 * box["width"], box["y"] + 0.25 * box["height"])
    page.rest()
    ends = [wanted.axes[key] for key in ("pavilion_angle_deg", "crown_angle_deg")]
    for key, one, share in zip(("pavilion_angle_deg", "crown_angle_deg"), ends, (0.25, 0.75), strict=True):
        assert page.field(key) == pytest.approx(one.low + share * (one.high - one.low), abs=0.3)
    moved = {**stone, **{key: page.field(key) for key in ("pavilion_angle_deg", "crown_angle_deg")}}
    page.page.wait_for_function(
        "words => document.querySelector('#heat-words').textContent.includes(words)", arg=f"Here {float(wanted(moved)):.4f}"
    )
    page.slide("lower_half_pct", 80)
    assert fault.inner_text() == "Its designs are of another stone: lower-half length 77 (here 80)."
    page.slide("crown_angle_deg", 40)
    assert fault.inner_text().startswith("This stone lies outside of the surrogate's box: crown angle 40°")


@pytest.fixture(scope="module")
def page(usual_page: Workbench, workbench: BenchProcess) -> Workbench:  # noqa: F811
    """One page for all tests of curves and dark areas."""
    one = usual_page
    one.open(workbench.address)
    one.page.get_by_role("tab", name="History").click()  # few sliders, so that little is computed that no test reads
    one.page.select_option("#strip-choice", "brightness")
    curves(one)
    return one


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


def second_stone(page: Workbench) -> None:
    """See to it that there is one, whichever tests have run before."""
    if page.page.locator("#editing").is_hidden():
        page.page.click("#compare")
    page.rest()


def test_a_second_stone_has_a_curve_of_its_own_which_its_sliders_change(page):
    second_stone(page)
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
    second_stone(page)
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
    assert page.complaints == []
