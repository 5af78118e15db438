"""Cuts recognised from planes alone, and what is measured on stones with length and width: what went in comes out."""

from __future__ import annotations

import math
from collections import Counter
from pathlib import Path

import numpy as np
import pytest
import scanned
from polyhedra import body, random_polyhedron

import raylab as rl
from raylab.plane_geometry import rotation_about_z
from raylab.scene.view import View
from raylab.stone.cuts import CUTS
from raylab.stone.extent import extent_of
from raylab.stone.measuring.plane_uncertainty import Uncertainty
from raylab.stone.offsets import Offset, deviate
from raylab.stone.polyhedron import intersect
from raylab.stone.proportions import measure
from raylab.stone.recognition import name_tiers
from raylab.stone.scanning.scan import stone_from_mesh
from raylab.stone.scanning.stone_pose import stone_pose
from raylab.stone.stone import Stone

SCENES = Path(__file__).parent.parent / "scenes"

GIVEN = {
    "round brilliant": {"table_pct": 57.0, "crown_angle_deg": 34.5, "pavilion_angle_deg": 40.75},
    "single cut": {"table_pct": 60.0, "crown_angle_deg": 33.0, "pavilion_angle_deg": 41.0},
    "old European cut": {"table_pct": 48.0, "crown_angle_deg": 37.0, "pavilion_angle_deg": 41.0},
    "oval brilliant": {"table_pct": 57.0, "length_ratio": 1.35},
    "pear brilliant": {"table_pct": 57.0, "length_ratio": 1.6, "girdle_pct": 5.0},
    "marquise brilliant": {"table_pct": 57.0, "girdle_pct": 5.0},
    "cushion brilliant": {"table_pct": 57.0, "length_ratio": 1.15},
    "triangular brilliant": {"table_pct": 57.0},
    "princess cut": {"table_pct": 65.0, "length_ratio": 1.1},
    "cut-cornered brilliant": {"table_pct": 65.0, "length_ratio": 1.1},
    "emerald cut": {"table_pct": 60.0},
    "square emerald cut": {"table_pct": 60.0},
    "baguette": {"table_pct": 60.0},
    "tapered baguette": {"table_pct": 60.0, "narrow_pct": 70.0},
    "hexagonal step cut": {"table_pct": 60.0},
    "rose cut": {},
}


@pytest.fixture(scope="module")
def stones() -> dict[str, Stone]:
    """A stone of each cut."""
    assert set(GIVEN) == set(CUTS)
    return {name: rl.cut(name, **given) for name, given in GIVEN.items()}


@pytest.mark.parametrize("name", GIVEN)
def test_a_cut_is_recognised_from_planes_that_lie_anyhow(stones, name):
    """Turned about z and moved, its facets in another order: all names come back, and where the cut's +x lies."""
    stone = stones[name].moved(View(turn_deg=77.0).rotation(), [0.3, -0.2, 0.1])
    order = np.random.default_rng(90).permutation(len(stone))
    found = name_tiers(stone.normals[order], stone.distances_mm[order])
    assert found.cut is CUTS[name]
    assert found.names == tuple(stone.tiers[f] for f in order)
    assert found.recognition.share_pct == pytest.approx(100.0, abs=1e-9)
    assert found.recognition.outline_pct < 0.3
    assert found.recognition.lacking == ()
    turn = 360.0 / max(CUTS[name].symmetry.order, 1)
    assert (found.azimuth_deg - 77.0 + turn / 2.0) % turn - turn / 2.0 == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize("name", GIVEN)
def test_a_measured_stone_of_a_cut_is_recognised(stones, name):
    """Planes off by 0.03 degrees and 2 um; the outline of what was found is off by less than a hundredth."""
    stone = Uncertainty(0.03, 0.03, 2.0).drawn(stones[name], (5,))
    found = name_tiers(stone.normals, stone.distances_mm)
    assert found.cut is CUTS[name]
    assert Counter(found.names) == Counter(stone.tiers)
    assert found.names == stone.tiers
    assert found.recognition.outline_pct < 1.0


