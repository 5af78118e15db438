"""One ray from the eye to its end, step by step, for threads of a graphics processor.

The physics at a surface, the booking and the search are those of the other engines (`surface`, `ledger`, `facet_search`).
"""

from __future__ import annotations

import math

from numba import config, cuda

from ...stone.finish import ABSORBS
from ..facet_search import with_sides
from ..ledger import ABSORBED, SCATTERED, UNTRACED, tally_exit
from ..surface import cone_inside, cone_outside, enter, interact
from ..totals import LUMINANCE_SQUARE, SWING_SQUARE, UNMET, UNTRACED_SQUARE
from ..wedges import row_ahead

MISSED, ENDED = -1, -2
"""In place of the row on which a ray stands."""
SIMULATED = bool(config.ENABLE_CUDASIM)  # type: ignore[attr-defined]
"""Under numba-cuda's simulator threads don't run in step."""


@cuda.jit(device=True)
def meet():
    """Here those threads wait for each other that run in step: else what comes after a search is done once for each moment at
    which some of them have found something."""
    if SIMULATED:
        cuda.syncthreads()
    else:
        cuda.syncwarp()


@cuda.jit(device=True)
def ahead(stone, reach, on, ray):
    """The row that a ray inside meets, -1 for none, and how far it is, mm.

    A ray from outside that is known to meet the stone enters where it leaves when followed the other way, from a place behind.

    Parameters
    ----------
    stone : planes (R, 4) with the side facets last, codes of finish (R,), number of rows; its `Wedges`: spans, rows, reach; of
        its `Rim` core2, far2, height, starts and rows; index, absorption per mm.
    reach : mm, see `wedges.row_ahead`. on : the row on which the ray stands, below 0 for none. ray : see `begin`.
    """
    planes, _, _, spans, nearby, _, core2, far2, height, starts, listed, _, _ = stone
    x, y, z, vx, vy, vz, _, _, _, _, _, _, _ = ray
    stands_on = float(on)
    num, den, best = row_ahead(planes, spans, nearby, reach, stands_on, x, y, z, vx, vy, vz)
    return with_sides(planes, core2, far2, height, starts, listed, stands_on, x, y, z, vx, vy, vz, num, den, best)


@cuda.jit(device=True)
def begin(stone, on, x, y, z, vx, vy, vz, cone, polarized, row):
    """First surface; what it scatters is booked in `row` (MOMENTS,).

    Parameters
    ----------
    stone : see `ahead`. on : the row where the ray enters, below 0 for none.
    x ... vz : where that is, mm, and where the ray goes. cone : solid angle, sr, for which it stands; 0 for none.

    Returns
    -------
    on : the row on which the ray stands; MISSED, or ENDED where nothing goes on inside.
    ray : x, y, z, vx, vy, vz, i, q, u, v, ex, ey, ez, how it goes on; see `surface.interact`.
    off : what is reflected, to be booked by `book`: power, direction, solid angle. cone : the one inside.
    """
    planes, finish, _, _, _, _, _, _, _, _, _, index, _ = stone
    if on < 0 or finish[on] == ABSORBS:
        if on >= 0:
            row[SCATTERED] += 1.0
        nothing = (x, y, z, vx, vy, vz, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
        return MISSED if on < 0 else ENDED, nothing, (0.0, 0.0, 0.0, 0.0, 0.0), cone
    glare, rx, ry, rz, i, q, tx, ty, tz, ex, ey, ez, cos_i, cos_t = enter(
        vx, vy, vz, planes[on, 0], planes[on, 1], planes[on, 2], index, polarized
    )
    ray = (x, y, z, tx, ty, tz, i, q, 0.0, 0.0, ex, ey, ez)
    return on, ray, (glare, rx, ry, rz, cone), cone_inside(cone, cos_i, cos_t)


@cuda.jit(device=True)
def advance(stone, found, t, segments, ray, stands, lot, cone, rules, row):
    """One segment inside and the surface at its end; all but what leaves there is booked in `row` (MOMENTS,).

    Parameters
    ----------
    stone, found, t : see `ahead`. ray, cone : see `begin`. segments : walked before.
    stands : for how many rays like it this one stands. lot : a number in [0, 1) that decides whether a faint path goes on;
        where it does, what is left of it is such a number again, and independent of that.
    rules : polarized, min_weight, max_bounces, chance, seed; see `packets.PathRules`.

    Returns
    -------
    on : where the ray stands then, or ENDED. ray, stands, lot : how it goes on.
    off : what leaves, to be booked by `book` for as many rays as this one stood for: power, direction, solid angle.
    """
    planes, finish, _, _, _, _, _, _, _, _, _, index, absorption = stone
    x, y, z, vx, vy, vz, i, q, u, v, ex, ey, ez = ray
    polarized, min_weight, max_bounces, chance, _ = rules
    came, off = i, (0.0, 0.0, 0.0, 0.0, 0.0)
    if found >= 0:
        if absorption > 0.0:
            left = math.exp(-absorption * t)
            row[ABSORBED] -= stands * i * math.expm1(-absorption * t)
            i, q, u, v = i * left, q * left, u * left, v * left
            came = i
        x, y, z = x + t * vx, y + t * vy, z + t * vz
        nx, ny, nz = planes[found, 0], planes[found, 1], planes[found, 2]
        cos_i = nx * vx + ny * vy + nz * vz
        leaves, tx, ty, tz, i, q, u, v, vx, vy, vz, ex, ey, ez = interact(
            vx, vy, vz, nx, ny, nz, index, i, q, u, v, ex, ey, ez, polarized
        )
        if not leaves + i <= 2.0 * came:  # no number any more: what came is lost, and told
            found = -1
    if found < 0:
        lost, on = came, ENDED
    elif finish[found] == ABSORBS:
        row[SCATTERED] += stands * (leaves + i)
        lost, on = 0.0, ENDED
    else:
        outside = 0.0
        if cone > 0.0 and leaves > 0.0:
            outside = cone_outside(cone, cos_i, tx * nx + ty * ny + tz * nz)
        off = (leaves, tx, ty, tz, outside)
        lost, on = 0.0, found
        if i < min_weight or segments + 1 >= max_bounces:
            lost, on = i, ENDED
        elif stands * i < chance:
            share = stands * i / chance
            if lot < share:
                stands, lot = chance / i, lot / share
            else:
                on = ENDED
    if lost > 0.0:
        row[UNTRACED] += stands * lost
        row[UNMET] += stands * lost
        row[UNTRACED_SQUARE] += stands * lost * lost
    return on, (x, y, z, vx, vy, vz, i, q, u, v, ex, ey, ez), stands, lot, off


@cuda.jit(device=True)
def book(off, stands, bounces, so_far, turn, dome, row):
    """Book what leaves a stone in `row` (MOMENTS,).

    Squares of the sums over a path are booked term by term, each with the lots drawn before it, see `packets.walk`.

    Parameters
    ----------
    off : see `begin` and `advance`. stands : for how many rays like it the ray stood there.
    bounces : see `ledger.tally_exit`.
    so_far : the ray's luminance and swing, see `ledger.tally_exit`; returned with what this adds.
    """
    weight, x, y, z, cone = off
    light, shaken = so_far
    _, luminance, swing = tally_exit(row, stands * weight, x, y, z, bounces, turn, dome, cone)
    luminance, swing = luminance * weight, swing * weight
    row[LUMINANCE_SQUARE] += stands * luminance * (2.0 * light + luminance)
    if swing > 0.0:
        row[SWING_SQUARE] += stands * swing * (2.0 * shaken + swing)
    return light + luminance, shaken + swing
