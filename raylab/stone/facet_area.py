"""One facet from planes alone, for kernels that have no polyhedron: its corners and its area."""

from __future__ import annotations

import math

from ..jit import njit

MOST_CORNERS = 64
"""Of a facet, while it is cut out."""


@njit()
def plane_axes(nx, ny, nz):
    """Two unit vectors across a unit normal and each other, right-handed with it."""
    lies = abs(nz) < 0.7
    length = math.sqrt(nx * nx + ny * ny) if lies else math.sqrt(ny * ny + nz * nz)
    ux, uy, uz = (-ny / length, nx / length, 0.0) if lies else (0.0, -nz / length, ny / length)
    return ux, uy, uz, ny * uz - nz * uy, nz * ux - nx * uz, nx * uy - ny * ux


@njit()
def cut_out(planes, count, row, size, one, other):
    """How many corners the facet in a plane of a convex body has, 0 for none; -1 where there are too many.

    Parameters
    ----------
    planes : (R, 4) outward unit normals and distances, of which `count` bound the body. row : the facet's.
    size : no corner is as far from the plane's foot as this.
    one : (MOST_CORNERS, 2) filled: the corners along the `plane_axes`, from the plane's foot. other : like it, overwritten.
    """
    nx, ny, nz, d = planes[row, 0], planes[row, 1], planes[row, 2], planes[row, 3]
    ux, uy, uz, vx, vy, vz = plane_axes(nx, ny, nz)
    for k in range(4):
        one[k, 0] = size if k == 0 or k == 3 else -size
        one[k, 1] = size if k < 2 else -size
    corners = 4
    for cutter in range(count):
        if cutter == row or corners < 3:
            continue
        cx, cy, cz = planes[cutter, 0], planes[cutter, 1], planes[cutter, 2]
        a, b = cx * ux + cy * uy + cz * uz, cx * vx + cy * vy + cz * vz
        c = planes[cutter, 3] - d * (cx * nx + cy * ny + cz * nz)
        beyond = False
        for k in range(corners):
            beyond = beyond or a * one[k, 0] + b * one[k, 1] > c
        if not beyond:
            continue
        kept = 0
        px, py = one[corners - 1, 0], one[corners - 1, 1]
        before = c - a * px - b * py
        for k in range(corners):
            x, y = one[k, 0], one[k, 1]
            here = c - a * x - b * y
            if (here > 0.0) != (before > 0.0) and kept < MOST_CORNERS:
                share = before / (before - here)
                other[kept, 0], other[kept, 1] = px + share * (x - px), py + share * (y - py)
                kept += 1
            if here > 0.0 and kept < MOST_CORNERS:
                other[kept, 0], other[kept, 1] = x, y
                kept += 1
            px, py, before = x, y, here
        if kept == MOST_CORNERS:
            return -1
        corners = kept
        for k in range(corners):
            one[k, 0], one[k, 1] = other[k, 0], other[k, 1]
    return corners if corners > 2 else 0


@njit()
def facet_area(planes, count, row, size, one, other):
    """Area of the facet in a plane of a convex body; -1 where it has too many corners. See `cut_out`."""
    corners = cut_out(planes, count, row, size, one, other)
    if corners < 0:
        return -1.0
    area = 0.0
    for k in range(2, corners):
        area += (one[k - 1, 0] - one[0, 0]) * (one[k, 1] - one[0, 1]) - (one[k, 0] - one[0, 0]) * (one[k - 1, 1] - one[0, 1])
    return 0.5 * abs(area)
