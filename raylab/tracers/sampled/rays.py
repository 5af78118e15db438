"""The sampled tracer: one internal path per view ray, compiled, in packets.

The search for the facet that a ray meets next is most of the work, so it runs over packets of LANES rays with the lanes
in the inner loop, where the compiler turns it into vector instructions. Distances are compared by cross-multiplication,
without a division per facet. A lane whose path has ended takes the next ray at once. Every block of rays is worked off by
one thread in a fixed order and no two blocks share a number, so results don't depend on the number of threads.

A ray may stand for a cone of view rays, such as those of its part of a pixel under a perspective view. A mirror leaves the
cone's solid angle w as it is; refraction keeps the etendue n^2 w cos(angle to the normal), so outside, after the first
facet and the last, w has changed by the four cosines only. Images of the sky are averaged over it, as if the cone were
round; the radiance of zones and lamps is read in the ray's own direction.

A ray is remembered by the facet it stands on and never meets that facet next; no distance is ever nudged. Where a ray runs
into an edge or a corner, the facet with the lowest row wins, once.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numba
import numpy as np

from ...jit import njit, parallel_kernel
from ...lighting.dome import DomeTable
from ...optics.media import Medium
from ...stone.finish import ABSORBS
from ...stopping import pause
from ..ledger import ABSORBED, CHANNELS, GLARE, SCATTERED, UNTRACED, tally_exit
from ..stone_table import StoneTable
from ..surface import cone_inside, cone_outside, enter, interact

LANES = 64
"""Rays of a packet: so many that the search waits for no earlier lane, so few that their state stays in the fastest cache."""
BLOCK = 2048
"""Rays per block: enough to keep the lanes full, small enough to share out over threads."""
SLICE = 1 << 24
"""Rays times (planes of the stone + 100) that are worked off between two pauses: a tenth or two of a second on two cores."""

# Rows of the packet's state p, each LANES numbers long, in one flat array (_PACKET,) so that the compiler sees they don't
# overlap.
_X, _Y, _Z, _VX, _VY, _VZ = (row * LANES for row in range(6))  # where the ray stands and where it goes
_LAST, _ROW = (row * LANES for row in range(6, 8))  # rows of the stone's table: where the ray stands, which it meets next
_NUM, _DEN = (row * LANES for row in range(8, 10))  # distance to the next facet, as signed distance over n.v
_NX, _NY, _NZ = (row * LANES for row in range(10, 13))  # that facet's normal
_I, _Q, _U, _V, _EX, _EY, _EZ = (row * LANES for row in range(13, 20))  # Stokes row and the axis it refers to
_WEIGHT, _TX, _TY, _TZ = (row * LANES for row in range(20, 24))  # what leaves here, and in which direction
_OUT_NUM, _OUT_DEN = _WEIGHT, _TX  # entering rays need two more numbers, and nothing leaves yet
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


class Rays(NamedTuple):
    """View rays in the stone's frame.

    Attributes
    ----------
    origins : (R, 3) mm, outside the stone. directions : (R, 3) unit vectors.
    cones : (R,) solid angle, sr, of the view rays that each ray stands for; (0,) for none.
    """

    origins: np.ndarray
    directions: np.ndarray
    cones: np.ndarray


@njit()
def _next_facet(planes, sloping, p):
    """For each lane the nearest of the first `sloping` planes (R, 4) ahead: distance NUM/DEN, ROW (-1 for none)."""
    for k in range(LANES):
        p[_NUM + k] = 1e300
        p[_DEN + k] = 1.0
        p[_ROW + k] = -1.0
    for row in range(sloping):
        nx, ny, nz, d = planes[row, 0], planes[row, 1], planes[row, 2], planes[row, 3]
        number = float(row)
        for k in range(LANES):
            n_dot_v = nx * p[_VX + k] + ny * p[_VY + k] + nz * p[_VZ + k]
            signed_distance = max(d - (nx * p[_X + k] + ny * p[_Y + k] + nz * p[_Z + k]), 0.0)
            # A facet that faces away, n.v <= 0, is never nearer: the left side is not negative.
            nearer = (signed_distance * p[_DEN + k] < p[_NUM + k] * n_dot_v) & (p[_LAST + k] != number)
            p[_NUM + k] = signed_distance if nearer else p[_NUM + k]
            p[_DEN + k] = n_dot_v if nearer else p[_DEN + k]
            p[_ROW + k] = number if nearer else p[_ROW + k]


@njit()
def _first_facet(planes, p):
    """For each lane the facet where a ray from outside enters: distance NUM/DEN, ROW; DEN = 0 for a miss.

    `planes` (R, 4).
    """
    for k in range(LANES):
        p[_NUM + k] = 1e300  # entering: the largest distance with n.v < 0
        p[_DEN + k] = -1e-300
        p[_ROW + k] = -1.0
        p[_OUT_NUM + k] = 1e300  # leaving: the smallest distance with n.v > 0
        p[_OUT_DEN + k] = 1e-300
    for row in range(planes.shape[0]):
        nx, ny, nz, d = planes[row, 0], planes[row, 1], planes[row, 2], planes[row, 3]
        number = float(row)
        for k in range(LANES):
            n_dot_v = nx * p[_VX + k] + ny * p[_VY + k] + nz * p[_VZ + k]
            signed_distance = d - (nx * p[_X + k] + ny * p[_Y + k] + nz * p[_Z + k])
            later = (n_dot_v < 0.0) & (signed_distance * p[_DEN + k] > p[_NUM + k] * n_dot_v)
            p[_NUM + k] = signed_distance if later else p[_NUM + k]
            p[_DEN + k] = n_dot_v if later else p[_DEN + k]
            p[_ROW + k] = number if later else p[_ROW + k]
            sooner = (n_dot_v > 0.0) & (signed_distance * p[_OUT_DEN + k] < p[_OUT_NUM + k] * n_dot_v)
            p[_OUT_NUM + k] = signed_distance if sooner else p[_OUT_NUM + k]
            p[_OUT_DEN + k] = n_dot_v if sooner else p[_OUT_DEN + k]
            beside = (n_dot_v == 0.0) & (signed_distance < 0.0)
            p[_OUT_NUM + k] = -1e300 if beside else p[_OUT_NUM + k]
    for k in range(LANES):
        entry, leave = p[_NUM + k] / p[_DEN + k], p[_OUT_NUM + k] / p[_OUT_DEN + k]
        enters = (p[_ROW + k] >= 0.0) & (entry >= 0.0) & (entry < leave)
        p[_DEN + k] = p[_DEN + k] if enters else 0.0


@njit()
def _side_facet(planes, sloping, p, k):
    """Let lane k's side facets compete with the nearest facet found so far."""
    for row in range(sloping, planes.shape[0]):
        nx, ny, nz, d = planes[row, 0], planes[row, 1], planes[row, 2], planes[row, 3]
        n_dot_v = nx * p[_VX + k] + ny * p[_VY + k] + nz * p[_VZ + k]
        if n_dot_v > 0.0 and p[_LAST + k] != row:
            signed_distance = max(d - (nx * p[_X + k] + ny * p[_Y + k] + nz * p[_Z + k]), 0.0)
            if signed_distance * p[_DEN + k] < p[_NUM + k] * n_dot_v:
                p[_NUM + k] = signed_distance
                p[_DEN + k] = n_dot_v
                p[_ROW + k] = row


