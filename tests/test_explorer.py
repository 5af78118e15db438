"""`rl.explore`: the page's maps and sliders in a notebook, answered by the kernel."""

from __future__ import annotations

import json
import queue
import sys

import pytest
from notebook_page import explorer_of, opened
from playwright.sync_api import Browser
from workbench_process import unpack

import raylab as rl
from raylab.notebook import explorer as module
from raylab.notebook.stone_design import design_of
from raylab.notebook.widget_source import module_file, sources, style
from raylab.workbench.answers import STEPS
from raylab.workbench.design_json import stone_of

WAIT_MS = 240_000
SHOWN = "#{} .raylab-explorer[data-state={}]"

COLORED = """canvas => {
  const { data } = canvas.getContext("2d").getImageData(0, 0, canvas.width, canvas.height);
  return data.filter((_, k) => k % 4 === 0 && Math.abs(data[k] - data[k + 2]) > 15).length;
}"""
"""Pixels with a colour."""


def brilliant(**changed) -> rl.Stone:
    given = {"table_pct": 57, "crown_angle_deg": 34.5, "pavilion_angle_deg": 40.75, "girdle_facets": 32, **changed}
    return rl.round_brilliant(**given, name="W-1 (invented)")


def brightness(explorer: rl.Explorer) -> str:
    """What the library says of the stone, dome and view that the controls say."""
    scene = rl.Scene(explorer.stone, explorer.dome, explorer.view, *STEPS["exact"])
    return f"{rl.trace_scene(scene, by_facet=False).summary.brightness.value:.4f}"


def test_sliders_and_maps_in_a_page_that_is_not_ours(browser: Browser, monkeypatch):
    monkeypatch.setitem(STEPS, "exact", (rl.TraceSettings(precision=2e-2), 96))
    explorer = explorer_of(brilliant())
    page = opened(browser, explorer)
    page.set_default_timeout(WAIT_MS)
    faults: list[str] = []
    page.on("pageerror", lambda error: faults.append(str(error)))
    before = page.evaluate("getComputedStyle(document.querySelector('h2')).cssText + getComputedStyle(document.body).font")
    for view in ("first", "second"):  # of one model
        page.evaluate(f"show('{view}')")
        page.wait_for_selector(SHOWN.format(view, "exact"))
    first, second = page.locator("#first"), page.locator("#second")
    number = first.locator('[data-number="brightness.a"]')
    assert (
        number.inner_text().split()[0]
        == brightness(explorer)
        == second.locator('[data-number="brightness.a"]').inner_text().split()[0]
    )
    assert first.locator("[data-slider=pavilion_angle_deg]").is_visible(), "the notebook's style stays outside"
    assert (
        page.evaluate("getComputedStyle(document.querySelector('h2')).cssText + getComputedStyle(document.body).font") == before
    )

    first.locator("[data-slider=pavilion_angle_deg]").fill("41.5")
    page.wait_for_selector(SHOWN.format("first", "busy"), state="attached")
    page.wait_for_selector(SHOWN.format("first", "exact"))
    page.wait_for_function("model.get('state').designs?.a.pavilion_angle_deg === 41.5")
    page.wait_for_timeout(50)  # one exchange
    assert explorer.stone.slope_deg()[explorer.stone.facets_of("pavilion main")[0]] == pytest.approx(41.5, abs=1e-9)
    assert number.inner_text().split()[0] == brightness(explorer)
    assert second.locator('[data-field="pavilion_angle_deg"]').input_value() == "40.75", "a view has its own controls"
    first.locator("[data-map='0'] select").select_option("live")
    page.wait_for_selector("#first [data-map='0'][data-frames]:not([data-frames=''])")
    assert "traced here" in first.locator("[data-map='0'] .ticks").inner_text()
    assert first.locator("[data-map='0'] .map-frame > canvas").evaluate(COLORED) > 50
    first.locator("[data-map='0'] select").select_option("luminance")

    field = first.locator("[data-field=star_pct]")
    field.fill("2")  # stars that cross the table
    field.press("Enter")
    page.wait_for_selector(SHOWN.format("first", "fault"))
    assert "star" in first.locator(".problem").inner_text()
    assert field.get_attribute("aria-invalid") == "true"
    first.get_by_role("button", name="Undo").click()
    page.wait_for_selector(SHOWN.format("first", "exact"))
    assert first.locator(".problem").inner_text() == ""

    assert first.locator(".raylab-explorer").get_attribute("data-theme") == "light"
    page.evaluate("document.body.style.color = 'rgb(230, 230, 230)'")
    page.wait_for_selector("#first .raylab-explorer[data-theme=dark]")
    page.evaluate("end_first()")
    assert page.locator("#first > *").count() == 0
    page.wait_for_timeout(50)
    assert len(explorer._views) == 1, "the view that has left is forgotten"
    explorer.close()
    page.close()
    assert explorer.widget.closed
    assert faults == []