@pytest.mark.parametrize("name", ["oval brilliant", "pear brilliant", "marquise brilliant", "cushion brilliant"])
def test_four_pavilion_mains_are_known_and_measured(name):
    """Names and numbers from planes, off by 0.03 degrees and 2 um as well; every parameter that is measured comes back."""
    given = {**GIVEN[name], "pavilion_mains": 4, "pavilion_end_angle_deg": 36.0}
    stone = rl.cut(name, **given)
    order = np.random.default_rng(93).permutation(len(stone))
    for one in (stone, Uncertainty(0.03, 0.03, 2.0).drawn(stone, (6,))):
        found = name_tiers(one.normals[order], one.distances_mm[order])
        assert found.cut is CUTS[name]
        assert found.names == tuple(stone.tiers[f] for f in order)
        assert found.recognition.lacking == ()
        rest = [k for k, f in enumerate(order) if stone.tiers[f] != "girdle"]
        assert [found.indices[k] for k in rest] == [stone.indices[order[k]] for k in rest]
    measured, values = measure(stone), CUTS[name].settled(given)
    for key in set(measured) & set(values):
        assert measured[key].mean == pytest.approx(values[key], abs=1e-9), key
    assert measured.get("pavilion_between_angle_deg") is None


@pytest.mark.parametrize(
    ("name", "given"),
    [
        ("oval brilliant", {"table_pct": 57.0, "length_ratio": 1.04}),
        ("oval brilliant", {"table_pct": 64.0, "crown_angle_deg": 37.0, "crown_end_angle_deg": 39.0, "star_pct": 64.0,
                            "girdle_pct": 7.0, "length_ratio": 2.49}),
        ("pear brilliant", {"table_pct": 59.0, "crown_angle_deg": 26.0, "crown_end_angle_deg": 29.0, "girdle_pct": 8.0,
                            "pavilion_angle_deg": 39.0, "pavilion_end_angle_deg": 45.6, "pavilion_mains": 4,
                            "lower_half_pct": 66.0, "length_ratio": 1.63}),
        ("oval brilliant", {"table_pct": 60.57, "crown_angle_deg": 20.39, "crown_end_angle_deg": 33.63, "star_pct": 68.39,
                            "pavilion_angle_deg": 45.88, "pavilion_end_angle_deg": 42.35, "lower_half_pct": 80.46,
                            "girdle_pct": 6.75, "culet_pct": 3.53, "length_ratio": 1.82}),
    ],
    ids=["hardly longer than wide", "steep upper halves", "steep lower halves", "steep halves on a thick girdle"],
)  # fmt: skip
def test_a_long_brilliant_at_the_limits_keeps_its_names(name, given):
    """The outline tells an oval from a circle; halves at the ends can be as steep as a leaning tangent of the girdle."""
    stone = rl.cut(name, **given)
    assert given["length_ratio"] < 1.1 or stone.slope_deg()[["half" in tier for tier in stone.tiers]].max() > 60.0
    found = name_tiers(stone.normals, stone.distances_mm, body=stone.polyhedron)
    assert (found.cut, found.names) == (CUTS[name], stone.tiers)


def test_a_single_cut_is_known_by_mains_wider_at_the_girdle_than_twice_at_the_table():
    """And though eight points on its culet tell its tilt to ten degrees."""
    stone = rl.cut("single cut", table_pct=40.5, crown_angle_deg=36.96, pavilion_angle_deg=41.05, girdle_pct=8.5, culet_pct=2.2)
    culet = stone.facets_of("culet")[0]
    normals, distances = stone.normals.copy(), stone.distances_mm.copy()
    normals[culet] = [math.sin(math.radians(10.0)), 0.0, -math.cos(math.radians(10.0))]
    distances[culet] = normals[culet] @ stone.polyhedron.centroids[culet]
    found = name_tiers(normals, distances)
    assert found.cut is CUTS["single cut"]
    assert (found.names.count("crown main"), found.names.count("pavilion main")) == (8, 8)


def test_mains_whose_stars_are_lost_stay_mains():
    """They then border the table as stars do; four of an oval's stars lean from it by 0.2 degrees."""
    stone = rl.oval_brilliant(
        table_pct=75.3, crown_angle_deg=33.62, crown_end_angle_deg=22.89, pavilion_angle_deg=41.07,
        pavilion_end_angle_deg=43.86, pavilion_mains=4, star_pct=43.64, lower_half_pct=67.6, girdle_pct=4.97, culet_pct=8.33,
        length_ratio=1.78,
    )  # fmt: skip
    stars = stone.facets_of("star")
    kept = np.ones(len(stone), dtype=bool)
    kept[[f for f in stars if stone.slope_deg()[f] < 1.0]] = False
    assert kept.sum() == len(stone) - 4
    found = name_tiers(stone.normals[kept], stone.distances_mm[kept])
    assert found.cut is CUTS["oval brilliant"]
    assert found.names == tuple(np.array(stone.tiers)[kept])


