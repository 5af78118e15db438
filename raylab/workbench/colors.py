"""The page's colour maps: those of `plots`, as tables of 256 colours, so that page and printed pictures look alike."""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np

from ..pictures.plots import LOOKS, color_range
from ..results.maps import DEFINITIONS

COLORS = 256

OFFERED = ("contrast", "luminance", "leak", "window", "head", "sky", "glare", "bounces", "untraced")
"""Maps that the page offers, in the order of its lists."""


@cache
def color_tables() -> dict[str, list[int]]:
    """Red, green, blue (0 to 255) of every step of every colour map that an offered map uses."""
    from matplotlib import colormaps

    steps = np.linspace(0.0, 1.0, COLORS)
    names = {LOOKS[name].colors for name in OFFERED}
    return {name: np.rint(colormaps[name](steps)[:, :3] * 255.0).astype(int).ravel().tolist() for name in sorted(names)}


def map_range(name: str, values: np.ndarray) -> tuple[float, float]:
    """The ends of a map's colour bar; contrast has zero in the middle of its colours and at least 1 at its upper end."""
    low, high = color_range(name, values)
    return (low, max(high, 1.0)) if name == "contrast" else (low, high)


def legends() -> list[dict[str, Any]]:
    """What the page says of each map it offers: name, words, unit, colour map, whether it is signed."""
    return [
        {
            "name": name,
            "title": title,
            "unit": "" if unit == "1" else unit,
            "definition": definition,
            "colors": LOOKS[name].colors,
            "signed": name == "contrast",
        }
        for name, (title, unit, definition) in ((name, DEFINITIONS[name]) for name in OFFERED)
    ]
