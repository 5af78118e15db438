"""Rays inside a stone, followed to their ends in packets: compiled, with the lanes of a packet in the inner loops.

The search for the facet that a ray meets next is most of the work, so it runs over packets of LANES rays, where the compiler
turns it into vector instructions. Distances are compared by cross-multiplication, without a division per facet. A lane whose
path has ended takes the next ray at once.

A ray is remembered by the facet it stands on and never meets that facet next; no distance is ever nudged. Where a ray runs
into an edge or a corner, the facet with the lowest row wins, once.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from ..jit import njit
from ..stone.finish import ABSORBS
from .ledger import ABSORBED, SCATTERED, UNTRACED, tally_exit
from .rim import SECTORS, sector_of
from .surface import cone_outside, interact

LANES = 64
"""Rays of a packet: so many that the search waits for no earlier lane, so few that their state stays in the fastest cache."""

VECTOR = 8
"""Lanes that one instruction takes at once, at most: at the end of the rays so few run on."""

# A start has these columns: where a ray stands, where it goes, its Stokes row, the axis that this refers to, the row of the
# stone's table on which it stands, internal reflections so far, and the solid angle inside, times n^2 (sr).
PLACE, DIRECTION, STOKES, AXIS, ON_ROW, REFLECTIONS, CONE = 0, 3, 6, 10, 13, 14, 15
START = 16

# Rows of the packet's state p, each LANES numbers long, in one flat array (_PACKET,) so that the compiler sees they don't
# overlap.
_X, _Y, _Z, _VX, _VY, _VZ = (row * LANES for row in range(6))  # where the ray stands and where it goes
_LAST, _ROW = (row * LANES for row in range(6, 8))  # rows of the stone's table: where the ray stands, which it meets next
_NUM, _DEN = (row * LANES for row in range(8, 10))  # distance to the next facet, as signed distance over n.v
_NX, _NY, _NZ = (row * LANES for row in range(10, 13))  # that facet's normal
_I, _Q, _U, _V, _EX, _EY, _EZ = (row * LANES for row in range(13, 20))  # Stokes row and the axis it refers to
_WEIGHT, _TX, _TY, _TZ = (row * LANES for row in range(20, 24))  # what leaves here, and in which direction
_RAY, _REFLECTIONS = (row * LANES for row in range(24, 26))  # ray number, -1 for a free lane; internal reflections so far
_CONE = 26 * LANES  # solid angle inside, times n^2 (sr)
_PACKET = 27 * LANES


class PathRules(NamedTuple):
    """How a path is followed.

    Attributes
    ----------
    polarized : False averages s and p at every surface.
    min_weight, max_bounces : a path ends when less weight is left or after so many internal reflections; the rest is booked as
        untraced.
    """

    polarized: bool = True
    min_weight: float = 1e-4
    max_bounces: int = 200


@njit()
def _next_facet(planes, sloping, p, lanes):
    """For each lane the nearest of the first `sloping` planes (R, 4) ahead: distance NUM/DEN, ROW (-1 for none)."""
    for k in range(lanes):
        p[_NUM + k] = 1e300
        p[_DEN + k] = 1.0
        p[_ROW + k] = -1.0
    for row in range(sloping):
        nx, ny, nz, d = planes[row, 0], planes[row, 1], planes[row, 2], planes[row, 3]
        number = float(row)
        for k in range(lanes):
            n_dot_v = nx * p[_VX + k] + ny * p[_VY + k] + nz * p[_VZ + k]
            signed_distance = max(d - (nx * p[_X + k] + ny * p[_Y + k] + nz * p[_Z + k]), 0.0)
            # A facet that faces away, n.v <= 0, is never nearer: the left side is not negative.
            nearer = (signed_distance * p[_DEN + k] < p[_NUM + k] * n_dot_v) & (p[_LAST + k] != number)
            p[_NUM + k] = signed_distance if nearer else p[_NUM + k]
            p[_DEN + k] = n_dot_v if nearer else p[_DEN + k]
            p[_ROW + k] = number if nearer else p[_ROW + k]


@njit()
def _side_facet(planes, rim, x, y, z, p, k):
    """Let lane k's side facets compete with the nearest facet found so far, where it would leave at (x, y, z); see `rim`."""
    _, far2, height, starts, rows = rim
    sector = sector_of(x, y)
    listed = sector if x * x + y * y <= far2[sector] and abs(z) <= height else SECTORS
    for place in range(starts[listed], starts[listed + 1]):
        row = rows[place]
        nx, ny, nz, d = planes[row, 0], planes[row, 1], planes[row, 2], planes[row, 3]
        n_dot_v = nx * p[_VX + k] + ny * p[_VY + k] + nz * p[_VZ + k]
        if n_dot_v > 0.0 and p[_LAST + k] != row:
            signed_distance = max(d - (nx * p[_X + k] + ny * p[_Y + k] + nz * p[_Z + k]), 0.0)
            if signed_distance * p[_DEN + k] < p[_NUM + k] * n_dot_v:
                p[_NUM + k] = signed_distance
                p[_DEN + k] = n_dot_v
                p[_ROW + k] = row


