"""The oracle's test of whether a segment crosses an inclusion: by the points where it meets the shape's surface.

Written to be read, and on other grounds than the kernels: they compare distances and clip, it solves for surface points and asks
where the middles between them lie.
"""

from __future__ import annotations

import math

import numpy as np

from ..stone.inclusions.shapes import Disc, Ellipsoid, Polyhedron


def crosses(start: np.ndarray, end: np.ndarray, shape: Ellipsoid | Disc | Polyhedron) -> bool:
    """Whether the segment from `start` to `end`, (3,) each, mm, has a point inside the shape, or through the disc."""
    if isinstance(shape, Disc):
        return _through_disc(start, end, shape)
    meets = _meets_ellipsoid if isinstance(shape, Ellipsoid) else _meets_planes
    inside = _in_ellipsoid if isinstance(shape, Ellipsoid) else _in_polyhedron
    shares = [0.0, *(t for t in sorted(meets(start, end, shape)) if 0.0 < t < 1.0), 1.0]
    middles = [(a + b) / 2.0 for a, b in zip(shares, shares[1:], strict=False)]
    return any(inside(start + t * (end - start), shape) for t in middles)


def _through_disc(start: np.ndarray, end: np.ndarray, disc: Disc) -> bool:
    """The ends lie on either side of the disc's plane, and the segment divided in the ratio of their heights lies on the disc."""
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
