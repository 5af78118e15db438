"""`round_brilliant`: facets where they belong, every impossible combination refused by name."""

from collections import Counter

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from raylab.errors import InputError, StoneError
from raylab.stone.cuts.round_brilliant import round_brilliant
from raylab.stone.finish import ABSORBING, POLISHED
from raylab.stone.symmetry_group import SymmetryGroup

USUAL = {"table_pct": 57, "crown_angle_deg": 34.5, "pavilion_angle_deg": 40.75}


def test_fifty_seven_facets_and_a_girdle():
    tiers = Counter(round_brilliant(**USUAL).tiers)
    counts = {"table": 1, "star": 8, "crown main": 8, "upper half": 16, "girdle": 96, "lower half": 16, "pavilion main": 8}
    assert tiers == counts
    assert sum(tiers.values()) - tiers["girdle"] == 57
    assert Counter(round_brilliant(**USUAL, culet_pct=1.0).tiers) == {**counts, "culet": 1}


def test_crown_and_pavilion_mains_stand_above_each_other():
    stone = round_brilliant(**USUAL)
    azimuth = {tier: stone.azimuth_deg()[[t == tier for t in stone.tiers]] for tier in set(stone.tiers)}
    assert azimuth["crown main"] == pytest.approx(45.0 * np.arange(8))
    assert azimuth["pavilion main"] == pytest.approx(azimuth["crown main"])
    assert azimuth["star"] == pytest.approx(22.5 + 45.0 * np.arange(8))
    assert azimuth["upper half"] == pytest.approx(11.25 + 22.5 * np.arange(16))
    assert azimuth["lower half"] == pytest.approx(azimuth["upper half"])


def test_the_girdle_plane_is_the_middle_of_the_girdle():
    stone = round_brilliant(**USUAL, girdle_pct=3.0, diameter_mm=10.0)
    girdle = np.concatenate(
        [stone.vertices_mm[loop] for loop, t in zip(stone.polyhedron.loops, stone.tiers, strict=True) if t == "girdle"]
    )
    assert girdle[:, 2].max() == pytest.approx(0.15, abs=1e-12)
    assert girdle[:, 2].min() == pytest.approx(-0.15, abs=1e-12)
    assert np.hypot(*stone.vertices_mm[:, :2].T).max() == pytest.approx(5.0, rel=1e-12)


def test_eightfold_and_mirror_symmetry():
    corners = round_brilliant(**USUAL).vertices_mm
    assert round_brilliant(**USUAL).symmetry == SymmetryGroup(8, 0.0)
    c, s = np.cos(np.pi / 4), np.sin(np.pi / 4)
    for image in (corners @ np.array([[c, s, 0], [-s, c, 0], [0, 0, 1]]), corners * [1, -1, 1]):
        assert np.linalg.norm(image[:, None] - corners, axis=2).min(axis=1).max() < 1e-10


def test_corners_where_facets_meet_by_design():
    """Star tips, table corners and the mains' feet are single corners shared by all facets that end there."""
    stone = round_brilliant(**USUAL, girdle_facets=16)
    ends = Counter(int(v) for loop in stone.polyhedron.loops for v in loop)
    tip = int(stone.vertices_mm[:, 2].argmin())
    assert ends[tip] == 8  # the culet point: eight mains
    table = stone.polyhedron.loops[0]
    assert len(table) == 8
    assert {ends[int(v)] for v in table} == {4}  # table, two stars, one main


def test_heights_instead_of_angles():
    by_angle = round_brilliant(table_pct=60, crown_angle_deg=33.0, pavilion_angle_deg=41.0, culet_pct=1.0)
    crown, pavilion = 20.0 * np.tan(np.radians(33.0)), 49.5 * np.tan(np.radians(41.0))
    by_height = round_brilliant(table_pct=60, crown_height_pct=crown, pavilion_depth_pct=pavilion, culet_pct=1.0)
    assert by_height.normals == pytest.approx(by_angle.normals, abs=1e-14)
    assert by_height.distances_mm == pytest.approx(by_angle.distances_mm, abs=1e-13)


def test_size_by_weight_or_diameter():
    assert round_brilliant(**USUAL, weight_ct=1.0).weight_ct == pytest.approx(1.0, rel=1e-13)
    assert round_brilliant(**USUAL, weight_ct=1.0, material="spinel").weight_ct == pytest.approx(1.0, rel=1e-13)
    assert round_brilliant(**USUAL, diameter_mm=8.0).size_mm[0] == pytest.approx(8.0, rel=1e-12)
    assert round_brilliant(**USUAL).size_mm[0] == pytest.approx(6.5, rel=1e-12)


def test_girdle_finish_is_the_girdles_alone():
    stone = round_brilliant(**USUAL, girdle_finish="absorbing")
    assert [finish == ABSORBING for finish in stone.finishes] == [tier == "girdle" for tier in stone.tiers]
    assert set(round_brilliant(**USUAL).finishes) == {POLISHED}


