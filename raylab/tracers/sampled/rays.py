"""The sampled tracer: one internal path per view ray.

Every block of rays is worked off by one thread in a fixed order and no two blocks share a number, so results don't depend on
the number of threads.

A ray may stand for a cone of view rays, such as those of its part of a pixel under a perspective view. A mirror leaves the
cone's solid angle w as it is; refraction keeps the etendue n^2 w cos(angle to the normal), so outside, after the first
facet and the last, w has changed by the four cosines only. Images of the sky are averaged over it, as if the cone were
round; the radiance of zones and lamps is read in the ray's own direction.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numba
import numpy as np

from ...jit import njit, parallel_kernel
from ...lighting.dome import DomeTable
from ...optics.media import Medium
from ...stone.finish import ABSORBS, DIFFUSES, ROUGH
from ...stopping import pause
from ..crossings import InclusionTable
from ..ledger import CHANNELS, tally_glare
from ..packets import AXIS, CONE, DIRECTION, KEY, LANES, ON_ROW, PLACE, REFLECTIONS, START, STOKES, PathRules, walk
from ..rim import Rim
from ..scattering import FIRST_SURFACE, WIDTH, meet_outside, microfacet, scatters, settle, shadowed
from ..stone_table import StoneTable
from ..surface import cone_inside, enter

BLOCK = 2048
"""Rays per block: enough to keep the lanes full, small enough to share out over threads."""
SLICE = 1 << 24
"""Rays times (planes of the stone + 100) that are worked off between two pauses: a tenth or two of a second on two cores."""

ROUNDING = 1e-14
"""More than rounding can move the cosine between two unit vectors."""

# Rows of the packet e that looks for the first facet, each LANES numbers long, in one flat array (_PACKET,) so that the
# compiler sees they don't overlap.
_X, _Y, _Z, _VX, _VY, _VZ = (row * LANES for row in range(6))  # where the ray stands and where it goes
_NUM, _DEN, _ROW = (row * LANES for row in range(6, 9))  # distance to the facet where it enters, as NUM/DEN, and that facet
_OUT_NUM, _OUT_DEN = (row * LANES for row in range(9, 11))  # to where it would leave
_PACKET = 11 * LANES


class Rays(NamedTuple):
    """View rays in the stone's frame.

    Attributes
    ----------
    origins : (R, 3) mm, outside the stone. directions : (R, 3) unit vectors.
    cones : (R,) solid angle, sr, of the view rays that each ray stands for; (0,) for none.
    keys : (R,) what the random numbers of each ray's scattering are keyed by; (0,) where nothing scatters.
    """

    origins: np.ndarray
    directions: np.ndarray
    cones: np.ndarray
    keys: np.ndarray


@njit(in_place=True)
def _spread(e):
    """The direction (x, y, z) of the first lane, and within how much of it the others' are; 0 where all are the same."""
    far2 = 0.0
    for k in range(1, LANES):
        x, y, z = e[_VX + k] - e[_VX], e[_VY + k] - e[_VY], e[_VZ + k] - e[_VZ]
        far2 = max(far2, x * x + y * y + z * z)
    return e[_VX], e[_VY], e[_VZ], math.sqrt(far2) + ROUNDING if far2 > 0.0 else 0.0


@njit(in_place=True)
def _first_facet(planes, e):
    """For each lane the facet where a ray from outside enters: distance NUM/DEN, ROW; DEN = 0 for a miss.

    `planes` (R, 4). Where all lanes run alike against a plane, along it or beside it, nothing else is asked of them.
    """
    for k in range(LANES):
        e[_NUM + k] = 1e300  # entering: the largest distance with n.v < 0
        e[_DEN + k] = -1e-300
        e[_ROW + k] = -1.0
        e[_OUT_NUM + k] = 1e300  # leaving: the smallest distance with n.v > 0
        e[_OUT_DEN + k] = 1e-300
    vx, vy, vz, spread = _spread(e)
    for row in range(planes.shape[0]):
        plane = planes[row, 0], planes[row, 1], planes[row, 2], planes[row, 3]
        n_dot_v = plane[0] * vx + plane[1] * vy + plane[2] * vz
        if n_dot_v <= spread:
            if n_dot_v >= -spread:
                _pass_by(plane, e)
            if n_dot_v < 0.0 or spread > 0.0:
                _come_in(plane, float(row), e)
        if n_dot_v >= -spread and (n_dot_v > 0.0 or spread > 0.0):
            _go_out(plane, e)
    for k in range(LANES):
        entry, leave = e[_NUM + k] / e[_DEN + k], e[_OUT_NUM + k] / e[_OUT_DEN + k]
        enters = (e[_ROW + k] >= 0.0) & (entry >= 0.0) & (entry < leave)
        e[_DEN + k] = e[_DEN + k] if enters else 0.0


