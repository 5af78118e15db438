"""Rules of blocking, finishing and repolishing that whole stones hardly show: what is kept, named, ordered and refused."""

from __future__ import annotations

import math
from dataclasses import fields, replace
from itertools import groupby

import numpy as np
import pytest

import raylab as rl
from raylab.cutting import mains
from raylab.cutting.blocked import GIRDLE_FACETS, Blocked, blocked_stone
from raylab.cutting.last_facets import finished, refuse_lost
from raylab.cutting.mains import correct, mains_off
from raylab.plane_geometry import rotation_about_z
from raylab.stone.finish import ABSORBING, POLISHED
from raylab.stone.known_cuts import tiers_of
from raylab.stone.offsets import Offset, deviate
from raylab.stone.planes import normal_of
from raylab.stone.symmetry_group import SymmetryGroup

STONE = rl.load_stone("scenes/stones/blocked.csv")
DOME = rl.load_dome("head-shadow")
LOOSE = rl.TraceSettings(precision=0.2, engine="beams")


def cone(crown: int, pavilion: int, girdle: int = 96) -> rl.Stone:
    """Table, as many even mains as asked for, and a girdle 0.2 mm high and 6.5 mm wide."""
    normals, distances, tiers = [np.array([0.0, 0.0, 1.0])], [1.06], ["table"]
    for tier, count, slope_deg, side in (("crown main", crown, 34.5, 1.0), ("pavilion main", pavilion, 41.0, -1.0)):
        slope = math.radians(slope_deg)
        normals += [normal_of(slope, 2.0 * math.pi * k / count, side) for k in range(count)]
        distances += [3.25 * math.sin(slope) + 0.1 * math.cos(slope)] * count
        tiers += [tier] * count
    normals += [normal_of(math.pi / 2.0, (2 * k + 1) * math.pi / girdle, 1.0) for k in range(girdle)]
    distances += [3.25 * math.cos(math.pi / girdle)] * girdle
    return rl.Stone.from_planes(
        np.array(normals), np.array(distances), tiers=[*tiers, *["girdle"] * girdle], cut="round brilliant"
    )


EVEN = cone(8, 8)


def turned(stone: rl.Stone, angle_deg: float) -> rl.Stone:
    return stone.moved(rotation_about_z(math.radians(angle_deg)))


def labels(stone: rl.Stone) -> dict[str, object]:
    """What a stone says of itself beside its planes."""
    names = ("material", "symmetry", "cut", "name", "measured", "dropped")
    return {name: getattr(stone, name) for name in names}


def finishes(stone: rl.Stone, tier: str) -> set[object]:
    return {stone.finishes[f] for f in stone.facets_of(tier)}


LABELED = replace(
    EVEN,
    material=rl.get_material("cubic zirconia"),
    symmetry=SymmetryGroup(2),
    name="labelled",
    measured=True,
    finishes=tuple(ABSORBING if tier == "girdle" else POLISHED for tier in EVEN.tiers),
    indices=tuple(100 - number for number in EVEN.indices),
)
"""Nothing about it is a default."""


# --- the blocked stone ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("angle_deg", "first"), [(0.0, "crown main 0"), (-22.0, "crown main 0"), (-22.55, "crown main 1")])
def test_mains_run_from_the_one_nearest_to_azimuth_0(angle_deg, first):
    """The first main of the demo stone stands at 359.97 degrees, the second at 45.09."""
    base = blocked_stone(turned(STONE, angle_deg))
    names = [base.stone.facet_name(f) for f in base.crown]
    start = int(first[-1])
    assert names == [f"crown main {(start + k) % 8}" for k in range(8)]


def test_the_cuts_that_can_be_finished_are_named():
    with pytest.raises(rl.InputError, match="not a blocked stone of a known cut") as refused:
        blocked_stone(replace(EVEN, cut="emerald cut"))
    assert refused.value.expected == "a blocked " + " or ".join(cut.name for cut in rl.cuts() if cut.last)
    assert "round brilliant" in refused.value.expected


def test_three_mains_are_enough_and_two_are_not():
    assert len(blocked_stone(cone(3, 3)).mains) == 6
    keep = [f for f, tier in enumerate(EVEN.tiers) if tier != "crown main" or EVEN.indices[f] in (0, 4)]
    two = rl.Stone.from_planes(
        EVEN.normals[keep], EVEN.distances_mm[keep], tiers=[EVEN.tiers[f] for f in keep], cut="round brilliant"
    )
    with pytest.raises(rl.InputError, match="crown main = 2: too few crown mains; expected 3 or more"):
        blocked_stone(two)


def test_a_plane_moved_or_a_girdle_ground_leaves_the_rest_of_the_stone_as_it_was():
    stone = replace(LABELED, dropped=("girdle 7",))
    base = blocked_stone(stone)
    moved = base.with_plane(base.crown[0], stone.normals[base.crown[0]], float(stone.distances_mm[base.crown[0]]) - 0.01)
    assert labels(moved.stone) == labels(stone)
    ground = blocked_stone(LABELED, 6.2).stone
    assert labels(ground) == labels(LABELED)
    for tier in ("table", "crown main", "pavilion main"):
        assert [ground.facet_name(f) for f in ground.facets_of(tier)] == [
            LABELED.facet_name(f) for f in LABELED.facets_of(tier)
        ]
    assert [ground.indices[f] for f in ground.facets_of("girdle")] == list(range(GIRDLE_FACETS))


