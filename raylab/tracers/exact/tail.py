"""The tail: what the waiting beams would still give, estimated by rays.

A ray is drawn from the waiting beams, a beam by its share of the draw, a point anywhere in its polygon, and followed to its
end, which lots bring on once little weight is left, see `PathRules`. The draws are stratified: the beams, end to end by their
shares, are cut into strata of equal length with two draws each. So sums over rays have no bias, and the scatter within the
strata gives an unbiased estimate of their variance (Cochran, Sampling Techniques, chapter 5; from memory). How much waits is
known from the polygons, so that the estimate is a ratio: a share of all that rays have found. Its bias falls as one over their
number (ibid., chapter 6), far below its error. Where many more rays follow, the strata are made finer; and a beam's length is
laid along a curve that fills its polygon (see `tail_rays`), so that strata shorter than a beam are patches of it.

Contrast depends most on the luminance so far, see there. Beams stand in steps of it, so that those of a stratum are alike,
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
from ..ledger import LUMINANCE, UNTRACED
from ..packets import PathRules
from ..stone_table import StoneTable
from ..totals import LUMINANCE_SQUARE, MOMENTS
from .beam_batch import Batch, Rules
from .beam_optics import ALIVE, AREA, POWER
from .tail_rays import draw

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
    sets : rays whose strata share the waiting beams evenly: their places, see `draw`, rising, and their rows.
    rows : (rays so far, MOMENTS + 1) see `draw`, the two of a stratum one after the other. segments : how many path segments
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
        luminances : (B,) of the ledgers as the kernel left them, see `draw`.
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

        def lot(first: int) -> int:
            pause()
            where = (self._waiting, self._shares, self._ends, self._held, self._luminances)
            return int(draw(first, min(first + SHARE_OF_THREAD, len(of)), places, *where, *self._light, rules, moments))

        self.segments += sum(at_once(lot, range(0, len(of), SHARE_OF_THREAD), threads))
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
    """Of rows (R, MOMENTS + 1), see `draw`: their sums (MOMENTS,) as a share of the weight found; the squares and products of
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
                if apart[k] != 0.0:  # many moments are none of a scene's
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
