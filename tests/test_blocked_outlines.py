"""The last facets of blocked stones whose outline is no circle, and which of their mains are off."""

from __future__ import annotations

import numpy as np
import pytest

import raylab as rl
from raylab.cutting.blocked import blocked_stone
from raylab.cutting.last_facets import finished
from raylab.cutting.mains import _kinds, correct, mains_off
from raylab.errors import InputError
from raylab.scene.scene import Scene
from raylab.scene.view import View
from raylab.stone.offsets import Offset, deviate

DONE = {"table", "crown main", "pavilion main", "culet", "girdle"}
BRILLIANTS = ("oval brilliant", "pear brilliant", "marquise brilliant", "cushion brilliant", "triangular brilliant")


def whole_and_blocked(cut: str, **given: float) -> tuple[rl.Stone, rl.Stone]:
    """A stone of a cut, and the same before its stars and halves are cut."""
    whole = rl.cut(cut, table_pct=57, **given)
    keep = [f for f, tier in enumerate(whole.tiers) if tier in DONE]
    blocked = rl.Stone.from_planes(
        whole.normals[keep],
        whole.distances_mm[keep],
        tiers=[whole.tiers[f] for f in keep],
        indices=[whole.indices[f] for f in keep],
        cut=whole.cut,
        symmetry=whole.symmetry,
    )
    return whole, blocked


def apart(made: rl.Stone, wanted: rl.Stone) -> float:
    """By how much the normals of facets of the same name differ, at most."""
    where = {made.facet_name(f): f for f in range(len(made))}
    order = [where[wanted.facet_name(f)] for f in range(len(wanted))]
    assert len(made) == len(wanted)
    return float(np.abs(made.normals[order] - wanted.normals).max())


CHOICE = {"star_pct": 45.0, "lower_half_pct": 82.0}


@pytest.mark.parametrize(
    "given",
    [
        {}, {"pavilion_end_angle_deg": 36.0}, {"culet_pct": 2.0}, {"length_ratio": 1.9},
        {"pavilion_mains": 4, "pavilion_end_angle_deg": 36.0},
    ],
    ids=str,
)  # fmt: skip
def test_an_even_blocked_oval_becomes_the_oval_brilliant(given):
    """Found on planes and the corners of the girdle, against the cut's own rules on the ellipse; with a keel as well."""
    whole, blocked = whole_and_blocked("oval brilliant", **given, **CHOICE)
    base = blocked_stone(blocked)
    made = finished(base, rl.LastFacets(**CHOICE))
    assert apart(made, whole) < 1e-13
    assert made.weight_ct == pytest.approx(whole.weight_ct, rel=1e-12)
    assert apart(finished(base, rl.LastFacets(star_pct=46.0, lower_half_pct=82.0)), whole) > 1e-3


@pytest.mark.parametrize("cut", BRILLIANTS)
def test_other_blocked_brilliants_become_theirs_as_far_as_their_girdle_is_their_outline(cut):
    """The cut's halves meet its smooth outline, those of a blocked stone the girdle as it is ground: flats that are half as
    wide stand a quarter as far behind the outline."""
    off = []
    for flats in (48, 96, 192):
        whole, blocked = whole_and_blocked(cut, girdle_facets=flats, **CHOICE)
        off.append(apart(finished(blocked_stone(blocked), rl.LastFacets(**CHOICE)), whole))
    assert off[1] < 0.006  # a third of a degree
    assert off[2] < 0.45 * off[0] or off[0] < 1e-13


@pytest.mark.parametrize("cut", BRILLIANTS)
def test_it_turns_with_the_stone(cut):
    _, blocked = whole_and_blocked(cut)
    turn = View(turn_deg=33.0).rotation()
    here = finished(blocked_stone(blocked), rl.LastFacets())
    there = finished(blocked_stone(blocked.moved(turn, np.zeros(3))), rl.LastFacets())
    gaps = np.abs((here.normals @ turn.T)[:, None] - there.normals).max(axis=2).min(axis=1)
    assert gaps.max() < 1e-9


