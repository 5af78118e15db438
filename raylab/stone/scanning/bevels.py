"""Planes that a scan seems to have between its girdle and the facets beside it, stood upright where the points allow it.

Where a girdle is thin and curved, few points lie on each of its flats. A plane through some of them and through the edge of a
half then explains them as well as a wall does, and the stone would get a bevel that it has not. The points can't tell; a girdle
of walls alone is the simpler stone. So a plane between a wall and a flatter facet of its side is replaced by the wall that fits
its points best, unless these are then explained clearly worse. (On scans of cushions such planes cost -8 to 38 noise variances
to stand up, facets of the stone 3,400 and more.)
"""

from __future__ import annotations

import numpy as np

from .envelope import CUTOFF, NEEDED, Envelope, Planes, squares
from .girdle_fit import is_steep

STARTS = (0.3, 0.5, 0.7)
"""Where a wall begins among its points, from the inside out, as shares of them."""

TURNS = 3
"""Times that a wall is fitted to the points that are highest over it."""


def stood_upright(points: np.ndarray, planes: Planes, found: Envelope, up: np.ndarray, noise: float) -> Planes:
    """The planes, with bevels at the girdle as walls. A wall keeps the errors of the plane that it replaces.

    `points` (V, 3) mm and `found` where they lie; `up` (3,) the girdle's axis.
    """
    steep = is_steep(planes, up)
    rise = planes.normals @ up
    facet, rival = found.facet, found.rival
    normals, distances, center, axes = (one.copy() for one in (planes.normals, planes.distances, planes.center, planes.axes))
    for f in np.flatnonzero(~steep):
        beside = np.unique(rival[(facet == f) & (rival >= 0)])
        flatter = ~steep[beside] & (rise[beside] * rise[f] > 0.0) & (np.abs(rise[beside]) > abs(rise[f]))
        if not steep[beside].any() or not flatter.any():
            continue
        near = np.isin(facet, [f, *beside])
        wall = planes.normals[f] - rise[f] * up
        wall /= np.linalg.norm(wall)
        others = np.where(facet[near] == f, found.heights[near, 1], found.heights[near, 0])
        distance, worse = _wall(points[near] @ wall, others, facet[near] == f, noise)
        if worse - squares(found.height[near], noise).sum() < NEEDED:
            normals[f], distances[f] = wall, distance
            center[f] += (distance - wall @ center[f]) * wall
            axes[f] = _turned(planes.normals[f], wall, np.cross(up, wall)) @ axes[f]
    return Planes(normals, distances, center, planes.count, planes.rms, axes, planes.covariance)


def _turned(before: np.ndarray, after: np.ndarray, about: np.ndarray) -> np.ndarray:
    """(3, 3) what turns directions in a plane into those of another, by their normals and their common direction, (3,) each."""
    return np.column_stack([about, np.cross(about, after)]) @ np.stack([about, np.cross(about, before)])


def _wall(reach: np.ndarray, others: np.ndarray, own: np.ndarray, noise: float) -> tuple[float, float]:
    """The distance of the wall that explains points best, and the sum of their squared heights over it and the other planes.

    `reach` (N,) how far out the points lie; `others` (N,) their heights over all other planes; `own` (N,) bool, those that were
    on the plane which the wall replaces.
    """
    best = 0.0, np.inf
    for share in STARTS:
        distance = float(np.quantile(reach[own], share))
        for _ in range(TURNS):
            on = (reach - distance > others) & (np.abs(reach - distance) < CUTOFF * noise)
            distance = float(reach[on].mean()) if on.any() else distance
        cost = float(squares(np.maximum(reach - distance, others), noise).sum())
        best = min(best, (distance, cost), key=lambda one: one[1])
    return best
