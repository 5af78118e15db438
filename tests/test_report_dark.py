"""Dark areas and windows of long stones in the report."""

from __future__ import annotations

import re

import pytest
from blank_pictures import blank_pictures

import raylab as rl
from raylab.comparison.comparison import Comparison
from raylab.report import report_html
from raylab.report.darkness import dark_of, panel

SETTINGS = rl.TraceSettings(precision=0.05)


def compared(*stones: rl.Stone, resolution: int = 64) -> Comparison:
    return rl.compare(*stones, dome="head-shadow", tilts=(0.0,), resolution=resolution, settings=SETTINGS)


@pytest.fixture(scope="module")
def long_and_round() -> Comparison:
    oval = rl.oval_brilliant(table_pct=60, pavilion_angle_deg=24, girdle_facets=32)  # so shallow that it has a window
    return compared(oval, rl.round_brilliant(table_pct=57, crown_angle_deg=34.5, pavilion_angle_deg=40.75, girdle_facets=32))


def test_numbers_are_those_of_dark_areas(long_and_round):
    """On the pixels of maps, against polygons: a pixel more or less along the edges."""
    found = dark_of(long_and_round, 0, 0)
    exact = rl.dark_areas(rl.trace(long_and_round.shown[0], "head-shadow", resolution=64, precision=0.05, by_facet=False))
    assert found.band_depth.value == pytest.approx(exact.band_depth.value, abs=2e-3)
    assert found.largest.value == pytest.approx(exact.largest.value, abs=0.03)


def test_the_page_lists_and_shows_them(long_and_round):
    page = report_html(long_and_round, blank_pictures(2))
    part = page[page.index('id="dark"') : page.index('id="stones"')]
    assert part.count("<img") == 4, "dark areas and windows of two stones"
    cells = re.findall(r'<span class="own">(.*?)</span>', part)
    window = long_and_round.light[0][0]["window"].statistic.value
    assert window > 0.05
    assert f"{100 * window:.2f} %" in cells
    assert "no band" in cells, "the round one is not long"


def test_round_stones_have_no_such_part():
    stones = [rl.round_brilliant(table_pct=t, crown_angle_deg=34.5, pavilion_angle_deg=41, girdle_facets=16) for t in (56, 60)]
    assert panel(compared(*stones, resolution=16)) is None