def test_a_ground_girdle_keeps_its_finish_and_other_facets_keep_theirs():
    rough = blocked_stone(LABELED, 6.2).stone
    assert finishes(rough, "girdle") == {ABSORBING}
    assert finishes(rough, "table") == finishes(rough, "crown main") == {POLISHED}
    assert finishes(blocked_stone(EVEN, 6.2).stone, "girdle") == {POLISHED}


def test_the_largest_girdle_is_the_one_that_the_narrowest_direction_allows():
    """The flats of a girdle of 32 lie nearer to the axis than its corners."""
    with pytest.raises(rl.StoneError, match="larger than the blocked stone") as refused:
        blocked_stone(cone(8, 8, girdle=32), 6.48)
    assert refused.value.expected == f"at most {6.5 * math.cos(math.pi / 32) / math.cos(math.pi / 96):.3f} mm"


def test_a_girdle_that_cuts_facets_away_names_the_first_four():
    with pytest.raises(rl.StoneError, match="facets vanish at this diameter") as refused:
        blocked_stone(EVEN, 3.0)
    assert refused.value.problem.partition(": ")[2] == ", ".join(f"crown main {k}" for k in range(4))


def test_girdle_diameters_run_from_a_tenth_of_a_millimetre_to_a_metre():
    small = blocked_stone(EVEN.scaled(0.1), 0.62).stone
    assert rl.measure(small).diameter_mm.mean == pytest.approx(0.62, rel=1e-12)
    with pytest.raises(rl.InputError, match=r"diameter_mm = 1000\.5: out of range"):
        blocked_stone(EVEN, 1000.5)


# --- the last facets -----------------------------------------------------------------------------------------------------


def test_the_finished_stone_keeps_what_the_blocked_one_says_of_itself():
    stone = replace(LABELED, dropped=("girdle 7",))
    made = finished(blocked_stone(stone), rl.LastFacets())
    assert labels(made) == labels(stone)
    for tier in ("table", "crown main", "pavilion main", "girdle"):
        assert [made.facet_name(f) for f in made.facets_of(tier)] == [stone.facet_name(f) for f in stone.facets_of(tier)]
    assert finishes(made, "girdle") == {ABSORBING}
    assert finishes(made, "star") == finishes(made, "lower half") == {POLISHED}


def test_facets_stand_in_the_order_of_the_cut_and_unknown_ones_last():
    """The chip takes the corner of the table off."""
    chip = normal_of(math.radians(17.0), 0.0, 1.0)
    stone = rl.Stone.from_planes(
        np.array([chip, *STONE.normals]),
        np.array([1.53, *STONE.distances_mm]),
        tiers=("chip", *STONE.tiers),
        cut="round brilliant",
    )
    made = finished(blocked_stone(stone), rl.LastFacets())
    order = [tier for tier, _ in groupby(made.tiers)]
    assert order == [*(tier.name for tier in tiers_of(STONE) if tier.name in made.tiers), "chip"]
    assert len(order) == 8


def test_symmetry_is_what_the_stone_claims_else_that_of_its_mains():
    def of(stone: rl.Stone) -> SymmetryGroup:
        return finished(blocked_stone(stone), rl.LastFacets()).symmetry

    assert of(replace(EVEN, symmetry=SymmetryGroup(2))) == SymmetryGroup(2)
    unclaimed = turned(replace(STONE, symmetry=SymmetryGroup()), -22.0)
    assert (of(unclaimed).order, of(unclaimed).mirror_deg) == (8, pytest.approx(359.97 - 22.0, abs=1e-9))
    assert of(cone(8, 6)) == SymmetryGroup()


def test_a_choice_says_what_it_sets():
    assert str(rl.LastFacets()) == "star length 50%, lower-half length 77%"
    painted = rl.LastFacets(upper_half_pct=45.0, upper_painting_deg=1.5, lower_painting_deg=-0.5)
    halves = "upper-half length 45%, painting of the upper halves 1.5°, painting of the lower halves -0.5°"
    assert str(painted) == f"star length 50%, lower-half length 77%, {halves}"


def test_painting_that_is_too_large_names_its_key():
    with pytest.raises(rl.StoneError, match="painting too large for upper half 0") as refused:
        finished(blocked_stone(EVEN), rl.LastFacets(upper_half_pct=1.0, upper_painting_deg=-10.0))
    assert refused.value.key == "upper_painting_deg"


def test_a_choice_that_loses_facets_is_named():
    choice = rl.LastFacets(lower_painting_deg=-4.0, upper_painting_deg=-4.0)
    with pytest.raises(rl.StoneError, match="the girdle has no thickness") as refused:
        finished(blocked_stone(deviate(EVEN, {"crown main": Offset(depth_mm=0.1)})), choice)
    assert refused.value.problem.startswith(f"with {choice} the girdle")


