"""The points of a stone's facet that a recipe can name: on the girdle's edge, and on facets that are laid already."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Mapping

import numpy as np

from ...errors import InputError
from ..stone import Stone
from .girdle import Girdle
from .laid import Body, Laid
from .points import Line, foot_of
from .recipe import Point
from .shapes import tidy
from .stone_facets import touch

_NEAR = 1e-9
"""A point lies on a plane, or on the outline, within this share of the width."""
_SPAN = 0.05
"""Points that lie closer to each other, or to one line, settle nothing."""
_FLAT = 0.02
"""Facets that span less than this volume meet in no sharp point."""


def points_of(
    stone: Stone, facet: int, girdle: Girdle, body: Body, laid: Mapping[int, Laid], count: int
) -> Iterator[tuple[Point, ...]]:
    """Choices of `count` points of a facet, the plainest first and, of those equally plain, the farthest apart.

    `laid` are the facets that are laid already, by their numbers in the stone.
    """
    named = [*_on_girdle(stone, facet, girdle, body, laid), *_corners(stone, facet, girdle, body, laid)]
    if len(named) < count:
        return
    chosen = np.array(list(itertools.combinations(range(len(named)), count)))
    spreads = _spread(np.array([place for _, place, _ in named]), chosen, stone.normals[facet])
    costs = np.array([cost for _, _, cost in named])[chosen].sum(axis=1)
    for k in np.lexsort((-np.round(spreads, 6), costs)):
        if spreads[k] > _SPAN:
            yield tuple(named[one][0] for one in chosen[k])


def _spread(places: np.ndarray, chosen: np.ndarray, normal: np.ndarray) -> np.ndarray:
    """(C,) how well points, chosen (C, 2 or 3) from places (P, 3), span what they settle, as a share of how far out they lie.

    Three settle a plane, by their triangle; two a slope, by how far they lie apart along it.
    """
    level = float(np.hypot(normal[0], normal[1]))
    across = np.array([-normal[1], normal[0], 0.0]) / level
    down = np.cross(normal, across)
    u, v = places[chosen] @ across, places[chosen] @ down
    size = np.abs(places[chosen]).max(axis=(1, 2))
    if chosen.shape[1] == 2:
        return np.asarray(np.abs(v[:, 1] - v[:, 0]) / size)
    twice = (u[:, 1] - u[:, 0]) * (v[:, 2] - v[:, 0]) - (u[:, 2] - u[:, 0]) * (v[:, 1] - v[:, 0])
    return np.asarray(np.sqrt(np.abs(twice)) / size)


Named = tuple[Point, np.ndarray, int]
"""A point, where it is, and how many numbers it takes to state it."""


def _on_girdle(stone: Stone, facet: int, girdle: Girdle, body: Body, laid: Mapping[int, Laid]) -> Iterator[Named]:
    """Where the facet's edges with others of its side cross the girdle's edge on the outline."""
    side = math.copysign(1.0, stone.normals[facet, 2])
    rim, near = side * girdle.rim_mm, _NEAR * girdle.outline.width
    seen: list[np.ndarray] = []
    corners = girdle.corners()
    for other in range(len(stone)):
        if other == facet or stone.normals[other, 2] * side <= 0.0 or not touch(stone, facet, other):
            continue
        rows = np.array([stone.normals[facet, :2], stone.normals[other, :2]])
        if abs(np.linalg.det(rows)) < 1e-6:
            continue
        numbers = [facet, other]
        place = np.linalg.solve(rows, stone.distances_mm[numbers] - stone.normals[numbers, 2] * rim)
        azimuth = _azimuth_deg(place)
        known = any(np.abs(place - one).max() < near for one in seen)
        if not known and np.abs(girdle.point(azimuth) - place).max() < near and _on_stone(stone, np.array([*place, rim]), near):
            seen.append(place)
            point = np.array([*place, rim])
            sloping = (one for one in laid.values() if 0.0 < abs(one.normal[2]) < 1.0)
            owner = next((one for one in sloping if np.abs(foot_of(one, girdle) - point).max() < near), None)
            at = np.flatnonzero(np.abs(corners - place).max(axis=1) < near)
            if len(at):
                yield Point(girdle_corner=int(at[0])), point, 0
            else:
                yield (Point(girdle_deg=azimuth), point, 1) if owner is None else (Point(foot=body.name(owner)), point, 0)


def _corners(stone: Stone, facet: int, girdle: Girdle, body: Body, laid: Mapping[int, Laid]) -> Iterator[Named]:
    """The facet's corners: on three facets that are laid, on two and a number, on one and two numbers, or by themselves."""
    near = _NEAR * girdle.outline.width
    for corner in stone.polyhedron.loops[facet]:
        place = stone.vertices_mm[corner]
        if abs(abs(place[2]) - girdle.rim_mm) < near and not _on_stone_inside(place, girdle):
            continue
        facing = stone.normals[facet, 2] > 0.0
        through = [
            one for one in laid.values() if abs(one.normal @ place - one.distance) < near and (one.normal[2] > 0.0) == facing
        ]
        point, cost = _named(place, through, girdle, body, 1.0 if facing else -1.0)
        yield point, place, cost


def _named(place: np.ndarray, through: list[Laid], girdle: Girdle, body: Body, side: float) -> tuple[Point, int]:
    """A point of the stone in the words of a recipe, and how many numbers they hold."""
    near = 1e-7 * girdle.outline.width
    for three in itertools.combinations(through, 3):
        if abs(np.linalg.det([one.normal for one in three])) > _FLAT:
            return Point(on=tuple(body.name(one) for one in three)), 0
    if float(np.hypot(*place[:2])) < near:
        return Point(axis_mm=tidy(place[2])), 1
    azimuth = _azimuth_deg(place)
    for two in itertools.combinations(through, 2):
        names = tuple(body.name(one) for one in two)
        run = np.cross(two[0].normal, two[1].normal)
        if float(np.linalg.norm(run)) < 1e-3:
            continue
        if abs(run[2]) < 1e-6:
            return Point(on=names, azimuth_deg=azimuth), 1
        try:
            way = Line(two[0], two[1], girdle, side).way_pct(place)
        except InputError:
            continue
        if 0.0 <= way <= 100.0:
            return Point(on=names, way_pct=tidy(way)), 1
        return Point(on=names, height_mm=tidy(place[2])), 1
    for one in through:
        if float(np.hypot(*one.normal[:2])) > 1e-3:
            return Point(on=(body.name(one),), azimuth_deg=azimuth, height_mm=tidy(place[2])), 2
    x, y, z = (tidy(number) for number in place)
    return Point(xyz_mm=(x, y, z)), 3


def _azimuth_deg(place: np.ndarray) -> float:
    """The azimuth of a point, 0 to 360 degrees."""
    return tidy(math.degrees(math.atan2(place[1], place[0])) % 360.0) % 360.0


def _on_stone(stone: Stone, place: np.ndarray, near: float) -> bool:
    """Does a point lie on the stone, the girdle's flats left aside?"""
    others = ~stone.on_girdle
    return bool((stone.normals[others] @ place - stone.distances_mm[others]).max() < 100.0 * near)


def _on_stone_inside(place: np.ndarray, girdle: Girdle) -> bool:
    """Does a point lie clear of the girdle?"""
    normals, distances = girdle.flats
    return bool((distances - normals[:, :2] @ place[:2]).min() > 1e-6 * girdle.outline.width)
