"""One beam: what its numbers mean, how it enters and what a facet does to it.

A beam is one row of WIDTH numbers and a convex polygon in the map plane. Its rays are the lines o(x, y) + t v. At a facet the
line is mirrored, o and v alike, which is an isometry: nothing is divided by a grazing cosine, and o is slid along v to the
neighbourhood of the stone, so that errors don't grow with the path. Polygons stay in the map plane all the way; their areas
there are the areas the eye sees, so the Jacobian of the refraction at entry is never needed.
"""

from __future__ import annotations

from ...jit import njit
from ...stone.finish import ABSORBS
from ..ledger import SCATTERED, tally_glare
from ..surface import enter, interact

FIRST_RELEASE, MEMORY, LEAST_RELEASE = 0.3, 0.1, 0.05
"""RELEASE of a beam that enters, share of a new reflection in it, and what is added to it: the best of a few tried."""

# Columns of a beam. 0:3 o at (0, 0), 3:6 its change along x, 6:9 along y, 9:12 direction v: see `clipping.split`.
INTENSITY, Q, U, V = 12, 13, 14, 15  # Stokes row without body colour, share of the view ray
EX, EY, EZ = 16, 17, 18  # the axis that Q and U refer to
AREA, POWER = 19, 20  # mm^2; the most weight x area, mm^2, that is still inside
REFLECTIONS, NODE = 21, 22  # internal reflections so far; the path's last node
START, SIDES = 23, 24  # first corner and number of corners of the polygon
SLIDE = 25  # path length from the entry to t = 0 where o was slid, mm
ALIVE = 26  # 1 if the beam may go on, 0 if its path has ended
STRONGEST, STRONGEST_NODE, STRONGEST_ENTRY = 27, 28, 29  # the largest weight that left at once: how much, where, ledger entry
RELEASE, PRIORITY = 30, 31  # recent mean share of the weight that leaves at a reflection; see `priority`
WIDTH = 32

# Columns of an event in a tinted stone, what happened at one node: weight before, weight that leaves, its direction (0, 0, 0:
# scattered), internal reflections before, path length at (0, 0) and its change along x and y.
BEFORE, LEAVES, DIRECTION, REFLECTIONS_BEFORE, LENGTH = 0, 1, 2, 5, 6
EVENT = 9


@njit(in_place=True)
def enter_beam(beam, ledger, row, stone, dome, turn, polarized):
    """Fill a beam that enters through the plane in `row` of the stone's table: glare booked, direction refracted.

    The view looks along the dome's -z; map point (x, y) is the line turn^T (x, y, h), h falling.

    Parameters
    ----------
    beam : (WIDTH,). ledger : (ON_POLYGONS,). stone : a `StoneTable`. dome : a `DomeTable`. turn : (3, 3), see `tally_exit`.
    """
    beam[:] = 0.0
    ledger[:] = 0.0
    if stone.finish[row] == ABSORBS:
        ledger[SCATTERED] = 1.0
        beam[STRONGEST], beam[STRONGEST_ENTRY] = 1.0, SCATTERED
        return
    nx, ny, nz, d = stone.planes[row, 0], stone.planes[row, 1], stone.planes[row, 2], stone.planes[row, 3]
    vx, vy, vz = -turn[2, 0], -turn[2, 1], -turn[2, 2]
    glare, rx, ry, rz, i, q, tx, ty, tz, ax, ay, az, cos_i, _ = enter(vx, vy, vz, nx, ny, nz, stone.medium.n, polarized)
    entry, _, _ = tally_glare(ledger, glare, rx, ry, rz, turn, dome, 0.0)
    beam[STRONGEST], beam[STRONGEST_ENTRY] = glare, entry
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
    beam[ALIVE], beam[RELEASE] = 1.0, FIRST_RELEASE


@njit(in_place=True)
def enter_beams(beams, ledgers, areas, rows, stone, dome, turn, polarized):
    """Fill beams (B, WIDTH) and ledgers (B, ON_POLYGONS): each of an area, mm^2, and through the plane in one of `rows`."""
    for k in range(rows.size):
        enter_beam(beams[k], ledgers[k], rows[k], stone, dome, turn, polarized)
        beams[k, AREA], beams[k, POWER] = areas[k], areas[k] * beams[k, INTENSITY]
        beams[k, PRIORITY] = priority(beams[k])


@njit(in_place=True)
def reflect_beam(beam, nx, ny, nz, d, index, polarized):
    """One internal reflection of a beam (WIDTH,) at the plane n.x = d.

    Returns the weight that is transmitted (0: none) and its direction.
    """
    weight, tx, ty, tz, i, q, u, v, _, _, _, ex, ey, ez = interact(
        beam[9], beam[10], beam[11], nx, ny, nz, index,
        beam[INTENSITY], beam[Q], beam[U], beam[V], beam[EX], beam[EY], beam[EZ], polarized,
    )  # fmt: skip
    beam[INTENSITY], beam[Q], beam[U], beam[V] = i, q, u, v
    beam[EX], beam[EY], beam[EZ] = ex, ey, ez
    for part in (0, 3, 6, 9):  # mirror o (a point), its two slopes and v (vectors)
        twice = 2.0 * (nx * beam[part] + ny * beam[part + 1] + nz * beam[part + 2] - (d if part == 0 else 0.0))
        beam[part] -= twice * nx
        beam[part + 1] -= twice * ny
        beam[part + 2] -= twice * nz
    return weight, tx, ty, tz


@njit(in_place=True)
def priority(beam):
    """How much a beam is likely to release at its next reflection, mm^2: in this order the beams are worked off.

    A guess, which decides the order of work and no number: light that has long been held by total reflection goes on being
    held, and costs as many pieces as light that leaves.
    """
    return beam[POWER] * (LEAST_RELEASE + beam[RELEASE])


@njit(in_place=True)
def path_length(event, beam, nx, ny, nz, d):
    """Write the affine path length from the entry to the plane n.x = d that the beam meets into an event (EVENT,)."""
    reciprocal = 1.0 / (nx * beam[9] + ny * beam[10] + nz * beam[11])
    event[LENGTH] = beam[SLIDE] + (d - (nx * beam[0] + ny * beam[1] + nz * beam[2])) * reciprocal
    event[LENGTH + 1] = -(nx * beam[3] + ny * beam[4] + nz * beam[5]) * reciprocal
    event[LENGTH + 2] = -(nx * beam[6] + ny * beam[7] + nz * beam[8]) * reciprocal


@njit(in_place=True)
def shortest(event, x, y, size):
    """The shortest path length over a polygon, mm: affine, so at a corner."""
    least = event[LENGTH] + x[0] * event[LENGTH + 1] + y[0] * event[LENGTH + 2]
    for k in range(1, size):
        least = min(least, event[LENGTH] + x[k] * event[LENGTH + 1] + y[k] * event[LENGTH + 2])
    return least
