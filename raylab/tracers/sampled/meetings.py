"""Where view rays first meet an inclusion: after how many internal reflections, and along which facets.

Geometry alone: a ray enters by Snell's law and runs on by mirror reflections, whatever light it carries.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from ...jit import njit
from ...stone.finish import REFRACTS
from ..crossings import crosses
from ..stone_table import StoneTable
from ..surface import enter


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
    rays = (np.ascontiguousarray(origins, dtype=float), np.ascontiguousarray(directions, dtype=float))
    inclusion, rows = np.full(len(origins), -1), np.full((len(origins), most + 1), -1)
    _follow(*rays, stone, inclusion, rows)
    return Meetings(inclusion, np.append(stone.facet, -1)[rows])


@njit()
def _follow(origins, directions, stone, inclusion, rows):
    """Fill `inclusion` (R,) and `rows` (R, most + 1), which are -1 before; rows of the stone's table."""
    planes, finish, inclusions = stone.planes, stone.finish, stone.inclusions
    for r in range(origins.shape[0]):
        x, y, z = origins[r, 0], origins[r, 1], origins[r, 2]
        vx, vy, vz = directions[r, 0], directions[r, 1], directions[r, 2]
        row, t = _entry(planes, x, y, z, vx, vy, vz)
        if row < 0 or finish[row] != REFRACTS:
            continue
        x, y, z = x + t * vx, y + t * vy, z + t * vz
        met = enter(vx, vy, vz, planes[row, 0], planes[row, 1], planes[row, 2], stone.medium.n, False)
        vx, vy, vz = met[6], met[7], met[8]
        for number in range(rows.shape[1]):
            rows[r, number] = row
            row, t = _next(planes, row, x, y, z, vx, vy, vz)
            if row < 0:
                break
            inclusion[r] = _first(x, y, z, vx, vy, vz, t, inclusions)
            if inclusion[r] >= 0 or finish[row] != REFRACTS:
                break
            x, y, z = x + t * vx, y + t * vy, z + t * vz
            nx, ny, nz = planes[row, 0], planes[row, 1], planes[row, 2]
            twice = 2.0 * (nx * vx + ny * vy + nz * vz)
            vx, vy, vz = vx - twice * nx, vy - twice * ny, vz - twice * nz


@njit()
def _entry(planes, x, y, z, vx, vy, vz):
    """The row where a ray from outside enters and how far it is; row -1 for a miss."""
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
def _next(planes, last, x, y, z, vx, vy, vz):
    """The row that a ray inside meets after the one it stands on, and how far it is."""
    best, nearest = -1, 1e300
    for row in range(planes.shape[0]):
        n_dot_v = planes[row, 0] * vx + planes[row, 1] * vy + planes[row, 2] * vz
        if n_dot_v > 0.0 and row != last:
            distance = max(planes[row, 3] - (planes[row, 0] * x + planes[row, 1] * y + planes[row, 2] * z), 0.0) / n_dot_v
            if distance < nearest:
                best, nearest = row, distance
    return best, nearest


@njit()
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
