"""Verdicts on two measured numbers of two stones: larger, smaller, or not significant.

**The criterion.** The difference of the two best values is known to within the engines' brackets and, to either side,
`coverage` times the root of the sum of squares of both standard uncertainties (see `Estimate.standard_uncertainty`); the two
measurements are independent. One stone is called larger only if zero lies outside that range. With a coverage factor of 2,
about one verdict in twenty says "larger" or "smaller" for stones that do not differ.

**Ranks.** The best possible rank of a stone is 1 plus the number of significantly larger stones; its worst possible rank is
the number of stones minus the number of significantly smaller ones. Rank 1 is the largest number, which is not necessarily
the best. There is no overall score.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

from ..results.statistics import description_of
from ..stone.known_cuts import measured_by_key
from ..stone.proportions import spread_key
from .uncertainty import COVERAGE, Estimate


class Words(NamedTuple):
    """How a number is shown: its name, its unit, the factor from the number to that unit, and the decimals."""

    name: str
    unit: str
    factor: float
    decimals: int

    @property
    def title(self) -> str:
        """The name with a capital letter."""
        return self.name[0].upper() + self.name[1:]

    def bare(self, value: float) -> str:
        """The number without its unit, or a dash where there is none."""
        return f"{self.factor * value:.{self.decimals}f}" if math.isfinite(value) else "-"

    def show(self, value: float) -> str:
        """The number with its unit."""
        return (self.bare(value) + {"": "", "°": "°"}.get(self.unit, f" {self.unit}")) if math.isfinite(value) else "-"

    def show_difference(self, value: float) -> str:
        """A difference of two numbers with its unit; of percentages, in percentage points."""
        return f"{self.bare(value)} percentage points" if self.unit == "%" else self.show(value)


_SHARE, _PLAIN = Words("", "%", 100.0, 2), Words("", "", 1.0, 3)
_UNITS = {
    "%": Words("", "%", 1.0, 2),
    "deg": Words("", "°", 1.0, 2),
    "mm": Words("", "mm", 1.0, 3),
    "ct": Words("", "ct", 1.0, 4),
}
_WORDS = {
    "weight_ct": _UNITS["ct"]._replace(name="weight"),
    "volume_mm3": Words("volume", "mm³", 1.0, 3),
    "spread_mm2_per_ct": Words("spread, face-up area per weight", "mm²/ct", 1.0, 2),
}


def _measured_words() -> dict[str, Words]:
    """Words for the measured quantities of all cuts and for their spread over a stone."""
    found = {}
    for key, one in measured_by_key().items():
        found[key] = _UNITS[one.unit]._replace(name=one.label)
        found[spread_key(key)] = _UNITS[one.unit]._replace(name=f"{one.label}, largest minus smallest")
    return found


def words(name: str) -> Words:
    """How a number is shown, by its name in the records: a statistic by its definition, a proportion by its unit.

    >>> words("crown_angle_deg").show(34.5), words("leak").show_difference(0.0123)
    ('34.50°', '1.23 percentage points')
    """
    if (statistic := description_of(name)) is not None:
        unit = "" if statistic.unit == "1" else statistic.unit
        return _SHARE._replace(name=statistic.label) if statistic.percent else _PLAIN._replace(name=statistic.label, unit=unit)
    return _WORDS.get(name) or _measured_words().get(name) or _PLAIN._replace(name=name.replace("_", " "))


def natural_range(name: str) -> tuple[float, float]:
    """The possible range of a number of this name: the span of a statistic; lengths from 0."""
    if (statistic := description_of(name)) is not None:
        return statistic.span
    measured = measured_by_key().get(name)
    return (-math.inf if measured is not None and measured.signed else 0.0), math.inf


def within_nature(name: str, one: Estimate) -> Estimate:
    """The estimate with a shift that stays within the natural range of the number."""
    low, high = natural_range(name)
    value = one.statistic.value
    return replace(one, shift=value - min(max(one.best, min(low, value)), max(high, value))) if one.shift else one


@dataclass(frozen=True)
class Verdict:
    """The difference of one number between two stones.

    Attributes
    ----------
    name : name of the number. first, second : labels of the stones.
    difference : best value of the first minus that of the second. low, high : range of the true difference, by the criterion.
    """

    name: str
    first: str
    second: str
    difference: float
    low: float
    high: float

    @property
    def outcome(self) -> str:
        """``"larger"`` or ``"smaller"`` (the first stone), ``"not significant"``, or ``"unknown"`` (a missing number)."""
        if not (math.isfinite(self.low) and math.isfinite(self.high)):
            return "unknown"
        return "larger" if self.low > 0.0 else "smaller" if self.high < 0.0 else "not significant"

    @property
    def sentence(self) -> str:
        """One plain sentence."""
        what = words(self.name)
        if self.outcome == "unknown":
            return f"{what.title}: unknown for {self.first} or {self.second}."
        if self.outcome == "not significant":
            least = max(self.high - self.difference, self.difference - self.low)
            return (
                f"{what.title}: no significant difference between {self.first} and {self.second}; "
                f"measured difference {what.show_difference(abs(self.difference))}, "
                f"differences below about {what.bare(least)} are not significant."
            )
        near, far = sorted((abs(self.low), abs(self.high)))
        return (
            f"{what.title}: {self.outcome} for {self.first} than for {self.second}, "
            f"by {what.show_difference(abs(self.difference))} ({what.bare(near)} to {what.bare(far)})."
        )

    def to_dict(self) -> dict[str, Any]:
        """Plain numbers and strings, ready for JSON."""
        outcome = {"first": self.first, "second": self.second, "outcome": self.outcome, "difference": self.difference}
        return {**outcome, "low": self.low, "high": self.high, "sentence": self.sentence}


def judge(name: str, first: tuple[str, Estimate], second: tuple[str, Estimate], coverage: float = COVERAGE) -> Verdict:
    """The verdict on one number of two stones, each given as (label, estimate)."""
    (label, a), (other, b) = first, second
    half_width = coverage * math.hypot(a.standard_uncertainty, b.standard_uncertainty)
    low = (a.statistic.low - a.shift) - (b.statistic.high - b.shift) - half_width
    high = (a.statistic.high - a.shift) - (b.statistic.low - b.shift) + half_width
    return Verdict(name, label, other, a.best - b.best, low, high)


def judge_all(name: str, found: Mapping[str, Estimate], coverage: float = COVERAGE) -> tuple[Verdict, ...]:
    """The verdicts on one number for every pair of stones; `found` holds each stone's estimate by its label."""
    each = list(found.items())
    return tuple(judge(name, each[i], each[j], coverage) for i in range(len(each)) for j in range(i + 1, len(each)))


def ranks(labels: Sequence[str], verdicts: Sequence[Verdict]) -> dict[str, tuple[int, int]]:
    """Best and worst possible rank of each stone, the largest number first; see the text of the module."""
    above = {label: 0 for label in labels}
    below = dict(above)
    for verdict in verdicts:
        winner, loser = (verdict.first, verdict.second)[:: -1 if verdict.outcome == "smaller" else 1]
        if verdict.outcome in ("larger", "smaller"):
            above[loser] += 1
            below[winner] += 1
    return {label: (1 + above[label], len(labels) - below[label]) for label in labels}