@pytest.mark.parametrize(
    ("changes", "key", "message"),
    [
        ({"table_pct": 0}, "table_pct", "out of range; expected 1 to 99 %"),
        ({"table_pct": 100}, "table_pct", "out of range"),
        ({"crown_angle_deg": -3}, "crown_angle_deg", "out of range"),
        ({"crown_angle_deg": 89.0}, "crown_angle_deg", "ends excluded"),
        ({"crown_angle_deg": None}, "crown_angle_deg or crown_height_pct", "missing; expected one of the two"),
        ({"crown_height_pct": 15}, "crown_height_pct", "crown_angle_deg and crown_height_pct are alternatives"),
        ({"pavilion_angle_deg": None, "pavilion_depth_pct": -1}, "pavilion_depth_pct", "out of range"),
        ({"pavilion_depth_pct": 43}, "pavilion_depth_pct", "are alternatives"),
        ({"star_pct": 5}, "star_pct", "the stars cross the table; expected at least 19.09 %"),
        ({"star_pct": 100}, "star_pct", "ends excluded"),
        ({"lower_half_pct": 95, "culet_pct": 8}, "lower_half_pct", "the lower halves extend past the culet"),
        ({"lower_half_pct": 0}, "lower_half_pct", "ends excluded"),
        ({"girdle_pct": 0.7}, "girdle_pct", "the girdle vanishes in the valleys"),
        ({"girdle_pct": 2.2, "lower_painting_deg": -3}, "girdle_pct", "the girdle vanishes in the valleys"),
        ({"upper_painting_deg": -10.5}, "upper_painting_deg", "out of range; expected -10 to 10 degrees"),
        ({"star_pct": 95, "upper_painting_deg": -10}, "upper_painting_deg", "the upper halves can't be turned so far"),
        ({"lower_half_pct": 5, "lower_painting_deg": -10}, "lower_painting_deg", "the lower halves can't be turned so far"),
        ({"girdle_pct": -1}, "girdle_pct", "out of range"),
        ({"culet_pct": -0.1}, "culet_pct", "out of range"),
        ({"girdle_facets": 90}, "girdle_facets", "expected a multiple of 16 from 16 to 192"),
        ({"girdle_facets": True}, "girdle_facets", "not a number"),
        ({"diameter_mm": 6.5, "weight_ct": 1.0}, "weight_ct", "diameter_mm and weight_ct are alternatives"),
        ({"diameter_mm": 0}, "diameter_mm", "out of range"),
        ({"weight_ct": -1}, "weight_ct", "out of range"),
        ({"material": "unobtainium"}, "material", "unknown material"),
        ({"table_pct": "57"}, "table_pct", "not a number"),
    ],
)
def test_impossible_combinations_are_refused_by_name(changes, key, message):
    with pytest.raises(InputError, match=message) as caught:
        round_brilliant(**{**USUAL, **changes})
    assert caught.value.key == key
    assert len(str(caught.value).splitlines()) == 1


def test_the_limits_it_names_are_the_limits():
    """With the number that a refusal names, the stone is built; just before it, it isn't."""
    dug = {"upper_painting_deg": 1.0, "lower_painting_deg": -4.0}
    for key, wrong, others in (("star_pct", 5.0, {}), ("girdle_pct", 0.5, {}), ("girdle_pct", 0.5, dug)):
        with pytest.raises(StoneError) as caught:
            round_brilliant(**USUAL, **others, **{key: wrong})
        bound = float(caught.value.expected.removeprefix("at least ").split()[0])
        assert len(round_brilliant(**USUAL, **others, **{key: bound})) == 153
        with pytest.raises(StoneError):
            round_brilliant(**USUAL, **others, **{key: bound - 0.011})


def test_unpainted_is_the_default_and_painting_turns_the_halves_alone():
    plain = round_brilliant(**USUAL, girdle_pct=4.5)
    same = round_brilliant(**USUAL, girdle_pct=4.5, upper_painting_deg=0.0, lower_painting_deg=0.0)
    np.testing.assert_array_equal(same.normals, plain.normals)
    np.testing.assert_array_equal(same.distances_mm, plain.distances_mm)
    painted = round_brilliant(**USUAL, girdle_pct=4.5, upper_painting_deg=1.5, lower_painting_deg=-2.0)
    turned = painted.azimuth_deg() - plain.azimuth_deg()
    for tier, toward in (("upper half", 1.5), ("lower half", -2.0)):
        halves = painted.facets_of(tier)
        assert turned[halves] == pytest.approx([-toward, toward] * 8, abs=1e-9)
    others = [f for f, tier in enumerate(plain.tiers) if "half" not in tier]
    np.testing.assert_array_equal(painted.normals[others], plain.normals[others])
    np.testing.assert_array_equal(painted.distances_mm[others], plain.distances_mm[others])


@settings(max_examples=60, deadline=None, derandomize=True)
@given(
    table_pct=st.floats(30, 85),
    crown_angle_deg=st.floats(5, 60),
    pavilion_angle_deg=st.floats(20, 60),
    star_pct=st.floats(5, 95),
    lower_half_pct=st.floats(5, 99),
    girdle_pct=st.floats(0.5, 12),
    culet_pct=st.floats(0, 5).map(lambda size: round(size, 3)),
    upper_painting_deg=st.floats(-10, 10),
    lower_painting_deg=st.floats(-10, 10),
)
def test_any_proportions_give_a_stone_or_a_named_refusal(**proportions):
    try:
        stone = round_brilliant(**proportions, girdle_facets=32)
    except StoneError as refusal:
        key = refusal.key
    else:
        key = None
    if key is not None:
        assert key in proportions
        return
    assert stone.volume_mm3 > 0.0
    assert stone.size_mm[:2] == pytest.approx([6.5, 6.5], rel=1e-9)