@pytest.mark.parametrize(("name", "turned"), [("pear brilliant", {0: -4.2}), ("marquise brilliant", {0: 4.0, 180: -2.3})])
def test_a_long_stone_is_known_though_the_mains_at_its_points_are_turned(name, turned):
    """As in scans that have two dozen points on them; the main at a pear's head lies right, and those across do."""
    stone = rl.cut(name, **GIVEN[name])
    normals, distances = stone.normals.copy(), stone.distances_mm.copy()
    for azimuth, by in turned.items():
        main = next(
            f for f in stone.facets_of("pavilion main") if abs(math.remainder(stone.azimuth_deg()[f] - azimuth, 360.0)) < 1.0
        )
        normals[main] = rotation_about_z(math.radians(by)) @ normals[main]
        distances[main] = normals[main] @ stone.polyhedron.centroids[main]
    found = name_tiers(normals, distances)
    assert found.cut is CUTS[name]
    assert math.remainder(found.azimuth_deg, 180.0) == pytest.approx(0.0, abs=0.5)


def only(normals, distances):
    """What is recognised of planes, those left out that are no facet."""
    there = np.asarray(intersect(normals, distances).areas) > 0.0
    return name_tiers(normals[there], distances[there])


def lost(name):
    """What is recognised of a stone whose flattest facets a scan doesn't part from their neighbors: half of a triangle's upper
    halves, two side stars and four corner facets of a princess cut."""
    stone = rl.cut(name, **GIVEN[name])
    kept = np.ones(len(stone), dtype=bool)
    if name == "triangular brilliant":
        halves = np.array(stone.facets_of("upper half"))
        kept[halves[np.argsort(np.asarray(stone.polyhedron.areas)[halves])[:6]]] = False
    else:
        merged = np.array([tier in ("side star", "corner facet") for tier in stone.tiers])
        kept = ~merged | (np.cos(np.radians(stone.azimuth_deg() - 45.0)) < 0.0)
    return only(stone.normals[kept], stone.distances_mm[kept])


@pytest.mark.parametrize(
    ("name", "lacking"),
    [
        ("triangular brilliant", (("upper half", 6, 12),)),
        ("princess cut", (("side star", 2, 4), ("corner facet", 4, 8))),
    ],
)
def test_a_cut_is_known_by_what_is_there_and_what_lacks_is_said(name, lacking):
    found = lost(name)
    assert found.cut is CUTS[name]
    assert found.recognition.lacking == lacking
    assert all(f"{lack} of {whole} ({tier})" in str(found.recognition) for tier, lack, whole in lacking)
    assert found.recognition.to_dict()["lacking"][0]["of"] == lacking[0][2]


def test_steps_over_chevrons_and_chevrons_over_steps_are_no_princess_cut():
    """They have as many facets as one that lacks some, but not where it has them."""
    princess = rl.cut("princess cut", table_pct=65.0, length_ratio=1.1)
    steps = rl.cut("baguette", table_pct=65.0, length_ratio=1.1, crown_steps=3, pavilion_steps=3)
    for above, below in ((princess, steps), (steps, princess)):
        up, down = (above.normals[:, 2] >= 0.0) | above.on_girdle, (below.normals[:, 2] < 0.0) & ~below.on_girdle
        normals = np.vstack([above.normals[up], below.normals[down]])
        assert only(normals, np.r_[above.distances_mm[up], below.distances_mm[down]]).cut is None


def test_a_round_stone_of_four_mains_below_is_no_oval():
    oval = rl.cut("oval brilliant", table_pct=57.0, pavilion_mains=4, length_ratio=1.1)
    normals = oval.normals * [1.1, 1.0, 1.0]
    size = np.linalg.norm(normals, axis=1)
    assert only(normals / size[:, None], oval.distances_mm / size).cut is None


