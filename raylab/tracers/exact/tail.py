"""The tail: what the waiting beams would still give, estimated by rays.

A ray is drawn from the waiting beams, a beam by its remaining weight, a point anywhere in its polygon, and followed to its
end, which lots bring on once little weight is left, see `PathRules`. The draws are stratified: the beams, end to end by weight,
are cut into strata of equal weight with two draws each. So sums over rays have no bias, and the scatter within the strata gives
an unbiased estimate of their variance (Cochran, Sampling Techniques, chapter 5; from memory). How much waits is known from the
polygons, so that the estimate is a ratio: a share of all that rays have found. Its bias falls as one over their number (ibid.,
chapter 6), far below its error.

What a ray finds in a point adds to what whole polygons have given there: for the squared luminance the product counts as well.
Contrast therefore depends most on the luminance so far. Beams stand in steps of it, so that those of a stratum are alike in it,
and within a step as they arose. Stones nearly alike then draw nearly the same rays, and their difference has a smaller error.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ...jit import njit
from ...lighting.dome import DomeTable
from ...stopping import pause
from ...threads import at_once
from ..keyed import keyed_uniform
from ..ledger import (
    ABSORBED,
    BRIGHTER,
    CHANNELS,
    DIMMER,
    DOUBT,
    HEAD,
    LEAK,
    LUMINANCE,
    SCATTERED,
    SKY,
    UNTRACED,
    tally_exit,
)
from ..packets import AXIS, CONE, DIRECTION, ON_ROW, PLACE, REFLECTIONS, START, STOKES, PathRules, walk
from ..stone_table import StoneTable
from ..totals import LUMINANCE_SQUARE, MOMENTS
from . import beam_optics as optics
from .beam_batch import Batch, Rules
from .beam_optics import ALIVE, AREA, EX, EY, EZ, INTENSITY, LEAVES, LENGTH, NODE, POWER, REFLECTIONS_BEFORE, SIDES, SLIDE
from .nearest_plane import ray_origin

SHARE_OF_THREAD = 2048
"""Draws that are worked off together, by one thread."""
STEP = 0.4
"""Of the luminance, as a multiple of its mean so far; see the module."""
CHANCE = 0.25
"""A ray with less than this share of its weight left is ended by lot, see `PathRules`: half as many segments for the same rays,
whose variance the lots raise by 5 %, as measured on an oval and an emerald cut."""


@dataclass(frozen=True)
class Tail:
    """An estimate of what waits.

    Attributes
    ----------
    mean : (MOMENTS,) what it adds to the area means of a trace. covariance : (MOMENTS, MOMENTS) of its sampling error.
    rays : how many were drawn. segments : how many path segments they had.
    """

    mean: np.ndarray
    covariance: np.ndarray
    rays: int
    segments: int


NO_TAIL = Tail(np.zeros(MOMENTS), np.zeros((MOMENTS, MOMENTS)), 0, 0)
"""Where nothing waits, or nothing was drawn."""


@njit(inline="always")
def _point_in(corners, start, size, first, second):
    """A point, mm, anywhere in a convex polygon: two uniform numbers in [0, 1) say where."""
    ax, ay = corners[start, 0], corners[start, 1]
    whole = 0.0
    for k in range(1, size - 1):
        bx, by = corners[start + k, 0] - ax, corners[start + k, 1] - ay
        whole += bx * (corners[start + k + 1, 1] - ay) - by * (corners[start + k + 1, 0] - ax)
    wanted, bx, by, cx, cy = first * whole, 0.0, 0.0, 0.0, 0.0
    for k in range(1, size - 1):
        bx, by = corners[start + k, 0] - ax, corners[start + k, 1] - ay
        cx, cy = corners[start + k + 1, 0] - ax, corners[start + k + 1, 1] - ay
        part = bx * cy - by * cx
        if wanted < part or k == size - 2:
            first = min(wanted / part, 1.0) if part > 0.0 else 0.0
            break
        wanted -= part
    out = math.sqrt(first)
    return ax + out * (bx + second * (cx - bx)), ay + out * (by + second * (cy - by))


@njit(in_place=True)
def _luminance_so_far(luminance, beam, nodes, events, x, y, absorption, turn, dome, row):
    """The luminance that a beam's whole polygon has given in the point (x, y); `row` (CHANNELS,) is overwritten.

    `luminance` is that of the kernel's ledger: in a tinted stone of the first surface alone.
    """
    node = int(beam[NODE])
    if absorption > 0.0:
        while nodes[node, 0] >= 0:
            event = events[node]
            tx, ty, tz = event[optics.DIRECTION], event[optics.DIRECTION + 1], event[optics.DIRECTION + 2]
            if event[LEAVES] > 0.0 and (tx != 0.0 or ty != 0.0 or tz != 0.0):
                row[:] = 0.0
                tally_exit(row, event[LEAVES], tx, ty, tz, event[REFLECTIONS_BEFORE], turn, dome, 0.0)
                length = event[LENGTH] + x * event[LENGTH + 1] + y * event[LENGTH + 2]
                luminance += row[LUMINANCE] * math.exp(-absorption * length)
            node = nodes[node, 0]
    return luminance


@njit(in_place=True)
def _where_it_entered(planes, ox, oy, oz, vx, vy, vz):
    """The row of the plane behind which the line o + t v comes into the stone, and its t there."""
    row, last = -1, -math.inf
    for other in range(planes.shape[0]):
        n_dot_v = planes[other, 0] * vx + planes[other, 1] * vy + planes[other, 2] * vz
        if n_dot_v < 0.0:
            t = (planes[other, 3] - (planes[other, 0] * ox + planes[other, 1] * oy + planes[other, 2] * oz)) / n_dot_v
            if t > last:
                row, last = other, t
    return row, last


@njit(in_place=True)
def _begin(start, beam, x, y, stone):
    """Write the start (START,) of the ray (x, y) of a beam, with a weight of 1; returns how much of the beam's weight the body
    colour has left it."""
    ox, oy, oz = ray_origin(beam, x, y)
    vx, vy, vz = beam[9], beam[10], beam[11]
    row, t = _where_it_entered(stone.planes, ox, oy, oz, vx, vy, vz)
    start[PLACE], start[PLACE + 1], start[PLACE + 2] = ox + t * vx, oy + t * vy, oz + t * vz
    start[DIRECTION], start[DIRECTION + 1], start[DIRECTION + 2] = vx, vy, vz
    start[STOKES] = 1.0
    for k in range(1, 4):
        start[STOKES + k] = beam[INTENSITY + k] / beam[INTENSITY]
    start[AXIS], start[AXIS + 1], start[AXIS + 2] = beam[EX], beam[EY], beam[EZ]
    start[ON_ROW], start[REFLECTIONS], start[CONE] = row, beam[optics.REFLECTIONS], 0.0
    return math.exp(-stone.medium.absorption_per_mm * (beam[SLIDE] + t))


@njit(in_place=True)
def _first_above(ends, place):
    """Index of the first of the rising numbers `ends` (W,) that is larger than a number; W where none is."""
    low, high = 0, ends.size
    while low < high:
        middle = (low + high) // 2
        if ends[middle] > place:
            high = middle
        else:
            low = middle + 1
    return low


@njit(nogil=True)
def _draw(first, last, draws, waiting, ends, held, luminances, stone, dome, turn, rules, moments):
    """Draw and follow the rays first..last-1 of `draws`, and write their rows of `moments` (draws, MOMENTS + 1), zeros before.

    Returns how many path segments they had.

    Parameters
    ----------
    waiting : (W,) which beams of `held` wait. ends : (W,) sums of their POWER, mm^2, up to and with each.
    held : beams, corners, nodes and events of a `Batch`. luminances : (B,) see `_luminance_so_far`.
    stone, dome, turn, rules : see `packets.walk`. Ray k draws by the key of its lots.

    A row is the ray's moments, then all entries of its ledger together: 1 but for lots; all times the weight that it began
    with and the area, mm^2, for which it stands.
    """
    beams, corners, nodes, events = held
    count, whole, absorption = last - first, ends[ends.size - 1], stone.medium.absorption_per_mm
    starts, so_far = np.zeros((count, START)), np.empty(CHANNELS)
    weight, stands_for, before = np.empty(count), np.empty(count), np.empty(count)
    for k in range(count):
        draw, key = first + k, rules.first_key + first + k
        place = (draw // 2 + keyed_uniform(rules.seed, key, 0, 0)) / (draws // 2) * whole
        b = waiting[min(_first_above(ends, place), ends.size - 1)]
        beam = beams[b]
        across, along = keyed_uniform(rules.seed, key, 0, 1), keyed_uniform(rules.seed, key, 0, 2)
        x, y = _point_in(corners, int(beam[optics.START]), int(beam[SIDES]), across, along)
        weight[k] = beam[INTENSITY] * _begin(starts[k], beam, x, y, stone)
        stands_for[k] = whole * beam[AREA] / beam[POWER]
        before[k] = _luminance_so_far(luminances[b], beam, nodes, events, x, y, absorption, turn, dome, so_far)
    segments = walk(first, last, starts, stone, dome, turn, rules, moments)
    for k in range(count):
        row, share = moments[first + k], stands_for[k] * weight[k]
        row[DOUBT] = row[DIMMER] = row[BRIGHTER] = 0.0  # the bracket allows the untraced light anything
        row[LUMINANCE_SQUARE] = share * (2.0 * before[k] * row[LUMINANCE] + weight[k] * row[LUMINANCE_SQUARE])
        row[MOMENTS] = share * (row[SKY] + row[HEAD] + row[LEAK] + row[ABSORBED] + row[SCATTERED] + row[UNTRACED])
        for channel in range(CHANNELS):
            row[channel] *= share
    return segments


class Draws:
    """Rays from the waiting beams of one batch, more of them at each call.

    Attributes
    ----------
    rows : (rays so far, MOMENTS + 1) see `_draw`. segments : how many path segments they had.
    """

    def __init__(self, batch: Batch, stone: StoneTable, dome: DomeTable, turn: np.ndarray, rules: Rules) -> None:
        """Of a batch whose beams have ended or wait, and whose ledgers are as the kernel leaves them."""
        waiting = np.flatnonzero((batch.beams[:, ALIVE] != 0.0) & (batch.beams[:, POWER] > 0.0))
        luminance, area = batch.ledgers[:, LUMINANCE], batch.beams[:, AREA]
        step = STEP * float((luminance * area).sum() / area.sum())
        steps = np.floor(luminance[waiting] / step) if step > 0.0 else np.zeros(len(waiting))
        self._waiting = waiting[np.argsort(steps, kind="stable")]
        self._ends = np.cumsum(batch.beams[self._waiting, POWER])
        self._held = (batch.beams, batch.corners, batch.nodes, batch.events)
        self._luminances = batch.ledgers[:, LUMINANCE].copy()  # a tinted stone's ledgers will be filled up
        self._light, self._rules = (stone, dome, turn), rules
        self.rows, self.segments = np.zeros((0, MOMENTS + 1)), 0

    def more(self, rays: int, seed: int, threads: int) -> None:
        """Draw `rays` more, an odd number made even, with random numbers of their own; see `trace_beams` for the threads."""
        draws, key = rays + rays % 2 if len(self._waiting) else 0, len(self.rows)
        moments = np.zeros((draws, MOMENTS + 1))
        rules = PathRules(self._rules.polarized, 0.0, self._rules.max_bounces, CHANCE, seed, key)

        def draw(first: int) -> int:
            pause()
            where = (self._waiting, self._ends, self._held, self._luminances)
            return int(_draw(first, min(first + SHARE_OF_THREAD, draws), draws, *where, *self._light, rules, moments))

        self.segments += sum(at_once(draw, range(0, draws, SHARE_OF_THREAD), threads))
        self.rows = np.concatenate([self.rows, moments])


def tail_of(draws: Draws, waits: float) -> Tail:
    """The estimate that follows from the rays drawn so far, where the share `waits` of the light waits."""
    rows, rays = draws.rows, len(draws.rows)
    found = float(rows[:, MOMENTS].mean()) if rays else 0.0
    if not found > 0.0:
        return NO_TAIL
    per_weight = rows[:, :MOMENTS].mean(axis=0) / found
    off = rows[:, :MOMENTS] - per_weight * rows[:, MOMENTS:]
    apart = (off[0::2] - off[1::2]) * (waits / (found * rays))  # of the two draws of a stratum, each a part of the mean
    per_weight[UNTRACED] -= 1.0
    # Not by matrix product: BLAS adds in an order that hangs on its number of threads.
    return Tail(waits * per_weight, np.einsum("ta,tb->ab", apart, apart), rays, draws.segments)
