"""Convex polygons in a plane, and rotations. Polygons (K, 2) run counter-clockwise; lengths in mm."""

from __future__ import annotations

import math

import numpy as np

from .convex_hulls import ConvexHull

LONG = 1.02
"""A polygon is longer than wide where its area spreads more along its long axis than across by more than this factor."""


def following(rows: np.ndarray) -> np.ndarray:
    """Each row's follower around a polygon: the first row follows the last.

    >>> following(np.array([3, 1, 2])).tolist()
    [1, 2, 3]
    """
    return np.concatenate([rows[1:], rows[:1]])


def convex_outline(points: np.ndarray) -> np.ndarray:
    """(K, 2) corners of the convex hull of points (N, 2)."""
    return np.asarray(points[ConvexHull(points).vertices])


def area(polygon: np.ndarray) -> float:
    """Area of a polygon (K, 2), taken about its first corner; 0 for fewer than three corners.

    >>> area(np.array([[0.0, 0.0], [2.0, 0.0], [0.0, 3.0]]))
    3.0
    """
    if len(polygon) < 3:
        return 0.0
    x, y = (polygon[1:] - polygon[0]).T
    return 0.5 * float(x[:-1] @ y[1:] - x[1:] @ y[:-1])


def centroid(polygon: np.ndarray) -> np.ndarray:
    """Centroid (2,) of the area of a polygon (K, 2).

    >>> centroid(np.array([[0.0, 0.0], [3.0, 0.0], [0.0, 3.0]])).tolist()
    [1.0, 1.0]
    """
    a = polygon - polygon[0]
    b = following(a)
    twice = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
    return np.asarray(polygon[0] + ((a + b) * twice[:, None]).sum(axis=0) / (3.0 * twice.sum()))


def long_axis(polygon: np.ndarray) -> tuple[np.ndarray, float]:
    """Unit vector (2,), x not negative, along which the area of a polygon (K, 2) spreads most, and by which factor it spreads
    more than across it (root of the ratio of the area's principal second moments).

    >>> axis, factor = long_axis(np.array([[-1.0, -2.0], [1.0, -2.0], [1.0, 2.0], [-1.0, 2.0]]))
    >>> [abs(number) for number in axis.tolist()], round(factor, 12)
    ([0.0, 1.0], 2.0)
    """
    a = polygon - centroid(polygon)
    b = following(a)
    twice = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
    # Of a triangle from the origin: area / 12 times the sum of the outer products of a, b and a + b with themselves.
    moments = np.einsum("k,ki,kj->ij", twice, a, a) + np.einsum("k,ki,kj->ij", twice, b, b)
    moments += np.einsum("k,ki,kj->ij", twice, a + b, a + b)
    spreads, axes = np.linalg.eigh(moments)
    axis = axes[:, 1]
    backward = axis[0] < 0.0 or (axis[0] == 0.0 and axis[1] < 0.0)
    return (-axis if backward else axis), math.sqrt(float(spreads[1] / spreads[0]))


def distance_to_edge(polygon: np.ndarray, point: np.ndarray, direction: np.ndarray) -> float:
    """Distance from a point (2,) inside a convex polygon (K, 2) to its edge along a unit vector (2,).

    >>> square = np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])
    >>> distance_to_edge(square, np.array([0.5, 0.0]), unit_vector(180.0))
    1.5
    """
    side = following(polygon) - polygon
    normals = np.column_stack([side[:, 1], -side[:, 0]])
    n_dot_u, signed_distance = normals @ direction, ((polygon - point) * normals).sum(axis=1)
    ahead = n_dot_u > 0.0
    return float((signed_distance[ahead] / n_dot_u[ahead]).min())


def unit_vector(azimuth_deg: float) -> np.ndarray:
    """(2,) unit vector at an azimuth, counter-clockwise from +x."""
    azimuth = math.radians(azimuth_deg)
    return np.array([math.cos(azimuth), math.sin(azimuth)])


def rotation_about_z(angle: float) -> np.ndarray:
    """(3, 3) rotation about +z by an angle in radians, counter-clockwise seen from above."""
    c, s = math.cos(angle), math.sin(angle)
    return np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])


def rotation_about(axis: tuple[float, float, float], angle_deg: float) -> np.ndarray:
    """(3, 3) rotation about a unit axis, exact at multiples of 90 degrees (Rodrigues' formula).

    >>> rotation_about((0.0, 0.0, 1.0), 90.0).tolist()
    [[0.0, -1.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 1.0]]
    """
    if angle_deg == 0.0:
        return np.eye(3)
    quarter, rest = divmod(angle_deg, 90.0)
    cos, sin = math.cos(math.radians(rest)), math.sin(math.radians(rest))
    for _ in range(int(quarter) % 4):
        cos, sin = -sin, cos
    x, y, z = axis
    cross = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    return np.eye(3) * cos + sin * cross + (1.0 - cos) * np.outer(axis, axis)