def test_a_stone_by_proportions_has_sliders_and_any_other_its_facets():
    for changed in (
        {},
        {"culet_pct": 1.5, "girdle_pct": 4.25, "star_pct": 47.3},
        {"girdle_finish": "absorbing", "material": "zircon"},
    ):
        design = design_of(brilliant(**changed))
        assert design["kind"] == "proportions"
        assert {key: design[key] for key in changed} == changed
        again = stone_of(design)
        assert again.distances_mm == pytest.approx(brilliant(**changed).distances_mm, abs=1e-9)
        assert again.name == "W-1 (invented)"
    by_weight = brilliant(weight_ct=1.0)
    assert design_of(by_weight)["diameter_mm"] == pytest.approx(by_weight.size_mm[0], abs=1e-8)
    for cut in rl.cuts():
        asked = {key: 58.0 for key in ("table_pct",) if key in cut.keys and cut.keys[key].default is None}
        asked |= {
            key: 40.0 for key in ("crown_angle_deg", "pavilion_angle_deg") if key in cut.keys and cut.keys[key].default is None
        }
        design = design_of(cut.stone(**asked))
        assert (design["kind"], design["cut"]) == ("proportions", cut.name)
    off = rl.deviate(brilliant(), {"star 3": rl.Offset(slope_deg=1e-4)})
    larger = rl.oval_brilliant(table_pct=58).scaled(1.1)
    for stone in (off, brilliant().relabeled(measured=True), brilliant().relabeled(cut=None), larger):
        design = design_of(stone)
        assert design["kind"] == "facets"
        assert stone_of(design).distances_mm == pytest.approx(stone.distances_mm, abs=1e-12)


def test_the_widget_is_the_pages_own_javascript():
    found = sources()
    assert {"explorer.js", "workbench.js", "maps.js", "proportions.js", "live/stage.js"} <= set(found)
    assert "main.js" not in found, "it builds the page when it is loaded"
    assert all(text == module_file(name).read_text(encoding="utf-8") for name, text in found.items())
    assert ":root" not in style()
    assert ':host([data-theme="dark"])' in style()


@pytest.mark.parametrize(
    ("given", "line"),
    [
        ({"stone": "stone.csv"}, "stone = 'stone.csv': wrong type; expected a Stone"),
        ({"dome": "haed-shadow"}, "unknown dome"),
        ({"view": rl.View(distance_mm=250)}, "the explorer tilts a stone in a parallel view"),
    ],
)
def test_what_it_cannot_show_is_one_line(given, line):
    with pytest.raises(rl.InputError) as refused:
        rl.explore(**{"stone": brilliant(), **given})
    assert line in str(refused.value)


def test_a_missing_extra_is_named(monkeypatch):
    monkeypatch.setitem(sys.modules, "anywidget", None)
    module._widget_class.cache_clear()
    with pytest.raises(rl.InputError) as refused:
        rl.explore(brilliant())
    assert str(refused.value) == "the explorer needs anywidget; expected pip install 'raylab[notebook]'"


def test_a_widget_carries_questions_and_answers(monkeypatch):
    """As in a kernel, but for the comm."""
    pytest.importorskip("anywidget", reason="anywidget is not installed")
    explorer = rl.explore(brilliant(), "even-sky")
    assert "application/vnd.jupyter.widget-view+json" in explorer._repr_mimebundle_()[0]
    assert explorer.dome.name == "even-sky" == explorer.widget.start["dome"]
    answers = queue.Queue()
    monkeypatch.setattr(type(explorer.widget), "send", lambda _, content, buffers: answers.put((content, buffers)))
    question = {"kind": "picture", "id": 7, "side": "a", "step": "coarse", "dome": "even-sky", "maps": ["leak"]}
    for asked in ({**question, "design": explorer.widget.start["design"]}, {**question, "kind": "gift"}):
        explorer.widget._handle_custom_msg({"view": "v", "question": json.dumps(asked)}, [])
        content, (data,) = answers.get(timeout=240)
        header, arrays = unpack(data)
        assert (content, header["id"]) == ({"view": "v"}, 7)
        assert ("map leak" in arrays) == (asked["kind"] == "picture") == ("error" not in header)
    explorer.close()
