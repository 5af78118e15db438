"""Verdicts on one number of two stones: larger, smaller, equal, or a difference that can't be established.

**The criterion.** A verdict rests on the numbers of the stones as they are shown: its difference is the difference of the two.
The true difference may deviate from it by the brackets where numbers don't count the untraced light, by `coverage` times the
root of the sum of squares of both standard uncertainties (see `Estimate.standard_uncertainty`; the two measurements are
independent), and by the bias that errors of measurement cause. The bias is not taken off a number; the range of the difference
holds the difference with it and without it, as is done for a known effect that is left uncorrected (JCGM 100:2008, F.2.4.5,
from memory). One stone is called larger only if zero lies outside that range. With a coverage factor of 2, at most about one
verdict in twenty says "larger" or "smaller" for stones that do not differ.

A difference that can't be established is "not significant" if a measurement is the reason, and "not resolved" if nothing was
measured and only the tracing is not fine enough. It is "equal" if its whole range is less than half a unit of the last digit
shown. There is no order of more than two stones and no overall score: a larger number is not necessarily better.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
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
        return f"{self.factor * value:z.{self.decimals}f}" if math.isfinite(value) else "-"

    @property
    def behind(self) -> str:
        """What stands behind a number: its unit, with a space but for degrees."""
        return self.unit if self.unit in ("", "°") else f" {self.unit}"

    def show(self, value: float) -> str:
        """The number with its unit."""
        return self.bare(value) + self.behind if math.isfinite(value) else "-"

    def rounded(self, value: float) -> float:
        """The number in its unit, rounded as it is shown."""
        return round(self.factor * value, self.decimals)

    def apart(self, first: float, second: float) -> str:
        """The difference of two numbers as they are shown, with its unit; of percentages, in percentage points."""
        shown = abs(self.rounded(first) - self.rounded(second))
        text = f"{shown:.{self.decimals}f}" if shown > 0.0 else f"less than {10.0**-self.decimals:.{self.decimals}f}"
        return text + (" percentage points" if self.unit == "%" else self.behind)


_SHARE, _PLAIN = Words("", "%", 100.0, 2), Words("", "", 1.0, 3)
_UNITS = {
    "%": Words("", "%", 1.0, 2),
    "deg": Words("", "°", 1.0, 2),
    "mm": Words("", "mm", 1.0, 3),
    "ct": Words("", "ct", 1.0, 4),
    "1": _PLAIN,
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

    >>> words("crown_angle_deg").show(34.5), words("leak").apart(0.0812, 0.0935)
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
    """The estimate with a shift, and a kink beyond it, that stay within the natural range of the number."""
    low, high = natural_range(name)
    value = one.statistic.value
    shift, whole = (
        value - min(max(value - bias, min(low, value)), max(high, value)) for bias in (one.shift, one.shift + one.kink)
    )
    return replace(one, shift=shift, kink=whole - shift) if one.shift or one.kink else one


@dataclass(frozen=True)
class Verdict:
    """The difference of one number between two stones.

    Attributes
    ----------
    name : name of the number. first, second : labels of the stones.
    values : the numbers of the first and of the second, as shown.
    low, high : range of the true difference, by the criterion.
    measured : True where the range comes from a measurement, False where it comes from the tracing alone.
    """

    name: str
    first: str
    second: str
    values: tuple[float, float]
    low: float
    high: float
    measured: bool = True

    @property
    def difference(self) -> float:
        """The number of the first stone minus that of the second."""
        return self.values[0] - self.values[1]

    @property
    def least(self) -> float:
        """The size that the difference has to exceed, in its own direction, to be established."""
        return self.difference - self.low if self.difference >= 0.0 else self.high - self.difference

    @property
    def outcome(self) -> str:
        """``"larger"`` or ``"smaller"`` (the first stone), ``"equal"``, ``"not significant"``, ``"not resolved"``, or
        ``"unknown"`` (a missing number)."""
        if not (math.isfinite(self.low) and math.isfinite(self.high)):
            return "unknown"
        what = words(self.name)
        if max(abs(self.low), abs(self.high)) * what.factor < 0.5 * 10.0**-what.decimals:
            return "equal"
        if self.low > 0.0 or self.high < 0.0:
            return "larger" if self.low > 0.0 else "smaller"
        return "not significant" if self.measured else "not resolved"

    @property
    def established(self) -> bool:
        """True where one of the stones is called larger."""
        return self.outcome in ("larger", "smaller")

    @property
    def phrase(self) -> str:
        """The outcome in a few words: "A larger than B by ...", or such as "A and B: not significant"."""
        if not self.established:
            return f"{self.first} and {self.second}: {self.outcome}"
        larger, other = (self.first, self.second)[:: 1 if self.outcome == "larger" else -1]
        what = words(self.name)
        near, far = sorted(map(what.bare, map(abs, (self.low, self.high))), key=float)
        span = f" ({near} to {far})" if near != far else ""
        return f"{larger} larger than {other} by {what.apart(*self.values)}{span}"

    @property
    def sentence(self) -> str:
        """One plain sentence with both numbers and their difference."""
        what = words(self.name)
        if self.outcome == "unknown":
            return f"{what.title}: unknown for {self.first} or {self.second}."
        numbers = f"{self.first} {what.show(self.values[0])}, {self.second} {what.show(self.values[1])}"
        if self.outcome == "equal":
            return f"{what.title}: {numbers}; no difference."
        if self.established:
            return f"{what.title}: {numbers}; {self.phrase}."
        limit = f"about {what.bare(self.least)}"
        why = f"not significant (below {limit})" if self.measured else f"finer than the tracing resolves ({limit})"
        return f"{what.title}: {numbers}; the difference of {what.apart(*self.values)} is {why}."

    def to_dict(self) -> dict[str, Any]:
        """Plain numbers and strings, ready for JSON."""
        outcome = {"first": self.first, "second": self.second, "outcome": self.outcome, "difference": self.difference}
        return {**outcome, "low": self.low, "high": self.high, "sentence": self.sentence}


def judge(name: str, first: tuple[str, Estimate], second: tuple[str, Estimate], coverage: float = COVERAGE) -> Verdict:
    """The verdict on one number of two stones, each given as (label, estimate)."""
    (label, a), (other, b) = first, second
    half_width = coverage * math.hypot(a.standard_uncertainty, b.standard_uncertainty)
    bias = a.shift - b.shift
    least, most = (bias + f(a.kink, 0.0) - g(b.kink, 0.0) for f, g in ((min, max), (max, min)))
    low = a.traced[0] - b.traced[1] - max(most, 0.0) - half_width
    high = a.traced[1] - b.traced[0] - min(least, 0.0) + half_width
    measured = a.uncertainty > 0.0 or b.uncertainty > 0.0
    return Verdict(name, label, other, (a.statistic.value, b.statistic.value), low, high, measured)


def judge_all(name: str, found: Mapping[str, Estimate], coverage: float = COVERAGE) -> tuple[Verdict, ...]:
    """The verdicts on one number for every pair of stones; `found` holds each stone's estimate by its label."""
    each = list(found.items())
    return tuple(judge(name, each[i], each[j], coverage) for i in range(len(each)) for j in range(i + 1, len(each)))
