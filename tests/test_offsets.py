"""Deviations: each offset moves its facet about the stated pivot and nothing else; painting keeps the edge with the main."""

from __future__ import annotations

import math

import numpy as np
import pytest

import raylab as rl
from raylab.stone.facet_table import facet_table, read_facet_table
from raylab.stone.offsets import Offset, deviate
from raylab.stone.proportions import measure

STONE = rl.round_brilliant(table_pct=57, crown_angle_deg=34.5, pavilion_angle_deg=40.75, culet_pct=1.0)
ROUNDING = 1e-12


def facet(stone: rl.Stone, name: str) -> int:
    return next(f for f in range(len(stone)) if stone.facet_name(f) == name)


def others(stone: rl.Stone, *names: str) -> list[int]:
    return [f for f in range(len(stone)) if stone.facet_name(f) not in names and stone.tiers[f] not in names]


@pytest.mark.parametrize("name", ["crown main 3", "star 0", "upper half 7", "lower half 15", "pavilion main 5"])
@pytest.mark.parametrize("steeper_deg", [-0.4, 0.7])
def test_slope_turns_a_facet_about_its_own_middle(name, steeper_deg):
    f, off = facet(STONE, name), deviate(STONE, {name: Offset(slope_deg=steeper_deg)})
    middle = STONE.polyhedron.centroids[f]
    assert off.slope_deg()[f] == pytest.approx(STONE.slope_deg()[f] + steeper_deg, abs=1e-10)
    assert off.azimuth_deg()[f] == pytest.approx(STONE.azimuth_deg()[f], abs=1e-10)
    assert off.normals[f] @ middle == pytest.approx(off.distances_mm[f], abs=ROUNDING)
    assert np.sign(off.normals[f, 2]) == np.sign(STONE.normals[f, 2])


@pytest.mark.parametrize("turn_deg", [-1.5, 2.0])
def test_azimuth_turns_a_facet_about_the_axis(turn_deg):
    name = "pavilion main 2"
    f, off = facet(STONE, name), deviate(STONE, {name: Offset(azimuth_deg=turn_deg)})
    assert off.azimuth_deg()[f] == pytest.approx(STONE.azimuth_deg()[f] + turn_deg, abs=1e-10)
    assert off.slope_deg()[f] == pytest.approx(STONE.slope_deg()[f], abs=1e-10)
    assert off.distances_mm[f] == STONE.distances_mm[f]


def test_depth_pushes_a_facet_in_along_its_normal():
    f, off = facet(STONE, "crown main 1"), deviate(STONE, {"crown main 1": Offset(depth_mm=0.01)})
    assert off.distances_mm[f] == pytest.approx(STONE.distances_mm[f] - 0.01, abs=ROUNDING)
    assert np.array_equal(off.normals[f], STONE.normals[f])
    assert off.volume_mm3 < STONE.volume_mm3


def test_what_has_no_offset_stays_as_it_was():
    off = deviate(STONE, {"star": Offset(depth_mm=0.005), "upper half 3": Offset(painting_deg=1.0)})
    same = others(STONE, "star", "upper half 3")
    assert np.array_equal(off.normals[same], STONE.normals[same])
    assert np.array_equal(off.distances_mm[same], STONE.distances_mm[same])
    assert (off.tiers, off.indices, off.material, off.symmetry) == (STONE.tiers, STONE.indices, STONE.material, STONE.symmetry)


def test_no_offset_at_all_gives_the_same_stone():
    off = deviate(STONE, {})
    assert np.array_equal(off.normals, STONE.normals)
    assert np.array_equal(off.distances_mm, STONE.distances_mm)


def test_a_facets_own_offset_adds_to_its_tiers():
    off = deviate(STONE, {"crown main": Offset(slope_deg=0.2), "crown main 4": Offset(slope_deg=0.3)})
    slope = {off.facet_name(f): s for f, s in enumerate(off.slope_deg())}
    assert slope["crown main 4"] == pytest.approx(35.0, abs=1e-10)
    assert slope["crown main 5"] == pytest.approx(34.7, abs=1e-10)


@pytest.mark.parametrize("name", ["table", "culet"])
def test_a_level_facet_is_tilted_towards_an_azimuth(name):
    f, off = facet(STONE, f"{name} 0"), deviate(STONE, {name: Offset(slope_deg=0.8, azimuth_deg=30.0)})
    assert off.slope_deg()[f] == pytest.approx(0.8, abs=1e-10)
    assert off.azimuth_deg()[f] == pytest.approx(30.0, abs=1e-9)
    assert off.normals[f] @ STONE.polyhedron.centroids[f] == pytest.approx(off.distances_mm[f], abs=ROUNDING)
    assert np.sign(off.normals[f, 2]) == np.sign(STONE.normals[f, 2])


