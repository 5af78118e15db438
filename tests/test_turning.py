"""Stones that turn in 3D in a page of their own: the workbench's view, and nothing fetched."""

from __future__ import annotations

import json
import re

import pytest

import raylab as rl
from raylab.pictures import turning
from raylab.pictures.turning import solid_of, turning_script

STONE = rl.princess_cut(table_pct=70)


def test_the_script_is_the_page_s_own_view_and_the_same_for_the_same_stones():
    script = turning_script([STONE], "figure", "button")
    assert script == turning_script([rl.princess_cut(table_pct=70)], "figure", "button")
    assert "import " not in re.sub(r"//.*", "", script)
    assert "export " not in re.sub(r"//.*|/\*.*?\*/", "", script)
    view = (turning.shipped("workbench/static") / "stone_view.js").read_text(encoding="utf-8")
    assert view[view.index("  take() {") : view.index("  // --- looking")] in script, "not a line is changed"
    assert len(script) < 60_000


def test_no_name_of_a_stone_ends_the_script():
    evil = rl.Stone.from_planes(STONE.normals, STONE.distances_mm, tiers=["</script><b>"] * len(STONE))
    script = turning_script([evil], "figure", "button")
    assert "</script" not in script
    assert json.loads(script[script.rindex("[{") : script.rindex("}]") + 2])[0]["facets"][0][0] == "</script><b>"


def test_a_solid_holds_the_stone():
    solid = solid_of(STONE)
    assert solid["distances"] == pytest.approx(STONE.distances_mm, abs=1e-5)
    assert len(solid["loops"]) == len(solid["facets"]) == len(STONE)
    assert 3 * (1 + max(map(max, solid["loops"]))) == len(solid["vertices"])
    assert solid["facets"][0][:2] == [STONE.tiers[0], STONE.indices[0]]


@pytest.fixture(scope="module")
def page(browser):
    """Two figures and a button, opened from no server."""
    opened = browser.new_page(viewport={"width": 500, "height": 400})
    opened.complaints = []
    stall = "GPU stall due to ReadPixels"  # the browser's own, of a canvas that it draws without a graphics card
    opened.on("console", lambda message: None if stall in message.text else opened.complaints.append(message.text))
    opened.on("pageerror", lambda error: opened.complaints.append(str(error)))
    canvas = "<canvas tabindex=0 style='width:200px;height:200px'></canvas>"
    figures = 2 * f"<figure>{canvas}<p data-missing hidden></p><b data-facet></b></figure>"
    script = turning_script([STONE, STONE], "figure", "button")
    opened.set_content(
        f"{figures}<button data-sight=below>Below</button><script>{script}</script><main>{STONE._repr_html_()}</main>"
    )
    opened.wait_for_function("document.querySelector('canvas').dataset.drawn")
    yield opened
    opened.close()


def test_stones_turn_together_by_keys_and_buttons_and_a_click_names_a_facet(page):
    drawn = "[...document.querySelectorAll('figure canvas')].map((one) => Number(one.dataset.drawn))"
    before = page.evaluate(drawn)
    page.locator("canvas").first.focus()
    page.keyboard.press("ArrowLeft")
    page.wait_for_function(f"{drawn}.every((count, k) => count > {before}[k])")
    page.get_by_role("button").click()
    page.locator("canvas").nth(1).click(position={"x": 100, "y": 130})
    assert "chevron" in page.locator("[data-facet]").nth(1).inner_text()
    assert page.locator("[data-facet]").first.inner_text() == ""
    assert page.complaints == []


def test_a_notebook_shows_it_where_scripts_are_allowed(page):
    page.wait_for_function("document.querySelector('main canvas').dataset.drawn")
    page.locator("main canvas").click(position={"x": 150, "y": 150})
    assert "slope" in page.locator("main [data-facet]").inner_text()
    assert page.complaints == []
    bare = re.sub(r"<script>.*?</script>", "", STONE._repr_html_(), flags=re.DOTALL)  # as a notebook that isn't trusted has it
    page.set_content(bare)
    assert page.locator("canvas").is_hidden()
    assert page.locator("svg").count() == 3
