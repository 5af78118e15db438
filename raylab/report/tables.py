"""Words and tables of the report as plain strings and lists; the page template only arranges them."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from ..comparison.comparison import Comparison
from ..comparison.summing_up import WORDS
from ..comparison.uncertainty import UNKNOWN, Estimate
from ..comparison.verdicts import Verdict, words
from ..results.maps import STATISTIC_OF
from ..scene.view import View
from ..stone.extent import extent_of
from ..stone.measuring.plane_uncertainty import EXACT, Uncertainty

MAIN = tuple(WORDS)
"""Statistics with a sentence of their own, in this order."""

KEY = ("brightness", "contrast_rms", "leak")
"""Statistics among the main numbers."""

FIRST = (*MAIN, "head", "sky", "glare")
"""Statistics at the top of a table; the others follow in their own order."""


SCALES = {
    "equal length": {
        "shown": "All stones are shown at one length; weights and sizes are those of the stones as offered.",
        "laid": "scaled to the common mean length (of a round one: its mean diameter), because a larger stone shows the same "
        "pattern on a larger area",
    },
    "equal area": {
        "shown": "All stones are shown with outlines of one area; weights and sizes are those of the stones as offered.",
        "laid": "scaled to the common mean area of the outlines, because a larger stone shows the same pattern on a larger "
        "area",
    },
    "true size": {"shown": "The stones are shown at true size.", "laid": "left at its true size"},
}
"""Scales of a comparison in words: how the stones are shown, and how each was laid."""


def size_keys(comparison: Comparison) -> tuple[str, str]:
    """The numbers of size that stones are compared by: a diameter says the size of round ones alone."""
    return "weight_ct", "diameter_mm" if all(extent_of(stone).round for stone in comparison.stones) else "width_mm"


def stones(comparison: Comparison) -> list[dict[str, str]]:
    """Label, name, material, weight, size and facets of each stone."""
    rows = []
    for label, stone, found in zip(comparison.labels, comparison.stones, comparison.measurements, strict=True):
        extent = extent_of(stone)
        face = f"{extent.length_mm:.3f} by {extent.width_mm:.3f} mm"
        if extent.round:
            face = f"{span(found.diameter_mm.min, found.diameter_mm.max, ' mm')} diameter"
        size = f"{face}, {stone.size_mm[2]:.3f} mm depth"
        row = {"label": label, "name": stone.name, "material": stone.material.name, "weight": f"{stone.weight_ct:.3f} ct"}
        by = "tiers by their names" if found.tiers_from == "names" else "tiers recognized by shape"
        if found.recognition is not None:
            by += f": {found.recognition}"
        elif found.cut is None:
            by += ", of no known cut: percentages are of the width"
        rows.append({**row, "size": size, "facets": f"{len(stone)}, {by}"})
    return rows


def tilt_name(comparison: Comparison, view: int) -> str:
    """A view of a comparison in words."""
    return view_name(comparison.views[view])


def view_name(view: View) -> str:
    """A view in words, by its tilt."""
    return f"tilt {view.tilt_deg:g}°" if view.tilt_deg else "face-up"


def key_numbers(comparison: Comparison) -> list[dict[str, Any]]:
    """One row for each main number in each view, and for the weight, with the numbers of all stones and the verdicts.

    What stands below the numbers elsewhere, brackets and errors of tracing, is left out.
    """
    views = [
        (tilt_name(comparison, k), comparison.light[k], comparison.light_verdicts(k)) for k in range(len(comparison.views))
    ]
    rows = [
        {**row, "name": f"{row['name']}, {view}"}
        for name in KEY
        for view, each, verdicts in views
        for row in _rows(comparison, each, {name: verdicts[name]} if name in verdicts else {})
    ]
    weight = {name: one for name, one in comparison.proportion_verdicts().items() if name == "weight_ct"}
    rows += _rows(comparison, comparison.proportions, weight)
    return [{**row, "cells": [{**cell, "notes": []} for cell in row["cells"]]} for row in rows]


def sentences(comparison: Comparison) -> list[dict[str, Any]]:
    """A plain sentence for each main statistic in each view and pair of stones, and for size."""
    parts: list[tuple[str, dict[str, tuple[Verdict, ...]], tuple[str, ...]]]
    parts = [(_capital(tilt_name(comparison, k)), comparison.light_verdicts(k), MAIN) for k in range(len(comparison.views))]
    parts.append(("Size as offered", comparison.proportion_verdicts(), size_keys(comparison)))
    return [
        {
            "heading": heading,
            "lines": [one.sentence for name in names for one in verdicts.get(name, ()) if one.outcome != "unknown"],
        }
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
    return [
        {
            "name": words(name).title,
            "cells": [_cell(name, found.get(name, UNKNOWN)) for found in each],
            "verdicts": _verdicts(verdicts[name]),
        }
        for name in sorted(verdicts, key=lambda name: FIRST.index(name) if name in FIRST else len(FIRST))
    ]


def _cell(name: str, one: Estimate) -> dict[str, Any]:
    """A number, its measurement uncertainty if it has one, and notes on the bracket and the sampling error, where they show."""
    what, s = words(name), one.statistic
    own = what.bare(one.uncertainty)
    if one.uncertainty > 0.0 and float(own) == 0.0:
        own = f"below {10.0**-what.decimals:.{what.decimals}f}"
    notes = [f"bracket {what.bare(s.low)} to {what.bare(s.high)}"] if what.bare(s.low) != what.bare(s.high) else []
    notes += [f"sampling ± {what.bare(s.error)}"] if what.rounded(s.error) > 0.0 else []
    return {"value": what.show(s.value), "uncertainty": "" if one.uncertainty == 0.0 else f"± {own}", "notes": notes}


def _verdicts(pairs: Sequence[Verdict]) -> list[dict[str, Any]]:
    """The verdict on each pair of stones in a few words."""
    return [{"phrase": pair.phrase, "sure": pair.established} for pair in pairs] or [{"phrase": "-", "sure": False}]


def poses(comparison: Comparison) -> list[dict[str, str]]:
    """How each stone was laid to be traced."""
    return [
        {
            "label": label,
            "turned": f"{pose.turn_deg:z.2f}°",
            "moved": f"{math.hypot(*pose.center_mm):.3f} mm",
            "scaled": f"{pose.factor:.4f}",
        }
        for label, pose in zip(comparison.labels, comparison.poses, strict=True)
    ]


def biases(comparison: Comparison) -> list[dict[str, Any]]:
    """One row for each number (in each view) whose estimated bias shows in its last digit, for any stone."""
    parts = [(tilt_name(comparison, k), comparison.light[k], names) for k, names in enumerate(map(list, _judged(comparison)))]
    parts.append(("as offered", comparison.proportions, list(comparison.proportion_verdicts())))
    rows = []
    for where, each, names in parts:
        for name in names:
            what = words(name)
            some = [found.get(name, UNKNOWN) for found in each]
            shown = [f"{what.bare(one.shift)} ± {what.bare(one.shift_error)}" for one in some]
            if any(what.rounded(one.shift) for one in some):
                unit = f", {what.unit}" if what.unit else ""
                rows.append({"name": f"{what.title}, {where}{unit}", "cells": shown})
    return rows


def _judged(comparison: Comparison) -> list[dict[str, tuple[Verdict, ...]]]:
    """The verdicts of every view."""
    return [comparison.light_verdicts(k) for k in range(len(comparison.views))]


def sureness(comparison: Comparison) -> list[dict[str, str]]:
    """The standard uncertainties of each stone."""
    return [
        {
            "label": label,
            "angle": _tilts(stated),
            "common": f"{stated.common_angle_deg:g}°",
            "distance": _each(stated.distance_um, " µm"),
        }
        for label, stated in zip(comparison.labels, comparison.uncertainties, strict=True)
        if stated != EXACT
    ]


def _tilts(stated: Uncertainty) -> str:
    """The uncertainty of a facet's tilts; both where they differ."""
    words = _each(stated.angle_deg, "°")
    return words if stated.across_deg is None else f"{words}; about its steepest line {_each(stated.across_deg, '°')}"


