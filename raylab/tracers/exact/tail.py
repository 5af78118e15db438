"""The tail: what the waiting beams would still give, estimated by rays.

A ray is drawn from the waiting beams, a beam by its share of the draw, a point anywhere in its polygon, and followed to its
end, which lots bring on once little weight is left, see `PathRules`. The draws are stratified: the beams, end to end by their
shares, are cut into strata of equal length with two draws each. So sums over rays have no bias, and the scatter within the
strata gives an unbiased estimate of their variance (Cochran, Sampling Techniques, chapter 5; from memory). How much waits is
known from the polygons, so that the estimate is a ratio: a share of all that rays have found. Its bias falls as one over their
number (ibid., chapter 6), far below its error. Where many more rays follow, the strata are made finer; and a beam's length is
laid along a curve that fills its polygon (Hilbert's), so that strata shorter than a beam are patches of it.

What a ray finds in a point adds to what whole polygons have given there: for the squared luminance the product counts as well.
Contrast therefore depends most on the luminance so far. Beams stand in steps of it, so that those of a stratum are alike in it,
and within a step as they arose. Stones nearly alike then draw nearly the same rays, and their difference has a smaller error.
A beam's share of the draw is its remaining weight times how much the statistics that count change by light there: near the
allocation that gives them the least variance (ibid., chapter 5).
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
FINER_FROM = 1.75
"""So many times as many rays as were drawn make the strata finer."""
RIM = 1e-9
"""Share of a stratum at either end that no draw comes from, so that no rounding takes one across."""
EVEN = 0.5
"""What is added to the square of how much light matters, as a multiple of its mean: no ray stands for very much where that is
nearly nothing, and statistics that were not asked for have fair errors. As measured: what is dark also scatters less."""
CELLS = 16
"""Cells along a side of the square that a beam's curve fills."""
CHANCE = 0.25
"""A ray with less than this share of its weight left is ended by lot, see `PathRules`: half as many segments for the same rays,
whose variance the lots raise by 5 %, as measured on an oval and an emerald cut."""


@dataclass(frozen=True)
class Tail:
    """An estimate of what waits.

    Attributes
    ----------
    mean : (MOMENTS,) what it adds to the area means of a trace. covariance : (MOMENTS, MOMENTS) of its sampling error.
    rays : how many were drawn. segments : how many path segments they had. beams : how many they were drawn from.
    """

    mean: np.ndarray
    covariance: np.ndarray
    rays: int
    segments: int
    beams: int


NO_TAIL = Tail(np.zeros(MOMENTS), np.zeros((MOMENTS, MOMENTS)), 0, 0, 0)
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