@njit()
def _meet(p, index, polarized, lanes):
    """One internal hit of every lane: WEIGHT leaves along T, the rest is reflected. No branches: vector code."""
    for k in range(lanes):
        vx, vy, vz = p[_VX + k], p[_VY + k], p[_VZ + k]
        t = p[_NUM + k] / p[_DEN + k]
        p[_X + k] += t * vx
        p[_Y + k] += t * vy
        p[_Z + k] += t * vz
        weight, tx, ty, tz, i, q, u, v, rx, ry, rz, ex, ey, ez = interact(
            vx, vy, vz, p[_NX + k], p[_NY + k], p[_NZ + k], index,
            p[_I + k], p[_Q + k], p[_U + k], p[_V + k], p[_EX + k], p[_EY + k], p[_EZ + k], polarized,
        )  # fmt: skip
        p[_WEIGHT + k], p[_TX + k], p[_TY + k], p[_TZ + k] = weight, tx, ty, tz
        p[_I + k], p[_Q + k], p[_U + k], p[_V + k] = i, q, u, v
        p[_VX + k], p[_VY + k], p[_VZ + k] = rx, ry, rz
        p[_EX + k], p[_EY + k], p[_EZ + k] = ex, ey, ez


@njit()
def _take_rays(waiting, last, first, starts, p):
    """Give every free lane the next ray with weight left; returns the number of the next waiting ray.

    Parameters
    ----------
    waiting, last : the rays still to be begun. first : the ray of the first row of starts (R, START).
    """
    for k in range(LANES):
        while p[_RAY + k] < 0.0 and waiting < last:
            start = starts[waiting - first]
            if start[STOKES] > 0.0:
                p[_X + k], p[_Y + k], p[_Z + k] = start[PLACE], start[PLACE + 1], start[PLACE + 2]
                p[_VX + k], p[_VY + k], p[_VZ + k] = start[DIRECTION], start[DIRECTION + 1], start[DIRECTION + 2]
                p[_I + k], p[_Q + k], p[_U + k], p[_V + k] = (
                    start[STOKES],
                    start[STOKES + 1],
                    start[STOKES + 2],
                    start[STOKES + 3],
                )
                p[_EX + k], p[_EY + k], p[_EZ + k] = start[AXIS], start[AXIS + 1], start[AXIS + 2]
                p[_LAST + k], p[_REFLECTIONS + k], p[_CONE + k] = start[ON_ROW], start[REFLECTIONS], start[CONE]
                p[_RAY + k] = waiting
            waiting += 1
    return waiting


@njit()
def _close_up(p, lanes):
    """Move the busy ones of the first `lanes` lanes to the front; returns how many lanes they fill, in whole vectors."""
    busy = 0
    for k in range(lanes):
        if p[_RAY + k] >= 0.0:
            if k > busy:
                for row in range(0, _PACKET, LANES):
                    p[row + busy] = p[row + k]
                p[_RAY + k] = -1.0
            busy += 1
    return (busy + VECTOR - 1) // VECTOR * VECTOR


