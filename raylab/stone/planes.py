"""Facet planes from their direction and the points on them.

* `normal_of`, `normal_of_deg`: from slope (angle to the girdle plane), azimuth and side;
* `tangent_through`: facing an azimuth, through two places (a facet that keeps an edge);
* `through_edge_and_position`: through an edge and a place beside it;
* `planes_through`: through three points each;
* `plane_at`, `ring`: of a given slope through a place, once or evenly around the axis.

Positions are given relative to the axis of the stone: radius, azimuth, and height towards the side that the plane faces. So
one rule serves crown and pavilion, even facets and uneven ones. On an even stone both positions of a rule stand at one angle
to its azimuth. The run between them is then the difference of their radii times one cosine, which keeps an even stone even
to the last bit.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

UP, DOWN = 1.0, -1.0
"""Sides that a facet faces: the sign of its normal's z."""

SIDES = {"up": UP, "down": DOWN, "": UP}
"""The sides by name; a vertical facet (slope 90 degrees) may go without."""

LEAST = 1e-9
"""No plane faces along its own edge: the run between its places must exceed this share of their radii."""


class Position(NamedTuple):
    """A point of a stone: `radius` from its axis, mm; `azimuth`, radians; `height` towards the side in question, mm."""

    radius: float
    azimuth: float
    height: float

    @staticmethod
    def of(point: np.ndarray, side: float) -> Position:
        """The place of a point (3,) mm."""
        return Position(math.hypot(point[0], point[1]), math.atan2(point[1], point[0]), side * float(point[2]))

    def point(self, side: float) -> np.ndarray:
        """The point (3,) mm."""
        return np.array([self.radius * math.cos(self.azimuth), self.radius * math.sin(self.azimuth), side * self.height])

    def run(self, azimuth: float) -> float:
        """How far the place lies outward along an azimuth (radians), mm."""
        return self.radius * math.cos(azimuth - self.azimuth)


class Slant(NamedTuple):
    """How a facet lies: the `azimuth` it faces (radians), the `tangent` of its slope, a place it passes `through`."""

    azimuth: float
    tangent: float
    through: Position


def normal_of(slope: float, azimuth: float, side: float) -> np.ndarray:
    """(3,) unit normal of a facet; `slope` (0 to pi/2) and `azimuth` in radians."""
    level = math.sin(slope)
    return np.array([level * math.cos(azimuth), level * math.sin(azimuth), side * math.cos(slope)])


def normal_of_deg(slope_deg: float, azimuth_deg: float, side: float) -> np.ndarray:
    """(3,) the same from degrees; exact at whole right angles."""
    level, up = _sine_cosine(slope_deg)
    y, x = _sine_cosine(azimuth_deg)
    return np.array([level * x, level * y, side * up])


def facing_deg(normals: np.ndarray) -> tuple[list[str], np.ndarray, np.ndarray]:
    """What unit normals (F, 3) face: the side's name, slope 0 to 90 and azimuth 0 to 360, degrees, (F,) each.

    `normal_of_deg` gives the normals back to within 1e-15.
    """
    x, y, z = normals.T
    slope = np.degrees(np.arctan2(np.hypot(x, y), np.abs(z)))
    azimuth = np.degrees(np.arctan2(y, x)) % 360.0
    sides = np.where(z > 0.0, "up", np.where(z < 0.0, "down", ""))
    return sides.tolist(), slope, np.where(azimuth < 360.0, azimuth, 0.0)


def _sine_cosine(angle_deg: float) -> tuple[float, float]:
    """Sine and cosine, from the angle to the nearest right angle, which is exact in floating point."""
    quarter = round(angle_deg / 90.0)
    rest = math.radians(angle_deg - 90.0 * quarter)
    s, c = math.sin(rest), math.cos(rest)
    return ((s, c), (c, -s), (-s, -c), (-c, s))[quarter % 4]


def tangent_through(azimuth: float, through: Position, other: Position) -> float:
    """Tangent of the slope of the plane that faces an azimuth (radians) and holds two places; NaN where none does.

    Along the azimuth the plane falls from the one to the other by their heights' difference over the run between them. A
    plane that would rise outward faces the other way.
    """
    here, there = math.cos(azimuth - through.azimuth), math.cos(azimuth - other.azimuth)
    alike = here == there
    run = (through.radius - other.radius) * here if alike else through.radius * here - other.radius * there
    rise = other.height - through.height
    if abs(run) < LEAST * (through.radius + other.radius) or rise * run < 0.0:
        return math.nan
    return rise / run


def through_edge_and_position(one: Position, other: Position, position: Position) -> Slant:
    """The plane through an edge, from one end to the other, and a place beside it; the edge may lean."""
    across = _azimuth_across(one, other)
    along = across + math.pi / 2.0
    lean = (one.height - other.height) / (other.run(along) - one.run(along))
    level = one._replace(height=one.height - lean * (position.run(along) - one.run(along)))
    fall = tangent_through(across, level, position)
    return Slant(across + math.atan2(lean, fall), math.hypot(fall, lean), one)


def _azimuth_across(one: Position, other: Position) -> float:
    """The azimuth, radians, at right angles to the edge from one place to another that lies counter-clockwise of it."""
    if one.radius == other.radius:
        return one.azimuth + (other.azimuth - one.azimuth) % (2.0 * math.pi) / 2.0
    x, y = (other.run(turn) - one.run(turn) for turn in (0.0, math.pi / 2.0))
    return math.atan2(-x, y)


def planes_through(triangles: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The planes through three points each (T, 3, 3), mm: unit normals (T, 3) away from the origin, and distances (T,), mm."""
    one, other, third = np.asarray(triangles, dtype=float).transpose(1, 0, 2)
    (x, y, z), (u, v, w) = (other - one).T, (third - one).T  # np.cross takes ten times as long for a few planes
    normals = np.stack([y * w - z * v, z * u - x * w, x * v - y * u], axis=1)
    normals /= np.linalg.norm(normals, axis=1)[:, None]
    distances = (normals * one).sum(axis=1)
    outward = np.sign(distances)
    return normals * outward[:, None], distances * outward


def plane_at(slant: Slant, side: float) -> tuple[np.ndarray, float]:
    """One plane: unit normal (3,) and distance, mm."""
    normals, distance = ring(1, slant, side)
    return normals[0], distance


def ring(count: int, slant: Slant, side: float, rim: float = 0.0) -> tuple[np.ndarray, float]:
    """`count` planes evenly around the axis, the first as `slant` says: unit normals (count, 3) and their one distance, mm.

    `rim` is the height that the slant's place is counted from.
    """
    azimuth, tangent, through = slant
    azimuths = [azimuth + 2.0 * math.pi * k / count for k in range(count)]
    long = math.hypot(tangent, 1.0)
    normals = np.array([[tangent * math.cos(a), tangent * math.sin(a), side] for a in azimuths]) / long
    return normals, (tangent * through.run(azimuth) + (rim + through.height)) / long
