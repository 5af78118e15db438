"""What differs between stones, and in which views, in a sentence of plain words for each pair.

A sentence says what the verdicts say and nothing else: a stone is called brighter only where its verdict does so. Successive
clauses are views in which the same is true; a number that varies between them is given as a range. Shares of the light are told
by their difference; numbers without a unit, whose difference alone says little, by both. Two stones of which
nothing is established "can't be told apart" by the measurements, or by the tracing where nothing was measured.

Of two or three stones every pair has its sentence. Of more, one sentence counts the pairs that differ. No stone is put before
another: what is larger is not necessarily better.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from typing import NamedTuple

from .comparison import Comparison
from .verdicts import Verdict, words

WORDS = {
    "brightness": ("is brighter", "brightness", ""),
    "contrast_rms": ("has more contrast", "contrast", ""),
    "leak": ("leaks more light", "leakage", ""),
    "symmetry": ("has the more symmetric pattern", "symmetry", ", where 1 is perfect symmetry"),
}
"""By statistic: what is said of the stone with the larger number, what pairs of stones differ in, and what the numbers mean."""

MOST_PAIRS = 3
"""With more pairs than this, the pairs that differ are counted."""

LIGHTS = {
    "evening-sky": "an evening sky",
    "even-sky": "an even sky",
    "furnished-room": "the light of a furnished room",
    "head-shadow": "an even sky with the dark head of the observer",
    "overcast-sky": "an overcast sky",
    "side-window": "the light of one window",
    "small-lamps": "small lamps",
}
"""Domes in plain words, by name."""

Views = Sequence[tuple[float, Mapping[str, Sequence[Verdict]]]]
"""The tilt of each view, degrees, and its verdicts on every pair of stones, by statistic."""


class Clause(NamedTuple):
    """What is true of a pair in several views: the stone with the larger number by statistic, or why there is none."""

    larger: tuple[tuple[str, str], ...]
    reason: str


def light_in_words(name: str) -> str:
    """The light of a dome of this name.

    >>> light_in_words("small-lamps"), light_in_words("my-desk")
    ('small lamps', 'the dome my-desk')
    """
    return LIGHTS.get(name, f"the dome {name}")


def sentences(comparison: Comparison) -> tuple[str, ...]:
    """The sentences on a comparison, see `summed_up`."""
    views = [(view.tilt_deg, comparison.light_verdicts(k)) for k, view in enumerate(comparison.views)]
    return summed_up(views, light_in_words(comparison.dome.name))


def summed_up(views: Views, light: str) -> tuple[str, ...]:
    """A sentence for each pair of stones; one sentence for all where there are many pairs.

    Parameters
    ----------
    views : their verdicts name the stones. light : in words, as after "under".
    """
    pairs = _pairs(views)
    if len(pairs) > MOST_PAIRS:
        return (f"Under {light}, {_counted(views, pairs)}.",)
    if len(pairs) == 1:
        return (f"Under {light}, {_of_pair(views, pairs[0])}.",)
    return tuple(f"{listed(pair)} under {light}: {_of_pair(views, pair)}." for pair in pairs)


def _pairs(views: Views) -> list[tuple[str, str]]:
    """The pairs of labels, in the order of the verdicts."""
    every = (one for _, verdicts in views for name in WORDS for one in verdicts.get(name, ()))
    return list(dict.fromkeys((one.first, one.second) for one in every))


def _of(verdicts: Mapping[str, Sequence[Verdict]], pair: tuple[str, str]) -> dict[str, Verdict]:
    """The known verdicts of a view on a pair, by statistic."""
    found = {name: [v for v in verdicts.get(name, ()) if (v.first, v.second) == pair] for name in WORDS}
    return {name: each[0] for name, each in found.items() if each and each[0].outcome != "unknown"}


def _larger(one: Verdict) -> str:
    return one.first if one.outcome == "larger" else one.second


def _clause(found: Mapping[str, Verdict]) -> Clause:
    """What a view says of a pair."""
    larger = tuple((name, _larger(one)) for name, one in found.items() if one.established)
    outcomes = {one.outcome for one in found.values()}
    reason = next((one for one in ("not significant", "not resolved", "equal") if one in outcomes), "unknown")
    return Clause(larger, "" if larger else reason)


def _of_pair(views: Views, pair: tuple[str, str]) -> str:
    """Clauses on one pair, each with the views in which it holds, in the order of the views."""
    groups: dict[Clause, list[tuple[float, dict[str, Verdict]]]] = {}
    for tilt_deg, verdicts in views:
        found = _of(verdicts, pair)
        groups.setdefault(_clause(found), []).append((tilt_deg, found))
    return "; ".join(
        f"{_where([tilt_deg for tilt_deg, _ in held])}, {_what(clause, pair, [found for _, found in held])}"
        for clause, held in groups.items()
    )


def _where(tilts_deg: Sequence[float]) -> str:
    """Views in words.

    >>> _where([0.0, 10.0, 20.0]), _where([5.0])
    ('face-up and tilted by 10° and 20°', 'tilted by 5°')
    """
    tilted = [f"{tilt:g}°" for tilt in tilts_deg if tilt]
    parts = ["face-up"] * (len(tilted) < len(tilts_deg)) + ([f"tilted by {listed(tilted)}"] if tilted else [])
    return " and ".join(parts)


def _what(clause: Clause, pair: tuple[str, str], held: Sequence[Mapping[str, Verdict]]) -> str:
    """The clause in words; numbers from the verdicts of its views."""
    both = listed(pair)
    if not clause.larger:
        return {
            "not significant": f"the measurements can't tell {both} apart",
            "not resolved": f"the tracing is too coarse to tell {both} apart",
            "equal": f"{both} are equal",
            "unknown": f"nothing is known of the difference of {both}",
        }[clause.reason]
    parts = []
    for label, group in itertools.groupby(sorted(clause.larger, key=_label), key=_label):
        said = [f"{WORDS[name][0]} {_apart([found[name] for found in held])}" for name, _ in group]
        parts.append(f"{label} {listed(said)}")
    return ", ".join(parts)


def _label(larger: tuple[str, str]) -> str:
    return larger[1]


def _apart(verdicts: Sequence[Verdict]) -> str:
    """By how much the numbers of one statistic differ, or both numbers, the larger first; ranges where they vary."""
    what = words(verdicts[0].name)
    larger, smaller = ([end(map(what.rounded, one.values)) for one in verdicts] for end in (max, min))
    if not what.unit and larger != smaller:
        return f"({_range(larger, what.decimals)} against {_range(smaller, what.decimals)}{WORDS[verdicts[0].name][2]})"
    shown = sorted(
        (abs(what.rounded(one.values[0]) - what.rounded(one.values[1])), what.apart(*one.values)) for one in verdicts
    )
    (least, low), (_, high) = shown[0], shown[-1]
    return f"by {high}" if low == high else f"by {least:.{what.decimals}f} to {high}"


def _range(values: Sequence[float], decimals: int) -> str:
    """One number, or the smallest to the largest of several.

    >>> _range([0.25, 0.25], 2), _range([0.31, 0.25], 2)
    ('0.25', '0.25 to 0.31')
    """
    low, high = f"{min(values):.{decimals}f}", f"{max(values):.{decimals}f}"
    return low if low == high else f"{low} to {high}"


def _counted(views: Views, pairs: Sequence[tuple[str, str]]) -> str:
    """How many pairs differ in what, in any view, and which pairs in nothing."""
    differ: dict[tuple[str, str], set[str]] = {pair: set() for pair in pairs}
    for (_, verdicts), pair in itertools.product(views, pairs):
        differ[pair] |= {name for name, _ in _clause(_of(verdicts, pair)).larger}
    counts = [(sum(name in found for found in differ.values()), what) for name, (_, what, _) in WORDS.items()]
    said = [f"{count} in {what}" for count, what in counts if count]
    if not said:
        return f"none of the {len(pairs)} pairs of stones can be told apart in any view"
    text = f"of {len(pairs)} pairs of stones, these numbers differ in at least one view: {listed(said)}"
    same = [listed(pair) for pair, found in differ.items() if not found]
    return text + (f"; {'; '.join(same)} can't be told apart in any view" if same else "")


def listed(parts: Sequence[str]) -> str:
    """Parts as running text.

    >>> listed(["A", "B", "C"])
    'A, B and C'
    """
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"
