"""One beam: what its numbers mean, how it enters and what a facet does to it.

A beam is one row of WIDTH numbers and a convex polygon in the map plane. Its rays are the lines o(x, y) + t v. At a facet the
line is mirrored, o and v alike, which is an isometry: nothing is divided by a grazing cosine, and o is slid along v to the
neighbourhood of the stone, so that errors don't grow with the path. Polygons stay in the map plane all the way; their areas
there are the areas the eye sees, so the Jacobian of the refraction at entry is never needed.
"""

from __future__ import annotations

from ...jit import njit
from ...stone.finish import ABSORBS
from ..ledger import GLARE, SCATTERED, tally_exit
from ..surface import enter, interact

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
def enter_beam(beam, ledger, row, stone, dome, turn, polarized):  # type: ignore[no-untyped-def]
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
    glare, rx, ry, rz, i, q, tx, ty, tz, ax, ay, az, cos_i, _ = enter(vx, vy, vz, nx, ny, nz, stone.medium.n, polarized)
    ledger[GLARE] = glare
    beam[MOST], beam[MOST_TO] = glare, tally_exit(ledger, glare, rx, ry, rz, 0.0, turn, dome)
    # Height of the plane over (x, y): n.(turn^T (x, y, h)) = d, so h falls by (n.e_x)/cos_i along x.
    for part in range(3):
        ex, ey, ez, level = 0.0, 0.0, 0.0, d
        if part > 0:
            ex, ey, ez, level = turn[part - 1, 0], turn[part - 1, 1], turn[part - 1, 2], 0.0
        h = (level - (nx * ex + ny * ey + nz * ez)) / cos_i
        beam[3 * part], beam[3 * part + 1], beam[3 * part + 2] = ex - h * vx, ey - h * vy, ez - h * vz
    beam[9], beam[10], beam[11] = tx, ty, tz
    beam[INTENSITY], beam[Q] = i, q
    beam[EX], beam[EY], beam[EZ] = ax, ay, az
    beam[LIVE], beam[RATE] = 1.0, FIRST_RATE


@njit()
def reflect_beam(beam, nx, ny, nz, d, index, polarized):  # type: ignore[no-untyped-def]
    """One internal hit: the beam is mirrored; returns the weight that is transmitted (0: none) and its direction."""
    weight, tx, ty, tz, i, q, u, v, _, _, _, ex, ey, ez = interact(
        beam[9], beam[10], beam[11], nx, ny, nz, index,
        beam[INTENSITY], beam[Q], beam[U], beam[V], beam[EX], beam[EY], beam[EZ], polarized,
    )  # fmt: skip
    beam[INTENSITY], beam[Q], beam[U], beam[V] = i, q, u, v
    beam[EX], beam[EY], beam[EZ] = ex, ey, ez
    for at in (0, 3, 6, 9):  # mirror o (a point), its two slopes and v (vectors)
        twice = 2.0 * (nx * beam[at] + ny * beam[at + 1] + nz * beam[at + 2] - (d if at == 0 else 0.0))
        beam[at] -= twice * nx
        beam[at + 1] -= twice * ny
        beam[at + 2] -= twice * nz
    return weight, tx, ty, tz


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
