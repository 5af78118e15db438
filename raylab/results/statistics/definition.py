"""What a statistic is: a number with its surroundings, and the definition that it follows from."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from ...tracers.totals import MOMENTS, Totals
from .limits import Limits


@dataclass(frozen=True)
class Statistic:
    """A number with what is known of its surroundings.

    Of many scenes, each attribute but `whole` is an array with a number for each: see `statistic`.

    Attributes: `value`, the estimate; `low` and `high`, the certain bracket; `error`, the value's standard error (0: none);
    `whole`, whether the value counts the untraced light too, as estimated by rays, so that nothing but `error` is open.
    """

    value: float
    low: float
    high: float
    error: float = 0.0
    whole: bool = False

    @property
    def width(self) -> float:
        """Of the certain bracket."""
        return self.high - self.low

    def __float__(self) -> float:
        return self.value

    def __str__(self) -> str:
        sampled = f" \u00b1 {self.error:.1e}" if self.error > 0.0 else ""
        return f"{self.value:.4f} [{self.low:.4f}, {self.high:.4f}]{sampled}"


def statistic(value: Any, low: Any, high: Any, error: Any, whole: bool = False) -> Statistic:
    """A statistic of one scene, whose numbers become plain floats, or of many, whose numbers are arrays of one shape."""
    if np.ndim(value):
        return Statistic(value, low, high, error, whole)
    return Statistic(float(value), float(low), float(high), float(error), whole)


PARTS = {
    "": ("value", ""),
    "_low": ("low", ", at least"),
    "_high": ("high", ", at most"),
    "_error": ("error", ", standard error"),
}
"""What the parts of a `Statistic` are called in columns, by suffix; the part, and what its long name adds."""


@dataclass(frozen=True)
class Description:
    """What a statistic is called and means.

    Attributes
    ----------
    key : its name in records, files and columns. label : its name in running text and tables.
    definition : one line, with the source.
    unit : "1" for all that are shares or ratios. percent : True where it is shown in percent.
    span : between which numbers it can lie at all.
    """

    key: str
    label: str
    definition: str
    unit: str = "1"
    percent: bool = False
    span: tuple[float, float] = (0.0, math.inf)


@dataclass(frozen=True, kw_only=True)
class Definition(Description):
    """A statistic that follows from area means over the outline.

    Attributes
    ----------
    of : (totals, limits) -> the statistic, of one scene or of many with the same limits. Its bracket holds for certain and
        comes from `totals.mean`, the untraced weight in it and what the limits let it become, its value from
        `totals.estimate`, its error from sampling.
    gradient : (mean, peak_radiance) -> (..., MOMENTS) the derivatives of its value by each of the area means `mean`
        (..., MOMENTS), or (MOMENTS,) where they are the same for all; NaN where it has none. `peak_radiance` is the dome's
        brightest.
    """

    of: Callable[[Totals, Limits], Statistic]
    gradient: Callable[[np.ndarray, float], np.ndarray]


def unit_vector(moment: int) -> np.ndarray:
    """(MOMENTS,) 1 at one area mean, 0 at the others."""
    vector = np.zeros(MOMENTS)
    vector[moment] = 1.0
    return vector