def test_the_steps_tell_the_sides_where_walls_are_lost_or_off():
    """Of an emerald cut's corner walls one is turned by 5 degrees, as by 6 points, and one isn't there."""
    stone = rl.emerald_cut(table_pct=60.0)
    corners = [f for f in stone.facets_of("girdle") if abs(math.sin(math.radians(2.0 * stone.azimuth_deg()[f]))) > 0.5]
    normals, distances = stone.normals.copy(), stone.distances_mm.copy()
    normals[corners[0]] = rotation_about_z(math.radians(5.0)) @ normals[corners[0]]
    distances[corners[0]] = normals[corners[0]] @ stone.polyhedron.centroids[corners[0]]
    kept = np.arange(len(stone)) != corners[1]
    found = only(normals[kept], distances[kept])
    assert found.names == tuple(np.array(stone.tiers)[kept])


def test_what_is_no_cut_is_named_by_side_ring_and_slope():
    """A step cut on seven sides, which no cut has: two rings above, the upper one of two slopes, and three below."""
    around = 2.0 * math.pi * np.arange(7) / 7.0

    def planes(slopes_deg, reach):
        slope = np.radians(slopes_deg) * np.ones(7)
        normals = np.column_stack([np.sin(slope) * np.cos(around), np.sin(slope) * np.sin(around), np.cos(slope)])
        return normals, reach * np.ones(7)

    upper = [25.0, 31.0, 25.0, 31.0, 25.0, 31.0, 25.0]
    given = [
        planes(90.0, 1.0),
        planes(42.0, 0.78),
        planes(upper, np.where(np.array(upper) < 30.0, 0.66, 0.71)),
        planes(139.0, 0.75),
        planes(150.0, 0.709),
        planes(160.0, 0.7092),
    ]
    normals = np.vstack([[0.0, 0.0, 1.0], *(one[0] for one in given)])
    distances = np.r_[0.45, np.concatenate([one[1] for one in given])]
    found = name_tiers(normals, distances)
    assert (found.cut, found.recognition) == (None, None)
    assert Counter(found.names) == {
        "table": 1,
        "girdle": 7,
        "crown ring 1 at 42 deg": 7,
        "crown ring 2 at 25 deg": 4,
        "crown ring 2 at 31 deg": 3,
        "pavilion ring 1 at 41 deg": 7,
        "pavilion ring 2 at 30 deg": 7,
        "pavilion ring 3 at 20 deg": 7,
    }


@pytest.mark.parametrize("key", range(3))
def test_tiers_of_no_cut_are_those_of_the_recipe_on_a_measured_stone(key):
    """Mains that start at corners of the girdle border it along a tenth of their width there, by chance; by name or by none."""
    stone = rl.load_stone(SCENES / "stones" / "square-with-cut-corners.toml")
    drawn = Uncertainty(0.05, 0.05, 3.0).drawn(stone, (3, key))
    found = measure(body(drawn.normals, drawn.distances_mm))
    together = {(tier, row.tier) for tier, row in zip(stone.tiers, found.facets, strict=True)}
    rings = dict(together)
    assert len(rings) == len(together), "no tier is parted"
    assert rings["crown main"].startswith("crown ring 2 at 33")
    assert rings["pavilion main"].startswith("pavilion ring 2 at 4")
    assert rings["pavilion side"].startswith("pavilion ring 1 at 58")


def test_a_scanned_stone_of_no_cut_lies_on_its_girdle_with_its_length_along_x():
    """A pavilion facet of the uneven pentagon is larger than its table."""
    stone = rl.load_stone(SCENES / "stones" / "uneven-pentagon.toml")
    assert stone.tiers[int(np.argmax(stone.polyhedron.areas))] == "pavilion main"
    turn = scanned.random_rotation(np.random.default_rng(94))
    vertices, triangles = scanned.tessellated(stone, 2)
    scan = stone_from_mesh(vertices @ turn.T + 1.0, triangles).stone
    tiers = Counter(scan.tiers)
    assert (tiers["table"], tiers["girdle"], tiers["crown ring 1 at 42 deg"], tiers["crown ring 2 at 28 deg"]) == (1, 5, 5, 5)
    walls = np.concatenate([scan.vertices_mm[scan.polyhedron.loops[f]] for f in scan.facets_of("girdle")])
    assert walls[:, 2].mean() == pytest.approx(0.0, abs=1e-9)
    found, given = measure(scan), measure(stone)
    assert math.remainder(extent_of(scan).azimuth_deg, 360.0) == pytest.approx(0.0, abs=1e-6)
    for key in given:
        assert found[key].mean == pytest.approx(given[key].mean, abs=1e-6), key


