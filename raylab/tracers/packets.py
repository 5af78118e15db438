"""Rays inside a stone, followed to their ends in packets: compiled, with the lanes of a packet in the inner loops.

The search for the facet that a ray meets next is most of the work, so it runs over packets of LANES rays, where the compiler
turns it into vector instructions. Distances are compared by cross-multiplication, without a division per facet. A lane whose
path has ended takes the next ray at once.

A ray is remembered by the facet it stands on and never meets that facet next; no distance is ever nudged. Where a ray runs
into an edge or a corner, the facet with the lowest row wins, once.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from ..jit import njit
from ..stone.finish import ABSORBS, DIFFUSES, REFRACTS, ROUGH
from .crossings import apart2, crosses
from .facet_search import nearer_one
from .keyed import keyed_uniform
from .ledger import ABSORBED, INCLUDED, LUMINANCE, SCATTERED, UNTRACED, tally_exit
from .rim import SECTORS, around
from .scattering import cosine_about, microfacet, remember, shadowed
from .surface import axis_across, cone_outside, interact
from .totals import LUMINANCE_SQUARE

LANES = 64
"""Rays of a packet: so many that the search waits for no earlier lane, so few that their state stays in the fastest cache."""

VECTOR = 8
"""Lanes that one instruction takes at once, at most: at the end of the rays so few run on."""

# A start has these columns: where a ray stands, where it goes, its Stokes row, the axis that this refers to, the row of the
# stone's table on which it stands, internal reflections so far, the solid angle inside, times n^2 (sr), and what random numbers
# of scattering are keyed by.
PLACE, DIRECTION, STOKES, AXIS, ON_ROW, REFLECTIONS, CONE, KEY = 0, 3, 6, 10, 13, 14, 15, 16
START = 17

# Rows of the packet's state p, each LANES numbers long, in one flat array (_PACKET,) so that the compiler sees they don't
# overlap.
_X, _Y, _Z, _VX, _VY, _VZ = (row * LANES for row in range(6))  # where the ray stands and where it goes
_LAST, _ROW = (row * LANES for row in range(6, 8))  # rows of the stone's table: where the ray stands, which it meets next
_NUM, _DEN = (row * LANES for row in range(8, 10))  # distance to the next facet, as signed distance over n.v
_NX, _NY, _NZ = (row * LANES for row in range(10, 13))  # that facet's normal
_I, _Q, _U, _V, _EX, _EY, _EZ = (row * LANES for row in range(13, 20))  # Stokes row and the axis it refers to
_WEIGHT, _TX, _TY, _TZ = (row * LANES for row in range(20, 24))  # what leaves here, and in which direction
_RAY, _REFLECTIONS = (row * LANES for row in range(24, 26))  # ray number, -1 for a free lane; internal reflections so far
_CONE = 26 * LANES  # solid angle inside, times n^2 (sr)
_STANDS, _LIGHT = (row * LANES for row in range(27, 29))  # for how many rays like it this one stands; its luminance so far
_KEY = 29 * LANES  # what random numbers of scattering are keyed by
_PACKET = 30 * LANES


class PathRules(NamedTuple):
    """How a path is followed.

    Attributes
    ----------
    polarized : False averages s and p at every surface.
    min_weight, max_bounces : a path ends when less weight is left or after so many internal reflections; the rest is booked as
        untraced.
    chance : a path with less weight than this is ended by lot, its weight over `chance` being its chance to go on. One that
        goes on then stands for as many as to have the weight `chance`. So the means of rows have no bias, and few segments are
        spent on light that hardly counts. 0: no lots are drawn.
    seed, first_key : the lots of ray r are keyed by the seed and the number first_key + r; random directions of scattering by
        the seed and the ray's own key.
    """

    polarized: bool = True
    min_weight: float = 1e-4
    max_bounces: int = 200
    chance: float = 0.0
    seed: int = 0
    first_key: int = 0


@njit(in_place=True)
def _next_facet(planes, sloping, p, lanes):
    """For each lane the nearest of the first `sloping` planes (R, 4) ahead: distance NUM/DEN, ROW (-1 for none)."""
    for k in range(lanes):
        p[_NUM + k] = 1e300
        p[_DEN + k] = 1.0
        p[_ROW + k] = -1.0
    for row in range(0, sloping, 2):  # two at a time: half as much is read and written
        other = min(row + 1, sloping - 1)  # the last one of an odd number is looked at twice, which changes nothing
        ax, ay, az, a = planes[row, 0], planes[row, 1], planes[row, 2], planes[row, 3]
        bx, by, bz, b = planes[other, 0], planes[other, 1], planes[other, 2], planes[other, 3]
        one, next_one = float(row), float(other)
        for k in range(lanes):
            x, y, z, vx, vy, vz, last = p[_X + k], p[_Y + k], p[_Z + k], p[_VX + k], p[_VY + k], p[_VZ + k], p[_LAST + k]
            num, den, found = p[_NUM + k], p[_DEN + k], p[_ROW + k]
            num, den, found = nearer_one(ax, ay, az, a, one, x, y, z, vx, vy, vz, last, num, den, found)
            num, den, found = nearer_one(bx, by, bz, b, next_one, x, y, z, vx, vy, vz, last, num, den, found)
            p[_NUM + k], p[_DEN + k], p[_ROW + k] = num, den, found


@njit(in_place=True)
def _places_ahead(p, lanes):
    """Where every lane would leave past the facet found so far. No branches: vector code.

    WEIGHT and T are free until the facet is met: T becomes x, y and z there, WEIGHT how far around the axis that is.
    """
    for k in range(lanes):
        t = p[_NUM + k] / p[_DEN + k]
        x, y = p[_X + k] + t * p[_VX + k], p[_Y + k] + t * p[_VY + k]
        p[_TX + k], p[_TY + k], p[_TZ + k] = x, y, p[_Z + k] + t * p[_VZ + k]
        p[_WEIGHT + k] = around(x, y)


@njit(in_place=True)
def _side_facet(planes, rim, sector, p, k):
    """Let lane k's side facets compete with the nearest facet found so far, where it would leave at T; see `rim`."""
    _, far2, height, starts, rows = rim
    x, y, z = p[_TX + k], p[_TY + k], p[_TZ + k]
    listed = sector if x * x + y * y <= far2[sector] and abs(z) <= height else SECTORS
    for place in range(starts[listed], starts[listed + 1]):
        row = rows[place]
        nx, ny, nz, d = planes[row, 0], planes[row, 1], planes[row, 2], planes[row, 3]
        n_dot_v = nx * p[_VX + k] + ny * p[_VY + k] + nz * p[_VZ + k]
        if n_dot_v > 0.0 and p[_LAST + k] != row:
            signed_distance = max(d - (nx * p[_X + k] + ny * p[_Y + k] + nz * p[_Z + k]), 0.0)
            if signed_distance * p[_DEN + k] < p[_NUM + k] * n_dot_v:
                p[_NUM + k] = signed_distance
                p[_DEN + k] = n_dot_v
                p[_ROW + k] = row


