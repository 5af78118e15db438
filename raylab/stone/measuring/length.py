"""Where the length of an outline runs, told by its shape alone.

The length of an outline that is longer than wide runs along the axis along which its area spreads most (`long_axis`); of one
with a point, towards the point. A square lies with a side along its length and a triangle with a corner, as those cuts do.
"""

from __future__ import annotations

import math

import numpy as np

from ...plane_geometry import LONG, area, centroid, following, long_axis, unit_vector
from ..stone import Stone

ANGULAR = 0.01
"""Least wave of three or four corners that gives a direction, a share of the largest that such an area could have."""

POINTED = 0.02
"""An outline reaches farther to one end than to the other if the distances from its centroid differ by more than this share."""


def length_deg_of(stone: Stone) -> float:
    """Azimuth of the length of a stone whose cut is known if it can be, degrees: the mirror plane of its symmetry, else as its
    outline says. On an even stone that is the same."""
    mirror = stone.symmetry.mirror_deg
    return length_azimuth_deg(stone.outline_mm) if mirror is None else mirror


def extents(points: np.ndarray, azimuth_deg: float) -> np.ndarray:
    """(2,) extent of points (N, 2) along an azimuth and across it."""
    return np.asarray(np.ptp(points @ np.column_stack([unit_vector(azimuth_deg), unit_vector(azimuth_deg + 90.0)]), axis=0))


def length_azimuth_deg(outline: np.ndarray) -> float:
    """Azimuth of the length of an outline (K, 2), degrees; 0 where nothing distinguishes a direction."""
    arms = outline - centroid(outline)
    size = area(outline)
    axis, spread = long_axis(outline)
    if spread > LONG:
        return _pointed(arms, math.degrees(math.atan2(axis[1], axis[0])))
    third, fourth = (_wave(arms, k) / size ** (k / 2.0 + 1.0) * math.pi ** (k / 2.0) * (k / 2.0 + 1.0) for k in (3, 4))
    if max(abs(third), abs(fourth)) < ANGULAR:
        return 0.0
    if abs(third) > abs(fourth):
        return math.degrees(np.angle(third)) / 3.0
    return math.degrees(np.angle(-fourth)) / 4.0  # a square's corners stand halfway between its length and its width


def _wave(arms: np.ndarray, k: int) -> complex:
    """The integral of (x + iy)^k over a polygon (K, 2), along its edge: Green's theorem, Gauss' rule of three points."""
    start = arms[:, 0] + 1j * arms[:, 1]
    step = following(start) - start
    points, weights = np.polynomial.legendre.leggauss(3)
    z = start + step * (points[:, None] + 1.0) / 2.0
    return complex((weights[:, None] / 2.0 * z.conj() * z**k * step).sum() / 2j)


def _pointed(arms: np.ndarray, azimuth_deg: float) -> float:
    """The azimuth, or the opposite one where the outline reaches farther to that side."""
    along = arms @ unit_vector(azimuth_deg)
    ahead, behind = float(along.max()), float(-along.min())
    if behind > ahead * (1.0 + POINTED):
        return azimuth_deg + 180.0 if azimuth_deg <= 0.0 else azimuth_deg - 180.0
    return azimuth_deg
