"""`measure`: what it reads off stones that are perfect, half finished, imperfect, or no brilliants at all."""

import json
import math

import numpy as np
import pytest
from polyhedra import body, box, random_polyhedron

from raylab.stone.brilliant import round_brilliant
from raylab.stone.measure import Measurements, measure
from raylab.stone.planes import Stone
from raylab.view import View

GIVEN = {"table_pct": 56.0, "star_pct": 52.0, "lower_half_pct": 78.0, "girdle_pct": 3.8, "culet_pct": 1.5}
BUILT = round_brilliant(**GIVEN, crown_angle_deg=34.0, pavilion_angle_deg=41.0, diameter_mm=6.0, name="perfect")
QUANTITIES = ("diameter_mm", *GIVEN, "crown_angle_deg", "pavilion_angle_deg", "crown_height_pct", "pavilion_depth_pct")
QUANTITIES += ("depth_pct", "girdle_joint_pct", "girdle_valley_pct")


def only(stone: Stone, *tiers: str) -> Stone:
    """The stone with the facets of these tiers alone, as a cutter has it half-way."""
    keep = [f for f, tier in enumerate(stone.tiers) if tier in tiers]
    return body(stone.normals[keep], stone.distances_mm[keep], tiers=[stone.tiers[f] for f in keep], redundant="drop")


def disturbed(share: float, key: int = 0) -> Stone:
    """The brilliant with every plane shifted by a random share of its distance."""
    rng = np.random.default_rng([80, key])
    shifted = BUILT.distances_mm * (1.0 + share * rng.normal(size=len(BUILT)))
    return body(BUILT.normals, shifted, tiers=BUILT.tiers, redundant="drop")


def means(found: Measurements) -> np.ndarray:
    return np.array([getattr(found, name).mean for name in QUANTITIES])


def test_every_position_is_told():
    found = measure(BUILT)
    counts = {
        "table_pct": 4,
        "star_pct": 8,
        "lower_half_pct": 16,
        "girdle_pct": 8,
        "girdle_joint_pct": 8,
        "girdle_valley_pct": 16,
    }
    counts |= {"crown_angle_deg": 8, "crown_height_pct": 8, "pavilion_depth_pct": 8, "culet_pct": 8, "depth_pct": 1}
    for name, count in counts.items():
        quantity = getattr(found, name)
        assert len(quantity.values) == len(set(quantity.at)) == count
        assert quantity.unit == ("deg" if name.endswith("_deg") else "%")
    assert found.crown_angle_deg.at[3] == "crown main 3"
    assert found.diameter_mm.unit == "mm"


def test_table_facet_rows_are_the_facets():
    rows = measure(BUILT).facets
    assert [row.name for row in rows] == [BUILT.facet_name(f) for f in range(len(BUILT))]
    assert sum(row.distance_mm * row.area_mm2 for row in rows) / 3.0 == pytest.approx(BUILT.volume_mm3, rel=1e-12)
    table = rows[0]
    corner = 0.56 * 3.0
    assert table.area_mm2 == pytest.approx(8 * 0.5 * corner**2 * math.sin(math.pi / 4), rel=1e-12)
    assert (table.slope_deg, table.azimuth_deg) == (0.0, 0.0)


def test_whole_stone_numbers_are_the_stones():
    found = measure(BUILT)
    assert (found.weight_ct, found.volume_mm3) == (BUILT.weight_ct, BUILT.volume_mm3)
    assert found.spread_mm2_per_ct == BUILT.spread_mm2_per_ct
    assert (found.name, found.material) == ("perfect", "diamond")


def test_a_turned_shifted_and_scaled_stone_measures_the_same():
    expected = means(measure(BUILT))
    turned = BUILT.moved(View(turn_deg=17.0).rotation(), [3.0, -2.0, 0.7])
    assert means(measure(turned)) == pytest.approx(expected, abs=1e-8)
    expected[0] *= 2.5
    assert means(measure(BUILT.scaled(2.5))) == pytest.approx(expected, abs=1e-9)