def test_a_stone_of_no_cut_whose_scan_lost_a_wall_lies_on_the_rest_of_its_girdle():
    stone = rl.load_stone(SCENES / "stones" / "uneven-pentagon.toml")
    kept = np.arange(len(stone)) != stone.facets_of("girdle")[0]
    normals, distances = stone.normals[kept], stone.distances_mm[kept]
    there = np.asarray(intersect(normals, distances).areas) > 0.0
    pose = stone_pose(normals[there], distances[there])
    assert np.array(stone.tiers)[kept][there][pose.level] == "table"
    assert pose.tiers.cut is None


def test_what_is_no_cut_and_has_no_girdle_keeps_all_its_facets_named():
    found = name_tiers(*(lambda b: (b.normals, b.distances_mm))(random_polyhedron(4)))
    assert (found.cut, found.recognition) == (None, None)
    assert {name.split(" at ")[0].split(" ring ")[0] for name in found.names} <= {
        "table",
        "girdle",
        "culet",
        "crown",
        "pavilion",
    }
    assert len({*zip(found.names, found.indices, strict=True)}) == len(found.names)


def test_facets_that_have_no_place_are_said():
    """A corner of an emerald cut's crown ground off by one flat that no step has."""
    stone = rl.emerald_cut(table_pct=60.0)
    normal = np.array([0.35, 0.2, 0.9])
    normal /= np.linalg.norm(normal)
    reach = float((stone.vertices_mm @ normal).max()) - 0.02
    other = body(np.vstack([stone.normals, normal]), np.r_[stone.distances_mm, reach], redundant="drop")
    found = name_tiers(other.normals, other.distances_mm)
    assert found.cut is CUTS["emerald cut"]
    assert found.names[-1] == "extra"
    assert found.recognition.share_pct == pytest.approx(
        100.0 * (1.0 - other.polyhedron.areas[-1] / sum(other.polyhedron.areas))
    )


def test_a_table_of_facets_named_by_side_is_swept_by_tier():
    """Offsets by the tiers of a recognised cut: the steps move, and are measured so."""
    bare = rl.baguette(table_pct=60.0)
    stone = rl.measure(body(bare.normals, bare.distances_mm))
    assert stone.cut == "baguette"
    named = bare.relabeled(cut=None, tiers=tuple(row.tier for row in stone.facets))
    off = measure(deviate(named, {"first pavilion step": Offset(slope_deg=0.5)}))
    assert off.first_pavilion_step_deg.mean == pytest.approx(52.5, abs=1e-9)


def test_the_table_of_a_scanned_step_cut_need_not_be_its_largest_facet():
    stone = rl.emerald_cut(table_pct=30.0, pavilion_steps=1, length_ratio=2.0)
    assert stone.tiers[int(np.argmax(stone.polyhedron.areas))] == "first pavilion step"
    turn = scanned.random_rotation(np.random.default_rng(91))
    vertices, triangles = scanned.tessellated(stone, 2)
    scan = stone_from_mesh(vertices @ turn.T, triangles)
    assert Counter(scan.stone.tiers) == Counter(stone.tiers)
    assert scan.report.recognition.cut == "emerald cut"


def test_a_scanned_rose_lies_on_its_base(stones):
    turn = scanned.random_rotation(np.random.default_rng(92))
    vertices, triangles = scanned.tessellated(stones["rose cut"], 2)
    scan = stone_from_mesh(vertices @ turn.T + 1.0, triangles)
    assert scan.stone.cut == "rose cut"
    assert Counter(scan.stone.tiers) == Counter(stones["rose cut"].tiers)
    assert scan.stone.normals[scan.stone.tiers.index("base"), 2] == pytest.approx(-1.0)
    assert measure(scan.stone).crown_angle_deg.mean == pytest.approx(50.0, abs=1e-6)


