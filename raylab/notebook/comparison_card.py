"""The card of a comparison: each stone's drawing and luminance, and the verdicts on the main statistics."""

from __future__ import annotations

from typing import Any

import numpy as np

from ..comparison.comparison import Comparison
from ..comparison.uncertainty import UNKNOWN
from ..comparison.verdicts import words
from ..pictures.drawings import EYES
from ..report.tables import MAIN, size_keys, tilt_name
from ..workbench.colors import map_range
from .html import Html, figure, joined, note, page, row, table, tag
from .line_drawing import drawing
from .map_picture import map_picture
from .stone_card import material_notes

MOST_STONES, MOST_VIEWS, PIXELS = 4, 3, 140
"""Stones and views that are drawn, and the pixels of their maps: a card stays small."""


def card(comparison: Comparison) -> Html:
    """Drawings, maps, numbers and verdicts; the report has all of them."""
    labels, views = comparison.labels, range(min(len(comparison.views), MOST_VIEWS))
    heads = [f"{label} ({stone.name})" for label, stone in zip(labels, comparison.stones, strict=True)]
    pictures = [row(*_pictures(comparison, k, heads[k], views)) for k in range(min(len(labels), MOST_STONES))]
    left_out = [] if len(labels) <= MOST_STONES else [note(f"maps of the first {MOST_STONES} stones")]
    pairs = [f"{first} and {other}" for at, first in enumerate(labels) for other in labels[at + 1 :]]
    numbers = table(_rows(comparison), ("", *labels, *(pairs if len(pairs) > 1 else ["difference"])))
    about = f"dome {comparison.dome.name}; verdicts at {comparison.coverage:g} standard uncertainties"
    more = note("rl.save_report writes all maps, differences, numbers and their uncertainty")
    notes = material_notes(*comparison.stones)
    return page("Comparison of " + " and ".join(heads), about, *pictures, *left_out, numbers, *notes, more)


def _pictures(comparison: Comparison, stone: int, head: str, views: range) -> list[Html]:
    """The stone from above, and its luminance in each view, on one scale for all stones and views."""
    ends = map_range("luminance", comparison.maps.luminance.values)
    made = [figure(drawing(comparison.shown[stone], EYES["from above"], f"{head} from above"), head)]
    for k in views:
        layers = comparison.maps.isel(stone=stone, tilt_deg=k)
        values = np.asarray(layers.luminance)
        what = f"luminance of {comparison.labels[stone]}, {tilt_name(comparison, k)}"
        picture, scale = map_picture("luminance", values, np.isfinite(values).astype(float), f"Map of {what}.", PIXELS, ends)
        made.append(figure(tag("div", picture, scale), what))
    return made


def _rows(comparison: Comparison) -> list[tuple[str, ...]]:
    """Name, each stone's number, and each pair's verdict, for the main statistics in each view and for size."""
    parts: list[tuple[str, Any, Any, tuple[str, ...]]] = [
        (tilt_name(comparison, k), comparison.light[k], comparison.light_verdicts(k), MAIN)
        for k in range(len(comparison.views))
    ]
    parts.append(("as offered", comparison.proportions, comparison.proportion_verdicts(), size_keys(comparison)))
    return [
        (
            joined([words(name).title, ", ", where]),
            *(words(name).show(found.get(name, UNKNOWN).statistic.value) for found in each),
            *(pair.phrase for pair in verdicts[name]),
        )
        for where, each, verdicts, names in parts
        for name in names
        if name in verdicts
    ]
