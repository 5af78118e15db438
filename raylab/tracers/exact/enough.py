"""When the exact tracer has done enough: how far whole polygons are traced, and how many rays estimate what waits then.

Where a standard error is wanted, whole polygons end where rays become cheaper. With a share s of the light waiting, pieces of
polygons cost P s^-a and the rays that the wanted error needs R s^b. The sum is least where a P s^-a = b R s^b. R is guessed
first, and then told by a few rays. Costs are counted, not timed: the same scene ends at the same place everywhere.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Protocol, TypeVar

from ...scene.settings import TraceSettings
from ..goal import Goal
from ..totals import Totals
from .schedule import Rounds
from .tail import FINER_FROM, Tail


class Estimated(Protocol):
    """The result of polygons with an estimate of what waits."""

    @property
    def totals(self) -> Totals:
        """Area means."""

    @property
    def tail(self) -> Tail:
        """The estimate."""


Found = TypeVar("Found", bound=Estimated)
Stop = Callable[[int], Found]
"""The polygons so far: a call draws rays from what waits until there are so many, and gives the result with them."""
RAYS = 64
"""Rays that estimate what waits where no standard error is asked for."""
TRIED, MOST_TRIED, PART_TRIED = 96, 1024, 0.1
"""Rays that try out how many are needed where one is: this part of how many are likely to do, but not fewer and not more."""
MOST_RAYS = 1 << 22
"""Most rays that are drawn for one scene, 2 GB of them."""
MOST_WAITING = 0.1
"""No more of the light is left to rays."""
SPREAD = 0.4
"""By how much, as a share of the light that waits, a ray's statistics scatter: a guess for these first steps."""
SEGMENT_COST = 0.12
"""Time of a ray's path segment as a multiple of that of a piece in the first rounds, whose pieces take longest. Against all
pieces of a fine bracket it is 0.14 to 0.24, as measured by `benchmarks/bench_tail.py`."""
SEGMENTS_TO_EXPECT = 15.0
"""Segments of a ray's path: a guess before any ray is drawn."""
PIECES_GROW, RAYS_FALL = 1.1, 1.4
"""The exponents a and b above, as measured on brilliants, an oval and an emerald cut; b is not 2, for what waits longest is the
hardest to estimate."""
FINER, FINEST = 0.55, 0.75
"""More rays have finer strata: the error falls as their number to the power -FINER, and to the power -FINEST where they are
more than the beams that wait, whose polygons their strata then divide. As measured."""
AIM = 0.9
"""Of the rays that this asks for, so many are drawn before the error is looked at again."""
LEAST_MORE = 0.12
"""Where little is missing, rays with strata of their own are added, wider ones: this part of what was drawn hardly helps."""
WORTH_WHILE = 0.65
"""Polygons go on only if what waits is to fall to less than this share of itself."""
NEAR = 1.3
"""So many times the share that is cheapest is near enough: the sum is flat there, and rounds of small steps cost more."""
LEAST_STEP = 0.3
"""And not to less than this before rays have been tried out."""
_LEAST_SHARE = 1e-7
_STUCK = 0.95
"""A bracket that shrinks by less is wide for another reason: paths ended by `max_bounces`, or light on an edge of the dome."""


def work_until_enough(work: Rounds, settings: TraceSettings, goal: Goal, stop_here: Callable[[], Stop[Found]]) -> Found:
    """Go on until the goal is reached.

    Parameters
    ----------
    settings : `precision` is the share of light that may wait, and may always be left waiting where a standard error is wanted.
    stop_here : see `Stop`.
    """
    if goal.error is not None and settings.standard_error is not None:
        if not goal.early:
            work.until(settings.precision)
        return _by_error(work, settings.precision, settings.standard_error, goal.error, stop_here)
    work.until(settings.precision)
    beams, share = stop_here()(RAYS), settings.precision
    wide = goal.width(beams.totals) if goal.width is not None else 0.0
    while goal.width is not None and wide > 1.0 and not work.full and share > _LEAST_SHARE:
        share = max(share / min(4.0, max(1.25, wide)), _LEAST_SHARE)
        work.until(share)
        beams, before = stop_here()(RAYS), wide
        wide = goal.width(beams.totals)
        if wide > _STUCK * before:
            break
    return beams


def _by_error(
    work: Rounds, precision: float, wanted: float, error: Callable[[Totals], float], stop_here: Callable[[], Stop[Found]]
) -> Found:
    """The same for a wanted standard error: `error` is that of some totals as a multiple of the wanted one."""
    work.until(max(precision, MOST_WAITING), NEAR)
    share = work.waits
    likely = (SPREAD * share / wanted) ** 2
    cheapest = max(precision, LEAST_STEP * share, _cheapest(work, share, SEGMENTS_TO_EXPECT * likely))
    if cheapest < WORTH_WHILE * share:
        work.until(cheapest, NEAR)
        likely *= (work.waits / share) ** RAYS_FALL
        share = work.waits
    more = stop_here()
    beams = more(math.ceil(min(MOST_TRIED, max(TRIED, PART_TRIED * likely))))
    wide = error(beams.totals)
    needed = _needed(beams.tail, wide)
    cheapest = max(precision, _cheapest(work, share, beams.tail.segments * needed / max(1, beams.tail.rays)))
    if cheapest < WORTH_WHILE * share and needed > beams.tail.rays:
        work.until(cheapest, NEAR)
        more = stop_here()
        beams = more(math.ceil(min(MOST_RAYS, max(TRIED, needed * (work.waits / share) ** RAYS_FALL))))
        wide = error(beams.totals)
    while wide > 1.0 and 0 < (rays := beams.tail.rays) < MOST_RAYS:
        needed = AIM * _needed(beams.tail, wide)
        if needed < FINER_FROM * rays:
            needed = rays * (1.0 + LEAST_MORE + 2.0 * (wide - 1.0))
        beams = more(math.ceil(min(MOST_RAYS, needed)))
        wide = error(beams.totals)
    return beams


def _needed(tail: Tail, wide: float) -> float:
    """How many rays bring the error down to what is wanted; with those drawn so far it is `wide` times that."""
    coarse = max(tail.rays, tail.beams)
    there = wide * (tail.rays / max(1, coarse)) ** FINER
    return float(tail.rays * wide ** (1.0 / FINER) if there < 1.0 else coarse * there ** (1.0 / FINEST))


def _cheapest(work: Rounds, share: float, segments: float) -> float:
    """The share of waiting light at which polygons and rays cost least together, if rays need so many `segments` now."""
    rays = SEGMENT_COST * max(1.0, segments)
    return share * (PIECES_GROW * max(1, work.pieces) / (RAYS_FALL * rays)) ** (1.0 / (PIECES_GROW + RAYS_FALL))
