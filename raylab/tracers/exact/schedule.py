"""How the exact tracer's work is ordered: by rounds, beams of the highest priority first, dealt out to threads in fixed units.

In each round all beams whose priority (`beam_optics.priority`) is above a floor are traced, with all their pieces, until each
falls below; then the floor is lowered. Rounds end when what is left inside is at most what the precision allows. Weight on
paths that have ended for good (by the cap on reflections) can't be brought down any more: where it alone is more than that,
rounds end when the rest is a tenth of it.
"""

from __future__ import annotations

import itertools
import math

import numpy as np

from ...progress import Progress
from ...threads import at_once
from .beam_batch import Batch, BeamSet, Rules, Surroundings, gather
from .beam_kernel import trace_batch
from .beam_optics import ALIVE, AREA, NODE, POWER, PRIORITY, SIDES, STRONGEST_NODE

UNITS = 16
"""A round's beams are dealt out to at most so many units of work, whatever the number of threads, and joined in their order."""
IN_UNIT = 1024
"""Beams that make a unit."""
FIRST_FLOOR = 1.0 / 100.0
"""The first floor as a share of what may be left inside."""


class _Held:
    """Beams that have ended or wait, in the batches that they came in.

    What rounds ask of the beams that wait stands in arrays of its own, (W,) each, those of a batch together and in its order:
    their priorities and powers, the number of their batch and their number in it.

    Attributes
    ----------
    live, ended : weight times area, mm^2, inside the beams that wait and inside those that have ended.
    """

    def __init__(self, first: Batch) -> None:
        self._batches: list[Batch] = []
        self._ended: list[np.ndarray] = []
        self._priority, self._power = np.empty(0), np.empty(0)
        self._batch, self._number = np.empty(0, np.int64), np.empty(0, np.int64)
        self.live = self.ended = 0.0
        self.add(first)

    def add(self, batch: Batch) -> None:
        alive = batch.beams[:, ALIVE] != 0.0
        waiting, ended = np.flatnonzero(alive), np.flatnonzero(~alive)
        self._priority = np.concatenate([self._priority, batch.beams[:, PRIORITY][waiting]])
        self._power = np.concatenate([self._power, batch.beams[:, POWER][waiting]])
        self._batch = np.concatenate([self._batch, np.full(len(waiting), len(self._batches))])
        self._number = np.concatenate([self._number, waiting])
        self._batches.append(batch)
        self._ended.append(ended)
        self.ended += float(batch.beams[:, POWER][ended].sum())
        self.live = float(self._power.sum())

    def __len__(self) -> int:
        return len(self._power) + sum(map(len, self._ended))

    def nodes(self) -> int:
        """How many nodes of paths the batches have."""
        return sum(len(batch.nodes) for batch in self._batches)

    def take(self, floor: float) -> BeamSet:
        """Remove the beams that wait and have at least the priority `floor`."""
        high = self._priority >= floor
        which, left = np.flatnonzero(high), np.flatnonzero(~high)
        taken = gather([one for one in self._by_batch(which) if len(one[1])])
        self._priority, self._power = self._priority[left], self._power[left]
        self._batch, self._number = self._batch[left], self._number[left]
        self.live = float(self._power.sum())
        return taken

    def _by_batch(self, which: np.ndarray) -> list[tuple[Batch, np.ndarray]]:
        """Some of the beams that wait, rising, as each batch numbers them."""
        ends = np.searchsorted(self._batch[which], np.arange(len(self._batches) + 1)).tolist()
        numbers = self._number[which]
        return [(batch, numbers[a:b]) for batch, (a, b) in zip(self._batches, itertools.pairwise(ends), strict=True)]

    def rest(self) -> Batch:
        """All that is held, as one batch; a polygon that rounding left without area is no polygon."""
        chosen = []
        for (batch, waiting), ended in zip(self._by_batch(np.arange(len(self._power))), self._ended, strict=True):
            numbers = np.sort(np.concatenate([waiting, ended]))
            chosen.append((batch, numbers[batch.beams[:, SIDES][numbers] >= 3.0]))
        return _as_one(chosen)


