"""The shapes of inclusions: ellipsoid, thin disc, convex polyhedron. All are convex: a straight line crosses each at most once.

Points and directions are in the stone's frame, lengths in mm. Everything is kept as plain numbers, so that shapes are immutable
and compare by value.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from ...errors import InputError
from ...units import number_in

Point = tuple[float, float, float]

LONGEST_MM = 1000.0
"""Largest coordinate and radius, mm."""
SMALLEST_MM = 1e-6
"""Smallest radius, mm: a nanometre, far below what rays show."""
MOST_CORNERS = 1000
"""Most corners of a polyhedron."""
X, Y, Z = (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)


def point(key: str, given: Any) -> Point:
    """Three coordinates in mm as plain numbers, or an InputError that names the key."""
    numbers = list(given) if isinstance(given, Iterable) and not isinstance(given, str) else []
    if len(numbers) != 3:
        raise InputError("not a point", key=key, value=given, expected="three coordinates, mm")
    x, y, z = (number_in(key, one, -LONGEST_MM, LONGEST_MM, "mm") for one in numbers)
    return x, y, z


def unit(key: str, given: Any) -> Point:
    """A direction as a unit vector, or an InputError that names the key."""
    x, y, z = point(key, given)
    length = float(np.linalg.norm((x, y, z)))
    if length < 1e-9:
        raise InputError("no direction", key=key, value=given, expected="three numbers that are not all zero")
    return x / length, y / length, z / length


def radius(key: str, given: Any) -> float:
    """A radius in mm, or an InputError that names the key."""
    return number_in(key, given, SMALLEST_MM, LONGEST_MM, "mm")


@dataclass(frozen=True)
class Ellipsoid:
    """An ellipsoid; a sphere where its radii are equal.

    Attributes
    ----------
    center_mm : its middle. radii_mm : along its three axes.
    axis : direction of the first radius. second_axis : direction of the second radius, made perpendicular to the first.

    Raises
    ------
    InputError : a number out of range, a radius of zero, two axes along one line.
    """

    center_mm: Point
    radii_mm: Point
    axis: Point = X
    second_axis: Point | None = None

    def __post_init__(self) -> None:
        object.__setattr__(self, "center_mm", point("center_mm", self.center_mm))
        radii = tuple(radius("radii_mm", one) for one in point("radii_mm", self.radii_mm))
        object.__setattr__(self, "radii_mm", radii)
        first = np.array(unit("axis", self.axis))
        given = np.eye(3)[np.abs(first).argmin()] if self.second_axis is None else unit("second_axis", self.second_axis)
        across = given - (given @ first) * first
        if np.linalg.norm(across) < 1e-6:
            raise InputError("along the first axis", key="second_axis", value=self.second_axis, expected="another direction")
        object.__setattr__(self, "axis", tuple(first.tolist()))
        object.__setattr__(self, "second_axis", tuple((across / np.linalg.norm(across)).tolist()))

    @cached_property
    def axes(self) -> np.ndarray:
        """(3, 3) unit vectors of the three axes, one a row."""
        return np.array([self.axis, self.second_axis, np.cross(self.axis, np.array(self.second_axis))])

    @property
    def reach_mm(self) -> float:
        """Radius of a sphere about the middle that holds it."""
        return max(self.radii_mm)

    def extent_mm(self, directions: np.ndarray) -> np.ndarray:
        """(N,) how far it reaches from the origin along unit vectors (N, 3)."""
        return directions @ np.array(self.center_mm) + np.linalg.norm((directions @ self.axes.T) * self.radii_mm, axis=1)

    def moved(self, turn: np.ndarray, shift_mm: np.ndarray, factor: float = 1.0) -> Ellipsoid:
        """Scaled about the origin, turned by (3, 3), then shifted by (3,)."""
        radii = tuple((factor * np.array(self.radii_mm)).tolist())
        turned = turn @ np.array([self.axis, self.second_axis]).T
        return Ellipsoid(_placed(self.center_mm, turn, shift_mm, factor), radii, *map(tuple, turned.T.tolist()))


@dataclass(frozen=True)
class Disc:
    """A thin round disc, such as a feather: an area without thickness.

    Attributes
    ----------
    center_mm, radius_mm. normal : direction across it, of either sign.

    Raises
    ------
    InputError : a number out of range, a radius of zero.
    """

    center_mm: Point
    radius_mm: float
    normal: Point = Z

    def __post_init__(self) -> None:
        object.__setattr__(self, "center_mm", point("center_mm", self.center_mm))
        object.__setattr__(self, "radius_mm", radius("radius_mm", self.radius_mm))
        object.__setattr__(self, "normal", unit("normal", self.normal))

    @property
    def reach_mm(self) -> float:
        """Radius of a sphere about the middle that holds it."""
        return self.radius_mm

    def extent_mm(self, directions: np.ndarray) -> np.ndarray:
        """(N,) how far it reaches from the origin along unit vectors (N, 3)."""
        across = np.linalg.norm(np.cross(directions, np.array(self.normal)), axis=1)
        return directions @ np.array(self.center_mm) + self.radius_mm * across

    def moved(self, turn: np.ndarray, shift_mm: np.ndarray, factor: float = 1.0) -> Disc:
        """Scaled about the origin, turned by (3, 3), then shifted by (3,)."""
        center = _placed(self.center_mm, turn, shift_mm, factor)
        return Disc(center, factor * self.radius_mm, tuple((turn @ np.array(self.normal)).tolist()))


@dataclass(frozen=True)
class Polyhedron:
    """The smallest convex body around some points, such as a crystal.

    Attributes
    ----------
    corners_mm : four points or more that do not lie in one plane.

    Raises
    ------
    InputError : a number out of range, too few or too many points, points in one plane.
    """

    corners_mm: Sequence[Point]

    def __post_init__(self) -> None:
        many = isinstance(self.corners_mm, Iterable) and not isinstance(self.corners_mm, str)
        corners = tuple(point("corners_mm", one) for one in self.corners_mm) if many else ()
        if not 4 <= len(corners) <= MOST_CORNERS:
            expected = f"4 to {MOST_CORNERS} points that enclose a body"
            raise InputError("wrong number of corners", key="corners_mm", value=len(corners), expected=expected)
        object.__setattr__(self, "corners_mm", corners)
        flat = np.array(corners) - np.mean(corners, axis=0)
        if np.linalg.svd(flat, compute_uv=False)[-1] < SMALLEST_MM:
            raise InputError("corners in one plane", key="corners_mm", expected="points that enclose a body")

    @cached_property
    def planes(self) -> np.ndarray:
        """(P, 4) outward unit normals and distances from the origin, mm."""
        from scipy.spatial import ConvexHull

        equations = ConvexHull(np.array(self.corners_mm)).equations
        return np.unique(np.column_stack([equations[:, :3], -equations[:, 3]]).round(12), axis=0)

    @property
    def center_mm(self) -> Point:
        """The mean of its corners, which lies inside it."""
        x, y, z = np.mean(self.corners_mm, axis=0).tolist()
        return x, y, z

    @property
    def reach_mm(self) -> float:
        """Radius of a sphere about the middle that holds it."""
        return float(np.linalg.norm(np.array(self.corners_mm) - self.center_mm, axis=1).max())

    def extent_mm(self, directions: np.ndarray) -> np.ndarray:
        """(N,) how far it reaches from the origin along unit vectors (N, 3)."""
        return np.asarray((directions @ np.array(self.corners_mm).T).max(axis=1))

    def moved(self, turn: np.ndarray, shift_mm: np.ndarray, factor: float = 1.0) -> Polyhedron:
        """Scaled about the origin, turned by (3, 3), then shifted by (3,)."""
        return Polyhedron(tuple(_placed(corner, turn, shift_mm, factor) for corner in self.corners_mm))


Shape = Ellipsoid | Disc | Polyhedron


def _placed(place: Point, turn: np.ndarray, shift_mm: np.ndarray, factor: float) -> Point:
    x, y, z = (turn @ (factor * np.array(place)) + shift_mm).tolist()
    return x, y, z