# --- measurements ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", [name for name in GIVEN if CUTS[name].of_width])
def test_parameters_that_went_in_come_out(stones, name):
    """Every measured quantity that bears the key of a parameter, also of a stone turned about z; slopes across the length."""
    cut = CUTS[name]
    values = cut.settled(GIVEN[name])
    for stone in (stones[name], stones[name].moved(View(turn_deg=30.0).rotation())):
        found = measure(stone)
        for key in set(found) & set(values):
            if name == "triangular brilliant" and key == "width_mm":
                continue  # from point to point
            if name == "tapered baguette" and key == "table_pct":
                continue  # a share of the outline's, whose wide end is cut off
            assert found[key].mean == pytest.approx(values[key], abs=1e-9), key
        assert found.depth_pct.mean == pytest.approx(100.0 * stone.size_mm[2] / found.width_mm.mean)
        parts = found.crown_height_pct.values[0] + found.pavilion_depth_pct.values[0] + found.girdle_sides_pct.values[0]
        assert parts == pytest.approx(found.depth_pct.mean, abs=1e-9)
        assert found.left_right_pct.mean == pytest.approx(0.0, abs=1e-9)


def test_a_girdle_whose_flats_stand_elsewhere_is_as_thick_at_the_mains():
    """A scan has flats anywhere. The corner of the outline farthest in a main's direction then stands beside the main, where
    the girdle is thinner: by 0.52 % of the width here."""
    stone, around = rl.oval_brilliant(table_pct=57.0, length_ratio=1.4), np.arange(96) * math.tau / 96
    flats, (length, width, _) = stone.on_girdle, stone.size_mm
    plan = np.column_stack([np.cos(around) / length, np.sin(around) / width])
    distances = math.cos(math.pi / 96) / np.linalg.norm(plan, axis=1) / 2.0
    normals = np.vstack([stone.normals[~flats], np.column_stack([plan, np.zeros(96)])])
    tiers = [tier for tier in stone.tiers if tier != "girdle"] + ["girdle"] * 96
    other = rl.Stone.from_planes(normals, np.r_[stone.distances_mm[~flats], distances], tiers=tiers, cut=stone.cut)
    for key in ("girdle_ends_pct", "girdle_sides_pct", "girdle_corners_pct"):
        off = rl.measure(other)[key].mean - rl.measure(stone)[key].mean
        assert abs(off) < 0.06, key  # a sagitta, 0.027 % of the width, on two slopes of 39 and 43 degrees


def test_steps_keel_and_bulge_of_an_emerald_cut():
    """All lengths by hand: sides move in by half the width, so the keel is what the length has more than the width."""
    stone = rl.emerald_cut(
        table_pct=60.0, pavilion_angle_deg=50.0, pavilion_step_deg=8.0, pavilion_steps=3, length_ratio=1.5, corner_pct=12.0
    )
    found = measure(stone)
    slopes = [50.0, 42.0, 34.0]
    for word, slope in zip(("first", "second", "third"), slopes, strict=True):
        assert found[f"{word}_pavilion_step_deg"].values == pytest.approx([slope] * 2, abs=1e-9)
    assert found.corner_deg.values == pytest.approx([135.0] * 8, abs=1e-9)
    assert found.girdle_corners_pct.values == pytest.approx([3.5] * 8, abs=1e-9)
    assert found.keel_pct.mean == pytest.approx(100.0 * 0.5 / 1.5, abs=1e-9)
    assert found.table_length_pct.mean == pytest.approx(100.0 * (1.5 - 0.4) / 1.5, abs=1e-9)
    down = np.cumsum([math.tan(math.radians(slope)) * 50.0 / 3.0 for slope in slopes])
    assert found.pavilion_depth_pct.values == pytest.approx([down[-1]] * 8, abs=1e-9)
    chord = np.array([50.0, down[-1]]) / math.hypot(50.0, down[-1])
    bulge = max(down[k] * chord[0] - 50.0 * (k + 1) / 3.0 * chord[1] for k in range(2))
    assert found.pavilion_bulge_pct.values == pytest.approx([bulge] * 2, abs=1e-9)
    corner = math.degrees(math.atan(math.tan(math.radians(50.0)) / (math.sqrt(2.0) * (1.0 - 0.12))))
    assert found.pavilion_between_angle_deg.values == pytest.approx([corner] * 4, abs=1e-9)


