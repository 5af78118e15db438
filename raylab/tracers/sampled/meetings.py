"""Where view rays first meet an inclusion: after how many internal reflections, and along which facets.

Geometry alone: a ray enters by Snell's law and runs on by mirror reflections, whatever light it carries.
"""

from __future__ import annotations

from typing import NamedTuple

import numba
import numpy as np

from ...jit import njit, parallel_kernel
from ...stone.finish import REFRACTS
from ..crossings import InclusionTable, crosses
from ..facet_search import entry_row
from ..rim import Rim
from ..stone_table import StoneTable
from ..surface import enter
from ..wedges import Wedges, next_row, wedges_in

BLOCK = 256
"""Rays that a thread follows at a time."""


class Meetings(NamedTuple):
    """First meetings of R rays.

    Attributes
    ----------
    inclusion : (R,) number of the inclusion from 0; -1 where the ray meets none within the reflections that were followed.
    facets : (R, most + 1) facets on the way there, the one looked through first, then those that reflect; -1 after the last.
    """

    inclusion: np.ndarray
    facets: np.ndarray

    @property
    def reflections(self) -> np.ndarray:
        """(R,) internal reflections before; -1 where no facet was met."""
        return np.asarray((self.facets >= 0).sum(axis=1) - 1)


def first_meetings(origins: np.ndarray, directions: np.ndarray, stone: StoneTable, most: int) -> Meetings:
    """Follow view rays until they meet an inclusion.

    Parameters
    ----------
    origins, directions : (R, 3) mm outside the stone, and unit vectors. most : reflections after which a ray is given up.
    """
    rays = np.array(origins, dtype=float, order="C"), np.array(directions, dtype=float, order="C")
    inclusion, rows = np.full(len(origins), -1), np.full((len(origins), most + 1), -1)
    _follow(*rays, stone, wedges_in(stone), inclusion, rows)
    return Meetings(inclusion, np.append(stone.facet, -1)[rows])


@parallel_kernel
def _follow(origins, directions, stone, wedges, inclusion, rows):
    """Fill `inclusion` (R,) and `rows` (R, most + 1), which are -1 before; rows of the stone's table. See `_follow_block`."""
    count, index = origins.shape[0], stone.medium.n
    planes, finish = stone.planes, stone.finish
    spans, nearby, reach = wedges
    core2, far2, height, starts, listed = stone.rim
    quadrics, flats, spheres, share, first_planes, faces = stone.inclusions
    for block in numba.prange((count + BLOCK - 1) // BLOCK):
        rim, lists = Rim(core2, far2, height, starts, listed), Wedges(spans, nearby, reach)
        inside = InclusionTable(quadrics, flats, spheres, share, first_planes, faces)
        first = block * BLOCK
        last = min(first + BLOCK, count)
        _follow_block(first, last, origins, directions, planes, lists, finish, rim, index, inside, inclusion, rows)


@njit(in_place=True)
def _follow_block(first, last, origins, directions, planes, wedges, finish, rim, n, inclusions, inclusion, rows):
    """The rays from `first` to `last`."""
    core2, far2, height, starts, listed = rim
    spans, nearby, reach = wedges
    for r in range(first, last):
        x, y, z = origins[r, 0], origins[r, 1], origins[r, 2]
        vx, vy, vz = directions[r, 0], directions[r, 1], directions[r, 2]
        row, t = entry_row(planes, planes.shape[0], x, y, z, vx, vy, vz)
        if row < 0 or finish[row] != REFRACTS:
            continue
        x, y, z = x + t * vx, y + t * vy, z + t * vz
        met = enter(vx, vy, vz, planes[row, 0], planes[row, 1], planes[row, 2], n, False)
        vx, vy, vz = met[6], met[7], met[8]
        for number in range(rows.shape[1]):
            rows[r, number] = row
            row, t = next_row(planes, spans, nearby, reach, core2, far2, height, starts, listed, row, x, y, z, vx, vy, vz)
            if row < 0:
                break
            inclusion[r] = _first(x, y, z, vx, vy, vz, t, inclusions)
            if inclusion[r] >= 0 or finish[row] != REFRACTS:
                break
            x, y, z = x + t * vx, y + t * vy, z + t * vz
            nx, ny, nz = planes[row, 0], planes[row, 1], planes[row, 2]
            twice = 2.0 * (nx * vx + ny * vy + nz * vz)
            vx, vy, vz = vx - twice * nx, vy - twice * ny, vz - twice * nz


@njit(in_place=True)
def _first(x, y, z, vx, vy, vz, length, inclusions):
    """The inclusion on a segment whose middle comes first along it; -1 for none."""
    quadrics, flats, spheres, transmittance, starts, faces = inclusions
    best, nearest = -1, 1e300
    for k in range(transmittance.size):
        if transmittance[k] < 1.0 and crosses(
            x, y, z, vx, vy, vz, length, quadrics, flats, spheres, starts, faces, k
        ):  # fmt: skip
            ahead = (spheres[k, 0] - x) * vx + (spheres[k, 1] - y) * vy + (spheres[k, 2] - z) * vz
            if ahead < nearest:
                best, nearest = k, ahead
    return best
