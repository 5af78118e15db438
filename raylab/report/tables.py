"""Words and tables of the report as plain strings and lists; the page template only arranges them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from ..comparison.comparison import Comparison
from ..comparison.uncertainty import Estimate
from ..comparison.verdicts import Verdict, words

MAIN = ("brightness", "contrast_rms", "leak", "symmetry")
"""Statistics of the summary, in this order."""

FIRST = (*MAIN, "head", "sky", "glare")
"""Statistics at the top of a table; the others follow in their own order."""

SIZE = ("weight_ct", "diameter_mm")


def stones(comparison: Comparison) -> list[dict[str, str]]:
    """Label, name, material, weight, size and facets of each stone."""
    rows = []
    for label, stone, found in zip(comparison.labels, comparison.stones, comparison.measurements, strict=True):
        size = f"{found.diameter_mm.min:.3f} to {found.diameter_mm.max:.3f} mm diameter, {stone.size_mm[2]:.3f} mm depth"
        row = {"label": label, "name": stone.name, "material": stone.material.name, "weight": f"{stone.weight_ct:.3f} ct"}
        by = "tiers as named in the file" if found.tiers_from == "names" else "tiers recognized by shape"
        rows.append({**row, "size": size, "facets": f"{len(stone)}, {by}"})
    return rows


def tilt_name(comparison: Comparison, view: int) -> str:
    """A view in words."""
    tilt = comparison.views[view].tilt_deg
    return f"tilt {tilt:g}°" if tilt else "face-up"


def glance(comparison: Comparison) -> list[dict[str, Any]]:
    """The main statistics (rows) in every view (columns), each cell a verdict in a few words."""
    views = [comparison.light_verdicts(k) for k in range(len(comparison.views))]
    return [
        {
            "name": words(name).title,
            "cells": [_verdict(comparison, view[name]) if name in view else {"verdict": "-", "sure": False} for view in views],
        }
        for name in MAIN
        if any(name in view for view in views)
    ]


def sentences(comparison: Comparison) -> list[dict[str, Any]]:
    """A plain sentence for each main statistic in each view and pair of stones, and for size."""
    parts: list[tuple[str, dict[str, tuple[Verdict, ...]], tuple[str, ...]]]
    parts = [(_capital(tilt_name(comparison, k)), comparison.light_verdicts(k), MAIN) for k in range(len(comparison.views))]
    parts.append(("Size as offered", comparison.proportion_verdicts(), SIZE))
    return [
        {"heading": heading, "lines": [verdict.sentence for name in names for verdict in verdicts.get(name, ())]}
        for heading, verdicts, names in parts
    ]


def light(comparison: Comparison) -> list[dict[str, Any]]:
    """One table per view."""
    return [
        {
            "heading": _capital(tilt_name(comparison, k)),
            "rows": _rows(comparison, comparison.light[k], comparison.light_verdicts(k)),
        }
        for k in range(len(comparison.views))
    ]


def proportions(comparison: Comparison) -> list[dict[str, Any]]:
    """One row per proportion."""
    return _rows(comparison, comparison.proportions, comparison.proportion_verdicts())


def _capital(text: str) -> str:
    return text[0].upper() + text[1:]


def _rows(
    comparison: Comparison, each: Sequence[Mapping[str, Estimate]], verdicts: Mapping[str, Sequence[Verdict]]
) -> list[dict[str, Any]]:
    rows = []
    for name in sorted(verdicts, key=lambda name: FIRST.index(name) if name in FIRST else len(FIRST)):
        cells = [_cell(name, found[name]) for found in each]
        if len(comparison.labels) > 2:
            for cell, (first, last) in zip(cells, comparison.ranks(verdicts[name]).values(), strict=True):
                cell["notes"].append(f"rank {first}" if first == last else f"rank {first} to {last}")
        rows.append({"name": words(name).title, "cells": cells, **_verdict(comparison, verdicts[name])})
    return rows


def _cell(name: str, one: Estimate) -> dict[str, Any]:
    """A number, its measurement uncertainty, and notes on the bracket, the sampling error and the bias."""
    what, s = words(name), one.statistic
    own = what.bare(one.uncertainty)
    if one.uncertainty > 0.0 and float(own) == 0.0:
        own = f"below {10.0**-what.decimals:.{what.decimals}f}"
    notes = [f"bracket {what.bare(s.low)} to {what.bare(s.high)}"] if what.bare(s.low) != what.bare(s.high) else []
    notes += [f"sampling ± {what.bare(s.error)}"] if s.error > 0.0 else []
    if abs(one.shift) > 0.3 * one.uncertainty and what.bare(one.best) != what.bare(s.value):
        notes.append(f"without bias {what.bare(one.best)}")
    return {"value": what.show(s.value), "uncertainty": f"± {own}", "notes": notes}


def _verdict(comparison: Comparison, pairs: Sequence[Verdict]) -> dict[str, Any]:
    """The difference of two stones; the order of more than two."""
    if len(comparison.labels) > 2:
        return {"verdict": ranked(comparison, pairs), "sure": any(v.outcome in ("larger", "smaller") for v in pairs)}
    (only,) = pairs
    what = words(only.name)
    if only.outcome not in ("larger", "smaller"):
        return {"verdict": only.outcome, "sure": False}
    larger = only.first if only.outcome == "larger" else only.second
    near, far = sorted((abs(only.low), abs(only.high)))
    outcome = f"{larger} larger by {what.show_difference(abs(only.difference))} ({what.bare(near)} to {what.bare(far)})"
    return {"verdict": outcome, "sure": True}


def ranked(comparison: Comparison, pairs: Sequence[Verdict]) -> str:
    """The order of the stones by significant differences, the largest first.

    For three stones "C > B > A" if all differences are significant; otherwise such as "C > A; other differences not
    significant".
    """
    smaller_than: dict[str, list[str]] = {label: [] for label in comparison.labels}
    for pair in pairs:
        if pair.outcome in ("larger", "smaller"):
            larger, smaller = (pair.first, pair.second)[:: -1 if pair.outcome == "smaller" else 1]
            smaller_than[larger].append(smaller)
    known = sum(map(len, smaller_than.values()))
    order = sorted(comparison.labels, key=lambda label: -len(smaller_than[label]))
    if known == len(pairs):
        return " > ".join(order)
    some = [f"{label} > {' and '.join(smaller_than[label])}" for label in order if smaller_than[label]]
    return "; ".join([*some, "other differences not significant"]) if some else "not significant"


def sureness(comparison: Comparison) -> list[dict[str, str]]:
    """The standard uncertainties of each stone."""
    return [
        {
            "label": label,
            "angle": _span(stated.angle_deg, "°"),
            "common": f"{stated.common_angle_deg:g}°",
            "distance": _span(stated.distance_um, " µm"),
        }
        for label, stated in zip(comparison.labels, comparison.uncertainties, strict=True)
    ]


def _span(given: float | tuple[float, ...], unit: str) -> str:
    low, high = float(np.min(given)), float(np.max(given))
    return f"{low:.3g}{unit}" if low == high else f"{low:.3g} to {high:.3g}{unit}, by facet"


def count_verdicts(comparison: Comparison) -> int:
    """The number of verdicts in the report."""
    each = [comparison.light_verdicts(k) for k in range(len(comparison.views))] + [comparison.proportion_verdicts()]
    return sum(len(pairs) for verdicts in each for pairs in verdicts.values())


def material_notes(comparison: Comparison) -> list[str]:
    """Notes on the materials."""
    materials = {stone.material.name: stone.material.note for stone in comparison.stones}
    return [f"{name}: {note}." for name, note in materials.items() if note]


def map_text(comparison: Comparison, name: str) -> str:
    """The picture of a map in words."""
    statistic = {"luminance": "brightness", "contrast": "contrast_rms", "leak": "leak"}[name]
    parts = []
    for k in range(len(comparison.views)):
        outcome = [
            f"{label} {words(statistic).show(comparison.light[k][i][statistic].statistic.value)}"
            for i, label in enumerate(comparison.labels)
        ]
        parts.append(f"{tilt_name(comparison, k)}: {', '.join(outcome)}")
    return (
        f"Maps of {name}, one row for each stone, one column for each tilt. {words(statistic).title}, " + "; ".join(parts) + "."
    )


def ledger_text(comparison: Comparison) -> str:
    """The picture of the ledger in words."""
    names = ("sky", "head", "leak")
    parts = [
        f"{label} {', '.join(f'{name} {100 * found[name].statistic.value:.1f} %' for name in names)}"
        for label, found in zip(comparison.labels, comparison.light[0], strict=True)
    ]
    return f"Bars of the ledger at each tilt. {tilt_name(comparison, 0)}: " + "; ".join(parts) + "."


def verdict_text(comparison: Comparison, other: str) -> str:
    """The picture of verdicts in words."""
    first = comparison.labels[0]
    outcome = [
        f"{words(name).name} {tilt_name(comparison, k)}: {pair.outcome}"
        for k in range(len(comparison.views))
        for name, pairs in comparison.light_verdicts(k).items()
        if name in MAIN
        for pair in pairs
        if (pair.first, pair.second) == (first, other)
    ]
    return f"{first} against {other}; " + "; ".join(outcome) + "."


def difference_text(comparison: Comparison, other: str) -> str:
    """The picture of differences in words."""
    first = comparison.labels[0]
    layers = comparison.difference("luminance", first, other)
    parts = [
        f"{tilt_name(comparison, k)} {100 * float((layers[k] > 0.1).mean() / layers[k].notnull().mean()):.0f} % and "
        f"{100 * float((layers[k] < -0.1).mean() / layers[k].notnull().mean()):.0f} %"
        for k in range(len(comparison.views))
    ]
    return (
        f"Maps of luminance, {first} minus {other}. Share of the face where {first}, and where {other}, is brighter by "
        "over 0.1: " + "; ".join(parts) + "."
    )