@njit(in_place=True)
def _meet(p, index, polarized, lanes):
    """One internal hit of every lane: WEIGHT leaves along T, the rest is reflected. No branches: vector code."""
    for k in range(lanes):
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


@njit(in_place=True)
def _take_rays(waiting, last, first, starts, p):
    """Give every free lane the next ray with weight left; returns the number of the next waiting ray.

    Parameters
    ----------
    waiting, last : the rays still to be begun. first : the ray of the first row of starts (R, START).
    """
    for k in range(LANES):
        while p[_RAY + k] < 0.0 and waiting < last:
            start = starts[waiting - first]
            if start[STOKES] > 0.0:
                p[_X + k], p[_Y + k], p[_Z + k] = start[PLACE], start[PLACE + 1], start[PLACE + 2]
                p[_VX + k], p[_VY + k], p[_VZ + k] = start[DIRECTION], start[DIRECTION + 1], start[DIRECTION + 2]
                p[_I + k], p[_Q + k], p[_U + k], p[_V + k] = (
                    start[STOKES],
                    start[STOKES + 1],
                    start[STOKES + 2],
                    start[STOKES + 3],
                )
                p[_EX + k], p[_EY + k], p[_EZ + k] = start[AXIS], start[AXIS + 1], start[AXIS + 2]
                p[_LAST + k], p[_REFLECTIONS + k], p[_CONE + k] = start[ON_ROW], start[REFLECTIONS], start[CONE]
                p[_RAY + k], p[_STANDS + k], p[_LIGHT + k], p[_KEY + k] = waiting, 1.0, 0.0, start[KEY]
            waiting += 1
    return waiting


@njit(in_place=True)
def _close_up(p, lanes):
    """Move the busy ones of the first `lanes` lanes to the front; returns how many lanes they fill, in whole vectors."""
    busy = 0
    for k in range(lanes):
        if p[_RAY + k] >= 0.0:
            if k > busy:
                for row in range(0, _PACKET, LANES):
                    p[row + busy] = p[row + k]
                p[_RAY + k] = -1.0
            busy += 1
    return (busy + VECTOR - 1) // VECTOR * VECTOR


@njit(inline="always")
def _dim(p, k, left):
    """Leave a share of the light of lane k."""
    p[_I + k] *= left
    p[_Q + k] *= left
    p[_U + k] *= left
    p[_V + k] *= left