@pytest.mark.parametrize(("tier", "main"), [("upper half", "crown main"), ("lower half", "pavilion main")])
@pytest.mark.parametrize("painting_deg", [-2.0, 0.5, 3.0])
def test_painting_turns_a_half_about_its_edge_with_the_main(tier, main, painting_deg):
    off = deviate(STONE, {tier: Offset(painting_deg=painting_deg)})
    corners = STONE.vertices_mm
    assert len(STONE.facets_of(tier)) == 16
    for f in STONE.facets_of(tier):
        side = 1.0 if STONE.indices[f] % 2 == 0 else -1.0  # even halves stand before their joint, after their main
        assert math.remainder(off.azimuth_deg()[f] - STONE.azimuth_deg()[f] + side * painting_deg, 360.0) == pytest.approx(
            0.0, abs=1e-9
        )
        mains = [g for g, other in enumerate(STONE.tiers) if other == main]
        shared = max((set(STONE.polyhedron.loops[f]) & set(STONE.polyhedron.loops[g]) for g in mains), key=len)
        assert len(shared) == 2
        for corner in shared:
            assert off.normals[f] @ corners[corner] == pytest.approx(off.distances_mm[f], abs=1e-11)


def test_painting_thickens_the_girdle_at_the_joints_only():
    before, after = measure(STONE), measure(deviate(STONE, {"upper half": Offset(painting_deg=2.0)}))
    dug = measure(deviate(STONE, {"upper half": Offset(painting_deg=-2.0)}))
    assert dug.girdle_joint_pct.mean < before.girdle_joint_pct.mean - 0.1
    assert after.girdle_joint_pct.mean > before.girdle_joint_pct.mean + 0.1
    for key in ("girdle_pct", "star_pct", "table_pct", "crown_angle_deg"):
        assert getattr(after, key).mean == pytest.approx(getattr(before, key).mean, abs=1e-9)


def test_painting_back_gives_the_stone_again():
    there = deviate(STONE, {"upper half": Offset(painting_deg=1.5)})
    back = deviate(there, {"upper half": Offset(painting_deg=-1.5)})
    assert np.abs(back.normals - STONE.normals).max() < 1e-11
    assert np.abs(back.distances_mm - STONE.distances_mm).max() < 1e-11


def test_a_deviated_stone_is_saved_and_traced_like_any_other(tmp_path):
    off = deviate(
        STONE,
        {
            "table": Offset(slope_deg=0.4, azimuth_deg=100.0),
            "pavilion main 3": Offset(slope_deg=0.3, azimuth_deg=-0.6),
            "lower half": Offset(painting_deg=0.7),
        },
        name="off",
    )
    path = tmp_path / "off.csv"
    path.write_text(facet_table(off), encoding="utf-8")
    again = read_facet_table(path)
    assert again.name == "off"
    assert np.abs(again.normals - off.normals).max() <= 1e-15
    result = rl.trace(again, rl.load_dome("head-shadow"), resolution=16, samples=1, engine="rays")
    assert 0.0 < result.summary.brightness.value < 1.0


@pytest.mark.parametrize(
    ("offsets", "message"),
    [
        ({"star 9": Offset(depth_mm=0.1)}, "unknown tier or facet; did you mean 'star"),
        ({"stars": Offset(depth_mm=0.1)}, "did you mean 'star'"),
        ({"star": 0.1}, "wrong type"),
        ({"star": Offset(painting_deg=1.0)}, "star 0: the facet has no common edge with a main"),
        ({"star 3": Offset(depth_mm=-0.5)}, "without a facet: star 3"),
        ({"upper half 2": Offset(painting_deg=29.0)}, "without a facet: star 0, upper half 1"),
        ({"table": Offset(depth_mm=10.0)}, "the planes enclose no body"),
    ],
)
def test_faults_are_named(offsets, message):
    with pytest.raises(rl.InputError, match=message) as facts:
        deviate(STONE, offsets)
    assert "\n" not in str(facts.value)


def test_a_facet_may_vanish_if_allowed():
    off = deviate(STONE, {"star 3": Offset(depth_mm=-0.5)}, vanish=True)
    assert off.dropped == ("star 3",)
    assert len(off) == len(STONE) - 1


@pytest.mark.parametrize(
    ("key", "value"), [("slope_deg", math.nan), ("azimuth_deg", 361.0), ("depth_mm", math.inf), ("painting_deg", "2")]
)
def test_offsets_are_numbers_in_range(key, value):
    with pytest.raises(rl.InputError, match=key):
        Offset(**{key: value})