@njit()
def _enter(ledger, k, p, stone, dome, turn, polarized, cone):
    """First surface: book the glare in `ledger` (CHANNELS,), send the rest of lane k inside.

    Returns False where nothing enters.
    """
    row = int(p[_ROW + k])
    if stone.finish[row] == ABSORBS:
        ledger[SCATTERED] += 1.0
        return False
    nx, ny, nz = stone.planes[row, 0], stone.planes[row, 1], stone.planes[row, 2]
    vx, vy, vz = p[_VX + k], p[_VY + k], p[_VZ + k]
    t = p[_NUM + k] / p[_DEN + k]
    glare, rx, ry, rz, i, q, tx, ty, tz, ex, ey, ez, cos_i, cos_t = enter(vx, vy, vz, nx, ny, nz, stone.medium.n, polarized)
    ledger[GLARE] = glare
    tally_exit(ledger, glare, rx, ry, rz, 0.0, turn, dome, cone)
    p[_X + k] += t * vx
    p[_Y + k] += t * vy
    p[_Z + k] += t * vz
    p[_VX + k], p[_VY + k], p[_VZ + k] = tx, ty, tz
    p[_I + k], p[_Q + k], p[_U + k], p[_V + k] = i, q, 0.0, 0.0
    p[_EX + k], p[_EY + k], p[_EZ + k] = ex, ey, ez
    p[_CONE + k] = cone_inside(cone, cos_i, cos_t)
    p[_LAST + k], p[_REFLECTIONS + k] = row, 0.0
    return True


