"""One ray from the eye to its end, step by step, for threads of a graphics processor.

The physics at a surface and the booking are those of the other engines (`surface`, `ledger`). The search looks at the sloping
facets first, and at the side facets only where the place found lies beyond the core: within that radius every place is inside
all side facets. As everywhere a ray is remembered by the facet on which it stands, and distances are compared by
cross-multiplication.
"""

from __future__ import annotations

import math

from numba import cuda

from ...stone.finish import ABSORBS
from ..ledger import ABSORBED, SCATTERED, UNTRACED, tally_exit, tally_glare
from ..surface import cone_inside, cone_outside, enter, interact

MISSED, ENDED = -1, -2
"""In place of the row on which a ray stands."""


@cuda.jit(device=True)
def first_facet(planes, count, x, y, z, vx, vy, vz):
    """Where a ray from outside enters the body of `count` planes: the distance and the row; MISSED where it doesn't."""
    num, den, row, out_num, out_den = 1e300, -1e-300, MISSED, 1e300, 1e-300
    for k in range(count):
        n_dot_v = planes[k, 0] * vx + planes[k, 1] * vy + planes[k, 2] * vz
        distance = planes[k, 3] - (planes[k, 0] * x + planes[k, 1] * y + planes[k, 2] * z)
        if n_dot_v < 0.0:
            if distance * den > num * n_dot_v:
                num, den, row = distance, n_dot_v, k
        elif n_dot_v > 0.0:
            if distance * out_den < out_num * n_dot_v:
                out_num, out_den = distance, n_dot_v
        elif distance < 0.0:
            out_num = -1e300
    entry, leave = num / den, out_num / out_den
    return entry, row if 0.0 <= entry < leave else MISSED


@cuda.jit(device=True)
def next_facet(planes, first, last, on, x, y, z, vx, vy, vz, num, den, row):
    """The nearest facet ahead among rows first..last-1 and what was found so far (distance num/den, row)."""
    for k in range(first, last):
        n_dot_v = planes[k, 0] * vx + planes[k, 1] * vy + planes[k, 2] * vz
        distance = max(planes[k, 3] - (planes[k, 0] * x + planes[k, 1] * y + planes[k, 2] * z), 0.0)
        if distance * den < num * n_dot_v and k != on:
            num, den, row = distance, n_dot_v, k
    return num, den, row


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
    t, on = first_facet(planes, count, x, y, z, vx, vy, vz)
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
    num, den, found = next_facet(planes, 0, sloping, on, x, y, z, vx, vy, vz, 1e300, 1.0, -1)
    t = num / den
    px, py = x + t * vx, y + t * vy
    if not px * px + py * py <= core2:
        num, den, found = next_facet(planes, sloping, count, on, x, y, z, vx, vy, vz, num, den, found)
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
