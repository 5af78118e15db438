"""Joints between mains that stand as they may: found on the planes of mains, table and girdle (all lengths in plan).

* A main's middle runs along the main's azimuth from the z axis; it meets the table at a table corner, the girdle at a foot.
* The edge between two mains passes the table's edge (the line between two corners), the girdle, and on the pavilion the apex.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from ..planes import DOWN, UP, Position
from .brilliant import Joint


class Planes(NamedTuple):
    """Outward unit normals (K, 3) and distances (K,), mm."""

    normals: np.ndarray
    distances: np.ndarray


Corners = tuple[Position, Position]


def crown_joints(mains: Planes, table: Planes, girdle: Planes) -> Iterator[tuple[Joint, Corners]]:
    """Each joint of the crown with the table corners beside it, from the first main on; the mains counter-clockwise."""
    lines = [_middle(*plane) for plane in zip(*mains, strict=True)]
    corners = [line.at(line.enters(table)) for line in lines]
    for this, after in _pairs(len(lines)):
        edge = _edge(Planes(mains.normals[[this, after]], mains.distances[[this, after]]))
        inner = edge.crosses(corners[this], corners[after])
        joint = _joint((lines[this], lines[after]), edge, inner, girdle, UP)
        yield joint, (Position.of(corners[this], UP), Position.of(corners[after], UP))


def pavilion_joints(mains: Planes, girdle: Planes) -> Iterator[Joint]:
    """Each joint of the pavilion; the apex is the point nearest to all mains (least squares)."""
    apex = np.linalg.lstsq(mains.normals, mains.distances, rcond=None)[0]
    lines = [_middle(*plane) for plane in zip(*mains, strict=True)]
    for this, after in _pairs(len(lines)):
        edge = _edge(Planes(mains.normals[[this, after]], mains.distances[[this, after]]))
        yield _joint((lines[this], lines[after]), edge, edge.passes(apex), girdle, DOWN)


def _pairs(count: int) -> Iterator[tuple[int, int]]:
    """Each main's number with the next one's."""
    return ((k, (k + 1) % count) for k in range(count))


@dataclass(frozen=True)
class _Line:
    """A line on a stone's surface, running outward: a point, and a direction of length 1 in plan, (3,) mm each."""

    start: np.ndarray
    run: np.ndarray

    @property
    def azimuth(self) -> float:
        """Of the direction, radians."""
        return math.atan2(self.run[1], self.run[0])

    def at(self, far: float) -> np.ndarray:
        return self.start + far * self.run

    def enters(self, plane: Planes) -> float:
        """Where it crosses the one plane."""
        return float(((plane.distances - plane.normals @ self.start) / (plane.normals @ self.run))[0])

    def leaves(self, planes: Planes) -> float:
        """Where it first leaves through one of the planes."""
        outward = planes.normals @ self.run
        clearance = planes.distances - planes.normals @ self.start
        return float((clearance[outward > 0.0] / outward[outward > 0.0]).min())

    def crosses(self, one: np.ndarray, other: np.ndarray) -> float:
        """Where the line, in plan, crosses the one through two points."""
        chord = (other - one)[:2]
        across = np.array([-chord[1], chord[0]])
        return float(across @ (one - self.start)[:2] / (across @ self.run[:2]))

    def passes(self, point: np.ndarray) -> float:
        """Where the line, in plan, passes a point nearest."""
        return float((point - self.start)[:2] @ self.run[:2])


def _middle(normal: np.ndarray, distance: float) -> _Line:
    """The line down (or, below, up) the middle of a main to the girdle."""
    out = normal[:2] / np.linalg.norm(normal[:2])
    return _Line(np.array([0.0, 0.0, distance / normal[2]]), np.array([*out, -(normal[:2] @ out) / normal[2]]))


def _edge(mains: Planes) -> _Line:
    """The edge between two neighbouring mains, from where it passes the z axis outward to the girdle."""
    run = np.cross(*mains.normals)
    out = (mains.normals / np.linalg.norm(mains.normals[:, :2], axis=1)[:, None]).sum(axis=0)[:2]
    run *= math.copysign(1.0, run[:2] @ out) / np.linalg.norm(run[:2])
    level = np.array([*run[:2], 0.0])
    return _Line(np.linalg.solve(np.array([*mains.normals, level]), np.array([*mains.distances, 0.0])), run)


def _joint(lines: Sequence[_Line], edge: _Line, inner: float, girdle: Planes, side: float) -> Joint:
    first, second = (Position.of(line.at(line.leaves(girdle)), side) for line in lines)
    return Joint(
        azimuths=(lines[0].azimuth, lines[1].azimuth),
        feet=(first, second),
        inner=inner,
        outer=edge.leaves(girdle),
        at=lambda far: Position.of(edge.at(far), side),
    )