@njit()
def _meet(p, index, polarized):
    """One internal hit of every lane: WEIGHT leaves along T, the rest is reflected. No branches: vector code."""
    for k in range(LANES):
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
def _load(p, k, rays, r):
    """Put ray r on lane k."""
    p[_X + k], p[_Y + k], p[_Z + k] = rays.origins[r, 0], rays.origins[r, 1], rays.origins[r, 2]
    p[_VX + k], p[_VY + k], p[_VZ + k] = rays.directions[r, 0], rays.directions[r, 1], rays.directions[r, 2]


@njit()
def _take_rays(waiting, last, first, entries, rays, p, stone, dome, turn, polarized, out, hit):
    """Give every free lane the next ray that enters the stone; returns the number of the next waiting ray.

    Parameters
    ----------
    waiting, last : the rays still to be begun. first : the block's first ray.
    entries : (rays of the block, 3) NUM, DEN and ROW of each ray's entry. out, hit : see `trace_rays`.
    """
    for k in range(LANES):
        while p[_RAY + k] < 0.0 and waiting < last:
            r = waiting
            waiting += 1
            out[r, :] = 0.0
            hit[r] = entries[r - first, 1] != 0.0
            if hit[r]:
                _load(p, k, rays, r)
                p[_NUM + k], p[_DEN + k], p[_ROW + k] = entries[r - first, 0], entries[r - first, 1], entries[r - first, 2]
                if _enter(out[r], k, p, stone, dome, turn, polarized, rays.cones[r] if rays.cones.size else 0.0):
                    p[_RAY + k] = r
    return waiting


@njit()
def _absorb(p, coefficient, out):
    """Body colour on the way to the next facet, for every busy lane, booked in out (R, CHANNELS)."""
    for k in range(LANES):
        if p[_RAY + k] >= 0.0:
            depth = coefficient * p[_NUM + k] / p[_DEN + k]
            left = math.exp(-depth)
            out[int(p[_RAY + k]), ABSORBED] -= p[_I + k] * math.expm1(-depth)
            p[_I + k] *= left
            p[_Q + k] *= left
            p[_U + k] *= left
            p[_V + k] *= left


@njit()
def _find_next(p, stone, out):
    """Set every lane's next facet; a lane that finds none books its weight as untraced and is free."""
    _next_facet(stone.planes, stone.sloping, p)
    for k in range(LANES):
        if p[_RAY + k] < 0.0:
            continue
        t = p[_NUM + k] / p[_DEN + k]
        x, y = p[_X + k] + t * p[_VX + k], p[_Y + k] + t * p[_VY + k]
        if not x * x + y * y <= stone.core_radius2:
            _side_facet(stone.planes, stone.sloping, p, k)
        row = int(p[_ROW + k])
        if row < 0:
            out[int(p[_RAY + k]), UNTRACED] += p[_I + k]
            p[_RAY + k] = -1.0
        else:
            p[_LAST + k] = row
            p[_NX + k], p[_NY + k], p[_NZ + k] = stone.planes[row, 0], stone.planes[row, 1], stone.planes[row, 2]