class Rounds:
    """The work on one scene's beams, round by round; see the module.

    Attributes
    ----------
    count : how many rounds there were. pieces : how many pieces they reflected. full : True where the limit ended the work.
    """

    def __init__(self, first: Batch, rules: Rules, surroundings: Surroundings, threads: int, progress: Progress) -> None:
        """Begin with one beam for each facet that faces the eye; `rules` with the total limit, floor and first_node unset.

        `progress` is called after each round with the way from what entered to what may be left inside, as a share on a scale
        of logarithms: rounds that bring it down by one factor take the longer the less is left, but not by as much.
        """
        self._held, self._rules, self._surroundings, self._threads = _Held(first), rules, surroundings, threads
        self._area = float(first.beams[:, AREA].sum())
        self._floor: float | None = None
        self._live = self._entered = self._held.live
        self._progress = progress
        self.count = self.pieces = 0
        self.full = False

    @property
    def waits(self) -> float:
        """The share of the light inside the beams that wait."""
        return self._live / self._area

    def until(self, share: float, near: float = 1.0) -> None:
        """Trace until at most `near` times this share of the light is left inside, as far as more rounds can bring it down.

        Rounds aim at the share itself; the last ones, of small steps, are spared where more than it is near enough.
        """
        held, target = self._held, share * self._area
        floor = FIRST_FLOOR * target if self._floor is None else self._lower(self._floor, target)
        while not self.full and self._live > near * self._goal(target):
            active = held.take(floor)
            if len(active.beams):
                limit = max(1, self._rules.limit - len(held))
                now = self._rules._replace(floor=floor, first_node=held.nodes(), limit=limit)
                left = _deal(active, now, self._surroundings, self._threads)
                held.add(left)
                self._live = held.live
                self.pieces += left.pieces
                self.full = left.stopped
            self.count += 1
            wanted = near * self._goal(target)
            way = 1.0 if self._live <= wanted else math.log(self._entered / self._live) / math.log(self._entered / wanted)
            self._progress(way, 1.0)
            self._floor, floor = floor, self._lower(floor, target)

    def _goal(self, target: float) -> float:
        """Down to which weight times area, mm^2, the waiting light is to come where `target` may be left inside at all."""
        return max(target - self._held.ended, 0.1 * target)

    def _lower(self, floor: float, target: float) -> float:
        """The next floor. What is left falls roughly as the root of the floor: aim at the target, but in steps."""
        if self._live <= 0.0:
            return floor
        return floor * min(0.8, max(0.25, (self._goal(target) / self._live) ** 2))

    def batch(self) -> Batch:
        """All beams, those that have ended and those that wait."""
        return self._held.rest()


def _as_one(chosen: list[tuple[Batch, np.ndarray]]) -> Batch:
    """The chosen beams, by their numbers, with all that their batches have in common."""
    batches = [batch for batch, _ in chosen]
    return Batch(
        *gather(chosen),
        np.concatenate([b.nodes for b in batches]),
        np.concatenate([b.events for b in batches]),
        sum(b.pieces for b in batches),
        sum(b.lost for b in batches),
        any(b.stopped for b in batches),
        np.sum([b.through for b in batches], axis=0),
    )


def _deal(active: BeamSet, rules: Rules, surroundings: Surroundings, threads: int) -> Batch:
    """Trace beams in fixed units of work, on several threads, and join what they leave in the units' order."""
    count = len(active.beams)
    units = min(UNITS, max(1, count // IN_UNIT))
    share = rules._replace(limit=-(-rules.limit // units))
    shares = [np.arange(unit, count, units) for unit in range(units)]
    batches = at_once(lambda todo: trace_batch(share, active, todo, surroundings), shares, threads)
    if units == 1:
        return batches[0]
    known = 0
    for batch in batches:
        # A unit numbers its own nodes from `first_node` on; the nodes before are everyone's.
        for numbers in (batch.nodes[:, 0], batch.beams[:, NODE], batch.beams[:, STRONGEST_NODE]):
            numbers[numbers >= rules.first_node] += known
        known += len(batch.nodes)
    return _as_one([(batch, np.arange(len(batch.beams))) for batch in batches])
