"""Larger, smaller, or not told apart: what two measured numbers say about two stones, in one plain sentence.

**The criterion.** The difference of the two best values is known to within the engines' brackets and, to either side,
`coverage` times the root of the sum of squares of both doubts (see `Estimate.standard_uncertainty`); the two stones were measured
independently. Only where zero lies outside that range is one called larger. With a coverage factor of 2 about one sentence in
twenty says "larger" or "smaller" of stones that don't differ.

**Places.** A stone's place among several is 1 plus the number of stones told to be larger than it, and no worse than all
but those told to be smaller: stones that are not told apart share a range of places. Largest comes first; whether large
is good is the reader's to say. There is no overall score.
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
    """How a number is told: its name, its unit, the factor from the number to that unit, and the decimals shown."""

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
    """Words for what is measured on some cut, and for how much it varies over a stone."""
    found = {}
    for key, one in measured_by_key().items():
        found[key] = _UNITS[one.unit]._replace(name=one.label)
        found[spread_key(key)] = _UNITS[one.unit]._replace(name=f"{one.label}, largest minus smallest")
    return found


def words(name: str) -> Words:
    """How a number is told, by its name in the records: a statistic by its definition, a proportion by its unit.

    >>> words("crown_angle_deg").show(34.5), words("leak").show_difference(0.0123)
    ('34.50°', '1.23 percentage points')
    """
    if (statistic := description_of(name)) is not None:
        unit = "" if statistic.unit == "1" else statistic.unit
        return _SHARE._replace(name=statistic.label) if statistic.percent else _PLAIN._replace(name=statistic.label, unit=unit)
    return _WORDS.get(name) or _measured_words().get(name) or _PLAIN._replace(name=name.replace("_", " "))


def natural_range(name: str) -> tuple[float, float]:
    """Between what a number of this name can lie at all: a statistic's own span, lengths from 0."""
    if (statistic := description_of(name)) is not None:
        return statistic.span
    measured = measured_by_key().get(name)
    return (-math.inf if measured is not None and measured.signed else 0.0), math.inf


def within_nature(name: str, one: Estimate) -> Estimate:
    """The estimate with a shift that leads nowhere beyond the number's natural range; a stone can't be more than even."""
    low, high = natural_range(name)
    value = one.statistic.value
    return replace(one, shift=value - min(max(one.best, min(low, value)), max(high, value))) if one.shift else one


@dataclass(frozen=True)
class Verdict:
    """What is known of one number's difference between two stones.

    Attributes
    ----------
    name : of the number. first, second : the stones' labels.
    difference : first's best value minus second's. low, high : where the true difference lies, by the criterion.
    """

    name: str
    first: str
    second: str
    difference: float
    low: float
    high: float

    @property
    def outcome(self) -> str:
        """``"larger"`` or ``"smaller"`` (the first stone), ``"not told apart"``, or ``"unknown"`` where numbers are missing."""
        if not (math.isfinite(self.low) and math.isfinite(self.high)):
            return "unknown"
        return "larger" if self.low > 0.0 else "smaller" if self.high < 0.0 else "not told apart"

    @property
    def sentence(self) -> str:
        """One plain sentence."""
        what = words(self.name)
        if self.outcome == "unknown":
            return f"{what.title}: not known of both {self.first} and {self.second}."
        if self.outcome == "not told apart":
            least = max(self.high - self.difference, self.difference - self.low)
            return (
                f"{what.title}: {self.first} and {self.second} are not told apart by these measurements; "
                f"they differ by {what.show_difference(abs(self.difference))}, and less than about {what.bare(least)} can't be told."
            )
        near, far = sorted((abs(self.low), abs(self.high)))
        return (
            f"{what.title}: {self.outcome} in {self.first} than in {self.second}, by {what.show_difference(abs(self.difference))} "
            f"(between {what.bare(near)} and {what.bare(far)})."
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
    """First and last possible place of each stone, the largest number first; see the module's text."""
    above = {label: 0 for label in labels}
    below = dict(above)
    for verdict in verdicts:
        winner, loser = (verdict.first, verdict.second)[:: -1 if verdict.outcome == "smaller" else 1]
        if verdict.outcome in ("larger", "smaller"):
            above[loser] += 1
            below[winner] += 1
    return {label: (1 + above[label], len(labels) - below[label]) for label in labels}
