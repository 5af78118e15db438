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

import numba
import numpy as np

from ...jit import njit, parallel_kernel
from ...lighting.dome import DomeTable
from ...optics.media import Medium
from ...stone.finish import ABSORBS
from ..ledger import ABSORBED, CHANNELS, GLARE, SCATTERED, UNTRACED, tally_exit
from ..stone_table import StoneTable
from ..surface import cone_inside, cone_outside, enter, interact

LANES = 64
"""Rays of a packet: so many that the search waits for no earlier lane, so few that their state stays in the fastest cache."""
BLOCK = 2048
"""Rays per block: enough to keep the lanes full, small enough to share out over threads."""

# Rows of the packet's state, each LANES numbers long, in one flat array so that the compiler sees they don't overlap.
_X, _Y, _Z, _VX, _VY, _VZ = (row * LANES for row in range(6))  # where the ray stands and where it goes
_LAST, _FACET, _NUM, _DEN = (row * LANES for row in range(6, 10))  # rows of facets; distance to the next one
_NX, _NY, _NZ = (row * LANES for row in range(10, 13))  # that facet's normal
_I, _Q, _U, _V, _EX, _EY, _EZ = (row * LANES for row in range(13, 20))  # Stokes row and the axis it refers to
_WEIGHT, _OX, _OY, _OZ = (row * LANES for row in range(20, 24))  # what leaves here, and whereto
_OUT_NUM, _OUT_DEN = _WEIGHT, _OX  # entering rays need two more numbers, and nothing leaves yet
_RAY, _HITS = (row * LANES for row in range(24, 26))  # ray number, -1 for a free lane; internal reflections so far
_CONE = 26 * LANES  # solid angle inside, times n^2 (sr)
_PACKET = 27 * LANES


@njit()
def _next_facet(planes, mains, p):  # type: ignore[no-untyped-def]
    """For each lane the nearest of the first `mains` planes ahead: distance NUM/DEN, row FACET (-1 for none)."""
    for k in range(LANES):
        p[_NUM + k] = 1e300
        p[_DEN + k] = 1.0
        p[_FACET + k] = -1.0
    for f in range(mains):
        nx, ny, nz, d = planes[f, 0], planes[f, 1], planes[f, 2], planes[f, 3]
        row = float(f)
        for k in range(LANES):
            towards = nx * p[_VX + k] + ny * p[_VY + k] + nz * p[_VZ + k]
            gap = max(d - (nx * p[_X + k] + ny * p[_Y + k] + nz * p[_Z + k]), 0.0)
            # A facet that faces away, towards <= 0, is never nearer: the left side is not negative.
            nearer = (gap * p[_DEN + k] < p[_NUM + k] * towards) & (p[_LAST + k] != row)
            p[_NUM + k] = gap if nearer else p[_NUM + k]
            p[_DEN + k] = towards if nearer else p[_DEN + k]
            p[_FACET + k] = row if nearer else p[_FACET + k]


@njit()
def _first_facet(planes, p):  # type: ignore[no-untyped-def]
    """For each lane the facet where a ray from outside enters: distance NUM/DEN, row FACET; DEN = 0 for a miss."""
    for k in range(LANES):
        p[_NUM + k] = 1e300  # entering: the largest gap/towards with towards < 0
        p[_DEN + k] = -1e-300
        p[_FACET + k] = -1.0
        p[_OUT_NUM + k] = 1e300  # leaving: the smallest gap/towards with towards > 0
        p[_OUT_DEN + k] = 1e-300
    for f in range(planes.shape[0]):
        nx, ny, nz, d = planes[f, 0], planes[f, 1], planes[f, 2], planes[f, 3]
        row = float(f)
        for k in range(LANES):
            towards = nx * p[_VX + k] + ny * p[_VY + k] + nz * p[_VZ + k]
            gap = d - (nx * p[_X + k] + ny * p[_Y + k] + nz * p[_Z + k])
            later = (towards < 0.0) & (gap * p[_DEN + k] > p[_NUM + k] * towards)
            p[_NUM + k] = gap if later else p[_NUM + k]
            p[_DEN + k] = towards if later else p[_DEN + k]
            p[_FACET + k] = row if later else p[_FACET + k]
            sooner = (towards > 0.0) & (gap * p[_OUT_DEN + k] < p[_OUT_NUM + k] * towards)
            p[_OUT_NUM + k] = gap if sooner else p[_OUT_NUM + k]
            p[_OUT_DEN + k] = towards if sooner else p[_OUT_DEN + k]
            beside = (towards == 0.0) & (gap < 0.0)
            p[_OUT_NUM + k] = -1e300 if beside else p[_OUT_NUM + k]
    for k in range(LANES):
        entry, leave = p[_NUM + k] / p[_DEN + k], p[_OUT_NUM + k] / p[_OUT_DEN + k]
        enters = (p[_FACET + k] >= 0.0) & (entry >= 0.0) & (entry < leave)
        p[_DEN + k] = p[_DEN + k] if enters else 0.0


