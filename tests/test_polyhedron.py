"""From planes to polygons: closed, counter-clockwise, right in size, however awkward the planes."""

import numpy as np
import pytest
from polyhedra import directions
from scipy.spatial import ConvexHull, HalfspaceIntersection

from raylab.errors import StoneError
from raylab.stone.polyhedron import SAME_POINT, interior_point, intersect

CUBE = np.vstack([np.eye(3), -np.eye(3)])


def random_planes(key, count=30):
    rng = np.random.default_rng([70, key])
    return np.vstack([directions(count, rng), CUBE]), np.concatenate([rng.uniform(0.4, 1.0, count), np.ones(6)])


def check_surface(body, normals, distances):
    """Euler's formula, edges walked once each way, corners on their planes and under all others, loops turning left."""
    size = np.ptp(body.vertices, axis=0).max()
    edges = [(a, b) for loop in body.loops if len(loop) for a, b in zip(loop, np.roll(loop, -1), strict=True)]
    facets = sum(len(loop) > 0 for loop in body.loops)
    assert len(set(edges)) == len(edges)
    assert {(b, a) for a, b in edges} == set(edges)
    assert len(body.vertices) - len(edges) // 2 + facets == 2
    assert np.max(body.vertices @ normals.T - distances) < 1e-8 * size
    for f, loop in enumerate(body.loops):
        if len(loop) == 0:
            assert body.areas[f] == 0.0
            assert np.all(np.isnan(body.centroids[f]))
            continue
        corners = body.vertices[loop]
        assert np.max(np.abs(corners @ normals[f] - distances[f])) < 1e-8 * size
        side = np.roll(corners, -1, axis=0) - corners
        turns = np.cross(side, np.roll(side, -1, axis=0)) @ normals[f]
        assert turns.min() > -1e-8 * size**2
        assert body.areas[f] > 0.0
        assert body.centroids[f] @ normals[f] == pytest.approx(distances[f], abs=1e-8 * size)


def test_cube_exactly():
    body = intersect(CUBE, np.array([1.0, 2.0, 3.0, 1.0, 2.0, 3.0]))
    assert body.volume(np.array([1.0, 2.0, 3.0, 1.0, 2.0, 3.0])) == pytest.approx(48.0, rel=1e-15)
    assert body.areas == pytest.approx([24.0, 12.0, 8.0] * 2, rel=1e-15)
    assert body.centroids[0] == pytest.approx([1.0, 0.0, 0.0], abs=1e-15)
    assert len(body.vertices) == 8
    check_surface(body, CUBE, np.array([1.0, 2.0, 3.0, 1.0, 2.0, 3.0]))


@pytest.mark.parametrize("key", range(20))
def test_random_bodies_against_qhull_halfspaces(key):
    """scipy's HalfspaceIntersection gives the same corners; ConvexHull of them the same volume and surface."""
    normals, distances = random_planes(key)
    body = intersect(normals, distances)
    check_surface(body, normals, distances)
    corners = HalfspaceIntersection(np.column_stack([normals, -distances]), np.zeros(3)).intersections
    hull = ConvexHull(corners)
    assert body.volume(distances) == pytest.approx(hull.volume, rel=1e-12)
    assert body.areas.sum() == pytest.approx(hull.area, rel=1e-12)


def test_a_body_far_from_the_origin():
    normals, distances = random_planes(3)
    far = intersect(normals, distances + normals @ [50.0, -20.0, 30.0])
    near = intersect(normals, distances)
    assert far.areas == pytest.approx(near.areas, abs=1e-9)
    check_surface(far, normals, distances + normals @ [50.0, -20.0, 30.0])


def test_many_facets_through_one_corner_share_it():
    """A 16-sided pyramid has one tip, not fourteen."""
    azimuth = 2.0 * np.pi * np.arange(16) / 16
    sides = np.column_stack([np.cos(azimuth), np.sin(azimuth), np.ones(16)]) / np.sqrt(2.0)
    normals, distances = np.vstack([sides, [[0, 0, -1]]]), np.concatenate([np.full(16, np.sqrt(0.5)), [0.0]])
    body = intersect(normals, distances)
    assert len(body.vertices) == 17
    assert np.sum(np.all(np.abs(body.vertices - [0, 0, 1]) < 1e-12, axis=1)) == 1
    check_surface(body, normals, distances)


@pytest.mark.parametrize("distance", [1e-3, 1e-7, 1e-10, 1e-13, 0.0])
def test_a_plane_that_grazes_a_corner(distance):
    """Cut by a plane that takes off ever less of a cube's corner: closed every time, and no facet in the end.

    Corners are told apart down to `SAME_POINT` of the size, so the volume is good to that times the surface.
    """
    normals = np.vstack([CUBE, np.ones((1, 3)) / np.sqrt(3.0)])
    distances = np.concatenate([np.ones(6), [np.sqrt(3.0) - distance]])
    body = intersect(normals, distances)
    check_surface(body, normals, distances)
    assert body.volume(distances) == pytest.approx(8.0 - np.sqrt(3.0) / 2.0 * distance**3, abs=24.0 * 2.0 * SAME_POINT)
    assert (len(body.loops[6]) > 0) == (distance > 1e-9)


@pytest.mark.parametrize("tilt", [1e-4, 1e-7, 1e-10, 1e-13])
def test_two_nearly_parallel_planes(tilt):
    """A face split into two planes that differ by less and less still closes."""
    split = np.array([[tilt, 0.0, 1.0], [-tilt, 0.0, 1.0]])
    normals = np.vstack([CUBE[[0, 1, 3, 4, 5]], split / np.linalg.norm(split, axis=1)[:, None]])
    distances = np.ones(7)
    body = intersect(normals, distances)
    check_surface(body, normals, distances)
    assert body.volume(distances) == pytest.approx(8.0, rel=2e-4)


@pytest.mark.parametrize(
    ("normals", "distances", "message"),
    [
        (CUBE[:5], np.ones(5), "enclose no body"),
        (CUBE[[0, 1, 3, 4]], np.ones(4), "enclose no body"),
        (CUBE, [1, 1, 1, -2, 1, 1], "enclose no body"),
        (-CUBE, -np.ones(6), "enclose no body"),
        (CUBE, [1, 1, 0, 1, 1, 0], "enclose no body"),
    ],
)
def test_open_empty_and_inside_out_are_refused(normals, distances, message):
    with pytest.raises(StoneError, match=message):
        intersect(np.array(normals, dtype=float), np.array(distances, dtype=float))


def test_interior_point_lies_inside_all_planes():
    normals, distances = random_planes(5)
    moved = distances + normals @ [3.0, 0.0, 0.0]
    point = interior_point(normals, moved)
    assert np.min(moved - normals @ point) > 0.2
    assert np.array_equal(interior_point(normals, distances), np.zeros(3))


def test_scaled_body_is_the_body_of_scaled_planes():
    normals, distances = random_planes(6)
    scaled, afresh = intersect(normals, distances).scaled(2.0), intersect(normals, 2.0 * distances)
    assert scaled.areas == pytest.approx(afresh.areas, rel=1e-12)
    assert scaled.volume(2.0 * distances) == pytest.approx(afresh.volume(2.0 * distances), rel=1e-13)
