"""`Stone`: what it refuses, what it derives from its planes, how it moves."""

import math

import numpy as np
import pytest
import trimesh
from polyhedra import body, box, random_polyhedron

from raylab.errors import StoneError
from raylab.optics.materials import Material
from raylab.scene.view import View
from raylab.stone.stone import Stone

CUBE = np.vstack([np.eye(3), -np.eye(3)])


@pytest.mark.parametrize(
    ("normals", "distances", "message"),
    [
        (CUBE, np.ones(5), "don't fit"),
        (CUBE[:, :2], np.ones(6), "don't fit"),
        (CUBE[:3], np.ones(3), "too few planes"),
        (np.vstack([CUBE[:5], [[0, 0, 0]]]), np.ones(6), r"plane 5 = \[0.0, 0.0, 0.0\]: not a plane"),
        (CUBE, [1, 1, math.nan, 1, 1, 1], "plane 2 .*not a plane"),
        (np.full((6, 3), math.inf), np.ones(6), "not a plane"),
        (CUBE[:5], np.ones(5), "enclose no body"),
        (CUBE, -np.ones(6), "enclose no body"),
        (np.vstack([CUBE, [[1, 1, 1]]]), [1, 1, 1, 1, 1, 1, 5], "1 plane.* without a facet: facet 6"),
    ],
)
def test_what_is_no_stone_is_refused(normals, distances, message):
    with pytest.raises(StoneError, match=message):
        Stone.from_planes(np.array(normals, dtype=float), np.array(distances, dtype=float))


def test_one_name_per_plane():
    with pytest.raises(StoneError, match="one entry per plane"):
        Stone.from_planes(CUBE, np.ones(6), tiers=["side"] * 5)
    with pytest.raises(StoneError, match="one entry per plane"):
        Stone.from_planes(CUBE, np.ones(6), finishes=["polished"] * 7)


def test_redundant_planes_are_dropped_by_name_on_request():
    normals, distances = np.vstack([CUBE, [[1, 1, 1]], CUBE[:1]]), [1, 1, 1, 1, 1, 1, 5, 2]
    tiers = ["side", "side", "top", "side", "side", "bottom", "chip", "side"]
    stone = Stone.from_planes(normals, distances, tiers=tiers, redundant="drop")
    assert len(stone) == 6
    assert stone.dropped == ("chip 0", "side 4")
    assert [stone.facet_name(f) for f in range(6)] == ["side 0", "side 1", "top 0", "side 2", "side 3", "bottom 0"]


def test_normals_are_made_unit_vectors_and_the_callers_arrays_stay():
    normals, distances = CUBE * 7.0, np.ones(6)
    stone = Stone.from_planes(normals, distances)
    assert np.linalg.norm(stone.normals, axis=1) == pytest.approx(np.ones(6), abs=1e-15)
    assert np.array_equal(normals, CUBE * 7.0)
    distances[0] = 9.0
    assert stone.distances_mm[0] == 1.0


def test_size_weight_and_outline_of_a_box():
    """2 x 2 x 1 mm of density 4: 4 mm^3, 0.016 g, 0.08 ct, 50 mm^2 per carat."""
    stone = box(2.0, 1.0, Material.constant(1.5, density_g_cm3=4.0))
    assert stone.size_mm == pytest.approx([2.0, 2.0, 1.0])
    assert stone.volume_mm3 == pytest.approx(4.0)
    assert stone.weight_ct == pytest.approx(0.08)
    assert stone.outline_area_mm2 == pytest.approx(4.0)
    assert stone.spread_mm2_per_ct == pytest.approx(50.0)
    x, y = stone.outline_mm.T
    assert np.sum(x * np.roll(y, -1) - y * np.roll(x, -1)) / 2.0 == pytest.approx(4.0)  # positive: counter-clockwise


def test_slopes_and_azimuths():
    tilted = np.array([[0, 0, 1], [1, 0, 1], [0, 1, 1], [-1, 0, 0], [0, -1, 0], [0, 0, -1]], dtype=float)
    stone = body(tilted, [0.5, 0.8, 0.8, 1.0, 1.0, 0.5])
    assert stone.slope_deg() == pytest.approx([0, 45, 45, 90, 90, 0], abs=1e-12)
    assert stone.azimuth_deg() == pytest.approx([0, 0, 90, 180, 270, 0], abs=1e-12)


def test_azimuths_stay_below_a_full_turn():
    lean = np.array([[1.0, -1e-18, 0.2], *CUBE[1:]])
    assert 0.0 <= body(lean, np.ones(6)).azimuth_deg().max() < 360.0


@pytest.mark.parametrize("key", range(5))
def test_triangles_are_watertight_and_face_outward(key):
    stone = random_polyhedron(key)
    mesh = trimesh.Trimesh(*stone.triangles(), process=False)
    assert mesh.is_watertight
    assert mesh.is_winding_consistent
    assert mesh.volume == pytest.approx(stone.volume_mm3, rel=1e-12)


def test_moving_keeps_shape_and_moves_corners():
    stone, turn, shift = random_polyhedron(1), View(30.0, 40.0, 50.0).rotation(), np.array([1.0, -2.0, 0.5])
    moved = stone.moved(turn, shift)
    assert moved.volume_mm3 == pytest.approx(stone.volume_mm3, rel=1e-12)
    expected = stone.vertices_mm @ turn.T + shift
    apart = np.linalg.norm(expected[:, None] - moved.vertices_mm, axis=2).min(axis=1)
    assert apart.max() < 1e-9
    assert moved.moved(shift_mm=-shift).moved(turn.T).distances_mm == pytest.approx(stone.distances_mm, abs=1e-12)


@pytest.mark.parametrize("turn", [np.diag([1.0, 1.0, -1.0]), np.eye(3) * 1.1, np.ones((3, 3))])
def test_mirrors_and_stretches_are_no_rotations(turn):
    with pytest.raises(StoneError, match="not a proper rotation"):
        random_polyhedron(1).moved(turn)


def test_scaling():
    stone = random_polyhedron(2)
    assert stone.scaled(2.0).weight_ct == pytest.approx(8.0 * stone.weight_ct, rel=1e-12)
    for factor in (0.0, -1.0, math.nan, math.inf):
        with pytest.raises(StoneError, match="not positive"):
            stone.scaled(factor)


def test_it_says_what_it_is():
    assert repr(box(2.0, 1.0, "diamond")) == "<Stone 'stone': 6 facets, diamond, 0.070 ct>"


def test_what_to_do_with_redundant_planes_is_one_of_two():
    cube = box(2.0, 1.0, "diamond")
    with pytest.raises(StoneError, match=r"redundant = 'ignore'.*'refuse' or 'drop'"):
        cube.with_planes(cube.normals, cube.distances_mm, redundant="ignore")
