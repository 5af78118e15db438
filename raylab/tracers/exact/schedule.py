"""How the exact tracer's work is ordered: by rounds, beams of the highest priority first, dealt out to threads in fixed units.

In each round all beams whose priority (`beam_optics.priority`) is above a floor are traced, with all their pieces, until each
falls below; then the floor is lowered. Rounds end when what is left inside is at most what the precision allows. Weight on
paths that have ended for good (by the cap on reflections) can't be brought down any more: where it alone is more than that,
rounds end when the rest is a tenth of it.
"""

from __future__ import annotations

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


class _Part:
    """What is still held of one batch, with the two columns that rounds look through close together.

    Attributes
    ----------
    here : (B,) which beams. priority, power : (B,) PRIORITY and POWER of those that wait, -1 and 0 for the others.
    """

    def __init__(self, batch: Batch) -> None:
        waits = batch.beams[:, ALIVE] != 0.0
        self.batch, self.here = batch, np.ones(len(waits), bool)
        self.priority = np.where(waits, batch.beams[:, PRIORITY], -1.0)
        self.power = np.where(waits, batch.beams[:, POWER], 0.0)

    def take(self, floor: float) -> np.ndarray:
        """Numbers of the beams that wait and have at least the priority `floor`, held no longer."""
        which = np.flatnonzero(self.priority >= floor)
        self.here[which], self.priority[which], self.power[which] = False, -1.0, 0.0
        return which


class _Held:
    """Beams that have ended or wait, in the batches that they came in. ended : weight times area, mm^2, inside those ended."""

    def __init__(self, first: Batch) -> None:
        self.parts: list[_Part] = []
        self.ended = 0.0
        self.add(first)

    def add(self, batch: Batch) -> None:
        self.parts.append(_Part(batch))
        self.ended += float(batch.beams[batch.beams[:, ALIVE] == 0.0, POWER].sum())

    def __len__(self) -> int:
        return sum(int(part.here.sum()) for part in self.parts)

    def nodes(self) -> int:
        """How many nodes of paths the batches have."""
        return sum(len(part.batch.nodes) for part in self.parts)

    def live(self) -> float:
        """Weight times area, mm^2, inside the beams that wait."""
        return sum(float(part.power.sum()) for part in self.parts)

    def take(self, floor: float) -> BeamSet:
        """Remove the beams that wait and have at least the priority `floor`."""
        return gather([(part.batch, part.take(floor)) for part in self.parts])

    def rest(self) -> Batch:
        """All that is held, as one batch; a polygon that rounding left without area is no polygon."""
        return _as_one([(part.batch, np.flatnonzero(part.here & (part.batch.beams[:, SIDES] >= 3.0))) for part in self.parts])


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
        self._live = self._entered = self._held.live()
        self._progress = progress
        self.count = self.pieces = 0
        self.full = False

    def until(self, share: float) -> None:
        """Trace until at most this share of the light is left inside, as far as more rounds can bring it down."""
        held, target = self._held, share * self._area
        floor = FIRST_FLOOR * target if self._floor is None else self._lower(self._floor, target)
        while not self.full and self._live > self._goal(target):
            active = held.take(floor)
            if len(active.beams):
                limit = max(1, self._rules.limit - len(held))
                now = self._rules._replace(floor=floor, first_node=held.nodes(), limit=limit)
                left = _deal(active, now, self._surroundings, self._threads)
                held.add(left)
                self._live = held.live()
                self.pieces += left.pieces
                self.full = left.stopped
            self.count += 1
            wanted = self._goal(target)
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