def designs(comparison: Comparison) -> list[str]:
    """Labels of the stones without uncertainty: designs, whose planes are exact."""
    return [label for label, stated in zip(comparison.labels, comparison.uncertainties, strict=True) if stated == EXACT]


def _each(given: float | tuple[float, ...], unit: str) -> str:
    """One number, or the range of those of the facets."""
    low, high = float(np.min(given)), float(np.max(given))
    return f"{low:.3g}{unit}" if low == high else f"{low:.3g} to {high:.3g}{unit}, by facet"


def span(low: float, high: float, unit: str, decimals: int = 3) -> str:
    """A range, or the one number that both ends are when rounded.

    >>> span(6.46, 6.46, " mm"), span(6.4604, 6.48, " mm")
    ('6.460 mm', '6.460 to 6.480 mm')
    """
    first, last = f"{low:z.{decimals}f}", f"{high:z.{decimals}f}"
    return f"{first}{unit}" if first == last else f"{first} to {last}{unit}"


def count_verdicts(comparison: Comparison) -> int:
    """The number of verdicts in the report, without those on numbers that a stone doesn't have."""
    each = [*_judged(comparison), comparison.proportion_verdicts()]
    return sum(one.outcome != "unknown" for verdicts in each for pairs in verdicts.values() for one in pairs)


def material_notes(comparison: Comparison) -> list[str]:
    """Notes on the materials."""
    materials = {stone.material.name: stone.material.remark for stone in comparison.stones}
    return [f"{name}: {note}." for name, note in materials.items() if note]


def map_text(comparison: Comparison, name: str, stone: int) -> str:
    """The picture of a stone's map in words."""
    key = STATISTIC_OF.get(name, name)
    what = words(key)
    parts = [
        f"{tilt_name(comparison, k)} {what.show(comparison.light[k][stone][key].statistic.value)}"
        for k in range(len(comparison.views))
    ]
    return f"Maps of {name} of stone {comparison.labels[stone]}, one for each tilt. {what.title}: {', '.join(parts)}."


def ledger_text(comparison: Comparison) -> str:
    """The picture of the ledger in words."""
    names = ("sky", "head", "leak")
    parts = [
        f"{label} {', '.join(f'{name} {100 * found[name].statistic.value:.1f} %' for name in names)}"
        for label, found in zip(comparison.labels, comparison.light[0], strict=True)
    ]
    return f"Bars of the ledger at each tilt. {tilt_name(comparison, 0)}: " + "; ".join(parts) + "."


def verdict_text(comparison: Comparison, first: str, other: str) -> str:
    """The picture of verdicts in words."""
    outcome = [
        f"{words(name).name} {tilt_name(comparison, k)}: {pair.phrase}"
        for k in range(len(comparison.views))
        for name, pairs in comparison.light_verdicts(k).items()
        if name in MAIN
        for pair in pairs
        if (pair.first, pair.second) == (first, other)
    ]
    return f"{first} against {other}; " + "; ".join(outcome) + "."


def difference_text(comparison: Comparison, first: str, other: str) -> str:
    """The picture of differences in words."""
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
