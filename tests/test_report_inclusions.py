"""Plotted inclusions in a comparison and in its report."""

import re

import pytest
from blank_pictures import blank_pictures

import raylab as rl
from raylab.comparison.comparison import Comparison
from raylab.report import report_html
from raylab.report.inclusions import NONE, images_of, panel

PLAIN = [rl.round_brilliant(table_pct=t, crown_angle_deg=34.5, pavilion_angle_deg=41, girdle_facets=16) for t in (56, 60)]
SPECK = rl.Inclusion.sphere((0.4, 0.1, 0.3), 0.15, name="crystal")


def compared(*stones: rl.Stone) -> Comparison:
    settings = rl.TraceSettings(precision=0.05)
    return rl.compare(*stones, dome="head-shadow", tilts=(0.0,), resolution=24, settings=settings)


@pytest.fixture(scope="module")
def one_plotted() -> Comparison:
    return compared(PLAIN[0].with_inclusions(SPECK), PLAIN[1])


def test_numbers_are_those_of_the_stones_without(one_plotted):
    """To the last bit; and the comparison says so."""
    bare = compared(*PLAIN)
    assert one_plotted.left_out() == {"A": 1}
    given = one_plotted.to_dict()
    assert given.pop("without_inclusions") == {"A": 1}
    assert given == bare.to_dict()
    assert panel(bare) is None


def test_the_page_has_a_table_and_a_picture(one_plotted):
    page = report_html(one_plotted, blank_pictures(2))
    part = page[page.index('id="inclusions"') : page.index('id="stones"')]
    found = images_of(one_plotted, 0)
    cells = re.findall(r'<span class="own">(.*?)</span>', part)
    assert cells[:4] == ["1", NONE, f"{len(found.images)}", NONE]
    assert f"{100 * found.lost.value:.2f} ± {100 * found.lost.error:.2f} %" in cells
    assert part.count("<img") == 1
    assert "inclusion 1 (crystal)" in part
    assert "without their inclusions" in part


def test_images_have_the_size_of_the_stone_as_offered(one_plotted):
    """Stones are compared at one length; an image's area is that on the stone itself."""
    larger = compared(PLAIN[0].with_inclusions(SPECK), PLAIN[1].scaled(1.5))
    assert images_of(larger, 0).images == images_of(one_plotted, 0).images
