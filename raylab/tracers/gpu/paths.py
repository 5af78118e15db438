"""One ray from the eye to its end, for threads of a graphics processor.

The physics at a surface and the booking are those of the other engines (`surface`, `ledger`). The search looks at the sloping
facets first, and at the side facets only where the place found lies beyond the core (see `rim`): within that radius and height
every place is inside all side facets.
"""

from __future__ import annotations

import math

from numba import cuda

from ...stone.finish import ABSORBS
from ..ledger import ABSORBED, SCATTERED, UNTRACED, tally_exit, tally_glare
from ..surface import cone_inside, cone_outside, enter, interact


@cuda.jit(device=True)
def first_facet(planes, count, x, y, z, vx, vy, vz):
    """Where a ray from outside enters the body of `count` planes: the distance and the row; the row is -1 for a miss."""
    far, near, row = math.inf, -math.inf, -1
    for k in range(count):
        n_dot_v = planes[k, 0] * vx + planes[k, 1] * vy + planes[k, 2] * vz
        distance = planes[k, 3] - (planes[k, 0] * x + planes[k, 1] * y + planes[k, 2] * z)
        if n_dot_v < 0.0:
            if distance / n_dot_v > near:
                near, row = distance / n_dot_v, k
        elif n_dot_v > 0.0:
            far = min(far, distance / n_dot_v)
        elif distance < 0.0:
            far = -math.inf
    if not (0.0 <= near < far):
        row = -1
    return near, row


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
def follow(planes, finish, sloping, count, core2, index, absorption, x, y, z, vx, vy, vz, cone, turn, dome, rules, row):
    """Follow a ray to its end and book it in `row` (CHANNELS,), which is zero before.

    Parameters
    ----------
    planes : (count, 4) side facets last, from row `sloping` on. finish : (count,) codes. core2 : mm^2, see the module.
    cone : solid angle, sr, for which the ray stands; 0 for none.

    Returns
    -------
    Whether the ray meets the stone, and how many segments it has inside.
    """
    polarized, min_weight, max_bounces = rules
    t, on = first_facet(planes, count, x, y, z, vx, vy, vz)
    if on < 0:
        return False, 0
    if finish[on] == ABSORBS:
        row[SCATTERED] += 1.0
        return True, 0
    x, y, z = x + t * vx, y + t * vy, z + t * vz
    glare, rx, ry, rz, i, q, vx, vy, vz, ex, ey, ez, cos_i, cos_t = enter(
        vx, vy, vz, planes[on, 0], planes[on, 1], planes[on, 2], index, polarized
    )
    tally_glare(row, glare, rx, ry, rz, turn, dome, cone)
    cone = cone_inside(cone, cos_i, cos_t)
    u, v, segments = 0.0, 0.0, 0
    while True:
        num, den, found = next_facet(planes, 0, sloping, on, x, y, z, vx, vy, vz, 1e300, 1.0, -1)
        t = num / den
        px, py = x + t * vx, y + t * vy
        if not px * px + py * py <= core2:
            num, den, found = next_facet(planes, sloping, count, on, x, y, z, vx, vy, vz, num, den, found)
        if found < 0:
            row[UNTRACED] += i
            return True, segments
        on, t, segments = found, num / den, segments + 1
        if absorption > 0.0:
            left = math.exp(-absorption * t)
            row[ABSORBED] -= i * math.expm1(-absorption * t)
            i, q, u, v = i * left, q * left, u * left, v * left
        x, y, z = x + t * vx, y + t * vy, z + t * vz
        nx, ny, nz = planes[on, 0], planes[on, 1], planes[on, 2]
        leaves, tx, ty, tz, i, q, u, v, vx, vy, vz, ex, ey, ez = interact(
            vx, vy, vz, nx, ny, nz, index, i, q, u, v, ex, ey, ez, polarized
        )
        if finish[on] == ABSORBS:
            row[SCATTERED] += leaves + i
            return True, segments
        if leaves > 0.0:
            outside = 0.0
            if cone > 0.0:
                outside = cone_outside(cone, den, tx * nx + ty * ny + tz * nz)
            tally_exit(row, leaves, tx, ty, tz, float(segments - 1), turn, dome, outside)
        if i < min_weight or segments >= max_bounces:
            row[UNTRACED] += i
            return True, segments