@njit(in_place=True, inline="always")
def _against(plane, e, k):
    """How lane k runs against a plane: slope n.v (above 0 outwards), and the distance from its point out to the plane."""
    nx, ny, nz, d = plane
    n_dot_v = nx * e[_VX + k] + ny * e[_VY + k] + nz * e[_VZ + k]
    return n_dot_v, d - (nx * e[_X + k] + ny * e[_Y + k] + nz * e[_Z + k])


@njit(in_place=True)
def _come_in(plane, number, e):
    """Let each lane that runs against a plane enter there, if that is later than so far; `number` is the plane's row."""
    for k in range(LANES):
        n_dot_v, signed_distance = _against(plane, e, k)
        later = (n_dot_v < 0.0) & (signed_distance * e[_DEN + k] > e[_NUM + k] * n_dot_v)
        e[_NUM + k] = signed_distance if later else e[_NUM + k]
        e[_DEN + k] = n_dot_v if later else e[_DEN + k]
        e[_ROW + k] = number if later else e[_ROW + k]


@njit(in_place=True)
def _go_out(plane, e):
    """Let each lane that runs along a plane's normal leave there, if that is sooner than so far."""
    for k in range(LANES):
        n_dot_v, signed_distance = _against(plane, e, k)
        sooner = (n_dot_v > 0.0) & (signed_distance * e[_OUT_DEN + k] < e[_OUT_NUM + k] * n_dot_v)
        e[_OUT_NUM + k] = signed_distance if sooner else e[_OUT_NUM + k]
        e[_OUT_DEN + k] = n_dot_v if sooner else e[_OUT_DEN + k]


@njit(in_place=True)
def _pass_by(plane, e):
    """Let each lane that runs beside a plane, on its outer side, miss the stone."""
    for k in range(LANES):
        n_dot_v, signed_distance = _against(plane, e, k)
        beside = (n_dot_v == 0.0) & (signed_distance < 0.0)
        e[_OUT_NUM + k] = -1e300 if beside else e[_OUT_NUM + k]


@njit(in_place=True)
def _enter(ledger, start, e, k, stone, dome, turn, rules, cone, key):
    """First surface: book the glare of lane k in `ledger` (CHANNELS,), write what goes on inside to `start` (START,)."""
    row = int(e[_ROW + k])
    finish = stone.finish[row]
    if finish in (ABSORBS, DIFFUSES):
        meet_outside(ledger, row, stone, dome, turn, rules.seed, key)
        return
    nx, ny, nz = stone.planes[row, 0], stone.planes[row, 1], stone.planes[row, 2]
    vx, vy, vz = e[_VX + k], e[_VY + k], e[_VZ + k]
    t = e[_NUM + k] / e[_DEN + k]
    glare, rx, ry, rz, i, q, tx, ty, tz, ex, ey, ez, cos_i, cos_t = enter(
        vx, vy, vz, nx, ny, nz, stone.medium.n, rules.polarized
    )
    if finish == ROUGH:
        seed, a = rules.seed, stone.amount[row]
        mx, my, mz = microfacet(vx, vy, vz, nx, ny, nz, a, seed, key, FIRST_SURFACE)
        glare, rx, ry, rz, i, q, tx, ty, tz, ex, ey, ez, cos_i, cos_t = enter(
            vx, vy, vz, mx, my, mz, stone.medium.n, rules.polarized
        )
        out, within = rx * nx + ry * ny + rz * nz, -(tx * nx + ty * ny + tz * nz)
        reflects, passes = shadowed(ledger, glare, i, out, within, a, 1.0)
        glare, i, q, cone = glare * reflects, i * passes, q * passes, 0.0
    tally_glare(ledger, glare, rx, ry, rz, turn, dome, cone)
    start[PLACE], start[PLACE + 1], start[PLACE + 2] = e[_X + k] + t * vx, e[_Y + k] + t * vy, e[_Z + k] + t * vz
    start[DIRECTION], start[DIRECTION + 1], start[DIRECTION + 2] = tx, ty, tz
    start[STOKES], start[STOKES + 1], start[STOKES + 2], start[STOKES + 3] = i, q, 0.0, 0.0
    start[AXIS], start[AXIS + 1], start[AXIS + 2] = ex, ey, ez
    start[ON_ROW], start[REFLECTIONS], start[CONE], start[KEY] = row, 0.0, cone_inside(cone, cos_i, cos_t), key


