"""Joints between mains that stand as they may: found on the planes of mains, table and girdle (all lengths in plan).

* A main's middle runs from the z axis to its foot on the girdle, and meets the table at a table corner.
* The edge between two mains passes the table's edge (the line between two corners), the girdle, and on the pavilion the apex.

On a round stone a foot lies at its main's own azimuth, the edge meets the girdle at the joint, and an unpainted half faces a
quarter of the way. On another outline a foot lies where the outline faces its main's azimuth, since there the main reaches the
girdle; the joint lies on the outline at the azimuth of the place where both mains have come down to it, which is opposite the
edge's outer end; the edge's inner end is where it meets a third main (see `outline_brilliant`).
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from ...plane_geometry import following
from ..planes import DOWN, UP, Position
from .brilliant import Joint, quarters


class Planes(NamedTuple):
    """Outward unit normals (K, 3) and distances (K,), mm."""

    normals: np.ndarray
    distances: np.ndarray


Corners = tuple[Position, Position]


class Girdle(NamedTuple):
    """The planes of a girdle, and the corners (K, 2) mm of its outline, counter-clockwise; None for a round one."""

    planes: Planes
    outline: np.ndarray | None


def crown_joints(mains: Planes, table: Planes, girdle: Girdle) -> Iterator[tuple[Joint, Corners]]:
    """Each joint of the crown with the table corners beside it, from the first main on; the mains counter-clockwise."""
    lines = _middles(mains, girdle)
    corners = [line.at(line.enters(table)) for line in lines]
    for this, after in _pairs(len(lines)):
        edge = _edge(Planes(mains.normals[[this, after]], mains.distances[[this, after]]))
        inner = edge.crosses(corners[this], corners[after])
        joint = _joint((lines[this], lines[after]), edge, inner, girdle, UP)
        yield joint, (Position.of(corners[this], UP), Position.of(corners[after], UP))


def pavilion_joints(mains: Planes, girdle: Girdle) -> Iterator[Joint]:
    """Each joint of the pavilion; the apex of a round one is the point nearest to all mains (least squares)."""
    apex = np.linalg.lstsq(mains.normals, mains.distances, rcond=None)[0]
    lines = _middles(mains, girdle)
    for this, after in _pairs(len(lines)):
        edge = _edge(Planes(mains.normals[[this, after]], mains.distances[[this, after]]))
        others = [k for k in range(len(lines)) if k not in (this, after)]
        third = Planes(mains.normals[others], mains.distances[others])
        inner = edge.passes(apex) if girdle.outline is None else edge.begins(third)
        yield _joint((lines[this], lines[after]), edge, inner, girdle, DOWN)


def split(joint: Joint, facing: Sequence[float], outline: np.ndarray, girdle: Planes) -> tuple[Joint, Joint]:
    """A joint of pavilion mains between which one was left out (see `outline_brilliant`), as the two on either side of it.

    `facing` : azimuths that the crown mains face, radians; that of the main left out is the one farthest from both mains. Its
    foot is as high as theirs on average. The halves of both parts go to one tip of the whole joint. `outline`, `girdle` : see
    `Girdle`.
    """
    start, end = joint.azimuths
    turn = (end - start) % (2.0 * math.pi)
    ahead = [(one - start) % (2.0 * math.pi) for one in facing]
    middle = start + max((one for one in ahead if one < turn), key=lambda one: min(one, turn - one))
    ends = [foot.point(DOWN) for foot in joint.feet]
    foot = np.array([*_feet(outline, np.array([middle]))[0], (ends[0][2] + ends[1][2]) / 2.0])
    between = Position.of(foot, DOWN)
    parts = []
    for one, other, azimuths in ((ends[0], foot, (start, middle)), (foot, ends[1], (middle, end))):
        normals = np.array([[math.cos(azimuth), math.sin(azimuth)] for azimuth in azimuths])
        x, y = np.linalg.solve(normals, [normals[0] @ one[:2], normals[1] @ other[:2]])
        on = _on_girdle(np.array([x, y, (one[2] + other[2]) / 2.0]), girdle)
        turns = _square(on - one, azimuths[0]), -_square(other - on, azimuths[1])
        feet = (joint.feet[0], between) if other is foot else (between, joint.feet[1])
        parts.append(joint._replace(azimuths=azimuths, turns=turns, feet=feet))
    return parts[0], parts[1]


def _pairs(count: int) -> Iterator[tuple[int, int]]:
    """Each main's number with the next one's."""
    return ((k, (k + 1) % count) for k in range(count))


@dataclass(frozen=True)
class _Line:
    """A line on a stone's surface, running outward: a point, and a direction of length 1 in plan, (3,) mm each."""

    start: np.ndarray
    run: np.ndarray
    faces: float = math.nan  # of a main's middle: the azimuth that the main faces, radians

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

    def begins(self, planes: Planes) -> float:
        """Where, coming inward, it first leaves through one of the planes."""
        outward = planes.normals @ self.run
        clearance = planes.distances - planes.normals @ self.start
        return float((clearance[outward < 0.0] / outward[outward < 0.0]).max())

    def comes_to(self, height: float) -> float:
        """Where it has a height, mm."""
        return float((height - self.start[2]) / self.run[2])

    def crosses(self, one: np.ndarray, other: np.ndarray) -> float:
        """Where the line, in plan, crosses the one through two points."""
        chord = (other - one)[:2]
        across = np.array([-chord[1], chord[0]])
        return float(across @ (one - self.start)[:2] / (across @ self.run[:2]))

    def passes(self, point: np.ndarray) -> float:
        """Where the line, in plan, passes a point nearest."""
        return float((point - self.start)[:2] @ self.run[:2])


