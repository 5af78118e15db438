"""One beam: what its numbers mean, how it enters and what a facet does to it.

A beam is one row of WIDTH numbers and a convex polygon in the map plane. Its rays are the lines o(x, y) + t v. At a facet the
line is mirrored, o and v alike, which is an isometry: nothing is divided by a grazing cosine, and o is slid along v to the
neighbourhood of the stone, so that errors don't grow with the path. Polygons stay in the map plane all the way; their areas
there are the areas the eye sees, so the Jacobian of the refraction at entry is never needed.
"""

from __future__ import annotations

import math

import numpy as np

from ...jit import njit
from ...optics.fresnel import interface
from ...stone.finish import ABSORBS
from ..ledger import CHANNELS, GLARE, HEAD, LEAK, SCATTERED, SKY, tally_exit

STEADY = 1e-12
"""Below this squared sine of incidence the plane of incidence is left as it was: R_s and R_p agree there to 1e-12."""

FIRST_RATE, MEMORY, LEAST_RATE = 0.3, 0.1, 0.05
"""RATE of a beam that enters, share of a new hit in it, and what is added to it: the best of a few that were tried."""

# Columns of a beam. 0:3 o at (0, 0), 3:6 its change along x, 6:9 along y, 9:12 direction: see clip.split.
INTENSITY, Q, U, V = 12, 13, 14, 15  # Stokes row without body colour, share of the view ray
EX, EY, EZ = 16, 17, 18  # the axis it refers to
AREA, POWER = 19, 20  # mm^2; the most weight x area, mm^2, that is still inside
HITS, NODE, START, SIDES = 21, 22, 23, 24  # internal reflections so far; path; first corner and number of corners
SLID = 25  # path length from the entry to t = 0 where o was slid, mm
LIVE = 26  # 1 if the beam may go on, 0 if its path has ended
MOST, MOST_AT, MOST_TO = 27, 28, 29  # the largest weight that left at once so far, at which node, under which ledger entry
RATE, PROMISE = 30, 31  # recent mean share of the weight that leaves at a hit; see `promise`
WIDTH = 32

# Columns of an event in a tinted stone: weight before the hit, weight that leaves, its direction (0, 0, 0: scattered),
# internal reflections before, path length at (0, 0) and its change along x and y.
BEFORE, LEAVES, WAY, HITS_BEFORE, LENGTH = 0, 1, 2, 5, 6
EVENT = 9


@njit()
def _axis_across(sx, sy, sz, vx, vy, vz):  # type: ignore[no-untyped-def]
    """(sx, sy, sz) as a unit vector, or any unit vector across v where it vanishes (normal incidence)."""
    sin2 = sx * sx + sy * sy + sz * sz
    if sin2 < STEADY:
        if abs(vx) < 0.5:
            sx, sy, sz = 0.0, vz, -vy
        else:
            sx, sy, sz = -vz, 0.0, vx
        sin2 = sx * sx + sy * sy + sz * sz
    norm = 1.0 / math.sqrt(sin2)
    return sx * norm, sy * norm, sz * norm


@njit()
def booked(after, before):  # type: ignore[no-untyped-def]
    """The ledger entry by which a row grew when one exit was booked."""
    if after[SCATTERED] > before[SCATTERED]:
        return SCATTERED
    if after[HEAD] > before[HEAD]:
        return HEAD
    return LEAK if after[LEAK] > before[LEAK] else SKY


@njit()
def enter(beam, ledger, row, stone, dome, turn, polarized):  # type: ignore[no-untyped-def]
    """Fill a beam that enters through the plane in `row` of the stone's table: glare booked, direction refracted.

    The view looks along the dome's -z; map point (x, y) is the line turn^T (x, y, h), h falling.
    """
    beam[:] = 0.0
    ledger[:] = 0.0
    if stone.finish[row] == ABSORBS:
        ledger[SCATTERED] = 1.0
        beam[MOST], beam[MOST_TO] = 1.0, SCATTERED
        return
    nx, ny, nz, d = stone.planes[row, 0], stone.planes[row, 1], stone.planes[row, 2], stone.planes[row, 3]
    vx, vy, vz = -turn[2, 0], -turn[2, 1], -turn[2, 2]
    cos_i = min(-(nx * vx + ny * vy + nz * vz), 1.0)
    a, _, _, _, ta, tb, cos_t = interface(cos_i, 1.0 / stone.n)
    ledger[GLARE] = a
    tally_exit(ledger, a, vx + 2.0 * cos_i * nx, vy + 2.0 * cos_i * ny, vz + 2.0 * cos_i * nz, 0.0, turn, dome)
    beam[MOST], beam[MOST_TO] = a, booked(ledger, np.zeros(CHANNELS))
    # Height of the plane over (x, y): n.(turn^T (x, y, h)) = d, so h falls by (n.e_x)/cos_i along x.
    for part in range(3):
        ex, ey, ez, level = 0.0, 0.0, 0.0, d
        if part > 0:
            ex, ey, ez, level = turn[part - 1, 0], turn[part - 1, 1], turn[part - 1, 2], 0.0
        h = (level - (nx * ex + ny * ey + nz * ez)) / cos_i
        beam[3 * part], beam[3 * part + 1], beam[3 * part + 2] = ex - h * vx, ey - h * vy, ez - h * vz
    bend = cos_i / stone.n - cos_t
    beam[9], beam[10], beam[11] = vx / stone.n + bend * nx, vy / stone.n + bend * ny, vz / stone.n + bend * nz
    beam[INTENSITY], beam[Q] = ta, tb if polarized else 0.0
    beam[EX], beam[EY], beam[EZ] = _axis_across(vy * nz - vz * ny, vz * nx - vx * nz, vx * ny - vy * nx, vx, vy, vz)
    beam[LIVE], beam[RATE] = 1.0, FIRST_RATE