@njit(in_place=True)
def _absorb(p, coefficient, out, lanes):
    """Body colour on the way to the next facet, for every busy lane, booked in out (R, CHANNELS)."""
    for k in range(lanes):
        if p[_RAY + k] >= 0.0:
            depth = coefficient * p[_NUM + k] / p[_DEN + k]
            left = math.exp(-depth)
            out[int(p[_RAY + k]), ABSORBED] -= p[_STANDS + k] * p[_I + k] * math.expm1(-depth)
            _dim(p, k, left)


@njit(in_place=True)
def _cross(p, inclusions, out, lanes):
    """What inclusions take on the way to the next facet, for every busy lane, booked in out (R, CHANNELS)."""
    quadrics, flats, spheres, transmittance, starts, faces = inclusions
    for number in range(transmittance.size):
        cx, cy, cz, reach = spheres[number, 0], spheres[number, 1], spheres[number, 2], spheres[number, 3]
        for k in range(lanes):  # vector code; WEIGHT is free until the facet is met
            p[_WEIGHT + k] = apart2(
                p[_X + k], p[_Y + k], p[_Z + k], p[_VX + k], p[_VY + k], p[_VZ + k], p[_NUM + k] / p[_DEN + k], cx, cy, cz
            )
        for k in range(lanes):
            if p[_WEIGHT + k] >= reach * reach or p[_RAY + k] < 0.0:
                continue
            if crosses(
                p[_X + k], p[_Y + k], p[_Z + k], p[_VX + k], p[_VY + k], p[_VZ + k], p[_NUM + k] / p[_DEN + k],
                quadrics, flats, spheres, starts, faces, number,
            ):  # fmt: skip
                left = transmittance[number]
                taken = p[_STANDS + k] * p[_I + k] * (1.0 - left)
                out[int(p[_RAY + k]), ABSORBED] += taken
                out[int(p[_RAY + k]), INCLUDED] += taken
                _dim(p, k, left)


@njit(in_place=True)
def _find_next(p, stone, out, lanes):
    """Set every lane's next facet; a lane that finds none books its weight as untraced and is free."""
    planes, core2 = stone.planes, stone.rim.core2
    _next_facet(planes, stone.sloping, p, lanes)
    _places_ahead(p, lanes)
    for k in range(lanes):
        if p[_RAY + k] < 0.0:
            continue
        x, y, sector = p[_TX + k], p[_TY + k], int(p[_WEIGHT + k])
        if not x * x + y * y <= core2[sector]:
            _side_facet(planes, stone.rim, sector, p, k)
        row = int(p[_ROW + k])
        if row < 0:
            out[int(p[_RAY + k]), UNTRACED] += p[_STANDS + k] * p[_I + k]
            p[_RAY + k] = -1.0
        else:
            p[_LAST + k] = row
            p[_NX + k], p[_NY + k], p[_NZ + k] = planes[row, 0], planes[row, 1], planes[row, 2]


@njit(in_place=True)
def _goes_on(p, k, r, rules):
    """Whether the ray r in lane k goes on by lot, see `PathRules.chance`; it then stands for more."""
    lot = keyed_uniform(rules.seed, rules.first_key + r, int(p[_REFLECTIONS + k]), 0)
    wins = lot * rules.chance < p[_STANDS + k] * p[_I + k]
    if wins:
        p[_STANDS + k] = rules.chance / p[_I + k]
    return wins


@njit()
def _diffuse(p, k, albedo, seed, ledger):
    """Send on what a Lambertian facet reflects of lane k's light, and book what it takes in `ledger` (WIDTH,)."""
    light = p[_WEIGHT + k] + p[_I + k]
    ledger[SCATTERED] += p[_STANDS + k] * light * (1.0 - albedo)
    remember(ledger)
    x, y, z = cosine_about(-p[_NX + k], -p[_NY + k], -p[_NZ + k], seed, int(p[_KEY + k]), int(p[_REFLECTIONS + k]) + 1)
    p[_VX + k], p[_VY + k], p[_VZ + k] = x, y, z
    p[_EX + k], p[_EY + k], p[_EZ + k] = axis_across(x, y, z)
    p[_I + k], p[_Q + k], p[_U + k], p[_V + k] = light * albedo, 0.0, 0.0, 0.0
    p[_WEIGHT + k], p[_CONE + k] = 0.0, 0.0  # nothing passes; the ray stands for one direction from here on


@njit()
def _choose_mirrors(p, stone, seed, lanes):
    """On rough facets, put the normal of a mirror that the ray sees in place of the facet's, for every busy lane."""
    for k in range(lanes):
        row = int(p[_ROW + k])
        if p[_RAY + k] >= 0.0 and stone.finish[row] == ROUGH:
            x, y, z = microfacet(
                p[_VX + k], p[_VY + k], p[_VZ + k], -p[_NX + k], -p[_NY + k], -p[_NZ + k],
                stone.amount[row], seed, int(p[_KEY + k]), int(p[_REFLECTIONS + k]) + 1,
            )  # fmt: skip
            p[_NX + k], p[_NY + k], p[_NZ + k] = -x, -y, -z


