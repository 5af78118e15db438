"""Inclusions in kernels: which of them a straight segment of a path crosses, and how much light they let pass.

Every inclusion is one row with a sphere around it, which most segments miss. What lies within is compared as its kind asks:

* **ellipsoid**: in coordinates in which it is the unit sphere, the nearest point of the segment to the middle lies inside.
* **disc**: the segment meets its plane within its radius.
* **polyhedron**: some of the segment is left when its planes have cut off what lies beyond them.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from ..jit import njit
from ..stone.inclusions.inclusion import Inclusion
from ..stone.inclusions.shapes import Disc, Ellipsoid, Polyhedron

MARGIN = 1e-9
"""Share by which the surrounding spheres err to the large side: rounding is far below."""


class InclusionTable(NamedTuple):
    """Inclusions as flat arrays, one row each.

    Attributes
    ----------
    quadrics : (N, 3, 3) of an ellipsoid, what takes its axes to the unit axes, 1/mm; zeros for another shape.
    flats : (N, 3) of a disc, its unit normal; zeros for another shape.
    spheres : (N, 4) middle and radius of a sphere around it, mm; exactly the disc's own.
    transmittance : (N,).
    starts : (N + 1,) a polyhedron's planes are faces[starts[k]:starts[k + 1]]; none for another shape.
    faces : (P, 4) outward unit normals and distances, mm.
    """

    quadrics: np.ndarray
    flats: np.ndarray
    spheres: np.ndarray
    transmittance: np.ndarray
    starts: np.ndarray
    faces: np.ndarray


def inclusion_table(inclusions: Sequence[Inclusion]) -> InclusionTable:
    """Lower inclusions."""
    count = len(inclusions)
    quadrics, flats, spheres = np.zeros((count, 3, 3)), np.zeros((count, 3)), np.zeros((count, 4))
    starts, faces = np.zeros(count + 1, np.int64), [np.empty((0, 4))]
    for k, one in enumerate(inclusions):
        shape = one.shape
        spheres[k] = [*shape.center_mm, shape.reach_mm * (1.0 if isinstance(shape, Disc) else 1.0 + MARGIN)]
        planes = shape.planes if isinstance(shape, Polyhedron) else np.empty((0, 4))
        faces.append(planes)
        starts[k + 1] = starts[k] + len(planes)
        if isinstance(shape, Ellipsoid):
            quadrics[k] = shape.axes / np.array(shape.radii_mm)[:, None]
        elif isinstance(shape, Disc):
            flats[k] = shape.normal
    transmittance = np.array([one.transmittance for one in inclusions], dtype=float)
    return InclusionTable(quadrics, flats, spheres, transmittance, starts, np.concatenate(faces))


@njit(in_place=True)
def crosses(x, y, z, vx, vy, vz, length, quadrics, flats, spheres, starts, faces, k):
    """Whether the segment from (x, y, z) along the unit vector v, `length` mm long, has a point inside inclusion k.

    Through it, where it is a disc. The arrays are those of the `InclusionTable`.
    """
    wx, wy, wz = spheres[k, 0] - x, spheres[k, 1] - y, spheres[k, 2] - z
    if starts[k + 1] > starts[k]:
        return _meets_body(x, y, z, vx, vy, vz, length, faces, starts[k], starts[k + 1])
    if flats[k, 0] != 0.0 or flats[k, 1] != 0.0 or flats[k, 2] != 0.0:
        return _meets_disc(wx, wy, wz, vx, vy, vz, length, flats[k, 0], flats[k, 1], flats[k, 2], spheres[k, 3])
    return _meets_ellipsoid(wx, wy, wz, vx, vy, vz, length, quadrics, k)


@njit(inline="always")
def apart2(x, y, z, vx, vy, vz, length, cx, cy, cz):
    """Squared distance, mm^2, of a segment from the point (cx, cy, cz). Written without branches, for vector code."""
    wx, wy, wz = cx - x, cy - y, cz - z
    near = min(max(wx * vx + wy * vy + wz * vz, 0.0), length)
    ox, oy, oz = wx - near * vx, wy - near * vy, wz - near * vz
    return ox * ox + oy * oy + oz * oz


@njit(in_place=True)
def _meets_ellipsoid(wx, wy, wz, vx, vy, vz, length, quadrics, k):
    """(wx, wy, wz) is the middle seen from the segment's start."""
    aa = ab = bb = 0.0
    for row in range(3):
        a = quadrics[k, row, 0] * wx + quadrics[k, row, 1] * wy + quadrics[k, row, 2] * wz
        b = quadrics[k, row, 0] * vx + quadrics[k, row, 1] * vy + quadrics[k, row, 2] * vz
        aa, ab, bb = aa + a * a, ab + a * b, bb + b * b
    near = min(max(ab / bb, 0.0), length)
    return aa - 2.0 * near * ab + near * near * bb < 1.0


@njit(in_place=True)
def _meets_disc(wx, wy, wz, vx, vy, vz, length, nx, ny, nz, radius):
    """(wx, wy, wz) is the middle seen from the segment's start."""
    n_dot_v = nx * vx + ny * vy + nz * vz
    if n_dot_v == 0.0:
        return False
    t = (nx * wx + ny * wy + nz * wz) / n_dot_v
    ox, oy, oz = wx - t * vx, wy - t * vy, wz - t * vz
    return 0.0 <= t <= length and ox * ox + oy * oy + oz * oz < radius * radius


@njit(in_place=True)
def _meets_body(x, y, z, vx, vy, vz, length, faces, begin, end):
    """faces (P, 4), of which those from `begin` to `end` enclose the body."""
    first, last = 0.0, length
    for row in range(begin, end):
        n_dot_v = faces[row, 0] * vx + faces[row, 1] * vy + faces[row, 2] * vz
        distance = faces[row, 3] - (faces[row, 0] * x + faces[row, 1] * y + faces[row, 2] * z)
        if n_dot_v > 0.0:
            last = min(last, distance / n_dot_v)
        elif n_dot_v < 0.0:
            first = max(first, distance / n_dot_v)
        elif distance < 0.0:
            return False
    return first < last