@njit()
def _trace_block(first, last, rays, stone, dome, turn, rules, out, hit):
    """Trace rays first..last-1 into their rows of `out`; returns the number of path segments walked."""
    e, starts = np.zeros(_PACKET), np.zeros((last - first, START))
    keys, keyed = rays.keys, rays.keys.size > 0
    for begin in range(first, last, LANES):
        for k in range(LANES):
            r = min(begin + k, last - 1)
            e[_X + k], e[_Y + k], e[_Z + k] = rays.origins[r, 0], rays.origins[r, 1], rays.origins[r, 2]
            e[_VX + k], e[_VY + k], e[_VZ + k] = rays.directions[r, 0], rays.directions[r, 1], rays.directions[r, 2]
        _first_facet(stone.planes, e)
        for k in range(min(LANES, last - begin)):
            r = begin + k
            out[r, :] = 0.0
            hit[r] = e[_DEN + k] != 0.0
            if hit[r]:
                cone = rays.cones[r] if rays.cones.size else 0.0
                key = keys[r] if keyed else 0
                _enter(out[r], starts[r - first], e, k, stone, dome, turn, rules, cone, key)
    return walk(first, last, starts, stone, dome, turn, rules, out)


@parallel_kernel
def _trace_all(rays, stone, dome, turn, rules, out, hit, segments):
    """Trace all rays, block by block, into out (R, CHANNELS) and hit (R,); `segments` (blocks,) is filled too."""
    count = rays.origins.shape[0]
    # numba takes no tuple within a tuple into a parallel loop: the table is taken apart here and put together inside.
    planes, sloping, facet, finish, amount = stone.planes, stone.sloping, stone.facet, stone.finish, stone.amount
    core2, far2, height, listed, rows = stone.rim
    index, absorption = stone.medium.n, stone.medium.absorption_per_mm
    quadrics, flats, spheres, share, first_planes, faces = stone.inclusions
    for block in numba.prange(segments.shape[0]):
        rim = Rim(core2, far2, height, listed, rows)
        inside = InclusionTable(quadrics, flats, spheres, share, first_planes, faces)
        table = StoneTable(planes, sloping, rim, facet, finish, amount, Medium(index, absorption), inside)
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
    keys: np.ndarray | None = None,
    rules: PathRules = PathRules(),  # noqa: B008 (immutable)
) -> tuple[np.ndarray, np.ndarray, int]:
    """Trace view rays backwards from the eye.

    Parameters
    ----------
    origins, directions, cones, keys : see `Rays`; no cones by default, and rays are keyed by their numbers.
    turn : (3, 3) rotation from the stone's frame to the dome's.
    rules : how paths are followed.

    Returns
    -------
    out : (R, CHANNELS) one ledger row per ray; zeros where the stone is missed. Of a stone that scatters (R, WIDTH), see
        `scattering`.
    hit : (R,) bool.
    segments : number of internal path segments walked.
    """
    none = np.empty(0) if cones is None else cones
    scattering = scatters(stone)
    keyed = (np.arange(len(origins)) if keys is None else np.asarray(keys, np.int64)) if scattering else np.empty(0, np.int64)
    places, ways, solid = (np.ascontiguousarray(array, dtype=float) for array in (origins, directions, none))
    rays = Rays(places, ways, solid, keyed)
    out = np.empty((len(rays.origins), WIDTH if scattering else CHANNELS))
    hit = np.empty(len(rays.origins), dtype=np.bool_)
    row = BLOCK * numba.get_num_threads()  # whole rows of blocks, so that no thread waits for the others
    segments, at_a_time = 0, row * max(1, SLICE // (row * (len(stone.planes) + 100)))
    limits = bool(rules.polarized), float(rules.min_weight), int(rules.max_bounces)  # one compiled kernel for all
    exact = PathRules(*limits, seed=int(rules.seed))
    for first in range(0, len(out), at_a_time):
        pause()
        part = slice(first, first + at_a_time)
        some = Rays(rays.origins[part], rays.directions[part], rays.cones[part], rays.keys[part])
        walked = np.zeros(-(-len(some.origins) // BLOCK), np.int64)
        _trace_all(some, stone, dome, turn, exact, out[part], hit[part], walked)
        segments += int(walked.sum())
    if scattering:
        settle(out)
    return out, hit, segments
