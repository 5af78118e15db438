"""Polygons and rotations against closed forms and scipy."""

from __future__ import annotations

import doctest

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial import ConvexHull
from scipy.spatial.transform import Rotation

from raylab import plane_geometry as plane


def test_the_examples_hold():
    assert doctest.testmod(plane).failed == 0


def polygon(seed: int, count: int) -> np.ndarray:
    return plane.convex_outline(np.random.default_rng(seed).normal((3.0, -2.0), 1.0, (count, 2)))


@pytest.mark.parametrize("seed", range(10))
def test_area_and_centroid_are_those_of_the_triangles(seed):
    corners = polygon(seed, 12)
    fan = [corners[[0, k, k + 1]] for k in range(1, len(corners) - 1)]
    sizes = np.array([0.5 * np.linalg.det(np.column_stack([one, np.ones(3)])) for one in fan])
    assert plane.area(corners) == pytest.approx(sizes.sum(), rel=1e-13)
    assert plane.area(corners) == pytest.approx(ConvexHull(corners).volume, rel=1e-13)  # scipy calls a polygon's area so
    middles = np.array([one.mean(axis=0) for one in fan])
    assert plane.centroid(corners) == pytest.approx(sizes @ middles / sizes.sum(), rel=1e-12)


def test_fewer_than_three_corners_have_no_area():
    assert plane.area(np.zeros((0, 2))) == plane.area(np.ones((2, 2))) == 0.0


@pytest.mark.parametrize("seed", range(10))
def test_the_edge_is_met_at_the_distance_reported(seed):
    corners, azimuth = polygon(seed, 9), 37.0 * seed
    inside, direction = plane.centroid(corners), plane.unit_vector(azimuth)
    end = inside + plane.distance_to_edge(corners, inside, direction) * direction
    sides = ConvexHull(corners).equations
    assert (sides[:, :2] @ end + sides[:, 2]).max() == pytest.approx(0.0, abs=1e-14)


@given(st.floats(-720.0, 720.0), st.floats(-180.0, 180.0))
def test_rotations_are_scipys(angle_deg, azimuth_deg):
    axis = (*plane.unit_vector(azimuth_deg).tolist(), 0.0)
    assert plane.rotation_about(axis, angle_deg) == pytest.approx(
        Rotation.from_rotvec(np.multiply(axis, angle_deg), degrees=True).as_matrix(), abs=1e-13
    )
    assert plane.rotation_about_z(np.radians(angle_deg)) == pytest.approx(
        Rotation.from_euler("z", angle_deg, degrees=True).as_matrix(), abs=1e-13
    )


@pytest.mark.parametrize("quarters", range(-5, 6))
def test_right_angles_are_exact(quarters):
    turned = plane.rotation_about((1.0, 0.0, 0.0), 90.0 * quarters)
    assert set(np.abs(turned).ravel()) == {0.0, 1.0}