def test_a_finished_oval_claims_no_more_than_an_oval_has():
    _, blocked = whole_and_blocked("oval brilliant")
    turned = blocked.moved(View(turn_deg=33.0).rotation(), np.zeros(3)).relabeled(symmetry=rl.SymmetryGroup())
    claimed = finished(blocked_stone(turned), rl.LastFacets()).symmetry
    assert claimed.order == 2
    assert claimed.mirror_deg == pytest.approx(33.0, abs=1e-6)


def test_painting_turns_halves_towards_their_mains_on_any_outline():
    _, blocked = whole_and_blocked("cushion brilliant")
    base = blocked_stone(blocked)
    plain, painted = (finished(base, rl.LastFacets(upper_painting_deg=angle)) for angle in (0.0, 1.5))
    where = {painted.facet_name(f): f for f in range(len(painted))}
    assert len(plain.facets_of("upper half")) == 16
    for f in plain.facets_of("upper half"):
        turn = painted.azimuth_deg()[where[plain.facet_name(f)]] - plain.azimuth_deg()[f]
        towards = -1.5 if plain.indices[f] % 2 == 0 else 1.5  # the first of a joint clockwise, to the main behind it
        assert (turn + 180.0) % 360.0 - 180.0 == pytest.approx(towards, abs=1e-9)


def test_mains_are_alike_where_the_cut_has_them_alike():
    """Four corners, two ends and two sides of an oval; the pairs of a pear beside its point and its head; eight of a round."""
    of_oval = [sorted(kind) for kind in _kinds(8, rl.SymmetryGroup(2, 0.0))]
    assert of_oval == [[0, 4], [1, 3, 5, 7], [2, 6]]
    assert [sorted(kind) for kind in _kinds(8, rl.SymmetryGroup(1, 0.0))] == [[0], [1, 7], [2, 6], [3, 5], [4]]
    assert [sorted(kind) for kind in _kinds(6, rl.SymmetryGroup(3, 0.0))] == [[0, 2, 4], [1, 3, 5]]
    assert [sorted(kind) for kind in _kinds(8, rl.SymmetryGroup(8, 0.0))] == [list(range(8))]


@pytest.mark.parametrize("cut", BRILLIANTS)
def test_no_main_of_an_even_stone_is_off(cut):
    _, blocked = whole_and_blocked(cut)
    turned = blocked.moved(View(turn_deg=20.0).rotation(), np.zeros(3))
    found = mains_off(blocked_stone(turned))
    assert len(found) == sum(tier.endswith("main") for tier in blocked.tiers) > 0
    for main in found:
        assert (main.slope_deg, main.azimuth_deg, main.height_um) == pytest.approx((0.0, 0.0, 0.0), abs=1e-5), main.name


def test_a_corner_that_is_off_is_found_among_its_kind_and_of_two_sides_both_are():
    _, blocked = whole_and_blocked("cushion brilliant")
    names = {"corner": "pavilion main 1", "side": "pavilion main 2"}
    found = {}
    for kind, name in names.items():
        base = blocked_stone(deviate(blocked, {name: Offset(slope_deg=0.5)}))
        found[kind] = base, [main for main in mains_off(base) if main.off]
    base, (corner,) = found["corner"]
    assert corner.name == "pavilion main 1"
    assert corner.slope_deg == pytest.approx(0.5, abs=1e-9)
    assert {main.name: round(main.slope_deg, 9) for main in found["side"][1]} == {
        "pavilion main 2": 0.25,
        "pavilion main 6": -0.25,
    }
    dome = rl.load_dome("even-sky")
    before = Scene(finished(base, rl.LastFacets()), dome, settings=rl.TraceSettings(precision=0.2))
    mended = correct(base, rl.LastFacets(), corner, before)
    assert mended.change is not None
    assert mended.change.lost_points > 0.0


@pytest.mark.parametrize("diameter_mm", [None, 5.0])
def test_an_outline_that_is_no_circle_must_have_been_measured(diameter_mm):
    _, blocked = whole_and_blocked("pear brilliant")
    if diameter_mm is None:
        keep = ~blocked.on_girdle
        blocked = rl.Stone.from_planes(
            blocked.normals[keep],
            blocked.distances_mm[keep],
            tiers=[tier for tier in blocked.tiers if tier != "girdle"],
            cut=blocked.cut,
        )
    with pytest.raises(InputError, match="the outline of a pear brilliant does not follow from a diameter; expected none"):
        blocked_stone(blocked, diameter_mm)