def _middles(mains: Planes, girdle: Girdle) -> list[_Line]:
    """The line down (or, below, up) the middle of each main to the girdle."""
    facing = mains.normals[:, :2] / np.linalg.norm(mains.normals[:, :2], axis=1)[:, None]
    azimuths = [math.atan2(y, x) for x, y in facing]
    towards = facing if girdle.outline is None else _feet(girdle.outline, np.array(azimuths))
    lines = []
    for normal, distance, azimuth, foot in zip(*mains, azimuths, towards, strict=True):
        out = foot if girdle.outline is None else foot / np.linalg.norm(foot)
        start = np.array([0.0, 0.0, distance / normal[2]])
        lines.append(_Line(start, np.array([*out, -(normal[:2] @ out) / normal[2]]), azimuth))
    return lines


def _feet(outline: np.ndarray, azimuths: np.ndarray) -> np.ndarray:
    """(K, 2) where an outline faces azimuths (K,), radians.

    A corner faces every azimuth between those of its two sides. It is the foot for the middle half of them; from there to the
    next corner's middle half the foot moves evenly, so that it does not jump when its main turns a little.
    """
    side = following(outline) - outline
    ahead = np.arctan2(-side[:, 0], side[:, 1])  # what the side that begins at each corner faces
    fan = np.mod(ahead - np.roll(ahead, 1), 2.0 * math.pi)
    ends = np.concatenate([ahead - 0.75 * fan, ahead - 0.25 * fan])
    return np.column_stack([np.interp(azimuths, ends, np.tile(outline[:, k], 2), period=2.0 * math.pi) for k in (0, 1)])


def _edge(mains: Planes) -> _Line:
    """The edge between two neighbouring mains, from where it passes the z axis outward to the girdle."""
    run = np.cross(*mains.normals)
    out = (mains.normals / np.linalg.norm(mains.normals[:, :2], axis=1)[:, None]).sum(axis=0)[:2]
    run *= math.copysign(1.0, run[:2] @ out) / np.linalg.norm(run[:2])
    level = np.array([*run[:2], 0.0])
    return _Line(np.linalg.solve(np.array([*mains.normals, level]), np.array([*mains.distances, 0.0])), run)


def _joint(lines: Sequence[_Line], edge: _Line, inner: float, girdle: Girdle, side: float) -> Joint:
    feet = [line.at(line.leaves(girdle.planes)) for line in lines]
    start, end = (line.faces for line in lines)
    if girdle.outline is None:
        outer, turns = edge.leaves(girdle.planes), quarters(start, end)
    else:
        joint = _on_girdle(edge.at(edge.comes_to((feet[0][2] + feet[1][2]) / 2.0)), girdle.planes)
        outer = edge.passes(joint)
        turns = _square(joint - feet[0], start), -_square(feet[1] - joint, end)
    first, second = (Position.of(foot, side) for foot in feet)
    return Joint((start, end), turns, (first, second), inner, outer, lambda far: Position.of(edge.at(far), side))


def _on_girdle(point: np.ndarray, girdle: Planes) -> np.ndarray:
    """The place of the girdle on the level line from the z axis through a point (3,)."""
    out = np.array([point[0], point[1], 0.0]) / math.hypot(point[0], point[1])
    level = _Line(np.array([0.0, 0.0, point[2]]), out)
    return level.at(level.leaves(girdle))


def _square(along: np.ndarray, azimuth: float) -> float:
    """How far from an azimuth, counter-clockwise, a line that runs counter-clockwise around the stone faces, radians."""
    return math.remainder(math.atan2(-along[0], along[1]) - azimuth, 2.0 * math.pi)
