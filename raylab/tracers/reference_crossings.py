"""The oracle's test of whether a segment crosses an inclusion: by the points where it meets the shape's surface.

Written to be read, and on other grounds than the kernels: they compare distances and clip, it solves for surface points and
asks where the middles between them lie.
"""

from __future__ import annotations

import itertools
import math

import numpy as np

from ..stone.inclusions.shapes import Disc, Ellipsoid, Polyhedron


def crosses(start: np.ndarray, end: np.ndarray, shape: Ellipsoid | Disc | Polyhedron) -> bool:
    """Whether the segment from `start` to `end`, (3,) each, mm, has a point inside the shape, or through the disc."""
    if isinstance(shape, Disc):
        return _through_disc(start, end, shape)
    if isinstance(shape, Ellipsoid):
        return any(_in_ellipsoid(middle, shape) for middle in _middles(start, end, _meets_ellipsoid(start, end, shape)))
    return any(_in_polyhedron(middle, shape) for middle in _middles(start, end, _meets_planes(start, end, shape)))


def _middles(start: np.ndarray, end: np.ndarray, meets: list[float]) -> list[np.ndarray]:
    """The middles of the parts into which surface points, given as shares of the segment, divide it."""
    shares = [0.0, *(t for t in sorted(meets) if 0.0 < t < 1.0), 1.0]
    return [start + (a + b) / 2.0 * (end - start) for a, b in itertools.pairwise(shares)]


def _through_disc(start: np.ndarray, end: np.ndarray, disc: Disc) -> bool:
    """The ends lie on either side of the disc's plane; the point that divides them in the ratio of heights is on the disc."""
    normal, center = np.array(disc.normal), np.array(disc.center_mm)
    before, after = float(normal @ (start - center)), float(normal @ (end - center))
    if before * after > 0.0 or before == after:
        return False
    place = (after * start - before * end) / (after - before)
    return math.dist(place, center) < disc.radius_mm


def _in_ellipsoid(place: np.ndarray, shape: Ellipsoid) -> bool:
    """x^2/a^2 + y^2/b^2 + z^2/c^2 < 1 along its own axes."""
    return float(np.sum((shape.axes @ (place - np.array(shape.center_mm)) / np.array(shape.radii_mm)) ** 2)) < 1.0


def _meets_ellipsoid(start: np.ndarray, end: np.ndarray, shape: Ellipsoid) -> list[float]:
    """Where the line meets its surface, as shares of the segment: the roots of a quadratic."""
    form = shape.axes.T @ np.diag(1.0 / np.array(shape.radii_mm) ** 2) @ shape.axes
    step, off = end - start, start - np.array(shape.center_mm)
    a, b, c = float(step @ form @ step), float(off @ form @ step), float(off @ form @ off) - 1.0
    inside_root = b * b - a * c
    return [(-b - math.sqrt(inside_root)) / a, (-b + math.sqrt(inside_root)) / a] if inside_root > 0.0 else []


def _in_polyhedron(place: np.ndarray, shape: Polyhedron) -> bool:
    return bool((shape.planes[:, :3] @ place < shape.planes[:, 3]).all())


def _meets_planes(start: np.ndarray, end: np.ndarray, shape: Polyhedron) -> list[float]:
    """Where the line meets the planes of its faces, as shares of the segment."""
    heights = [shape.planes[:, 3] - shape.planes[:, :3] @ place for place in (start, end)]
    return [float(a / (a - b)) for a, b in zip(*heights, strict=True) if a != b]