@njit(in_place=True)
def _on_curve(place, first, second):
    """A point of the unit square, in the cell that Hilbert's curve reaches after the share `place` of its way.

    Two uniform numbers in [0, 1) say where in the cell. A uniform place makes a uniform point.
    """
    cell = min(max(int(place * CELLS * CELLS), 0), CELLS * CELLS - 1)
    x, y, size = 0, 0, 1
    while size < CELLS:
        right = 1 & (cell // 2)
        up = 1 & (cell ^ right)
        if up == 0:
            if right == 1:
                x, y = size - 1 - x, size - 1 - y
            x, y = y, x
        x += size * right
        y += size * up
        cell //= 4
        size *= 2
    return (x + first) / CELLS, (y + second) / CELLS


@njit(nogil=True)
def _draw(first, last, places, waiting, shares, ends, held, luminances, stone, dome, turn, rules, moments):
    """Follow the rays first..last-1 and write their rows of `moments` (R, MOMENTS + 1), zeros before.

    Returns how many path segments they had.

    Parameters
    ----------
    places : (R,) where along the waiting beams rays begin, 0 to 1. waiting : (W,) which beams of `held` wait. shares : (W,) of
        each in the draw. ends : (W,) their sums up to and with each.
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
        place = places[draw] * whole
        which = min(_first_above(ends, place), ends.size - 1)
        b = waiting[which]
        beam = beams[b]
        way = 1.0 - (ends[which] - place) / shares[which]
        across, along = _on_curve(way, keyed_uniform(rules.seed, key, 0, 1), keyed_uniform(rules.seed, key, 0, 2))
        x, y = _point_in(corners, int(beam[optics.START]), int(beam[SIDES]), across, along)
        weight[k] = beam[INTENSITY] * _begin(starts[k], beam, x, y, stone)
        stands_for[k] = whole * beam[AREA] / shares[which]
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


def _weight(luminance: np.ndarray, derivatives: np.ndarray) -> np.ndarray:
    """(W,) how much statistics change by light where the luminance (W,) was found so far; derivatives as in `Goal`."""
    by_light = derivatives[:, LUMINANCE, None] + 2.0 * derivatives[:, LUMINANCE_SQUARE, None] * luminance
    others = (derivatives**2).sum() - (derivatives[:, [LUMINANCE, LUMINANCE_SQUARE]] ** 2).sum()
    square = (by_light**2).sum(axis=0) + others
    typical = float(square.mean()) if len(square) else 0.0
    return np.sqrt(EVEN + square / typical) if typical > 0.0 else np.ones(len(luminance))


class Draws:
    """Rays from the waiting beams of one batch, more of them at each call.

    Attributes
    ----------
    sets : rays whose strata share the waiting beams evenly: their places, see `_draw`, rising, and their rows.
    rows : (rays so far, MOMENTS + 1) see `_draw`, the two of a stratum one after the other. segments : how many path segments
        they had. beams : how many wait.
    """

    def __init__(
        self,
        batch: Batch,
        luminances: np.ndarray,
        derivatives: np.ndarray,
        stone: StoneTable,
        dome: DomeTable,
        turn: np.ndarray,
        rules: Rules,
    ) -> None:
        """Of a batch with full ledgers.

        Parameters
        ----------
        luminances : (B,) of the ledgers as the kernel left them, see `_luminance_so_far`.
        derivatives : (S, MOMENTS) see `Goal`.
        """
        waiting = np.flatnonzero((batch.beams[:, ALIVE] != 0.0) & (batch.beams[:, POWER] > 0.0))
        luminance, area = batch.ledgers[:, LUMINANCE], batch.beams[:, AREA]
        step = STEP * float((luminance * area).sum() / area.sum())
        steps = np.floor(luminance[waiting] / step) if step > 0.0 else np.zeros(len(waiting))
        self._waiting = waiting[np.argsort(steps, kind="stable")]
        self.beams = len(waiting)
        self._shares = batch.beams[self._waiting, POWER] * _weight(luminance[self._waiting], derivatives)
        self._ends = np.cumsum(self._shares)
        self._held = (batch.beams, batch.corners, batch.nodes, batch.events)
        self._luminances = luminances
        self._light, self._rules = (stone, dome, turn), rules
        self.sets: list[tuple[np.ndarray, np.ndarray]] = []
        self.rows, self.segments = np.zeros((0, MOMENTS + 1)), 0

    def until(self, rays: int, seed: int, threads: int) -> None:
        """Draw on until there are at least `rays`, with random numbers of their own; see `trace_beams` for the threads.

        Where that is `FINER_FROM` times as many as so far or more, each stratum becomes a whole number of finer ones, which are
        filled up to two draws each. As each draw stood anywhere in its stratum with the same chance, so it does in the finer
        one that it is found in. Otherwise what is missing has strata of its own.
        """
        missing = rays - len(self.rows)
        if missing <= 0 or not len(self._waiting):
            return
        if len(self.sets) == 1 and rays >= FINER_FROM * len(self.rows):
            places, rows = self.sets.pop()
            strata = len(places) // 2 * math.ceil(rays / len(places))
            lacking = np.repeat(np.arange(strata), 2 - np.bincount((places * strata).astype(np.int64), minlength=strata))
            more, found = self._drawn(lacking, strata, seed, threads)
            places, rows = np.concatenate([places, more]), np.concatenate([rows, found])
            order = np.argsort(places, kind="stable")
            self.sets.append((places[order], rows[order]))
        else:
            strata = -(-missing // 2)
            places, rows = self._drawn(np.repeat(np.arange(strata), 2), strata, seed, threads)
            self.sets.append((places, rows))
        self.rows = np.concatenate([rows for _, rows in self.sets])

    def _drawn(self, of: np.ndarray, strata: int, seed: int, threads: int) -> tuple[np.ndarray, np.ndarray]:
        """One draw in each of the strata `of` (R,), out of so many: their places (R,) and rows."""
        rules = PathRules(self._rules.polarized, 0.0, self._rules.max_bounces, CHANCE, seed, len(self.rows))
        places, moments = _places(of, strata, seed, rules.first_key), np.zeros((len(of), MOMENTS + 1))

        def draw(first: int) -> int:
            pause()
            where = (self._waiting, self._shares, self._ends, self._held, self._luminances)
            return int(_draw(first, min(first + SHARE_OF_THREAD, len(of)), places, *where, *self._light, rules, moments))

        self.segments += sum(at_once(draw, range(0, len(of), SHARE_OF_THREAD), threads))
        return places, moments


@njit()
def _places(of, strata, seed, first_key):
    """A place, 0 to 1, in each of the strata `of` (R,), of which there are `strata`; draws are numbered from `first_key` on."""
    places = np.empty(len(of))
    for k in range(len(of)):
        places[k] = (of[k] + RIM + (1.0 - 2.0 * RIM) * keyed_uniform(seed, first_key + k, 0, 0)) / strata
    return places


@njit()
def _means_and_scatter(rows):
    """Of rows (R, MOMENTS + 1), see `_draw`: their sums (MOMENTS,) as a share of the weight found; the squares and products of
    how far apart the two draws of a stratum are in what is not that share, summed up (MOMENTS, MOMENTS); the mean weight found.

    Sums in the rows' order: BLAS would add in an order that hangs on its number of threads.
    """
    rays, found = rows.shape[0], 0.0
    means, scatter, apart = np.zeros(MOMENTS), np.zeros((MOMENTS, MOMENTS)), np.empty(MOMENTS)
    for ray in range(rays):
        found += rows[ray, MOMENTS]
        for k in range(MOMENTS):
            means[k] += rows[ray, k]
    if found > 0.0:
        for k in range(MOMENTS):
            means[k] /= found
        for ray in range(0, rays, 2):
            more = rows[ray, MOMENTS] - rows[ray + 1, MOMENTS]
            for k in range(MOMENTS):
                apart[k] = rows[ray, k] - rows[ray + 1, k] - means[k] * more
                for j in range(k + 1):
                    scatter[k, j] += apart[k] * apart[j]
        for k in range(MOMENTS):
            for j in range(k):
                scatter[j, k] = scatter[k, j]
    return means, scatter, found / max(1, rays)


def tail_of(draws: Draws, waits: float) -> Tail:
    """The estimate that follows from the rays drawn so far, where the share `waits` of the light waits."""
    means, scatter, found = _means_and_scatter(draws.rows)
    if not found > 0.0:
        return NO_TAIL
    rays = len(draws.rows)
    means[UNTRACED] -= 1.0
    return Tail(waits * means, scatter * (waits / (found * rays)) ** 2, rays, draws.segments, draws.beams)