@njit()
def _shadow(p, k, stone, ledger):
    """Leave the shares of lane k's light that other mirrors of a rough facet let go; book the rest in `ledger` (WIDTH,)."""
    row = int(p[_ROW + k])
    nx, ny, nz = stone.planes[row, 0], stone.planes[row, 1], stone.planes[row, 2]
    within = -(p[_VX + k] * nx + p[_VY + k] * ny + p[_VZ + k] * nz)
    out = p[_TX + k] * nx + p[_TY + k] * ny + p[_TZ + k] * nz
    reflects, passes = shadowed(ledger, p[_I + k], p[_WEIGHT + k], within, out, stone.amount[row], p[_STANDS + k])
    _dim(p, k, reflects)
    p[_WEIGHT + k] *= passes
    p[_CONE + k] = 0.0  # the ray stands for one direction from here on


@njit()
def walk(first, last, starts, stone, dome, turn, rules, out):
    """Follow the rays first..last-1 to their ends, each booked in its row of `out`; returns how many path segments they had.

    Parameters
    ----------
    starts : (last - first, START); a ray without weight is passed over.
    out : (R, CHANNELS), added to; of a stone that scatters (R, scattering.WIDTH); where lots are drawn (R, CHANNELS + 1 or
        more), and column LUMINANCE_SQUARE is added to.
    stone : a `StoneTable`. dome : a `DomeTable`. turn : (3, 3) from the stone's frame to the dome's. rules : `PathRules`.
    """
    p = np.zeros(_PACKET)
    polarized, min_weight, max_bounces, chance = rules.polarized, rules.min_weight, rules.max_bounces, rules.chance
    unpolished, mirrors, including = False, False, stone.inclusions.transmittance.size > 0
    for finish in stone.finish:
        unpolished |= finish != REFRACTS
        mirrors |= finish == ROUGH
    p[_RAY : _RAY + LANES] = -1.0
    segments, waiting, lanes = 0, first, LANES
    while True:
        waiting = _take_rays(waiting, last, first, starts, p)
        if waiting >= last:
            lanes = _close_up(p, lanes)
        _find_next(p, stone, out, lanes)
        if stone.medium.absorption_per_mm > 0.0:
            _absorb(p, stone.medium.absorption_per_mm, out, lanes)
        if including:
            _cross(p, stone.inclusions, out, lanes)
        if mirrors:
            _choose_mirrors(p, stone, rules.seed, lanes)
        _meet(p, stone.medium.n, polarized, lanes)
        busy = 0
        for k in range(lanes):
            r = int(p[_RAY + k])
            if r < 0:
                continue
            busy += 1
            finish = stone.finish[int(p[_ROW + k])] if unpolished else REFRACTS
            if finish == ABSORBS:
                out[r, SCATTERED] += p[_STANDS + k] * (p[_WEIGHT + k] + p[_I + k])
                p[_RAY + k] = -1.0
                continue
            if finish == DIFFUSES:
                _diffuse(p, k, stone.amount[int(p[_ROW + k])], rules.seed, out[r])
            elif finish == ROUGH:
                _shadow(p, k, stone, out[r])
            if p[_WEIGHT + k] > 0.0:
                x, y, z = p[_TX + k], p[_TY + k], p[_TZ + k]
                cone = 0.0
                if p[_CONE + k] > 0.0:
                    cone = cone_outside(p[_CONE + k], p[_DEN + k], x * p[_NX + k] + y * p[_NY + k] + z * p[_NZ + k])
                stands, before = p[_STANDS + k], out[r, LUMINANCE]
                tally_exit(out[r], stands * p[_WEIGHT + k], x, y, z, p[_REFLECTIONS + k], turn, dome, cone)
                if chance > 0.0:  # the square of a sum, term by term: each with the lots drawn before it
                    light = (out[r, LUMINANCE] - before) / stands
                    out[r, LUMINANCE_SQUARE] += stands * light * (2.0 * p[_LIGHT + k] + light)
                    p[_LIGHT + k] += light
            p[_REFLECTIONS + k] += 1.0
            if p[_I + k] < min_weight or p[_REFLECTIONS + k] >= max_bounces:
                out[r, UNTRACED] += p[_STANDS + k] * p[_I + k]
                p[_RAY + k] = -1.0
            elif p[_STANDS + k] * p[_I + k] < chance and not _goes_on(p, k, r, rules):
                p[_RAY + k] = -1.0
        segments += busy
        if busy == 0 and waiting >= last:
            return segments
