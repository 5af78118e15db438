"""The facet that one ray meets, searched for one ray at a time: for kernels whose rays are few, or that keep whole paths.

`packets` makes the same steps for many rays at once. Distances are compared by cross-multiplication. A ray is remembered by the
row on which it stands and never meets that row next.
"""

from __future__ import annotations

import numpy as np

from ..jit import njit
from .rim import SECTORS, sector_of


@njit()
def entry_row(planes, count, x, y, z, vx, vy, vz):
    """The row of the first `count` planes (R, 4) where a ray from outside enters, and how far it is, mm; row -1 for a miss."""
    num, den, best, out_num, out_den = 1e300, -1e-300, -1, 1e300, 1e-300
    for row in range(count):
        n_dot_v = planes[row, 0] * vx + planes[row, 1] * vy + planes[row, 2] * vz
        distance = planes[row, 3] - (planes[row, 0] * x + planes[row, 1] * y + planes[row, 2] * z)
        if n_dot_v < 0.0:
            if distance * den > num * n_dot_v:
                num, den, best = distance, n_dot_v, row
        elif n_dot_v > 0.0:
            if distance * out_den < out_num * n_dot_v:
                out_num, out_den = distance, n_dot_v
        elif distance < 0.0:
            out_num = -1e300
    enters = num / den
    return best if 0.0 <= enters < out_num / out_den else -1, enters


@njit(inline="always")
def nearer_one(nx, ny, nz, d, number, x, y, z, vx, vy, vz, last, num, den, row):
    """The nearer one as distance num/den and row: the plane in row `number`, or what was nearest to the ray so far."""
    n_dot_v = nx * vx + ny * vy + nz * vz
    signed_distance = max(d - (nx * x + ny * y + nz * z), 0.0)
    # A facet that faces away, n.v <= 0, is never nearer: the left side is not negative.
    nearer = (signed_distance * den < num * n_dot_v) & (last != number)
    return signed_distance if nearer else num, n_dot_v if nearer else den, number if nearer else row


@njit(inline="always")
def nearest_row(planes, first, end, last, x, y, z, vx, vy, vz, num, den, best):
    """The nearest one of the rows first..end-1 and of what was found so far, as distance num/den and row.

    Rows are numbers with a point here, like `last` and `best`, and places without a sign: with whole numbers of either sign a
    graphics processor takes twice as long.
    """
    row, number = first, float(first)
    while row < end:
        k = np.uint32(row)
        num, den, best = nearer_one(
            planes[k, 0], planes[k, 1], planes[k, 2], planes[k, 3], number, x, y, z, vx, vy, vz, last, num, den, best
        )
        row, number = row + 1, number + 1.0
    return num, den, best


@njit(inline="always")
def with_sides(planes, core2, far2, height, starts, rows, last, x, y, z, vx, vy, vz, num, den, best):
    """The row that a ray inside meets, and how far it is, mm, from the nearest of the sloping facets; row -1 for none.

    Parameters
    ----------
    core2, far2, height, starts, rows : the stone's `Rim`, which says where side facets count. last : see `nearest_row`.
    num, den, best : of the sloping facets, see `nearest_row`.
    """
    t = num / den
    px, py = x + t * vx, y + t * vy
    sector = sector_of(px, py)
    far = px * px + py * py
    if not far <= core2[sector]:
        listed = sector if far <= far2[sector] and abs(z + t * vz) <= height else SECTORS
        for place in range(starts[listed], starts[listed + 1]):
            num, den, best = nearest_row(planes, rows[place], rows[place] + 1, last, x, y, z, vx, vy, vz, num, den, best)
    return int(best), num / den
