"""Derivatives of exact statistics along the paths that light takes, by steps of a stone.

A statistic is a sum over virtual facets of area times weight. Between jumps each term is smooth in what makes the stone. The
stone is traced a little to both sides, so near that every path is found again on both; polygons are matched path by path,
and their differences, not the differences of large sums, are added. The step is halved until the paths agree; the step and
its half give an error estimate.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from ..jit import njit
from ..results.statistics import STATISTICS
from ..stone.stone import Stone
from ..tracers.exact.beams import Beams
from ..tracers.ledger import CHANNELS, ON_POLYGONS
from ..tracers.totals import MOMENTS

FIRST_STEP, LAST_STEP = 1e-5, 1e-8
"""Steps tried for light, in the unit of what is stepped."""
UNMATCHED = 1e-12
"""Share of the outline whose paths may differ across a step: slivers that a step makes or ends."""
SOLID_STEP = 1e-3


class Stepped(NamedTuple):
    """Derivatives by steps, and their estimated errors."""

    values: np.ndarray
    errors: np.ndarray


def solid_derivative(numbers_at: Callable[[float], np.ndarray]) -> Stepped:
    """Of numbers that are smooth in the step, such as weights; the facets must keep their order."""
    wide, near = ((numbers_at(step) - numbers_at(-step)) / (2.0 * step) for step in (SOLID_STEP, SOLID_STEP / 2.0))
    better = (4.0 * near - wide) / 3.0  # Richardson: the error falls with the square of the step
    return Stepped(better, np.abs(better - near))


def light_derivative(stone_at: Callable[[float], Stone], trace: Callable[[Stone], Beams], peak_radiance: float) -> Stepped:
    """Of each of `STATISTICS`; NaN where no step was small enough.

    Parameters
    ----------
    stone_at : the stone a step away, with the same facets in the same order. trace : its virtual facets, paths kept.
    """
    step, coarse = FIRST_STEP, None
    while step >= LAST_STEP:
        fine = _central(trace(stone_at(step)), trace(stone_at(-step)), 2.0 * step, peak_radiance)
        if fine is not None and coarse is not None:
            return Stepped(fine, np.abs(fine - coarse))
        coarse, step = fine, step / 2.0
    return Stepped(*np.full((2, len(STATISTICS)), math.nan))


def _central(after: Beams, before: Beams, width: float, peak_radiance: float) -> np.ndarray | None:
    """Central differences of the statistics; None where the paths to both sides differ."""
    one, other, lost = _matched(after, before)
    if lost > UNMATCHED:
        return None
    share_a, share_b = after.areas_mm2 / after.areas_mm2.sum(), before.areas_mm2 / before.areas_mm2.sum()
    slopes = np.zeros(MOMENTS)  # of the area means
    slopes[:ON_POLYGONS] = (share_a[one, None] * after.rows[one] - share_b[other, None] * before.rows[other]).sum(axis=0)
    slopes[CHANNELS:] = (share_a[one, None] * after.moments[one] - share_b[other, None] * before.moments[other]).sum(axis=0)
    mean = (after.totals.mean + before.totals.mean) / 2.0
    return np.array([one.gradient(mean, peak_radiance) @ (slopes / width) for one in STATISTICS.values()])


def _matched(one: Beams, other: Beams) -> tuple[np.ndarray, np.ndarray, float]:
    """Polygons of both with the same path, and the larger share of the outline that has no partner."""
    a, b = _names(one), _names(other)
    _, at_a, at_b = np.intersect1d(a, b, assume_unique=False, return_indices=True)
    lost = [1.0 - float(beams.areas_mm2[at].sum() / beams.areas_mm2.sum()) for beams, at in ((one, at_a), (other, at_b))]
    return at_a, at_b, max(lost)


def _names(beams: Beams) -> np.ndarray:
    """(L,) a 64-bit name for each polygon's path."""
    return _hashed(beams.nodes)[beams.leaves]


@njit()
def _hashed(nodes):
    """(N,) a 64-bit name for each node's path: mixed from the name of the node before and the facet (splitmix64).

    Two of K paths share a name with a chance of about K^2 / 4e19.
    """
    names = np.empty(len(nodes), np.uint64)
    for k in range(len(nodes)):
        before = names[nodes[k, 0]] if nodes[k, 0] >= 0 else np.uint64(0)
        z = before + np.uint64(nodes[k, 1] + 1) * np.uint64(0x9E3779B97F4A7C15)
        z = (z ^ (z >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
        z = (z ^ (z >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
        names[k] = z ^ (z >> np.uint64(31))
    return names
