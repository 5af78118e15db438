"""The outline of a stone's girdle, found on its flats, as a recipe states it.

Each shape that could be it is made from lengths read off the girdle's corners, ground in as many flats, and compared with the
stone's own. Where none fits, the girdle's corners are a polygon, which always does.
"""

from __future__ import annotations

import contextlib
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from ...errors import InputError
from ...plane_geometry import following
from ..cuts.outline import Outline
from ..cuts.outlines import Curved, Sides, regular
from ..stone import Stone
from .shapes import POLYGON, REGULAR, SHAPES, tidy

FITS = 5e-13
"""Flats are the same where normals, and distances as a share of the width, differ by no more."""
_SEARCHED = 16
"""The number of flats that a curved outline was asked for lies within so many of the number that it has."""

_STRAIGHT = 8
"""A girdle of no more flats is a polygon's."""


@dataclass(frozen=True)
class Fit:
    """An outline with what a recipe states of it: shape, lengths by key, and the number of flats asked for."""

    outline: Outline
    shape: str
    lengths: Mapping[str, object]
    facets: int


def fitted(stone: Stone) -> Fit:
    """The outline of a stone's girdle. Raises InputError for a girdle that a recipe can't state."""
    girdle = stone.on_girdle
    normals, distances = stone.normals[girdle], stone.distances_mm[girdle]
    if len(normals) < 3 or np.abs(normals[:, 2]).max() > FITS:
        raise InputError(
            "a recipe needs a girdle of vertical facets", key="stone", value=stone.name, expected="a table of facets (.csv)"
        )
    around = np.argsort(np.arctan2(normals[:, 1], normals[:, 0]))
    flats = normals[around, :2], distances[around]
    corners = _corners(*flats)
    count = len(distances)
    for shape, lengths in _candidates(corners):
        for made in ({key: tidy(value) for key, value in lengths.items()}, lengths):
            with contextlib.suppress(ValueError):  # a StoneError is one: lengths that this shape can't have
                outline = SHAPES[shape].make(*made.values())
                for facets in _counts(outline, count):
                    if _same(outline.flats(facets), flats):
                        return Fit(outline, shape, {f"{key}_mm": value for key, value in made.items() if value}, facets)
    width = tidy(2.0 * float(distances.mean()))
    if count <= 96 and _same(regular(count, width).flats(), flats):
        return Fit(regular(count, width), REGULAR, {"sides": count, "width_mm": width}, count)
    outline = Sides(tuple((tidy(x), tidy(y)) for x, y in corners))
    return Fit(outline, POLYGON, {"corners_mm": [list(corner) for corner in outline.corners]}, count)


def _corners(normals: np.ndarray, distances: np.ndarray) -> np.ndarray:
    """(K, 2) corners of the flats, counter-clockwise: that of each flat with the next."""
    sides = np.stack([normals, following(normals)], axis=1)
    return np.asarray(np.linalg.solve(sides, np.stack([distances, following(distances)], axis=1)[..., None])[..., 0])


def _counts(outline: Outline, count: int) -> Iterator[int]:
    """The numbers of flats that a curved outline may have been asked for; a polygon has its own."""
    if isinstance(outline, Sides):
        yield count
    elif count > _STRAIGHT:
        for more in range(_SEARCHED + 1) if isinstance(outline, Curved) else (0,):
            yield from {max(count - more, 1), count + more}


def _same(found: tuple[np.ndarray, np.ndarray], flats: tuple[np.ndarray, np.ndarray]) -> bool:
    """Are flats, as an outline makes them, the stone's own, sorted by azimuth?"""
    if len(found[1]) != len(flats[1]):
        return False
    around = np.argsort(np.arctan2(found[0][:, 1], found[0][:, 0]))
    apart = np.abs(found[0][around, :2] - flats[0]).max()
    far = np.abs(found[1][around] - flats[1]).max() / flats[1].max()
    return bool(apart < FITS and far < FITS)


def _candidates(corners: np.ndarray) -> Iterator[tuple[str, dict[str, float]]]:
    """The shapes that the girdle may have, each with its lengths."""
    length, width = (float(extent) for extent in np.ptp(corners, axis=0))
    both = {"length": length, "width": width}
    reach = float(np.linalg.norm(corners, axis=1).max())
    if len(corners) > _STRAIGHT:
        yield "circle", {"diameter": 2.0 * reach}
        yield "oval", both
    if len(corners) in (4, 8):
        yield "rectangle", both | {"corner": _cut_back(corners)}
    if len(corners) == 4:
        ends = corners[np.argsort(corners[:, 0])]
        yield "tapered", {"length": length, "width": float(np.ptp(ends[:2, 1])), "narrow": float(np.ptp(ends[2:, 1]))}
    yield "hexagon", both
    if len(corners) > _STRAIGHT:
        yield "marquise", both
        yield "pear", both
        yield from _bowed(corners, both)


def _cut_back(corners: np.ndarray) -> float:
    """How far the corners of a rectangle are cut back."""
    along = np.abs(corners[:, 0])
    return float(along.max() - along.min()) if len(corners) == 8 else 0.0


def _bowed(corners: np.ndarray, both: dict[str, float]) -> Iterator[tuple[str, dict[str, float]]]:
    """Outlines of arcs whose radii are to be found."""
    right, top = int(np.argmax(corners[:, 0])), int(np.argmax(corners[:, 1]))
    third = len(corners) // 3
    middle = corners[(right + third // 2) % len(corners)]
    point, other = corners[right], corners[(right + third) % len(corners)]
    yield "bowed triangle", {"width": float(np.linalg.norm(other - point)), "side_radius": _radius(point, middle, other)}
    end = (right + _half(corners, right)) % len(corners)
    start = (top - _half(corners, top)) % len(corners)
    between = (start - end) % len(corners)
    if 2 <= between < len(corners) // 2:
        side = _radius(corners[end], corners[right], corners[(2 * right - end) % len(corners)])
        corner = _radius(corners[end], corners[(end + between // 2) % len(corners)], corners[start])
        yield "cushion", both | {"side_radius": side, "corner_radius": corner}


def _half(corners: np.ndarray, middle: int) -> int:
    """How many corners beyond the middle of an arc lie on its circle."""
    count = len(corners)
    radius = _radius(corners[middle - 1], corners[middle], corners[(middle + 1) % count])
    steps = 1
    while steps < count // 4:
        further = steps + 1
        wider = _radius(corners[(middle - further) % count], corners[middle], corners[(middle + further) % count])
        if abs(wider - radius) > 1e-6 * radius:
            break
        steps = further
    return steps


def _radius(one: np.ndarray, other: np.ndarray, third: np.ndarray) -> float:
    """Radius of the circle through three points (2,)."""
    a, b, c = (float(np.linalg.norm(p - q)) for p, q in ((one, other), (other, third), (third, one)))
    x, y = other - one, third - one
    twice = abs(float(x[0] * y[1] - x[1] * y[0]))
    return a * b * c / (2.0 * twice) if twice > 0.0 else math.inf
