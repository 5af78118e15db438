"""One ray from the eye to its end, step by step, for threads of a graphics processor.

The physics at a surface, the booking and the search are those of the other engines (`surface`, `ledger`, `facet_search`). Side
facets are looked at only where the place found on the others lies beyond the smallest radius of the core, see `rim`.
"""

from __future__ import annotations

import math

from numba import cuda

from ...stone.finish import ABSORBS
from ..facet_search import entry_row, nearest_row
from ..ledger import ABSORBED, SCATTERED, UNTRACED, tally_exit, tally_glare
from ..surface import cone_inside, cone_outside, enter, interact

MISSED, ENDED = -1, -2
"""In place of the row on which a ray stands."""


@cuda.jit(device=True)
def begin(stone, x, y, z, vx, vy, vz, cone, turn, dome, polarized, row):
    """First surface: book the glare in `row` (CHANNELS,).

    Parameters
    ----------
    stone : planes (count, 4) with the side facets last, codes of finish (count,), number of rows before the side facets, count,
        core2 (mm^2, see the module), index, absorption per mm.
    x ... vz : where the ray comes from and where it goes. cone : solid angle, sr, for which it stands; 0 for none.

    Returns
    -------
    on : the row on which the ray stands; MISSED, or ENDED where nothing goes on inside.
    ray : x, y, z, vx, vy, vz, i, q, u, v, ex, ey, ez, how it goes on; see `surface.interact`. cone : the same inside.
    """
    planes, finish, _, count, _, index, _ = stone
    on, t = entry_row(planes, count, x, y, z, vx, vy, vz)
    if on < 0:
        return MISSED, (x, y, z, vx, vy, vz, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0), cone
    if finish[on] == ABSORBS:
        row[SCATTERED] += 1.0
        return ENDED, (x, y, z, vx, vy, vz, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0), cone
    glare, rx, ry, rz, i, q, tx, ty, tz, ex, ey, ez, cos_i, cos_t = enter(
        vx, vy, vz, planes[on, 0], planes[on, 1], planes[on, 2], index, polarized
    )
    tally_glare(row, glare, rx, ry, rz, turn, dome, cone)
    ray = (x + t * vx, y + t * vy, z + t * vz, tx, ty, tz, i, q, 0.0, 0.0, ex, ey, ez)
    return on, ray, cone_inside(cone, cos_i, cos_t)


@cuda.jit(device=True)
def advance(stone, on, segments, ray, cone, turn, dome, rules, row):
    """One segment inside and the surface at its end, booked in `row`.

    Parameters
    ----------
    stone, on, ray, cone : see `begin`. segments : walked before. rules : polarized, min_weight, max_bounces.

    Returns
    -------
    on : where the ray stands then, or ENDED. ray : how it goes on.
    """
    planes, finish, sloping, count, core2, index, absorption = stone
    x, y, z, vx, vy, vz, i, q, u, v, ex, ey, ez = ray
    polarized, min_weight, max_bounces = rules
    num, den, found = nearest_row(planes, 0, sloping, on, x, y, z, vx, vy, vz, 1e300, 1.0, -1)
    t = num / den
    px, py = x + t * vx, y + t * vy
    if not px * px + py * py <= core2:
        num, den, found = nearest_row(planes, sloping, count, on, x, y, z, vx, vy, vz, num, den, found)
        t = num / den
    if found < 0:
        row[UNTRACED] += i
        return ENDED, ray
    if absorption > 0.0:
        left = math.exp(-absorption * t)
        row[ABSORBED] -= i * math.expm1(-absorption * t)
        i, q, u, v = i * left, q * left, u * left, v * left
    x, y, z = x + t * vx, y + t * vy, z + t * vz
    nx, ny, nz = planes[found, 0], planes[found, 1], planes[found, 2]
    leaves, tx, ty, tz, i, q, u, v, vx, vy, vz, ex, ey, ez = interact(
        vx, vy, vz, nx, ny, nz, index, i, q, u, v, ex, ey, ez, polarized
    )
    goes_on = (x, y, z, vx, vy, vz, i, q, u, v, ex, ey, ez)
    if finish[found] == ABSORBS:
        row[SCATTERED] += leaves + i
        return ENDED, goes_on
    if leaves > 0.0:
        outside = 0.0
        if cone > 0.0:
            outside = cone_outside(cone, den, tx * nx + ty * ny + tz * nz)
        tally_exit(row, leaves, tx, ty, tz, float(segments), turn, dome, outside)
    if i < min_weight or segments + 1 >= max_bounces:
        row[UNTRACED] += i
        found = ENDED
    return found, goes_on