@njit()
def _trace_block(first, last, rays, stone, dome, turn, rules, out, hit):
    """Trace rays first..last-1 into their rows of `out`; returns the number of path segments walked."""
    p = np.zeros(_PACKET)
    polarized, min_weight, max_bounces = rules
    absorbing = (stone.finish == ABSORBS).any()
    entries = np.empty((last - first, 3))
    for start in range(first, last, LANES):
        for k in range(LANES):
            _load(p, k, rays, min(start + k, last - 1))
        _first_facet(stone.planes, p)
        for k in range(min(LANES, last - start)):
            entries[start + k - first, 0] = p[_NUM + k]
            entries[start + k - first, 1] = p[_DEN + k]
            entries[start + k - first, 2] = p[_ROW + k]
    p[_RAY : _RAY + LANES] = -1.0
    segments = 0
    waiting = first
    while True:
        waiting = _take_rays(waiting, last, first, entries, rays, p, stone, dome, turn, polarized, out, hit)
        _find_next(p, stone, out)
        if stone.medium.absorption_per_mm > 0.0:
            _absorb(p, stone.medium.absorption_per_mm, out)
        _meet(p, stone.medium.n, polarized)
        busy = 0
        for k in range(LANES):
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


@parallel_kernel
def _trace_all(rays, stone, dome, turn, rules, out, hit, segments):
    """Trace all rays, block by block, into out (R, CHANNELS) and hit (R,); `segments` (blocks,) is filled too."""
    count = rays.origins.shape[0]
    # numba takes no tuple within a tuple into a parallel loop: the table is taken apart here and put together inside.
    planes, sloping, core_radius2, facet, finish = stone.planes, stone.sloping, stone.core_radius2, stone.facet, stone.finish
    index, absorption = stone.medium.n, stone.medium.absorption_per_mm
    for block in numba.prange(segments.shape[0]):
        table = StoneTable(planes, sloping, core_radius2, facet, finish, Medium(index, absorption))
        first = block * BLOCK
        segments[block] = _trace_block(first, min(first + BLOCK, count), rays, table, dome, turn, rules, out, hit)


def trace_rays(
    origins: np.ndarray,
    directions: np.ndarray,
    stone: StoneTable,
    dome: DomeTable,
    turn: np.ndarray,
    *,
    cones: np.ndarray | None = None,
    rules: PathRules = PathRules(),  # noqa: B008 (immutable)
) -> tuple[np.ndarray, np.ndarray, int]:
    """Trace view rays backwards from the eye.

    Parameters
    ----------
    origins, directions, cones : see `Rays`; no cones by default.
    turn : (3, 3) rotation from the stone's frame to the dome's.
    rules : how paths are followed.

    Returns
    -------
    out : (R, CHANNELS) one ledger row per ray; zeros where the stone is missed.
    hit : (R,) bool.
    segments : number of internal path segments walked.
    """
    none = np.empty(0) if cones is None else cones
    rays = Rays(*(np.ascontiguousarray(array, dtype=float) for array in (origins, directions, none)))
    out = np.empty((len(rays.origins), CHANNELS))
    hit = np.empty(len(rays.origins), dtype=np.bool_)
    row = BLOCK * numba.get_num_threads()  # whole rows of blocks, so that no thread waits for the others
    segments, at_a_time = 0, row * max(1, SLICE // (row * (len(stone.planes) + 100)))
    exact = PathRules(bool(rules.polarized), float(rules.min_weight), int(rules.max_bounces))  # one compiled kernel for all
    for first in range(0, len(out), at_a_time):
        pause()
        part = slice(first, first + at_a_time)
        some = Rays(rays.origins[part], rays.directions[part], rays.cones[part])
        walked = np.zeros(-(-len(some.origins) // BLOCK), np.int64)
        _trace_all(some, stone, dome, turn, exact, out[part], hit[part], walked)
        segments += int(walked.sum())
    return out, hit, segments
