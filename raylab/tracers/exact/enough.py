"""When the exact tracer has done enough: how far whole polygons are traced, and how many rays estimate what waits then.

Where a standard error is wanted, whole polygons end where rays become cheaper. With a share s of the light waiting, pieces of
polygons cost P / s and the rays that the wanted error needs R s^2; a few rays of a first estimate tell R, and the sum is least
at s^3 = P / (2 R). Costs are counted, not timed: the same scene ends at the same place everywhere.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Protocol, TypeVar

from ...scene.settings import TraceSettings
from ..goal import Goal
from ..totals import Totals
from .schedule import Rounds
from .tail import Tail


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
"""The polygons so far: a call draws so many more rays from what waits, and gives the result with all that were drawn."""
RAYS = 64
"""Rays that estimate what waits where no standard error is asked for."""
TRIED = 128
"""Rays that try out how many are needed where one is."""
MOST_RAYS = 1 << 22
"""Most rays that are drawn for one scene, 2 GB of them."""
MOST_WAITING = 0.1
"""No more of the light is left to rays."""
RAYS_TO_EXPECT = 2000.0
"""Polygons go on, before rays are tried out, until about so many rays are likely to do."""
SPREAD = 0.35
"""By how much, as a share of the light that waits, a ray's statistics scatter: a guess for that first step."""
SEGMENT_COST = 0.15
"""Time of a ray's path segment as a multiple of that of a piece, as measured by `benchmarks/bench_tail.py`."""
FINER = 0.8
"""Many rays have finer strata than a few: so many of the rays that a few rays' scatter asks for are enough, as measured."""
MARGIN = 1.05
"""What is missing then is drawn with this margin."""
WORTH_WHILE = 0.8
"""Polygons go on only if what waits is to fall to less than this share of itself."""
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
    share = max(precision, min(MOST_WAITING, wanted * math.sqrt(RAYS_TO_EXPECT) / SPREAD))
    work.until(share)
    more = stop_here()
    beams = more(TRIED)
    needed = FINER * TRIED * error(beams.totals) ** 2
    ray_cost = SEGMENT_COST * beams.tail.segments / max(1, beams.tail.rays)
    best = max(precision, share * (max(1, work.pieces) / max(1.0, 2.0 * ray_cost * needed)) ** (1.0 / 3.0))
    if best < WORTH_WHILE * share and needed > TRIED:
        work.until(best)
        more = stop_here()
        beams = more(min(MOST_RAYS, max(TRIED, math.ceil(needed * (best / share) ** 2))))
    while (wide := error(beams.totals)) > 1.0 and 0 < (rays := beams.tail.rays) < MOST_RAYS:
        part = FINER if rays == TRIED else MARGIN
        beams = more(min(MOST_RAYS - rays, max(RAYS, math.ceil(rays * (part * wide**2 - 1.0)))))
    return beams