@njit()
def _side_facet(planes, mains, p, k):  # type: ignore[no-untyped-def]
    """Let lane k's side facets compete with the nearest facet found so far."""
    for f in range(mains, planes.shape[0]):
        towards = planes[f, 0] * p[_VX + k] + planes[f, 1] * p[_VY + k] + planes[f, 2] * p[_VZ + k]
        if towards > 0.0 and p[_LAST + k] != f:
            gap = max(planes[f, 3] - (planes[f, 0] * p[_X + k] + planes[f, 1] * p[_Y + k] + planes[f, 2] * p[_Z + k]), 0.0)
            if gap * p[_DEN + k] < p[_NUM + k] * towards:
                p[_NUM + k] = gap
                p[_DEN + k] = towards
                p[_FACET + k] = f


@njit()
def _enter(row, k, p, stone, dome, turn, polarized, cone):  # type: ignore[no-untyped-def]
    """First surface: book the glare, send the rest of lane k inside. Returns False where nothing enters."""
    f = int(p[_FACET + k])
    if stone.finish[f] == ABSORBS:
        row[SCATTERED] += 1.0
        return False
    nx, ny, nz = stone.planes[f, 0], stone.planes[f, 1], stone.planes[f, 2]
    vx, vy, vz = p[_VX + k], p[_VY + k], p[_VZ + k]
    t = p[_NUM + k] / p[_DEN + k]
    glare, rx, ry, rz, i, q, tx, ty, tz, ex, ey, ez, cos_i, cos_t = enter(vx, vy, vz, nx, ny, nz, stone.medium.n, polarized)
    row[GLARE] = glare
    tally_exit(row, glare, rx, ry, rz, 0.0, turn, dome, cone)
    p[_X + k] += t * vx
    p[_Y + k] += t * vy
    p[_Z + k] += t * vz
    p[_VX + k], p[_VY + k], p[_VZ + k] = tx, ty, tz
    p[_I + k], p[_Q + k], p[_U + k], p[_V + k] = i, q, 0.0, 0.0
    p[_EX + k], p[_EY + k], p[_EZ + k] = ex, ey, ez
    p[_CONE + k] = cone_inside(cone, cos_i, cos_t)
    p[_LAST + k], p[_HITS + k] = f, 0.0
    return True


@njit()
def _meet(p, index, polarized):  # type: ignore[no-untyped-def]
    """One internal hit of every lane: WEIGHT leaves along O, the rest is reflected. No branches: vector code."""
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
        p[_WEIGHT + k], p[_OX + k], p[_OY + k], p[_OZ + k] = weight, tx, ty, tz
        p[_I + k], p[_Q + k], p[_U + k], p[_V + k] = i, q, u, v
        p[_VX + k], p[_VY + k], p[_VZ + k] = rx, ry, rz
        p[_EX + k], p[_EY + k], p[_EZ + k] = ex, ey, ez


@njit()
def _take_rays(waiting, last, first, entry, origins, directions, cones, p, stone, dome, turn, polarized, out, hit):  # type: ignore[no-untyped-def]
    """Give every free lane the next ray that enters the stone; returns the number of the next waiting ray."""
    for k in range(LANES):
        while p[_RAY + k] < 0.0 and waiting < last:
            r = waiting
            waiting += 1
            out[r, :] = 0.0
            hit[r] = entry[r - first, 1] != 0.0
            if hit[r]:
                p[_X + k], p[_Y + k], p[_Z + k] = origins[r, 0], origins[r, 1], origins[r, 2]
                p[_VX + k], p[_VY + k], p[_VZ + k] = directions[r, 0], directions[r, 1], directions[r, 2]
                p[_NUM + k], p[_DEN + k], p[_FACET + k] = entry[r - first, 0], entry[r - first, 1], entry[r - first, 2]
                if _enter(out[r], k, p, stone, dome, turn, polarized, cones[r] if cones.size else 0.0):
                    p[_RAY + k] = r
    return waiting


@njit()
def _absorb(p, coefficient, out):  # type: ignore[no-untyped-def]
    """Body colour on the way to the next facet, for every busy lane."""
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
def _find_next(p, stone, out):  # type: ignore[no-untyped-def]
    """Set every lane's next facet; a lane that finds none, or an absorbing one, books its weight and is free."""
    _next_facet(stone.planes, stone.mains, p)
    for k in range(LANES):
        if p[_RAY + k] < 0.0:
            continue
        t = p[_NUM + k] / p[_DEN + k]
        x, y = p[_X + k] + t * p[_VX + k], p[_Y + k] + t * p[_VY + k]
        if not x * x + y * y <= stone.core2:
            _side_facet(stone.planes, stone.mains, p, k)
        f = int(p[_FACET + k])
        if f < 0:
            out[int(p[_RAY + k]), UNTRACED] += p[_I + k]
            p[_RAY + k] = -1.0
        else:
            p[_LAST + k] = f
            p[_NX + k], p[_NY + k], p[_NZ + k] = stone.planes[f, 0], stone.planes[f, 1], stone.planes[f, 2]