@njit()
def _absorb(p, coefficient, out, lanes):
    """Body colour on the way to the next facet, for every busy lane, booked in out (R, CHANNELS)."""
    for k in range(lanes):
        if p[_RAY + k] >= 0.0:
            depth = coefficient * p[_NUM + k] / p[_DEN + k]
            left = math.exp(-depth)
            out[int(p[_RAY + k]), ABSORBED] -= p[_I + k] * math.expm1(-depth)
            p[_I + k] *= left
            p[_Q + k] *= left
            p[_U + k] *= left
            p[_V + k] *= left


@njit()
def _find_next(p, stone, out, lanes):
    """Set every lane's next facet; a lane that finds none books its weight as untraced and is free."""
    planes, core2 = stone.planes, stone.rim.core2
    _next_facet(planes, stone.sloping, p, lanes)
    for k in range(lanes):
        if p[_RAY + k] < 0.0:
            continue
        t = p[_NUM + k] / p[_DEN + k]
        x, y = p[_X + k] + t * p[_VX + k], p[_Y + k] + t * p[_VY + k]
        if not x * x + y * y <= core2[sector_of(x, y)]:
            _side_facet(planes, stone.rim, x, y, p[_Z + k] + t * p[_VZ + k], p, k)
        row = int(p[_ROW + k])
        if row < 0:
            out[int(p[_RAY + k]), UNTRACED] += p[_I + k]
            p[_RAY + k] = -1.0
        else:
            p[_LAST + k] = row
            p[_NX + k], p[_NY + k], p[_NZ + k] = planes[row, 0], planes[row, 1], planes[row, 2]


@njit()
def walk(first, last, starts, stone, dome, turn, rules, out):
    """Follow the rays first..last-1 to their ends, each booked in its row of `out`; returns how many path segments they had.

    Parameters
    ----------
    starts : (last - first, START); a ray without weight is passed over. out : (R, CHANNELS), added to.
    stone : a `StoneTable`. dome : a `DomeTable`. turn : (3, 3) from the stone's frame to the dome's. rules : `PathRules`.
    """
    p = np.zeros(_PACKET)
    polarized, min_weight, max_bounces = rules
    absorbing = False
    for finish in stone.finish:
        absorbing |= finish == ABSORBS
    p[_RAY : _RAY + LANES] = -1.0
    segments, waiting, lanes = 0, first, LANES
    while True:
        waiting = _take_rays(waiting, last, first, starts, p)
        if waiting >= last:
            lanes = _close_up(p, lanes)
        _find_next(p, stone, out, lanes)
        if stone.medium.absorption_per_mm > 0.0:
            _absorb(p, stone.medium.absorption_per_mm, out, lanes)
        _meet(p, stone.medium.n, polarized, lanes)
        busy = 0
        for k in range(lanes):
            r = int(p[_RAY + k])
            if r < 0:
                continue
            busy += 1
            if absorbing and stone.finish[int(p[_ROW + k])] == ABSORBS:
                out[r, SCATTERED] += p[_WEIGHT + k] + p[_I + k]
                p[_RAY + k] = -1.0
                continue
            if p[_WEIGHT + k] > 0.0:
                x, y, z = p[_TX + k], p[_TY + k], p[_TZ + k]
                cone = 0.0
                if p[_CONE + k] > 0.0:
                    cone = cone_outside(p[_CONE + k], p[_DEN + k], x * p[_NX + k] + y * p[_NY + k] + z * p[_NZ + k])
                tally_exit(out[r], p[_WEIGHT + k], x, y, z, p[_REFLECTIONS + k], turn, dome, cone)
            p[_REFLECTIONS + k] += 1.0
            if p[_I + k] < min_weight or p[_REFLECTIONS + k] >= max_bounces:
                out[r, UNTRACED] += p[_I + k]
                p[_RAY + k] = -1.0
        segments += busy
        if busy == 0 and waiting >= last:
            return segments