def test_half_finished_stone_tells_what_is_there():
    """Table, mains and girdle: no halves and stars yet, and the mains measure as they will."""
    found = measure(only(BUILT, "table", "crown main", "pavilion main", "girdle"))
    assert found.star_pct is None
    assert found.lower_half_pct is None
    for name in ("crown_angle_deg", "pavilion_angle_deg", "crown_height_pct", "girdle_pct", "diameter_mm"):
        assert getattr(found, name).mean == pytest.approx(getattr(measure(BUILT), name).mean, abs=1e-9)
    assert found.girdle_joint_pct.mean > found.girdle_pct.mean + 5.0  # the halves are still to take it off
    assert found.table_pct.mean == pytest.approx(56.0 / math.cos(math.pi / 8), abs=1e-9)  # corners between mains, no stars
    assert found.culet_pct.mean == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize(
    ("missing", "absent"),
    [
        ("table", {"table_pct", "crown_height_pct", "star_pct"}),
        ("girdle", {"girdle_pct", "girdle_joint_pct", "girdle_valley_pct", "crown_height_pct", "pavilion_depth_pct"}),
        ("star", {"star_pct"}),
        ("lower half", {"lower_half_pct"}),
        ("crown main", {"crown_angle_deg", "crown_height_pct"}),
        ("pavilion main", {"pavilion_angle_deg", "pavilion_depth_pct"}),
    ],
)
def test_a_missing_tier_leaves_its_quantities_absent(missing, absent):
    found = measure(only(BUILT, *(set(BUILT.tiers) - {missing})))
    assert {name for name in QUANTITIES if getattr(found, name) is None} == absent


def test_a_body_without_tiers_has_size_and_weight_only():
    found = measure(random_polyhedron(4))
    assert {name for name in QUANTITIES if getattr(found, name) is not None} == {"diameter_mm", "depth_pct"}
    assert found.weight_ct > 0.0


def test_a_square_box_by_callippers_on_its_corners():
    found = measure(box(2.0, 1.0, "diamond"))
    assert found.diameter_mm.values == pytest.approx([math.sqrt(8.0)] * 4)
    assert found.depth_pct.mean == pytest.approx(100.0 / math.sqrt(8.0))


def test_an_out_of_round_girdle_shows_in_the_spread():
    """Stretched by 2 % along x: the diameter runs from 6 to 6.12 mm and is 6.06 on average (to second order)."""
    stretch = np.diag([1.0 / 1.02, 1.0, 1.0])
    bent = BUILT.normals @ stretch
    length = np.linalg.norm(bent, axis=1)
    found = measure(body(bent, BUILT.distances_mm / length, tiers=BUILT.tiers))
    assert found.diameter_mm.max == pytest.approx(6.12, abs=1e-9)
    assert found.diameter_mm.min == pytest.approx(6.0, abs=2e-3)
    assert found.diameter_mm.mean == pytest.approx(6.06, abs=1e-3)
    assert found.diameter_mm.spread == pytest.approx(0.12, abs=2e-3)
    assert found.depth_pct.mean == pytest.approx(measure(BUILT).depth_pct.mean / 1.01, abs=0.02)


@pytest.mark.parametrize("key", range(4))
def test_small_faults_move_small_amounts_and_show_in_the_spread(key):
    """Planes shifted by 1e-5 of their distance: lengths move by some 1e-5 of the diameter, stretched where facets meet flatly.

    Facets of nearly equal slope meet 10 to 60 times that far off, so 1e-5 leaves up to 0.2 of a percent in a length.
    """
    found, perfect = measure(disturbed(1e-5, key)), measure(BUILT)
    assert np.max(np.abs(means(found) - means(perfect))) < 0.2
    assert all(0.0 < getattr(found, name).spread < 0.5 for name in ("table_pct", "star_pct", "lower_half_pct", "girdle_pct"))
    assert len(found.table_pct.values) == 4  # chamfered corners stay corners


def test_a_knife_edge_girdle_is_zero_thick_there():
    """Seven of eight girdle sectors ground away from above: the girdle is zero at those mains."""
    stone = only(BUILT, "table", "crown main", "pavilion main", "girdle")
    lower = np.where([t == "crown main" and f > 1 for f, t in enumerate(stone.tiers)], 0.45, 0.0)
    sharp = body(stone.normals, stone.distances_mm - lower, tiers=stone.tiers, redundant="drop")
    found = measure(sharp)
    assert found.girdle_pct.min == pytest.approx(0.0, abs=1e-9)
    assert found.girdle_pct.max > 3.0


def test_to_dict_is_plain_json():
    plain = measure(BUILT).to_dict()
    again = json.loads(json.dumps(plain))
    assert again == plain
    assert plain["table_pct"]["mean"] == pytest.approx(56.0)
    assert set(plain["table_pct"]) == {"mean", "min", "max", "spread", "unit", "values"}
    assert plain["facets"][0]["tier"] == "table"
    assert measure(random_polyhedron(4)).to_dict()["table_pct"] is None