@njit()
def _trace_block(first, last, origins, directions, cones, stone, dome, turn, polarized, min_weight, max_bounces, out, hit):  # type: ignore[no-untyped-def]
    """Trace rays first..last-1 into their rows of `out`; returns the number of path segments walked."""
    p = np.zeros(_PACKET)
    absorbing = (stone.finish == ABSORBS).any()
    entry = np.empty((last - first, 3))
    for start in range(first, last, LANES):
        for k in range(LANES):
            r = min(start + k, last - 1)
            p[_X + k], p[_Y + k], p[_Z + k] = origins[r, 0], origins[r, 1], origins[r, 2]
            p[_VX + k], p[_VY + k], p[_VZ + k] = directions[r, 0], directions[r, 1], directions[r, 2]
        _first_facet(stone.planes, p)
        for k in range(min(LANES, last - start)):
            entry[start + k - first, 0] = p[_NUM + k]
            entry[start + k - first, 1] = p[_DEN + k]
            entry[start + k - first, 2] = p[_FACET + k]
    p[_RAY : _RAY + LANES] = -1.0
    segments = 0
    waiting = first
    while True:
        waiting = _take_rays(waiting, last, first, entry, origins, directions, cones, p, stone, dome, turn, polarized, out, hit)
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
            if absorbing and stone.finish[int(p[_FACET + k])] == ABSORBS:
                out[r, SCATTERED] += p[_WEIGHT + k] + p[_I + k]
                p[_RAY + k] = -1.0
                continue
            if p[_WEIGHT + k] > 0.0:
                x, y, z = p[_OX + k], p[_OY + k], p[_OZ + k]
                cone = 0.0
                if p[_CONE + k] > 0.0:
                    cone = cone_outside(p[_CONE + k], p[_DEN + k], x * p[_NX + k] + y * p[_NY + k] + z * p[_NZ + k])
                tally_exit(out[r], p[_WEIGHT + k], x, y, z, p[_HITS + k], turn, dome, cone)
            p[_HITS + k] += 1.0
            if p[_I + k] < min_weight or p[_HITS + k] >= max_bounces:
                out[r, UNTRACED] += p[_I + k]
                p[_RAY + k] = -1.0
        segments += busy
        if busy == 0 and waiting >= last:
            return segments


@parallel_kernel
def _trace_all(origins, directions, cones, stone, dome, turn, polarized, min_weight, max_bounces, out, hit, segments):  # type: ignore[no-untyped-def]
    rays = origins.shape[0]
    # numba takes no tuple within a tuple into a parallel loop: the table is taken apart here and put together inside.
    planes, mains, core2, facet, finish = stone.planes, stone.mains, stone.core2, stone.facet, stone.finish
    index, absorption = stone.medium.n, stone.medium.absorption_per_mm
    for block in numba.prange(segments.shape[0]):
        table = StoneTable(planes, mains, core2, facet, finish, Medium(index, absorption))
        first = block * BLOCK
        segments[block] = _trace_block(
            first,
            min(first + BLOCK, rays),
            origins,
            directions,
            cones,
            table,
            dome,
            turn,
            polarized,
            min_weight,
            max_bounces,
            out,
            hit,
        )


def trace_rays(
    origins: np.ndarray,
    directions: np.ndarray,
    stone: StoneTable,
    dome: DomeTable,
    turn: np.ndarray,
    *,
    cones: np.ndarray | None = None,
    polarized: bool = True,
    min_weight: float = 1e-4,
    max_bounces: int = 200,
) -> tuple[np.ndarray, np.ndarray, int]:
    """Trace view rays backwards from the eye.

    Parameters
    ----------
    origins : (R, 3) mm, outside the stone; stone's frame.
    directions : (R, 3) unit vectors, stone's frame.
    turn : (3, 3) rotation from the stone's frame to the dome's.
    cones : (R,) solid angle, sr, of the view rays that each ray stands for; none by default.
    min_weight, max_bounces : a path ends when less weight is left or after so many internal reflections; the rest is
        booked as untraced.

    Returns
    -------
    out : (R, CHANNELS) one ledger row per ray; zeros where the stone is missed.
    hit : (R,) bool.
    segments : number of internal path segments walked.
    """
    origins, directions = np.ascontiguousarray(origins, dtype=float), np.ascontiguousarray(directions, dtype=float)
    out = np.empty((len(origins), CHANNELS))
    hit = np.empty(len(origins), dtype=np.bool_)
    segments = np.zeros(-(-len(origins) // BLOCK), dtype=np.int64)
    around = np.empty(0) if cones is None else np.ascontiguousarray(cones, dtype=float)
    _trace_all(origins, directions, around, stone, dome, turn, polarized, min_weight, max_bounces, out, hit, segments)
    return out, hit, int(segments.sum())
