"""The facet that one ray meets, searched for one ray at a time: for kernels whose rays are few, or that keep whole paths.

`packets` has the same search for many rays at once. A ray is remembered by the row it stands on and never meets that row next.
"""

from __future__ import annotations

from ..jit import njit
from .rim import SECTORS, sector_of


@njit()
def entry_row(planes, x, y, z, vx, vy, vz):
    """The row of planes (R, 4) where a ray from outside enters, and how far it is, mm; row -1 for a miss."""
    best, enters, leaves = -1, -1e300, 1e300
    for row in range(planes.shape[0]):
        n_dot_v = planes[row, 0] * vx + planes[row, 1] * vy + planes[row, 2] * vz
        distance = planes[row, 3] - (planes[row, 0] * x + planes[row, 1] * y + planes[row, 2] * z)
        if n_dot_v < 0.0 and distance / n_dot_v > enters:
            best, enters = row, distance / n_dot_v
        elif n_dot_v > 0.0:
            leaves = min(leaves, distance / n_dot_v)
        elif n_dot_v == 0.0 and distance < 0.0:
            return -1, 0.0
    return (best, enters) if 0.0 <= enters < leaves else (-1, 0.0)


@njit()
def next_row(planes, sloping, core2, far2, height, starts, rows, last, x, y, z, vx, vy, vz):
    """The row that a ray inside meets after the row `last` it stands on, and how far it is, mm; row -1 for none.

    Parameters
    ----------
    planes, sloping : of the `StoneTable`. core2, far2, height, starts, rows : its `Rim`, which says where side facets count.
    """
    best, num, den = -1, 1e300, 1.0
    for row in range(sloping):
        n_dot_v = planes[row, 0] * vx + planes[row, 1] * vy + planes[row, 2] * vz
        if n_dot_v > 0.0 and row != last:
            distance = max(planes[row, 3] - (planes[row, 0] * x + planes[row, 1] * y + planes[row, 2] * z), 0.0)
            if distance * den < num * n_dot_v:
                best, num, den = row, distance, n_dot_v
    t = num / den
    px, py = x + t * vx, y + t * vy
    sector = sector_of(px, py)
    far = px * px + py * py
    if not far <= core2[sector]:
        listed = sector if far <= far2[sector] and abs(z + t * vz) <= height else SECTORS
        for place in range(starts[listed], starts[listed + 1]):
            row = rows[place]
            n_dot_v = planes[row, 0] * vx + planes[row, 1] * vy + planes[row, 2] * vz
            if n_dot_v > 0.0 and row != last:
                distance = max(planes[row, 3] - (planes[row, 0] * x + planes[row, 1] * y + planes[row, 2] * z), 0.0)
                if distance * den < num * n_dot_v:
                    best, num, den = row, distance, n_dot_v
    return best, num / den