@njit()
def meet(beam, nx, ny, nz, d, n, polarized):  # type: ignore[no-untyped-def]
    """One internal hit: the beam is mirrored; returns the weight that is transmitted (0: none) and its direction."""
    vx, vy, vz = beam[9], beam[10], beam[11]
    cos_i = min(nx * vx + ny * vy + nz * vz, 1.0)
    a, b, c, e, ta, tb, cos_t = interface(cos_i, n)
    i, q, u, v = beam[INTENSITY], beam[Q], beam[U], beam[V]
    if polarized:
        # Turn the Stokes row from the axis (ex, ey, ez) to the axis s across this plane of incidence.
        sx, sy, sz = vy * nz - vz * ny, vz * nx - vx * nz, vx * ny - vy * nx
        ex, ey, ez = beam[EX], beam[EY], beam[EZ]
        sine2 = sx * sx + sy * sy + sz * sz
        if sine2 < STEADY:
            sx, sy, sz = ex, ey, ez
        else:
            norm = 1.0 / math.sqrt(sine2)
            sx, sy, sz = sx * norm, sy * norm, sz * norm
        cos = ex * sx + ey * sy + ez * sz
        sin = (ey * vz - ez * vy) * sx + (ez * vx - ex * vz) * sy + (ex * vy - ey * vx) * sz
        cos2, sin2 = cos * cos - sin * sin, 2.0 * cos * sin
        q, u = cos2 * q + sin2 * u, cos2 * u - sin2 * q
        beam[EX], beam[EY], beam[EZ] = sx, sy, sz
        beam[Q] = b * i + a * q
        beam[U] = c * u - e * v
        beam[V] = c * v + e * u
    beam[INTENSITY] = a * i + b * q
    for at in (0, 3, 6, 9):  # mirror o (a point), its two slopes and v (vectors)
        twice = 2.0 * (nx * beam[at] + ny * beam[at + 1] + nz * beam[at + 2] - (d if at == 0 else 0.0))
        beam[at] -= twice * nx
        beam[at + 1] -= twice * ny
        beam[at + 2] -= twice * nz
    bend = cos_t - n * cos_i
    return ta * i + tb * q, n * vx + bend * nx, n * vy + bend * ny, n * vz + bend * nz


@njit()
def promise(beam):  # type: ignore[no-untyped-def]
    """How much a beam is likely to release at its next hit, mm^2: in this order the beams are worked off.

    A guess, which decides the order of work and no number: light that has long been held by total reflection goes on being
    held, and costs as many pieces as light that leaves.
    """
    return beam[POWER] * (LEAST_RATE + beam[RATE])


@njit()
def path_length(event, beam, nx, ny, nz, d):  # type: ignore[no-untyped-def]
    """Write the affine path length from the entry to the plane that the beam meets into an event."""
    over = 1.0 / (nx * beam[9] + ny * beam[10] + nz * beam[11])
    event[LENGTH] = beam[SLID] + (d - (nx * beam[0] + ny * beam[1] + nz * beam[2])) * over
    event[LENGTH + 1] = -(nx * beam[3] + ny * beam[4] + nz * beam[5]) * over
    event[LENGTH + 2] = -(nx * beam[6] + ny * beam[7] + nz * beam[8]) * over


@njit()
def shortest(event, x, y, size):  # type: ignore[no-untyped-def]
    """The shortest path length over a polygon, mm: affine, so at a corner."""
    least = event[LENGTH] + x[0] * event[LENGTH + 1] + y[0] * event[LENGTH + 2]
    for k in range(1, size):
        least = min(least, event[LENGTH] + x[k] * event[LENGTH + 1] + y[k] * event[LENGTH + 2])
    return least