@pytest.mark.parametrize(
    ("count", "words"),
    [
        (1, "star 0"),
        (4, "star 0, star 1, star 2, star 3"),
        (5, "star 0, star 1, star 2, star 3 and 1 more"),
        (9, "star 0, star 1, star 2, star 3 and 5 more"),
    ],
)
def test_four_lost_facets_are_named_and_the_others_counted(count, words):
    with pytest.raises(rl.StoneError) as refused:
        refuse_lost([f"star {k}" for k in range(count)], "after this")
    assert refused.value.problem == f"after this these facets vanish: {words}"


# --- mains that are off --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("angle_deg", [0.0, 33.0])
def test_a_first_main_that_is_off_does_not_shift_the_pattern(angle_deg):
    stone = turned(deviate(EVEN, {"crown main 0": Offset(azimuth_deg=0.4)}), angle_deg)
    found = {main.name: main for main in mains_off(blocked_stone(stone))}
    assert found["crown main 0"].azimuth_deg == pytest.approx(0.4, abs=1e-9)
    assert all(abs(main.azimuth_deg) < 1e-9 for name, main in found.items() if name != "crown main 0")


def test_uncertainties_of_a_main_are_those_that_were_stated():
    """On the wheel an azimuth turns a facet by its sine of the slope."""
    found = mains_off(blocked_stone(EVEN), rl.Uncertainty(angle_deg=0.04, distance_um=2.0))
    assert len(found) == 16
    for main in found:
        slope = math.radians(34.5 if main.name.startswith("crown") else 41.0)
        assert main.slope_uncertainty_deg == 0.04
        assert main.azimuth_uncertainty_deg == pytest.approx(0.04 / math.sin(slope), rel=1e-12)
        assert main.height_uncertainty_um == 2.0


def test_a_main_that_is_off_writes_every_field():
    deep = mains_off(blocked_stone(deviate(EVEN, {"crown main 2": Offset(depth_mm=0.02)})))[2]
    facts = deep.to_dict()
    assert set(facts) == {field.name for field in fields(mains.MainOff)}
    assert facts["off"] == ["height"]
    assert facts["height_um"] == pytest.approx(-20.0, abs=1e-6)


@pytest.fixture(scope="module")
def deep() -> Blocked:
    """Its crown main 2 lies 0.02 mm too deep."""
    return blocked_stone(deviate(EVEN, {"crown main 2": Offset(depth_mm=0.02)}))


def test_a_main_that_is_too_deep_stays_so(deep):
    main = mains_off(deep)[2]
    before = rl.Scene(finished(deep, rl.LastFacets()), DOME, settings=LOOSE)
    found = correct(deep, rl.LastFacets(), main, before)
    assert found.name == "crown main 2"
    assert found.deeper_um == pytest.approx(20.0, abs=1e-6)
    assert found.change.lost_points == pytest.approx(0.0, abs=1e-9)
    assert found.to_dict() == {
        "name": "crown main 2",
        "deeper_um": found.deeper_um,
        "change": found.change.to_dict(),
        "reason": "",
    }


def test_a_correction_that_is_impossible_says_why():
    """The main is so flat that, as steep as the others again, it would take the girdle."""
    flat = blocked_stone(deviate(EVEN, {"crown main 2": Offset(slope_deg=-5.0)}))
    main = mains_off(flat)[2]
    before = rl.Scene(finished(flat, rl.LastFacets()), DOME, settings=LOOSE)
    found = correct(flat, rl.LastFacets(), main, before)
    assert found.deeper_um > 50.0
    assert found.to_dict() == {"name": "crown main 2", "deeper_um": found.deeper_um, "change": None, "reason": found.reason}
    assert "the girdle has no thickness at girdle" in found.reason


# --- repolishing ---------------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def whole() -> rl.Stone:
    return finished(blocked_stone(STONE), rl.LastFacets())


def test_a_repolished_stone_keeps_what_it_says_of_itself(whole):
    stone = replace(whole, dropped=("girdle 7",))
    made = rl.repolish(stone, "crown main", depth_mm=0.01)
    assert labels(made) == labels(stone)
    assert rl.repolish(stone, "table", depth_mm=0.01, name="other").name == "other"
    for before, after in zip(stone.facets_of("crown main"), made.facets_of("crown main"), strict=True):
        assert made.distances_mm[after] == stone.distances_mm[before] - 0.01


@pytest.mark.parametrize(
    "move", [{"slope_deg": -45.5}, {"slope_deg": 45.5}, {"azimuth_deg": -45.5}, {"azimuth_deg": 45.5}, {"depth_mm": 100.5}]
)
def test_moves_have_their_limits(whole, move):
    ((key, value),) = move.items()
    with pytest.raises(rl.InputError, match=f"{key} = {value}: out of range"):
        rl.repolish(whole, "table", **move)


def test_a_move_that_loses_facets_names_what_was_repolished(whole):
    with pytest.raises(rl.StoneError, match=r"^depth_mm = 0.5: after repolishing table these facets vanish: star 0"):
        rl.repolish(whole, "table", depth_mm=0.5)