def test_an_oval_along_and_across():
    """Its slopes at the ends are those of the stretched round; with slopes stated at the ends the pavilion has a keel."""
    found = measure(rl.oval_brilliant(table_pct=57.0, length_ratio=1.5, culet_pct=2.0))
    flatter = math.degrees(math.atan(math.tan(math.radians(40.75)) / 1.5))
    assert found.pavilion_end_angle_deg.values == pytest.approx([flatter] * 2, abs=1e-9)
    assert (found.culet_pct.mean, found.keel_pct.mean) == pytest.approx((2.0, 0.0), abs=1e-9)
    keeled = measure(rl.oval_brilliant(table_pct=57.0, length_ratio=1.5, pavilion_end_angle_deg=35.0))
    assert keeled.pavilion_end_angle_deg.values == pytest.approx([35.0] * 2, abs=1e-9)
    # In widths: each main's depth on the axis, and how far along the keel's line it has fallen to nothing.
    sides, ends = math.tan(math.radians(40.75)) * 0.5, math.tan(math.radians(35.0)) * 0.75
    facing = math.atan2(1.5, 1.0)  # the mains between: at 45 degrees of the circle
    crossing = math.hypot(0.75 * math.cos(facing), 0.5 * math.sin(facing)) / math.cos(facing)
    half = min(0.75 * (1.0 - sides / ends), crossing * (1.0 - sides / ((sides + ends) / 2.0)))
    assert keeled.keel_pct.mean == pytest.approx(100.0 * half / 0.75, abs=1e-9)


def test_an_uneven_outline_shows_by_how_much():
    """An end of a baguette turned by 1 degree: its corners are apart by tan(1 degree) of the width, seen at 1 degree from it.

    Both sides turned towards each other by half a degree leave it even, left and right, but not its ends. A side ground in
    makes the stone narrower and no less even.
    """
    stone = rl.baguette(table_pct=60.0, width_mm=4.0)
    girdle = stone.facets_of("girdle")
    side, end = (min(girdle, key=lambda f: abs(stone.azimuth_deg()[f] - azimuth)) for azimuth in (90.0, 180.0))
    tilted = stone.normals.copy()
    turn = math.radians(1.0)
    tilted[end] = [-math.cos(turn), math.sin(turn), 0.0]
    leaning = stone.with_planes(tilted, stone.distances_mm)
    corners = leaning.outline_mm
    low, high = (corners[(corners[:, 0] < 0.0) & (sign * corners[:, 1] > 0.0)][:, 0].min() for sign in (-1.0, 1.0))
    assert abs(low - high) == pytest.approx(4.0 * math.tan(turn), rel=1e-9)
    assert measure(leaning).left_right_pct.mean == pytest.approx(100.0 * math.sin(turn), abs=1e-9)
    assert measure(leaning).end_to_end_pct.mean == pytest.approx(100.0 * math.sin(turn), abs=1e-9)
    tapering = stone.normals.copy()
    for f in girdle:
        if abs(stone.normals[f, 1]) > 0.5:
            tapering[f] = [math.sin(turn / 2.0), math.copysign(math.cos(turn / 2.0), stone.normals[f, 1]), 0.0]
    tapered = measure(stone.with_planes(tapering, stone.distances_mm))
    by_end = tapered.length_mm.mean * math.tan(turn / 2.0) * math.cos(turn)
    assert tapered.left_right_pct.mean == pytest.approx(0.0, abs=1e-9)
    assert tapered.end_to_end_pct.mean == pytest.approx(100.0 * by_end / tapered.width_mm.mean, abs=1e-9)
    shallower = stone.distances_mm.copy()
    shallower[side] -= 0.04
    narrower = measure(stone.with_planes(stone.normals, shallower))
    assert narrower.width_mm.mean == pytest.approx(3.96, abs=1e-12)
    assert narrower.left_right_pct.mean == pytest.approx(0.0, abs=1e-9)


def test_one_key_means_the_same_in_every_cut():
    seen: dict[str, tuple[object, ...]] = {}
    for cut in CUTS.values():
        for one in cut.measured:
            facts = (one.label, one.unit, one.uneven, one.signed, one.mean)
            assert seen.setdefault(one.key, facts) == facts, (cut.name, one.key)
