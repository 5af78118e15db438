"""The table of statistics: one number, one definition, one file, one row.

Each statistic comes with a bracket [low, high], which holds for certain and comes from the untraced weight, and with an
estimate: `value` counts what was traced and what rays, drawn from the untraced weight, say of it; `error` is its standard
error.

What stands in `STATISTICS` is in every summary and its file, in sweeps and searches, in comparisons and reports, and on the
page.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from .brightness import BRIGHTNESS
from .contrast import CONTRAST_RMS
from .definition import PARTS, Definition, Description, Statistic
from .shares import GLARE_SHARE, LEDGER, WINDOW_SHARE

STATISTICS: dict[str, Definition] = {one.key: one for one in (BRIGHTNESS, CONTRAST_RMS, GLARE_SHARE, WINDOW_SHARE, *LEDGER)}
"""Every statistic that follows from area means, by its key, in the order of tables."""

SYMMETRY = Description(
    key="symmetry",
    label="symmetry of the pattern",
    definition="mean correlation of the face-up luminance pattern with its own rotations and mirror images",
    span=(-1.0, 1.0),
)
"""The one statistic that area means don't give: it needs rays of its own, see `pattern_symmetry`."""


def columns() -> tuple[str, ...]:
    """Names of the columns that hold all parts of all statistics."""
    return tuple(key + suffix for key in STATISTICS for suffix in PARTS)


def numbers_of(statistics: Mapping[str, Statistic]) -> list[Any]:
    """What stands in the columns `columns`: numbers, or arrays where the statistics are those of many scenes."""
    return [getattr(statistics[key], part) for key in STATISTICS for part, _ in PARTS.values()]


def description_of(key: str) -> Description | None:
    """What a statistic is called and means; None where no statistic has this key."""
    return SYMMETRY if key == SYMMETRY.key else STATISTICS.get(key)


__all__ = [
    "PARTS",
    "STATISTICS",
    "SYMMETRY",
    "Definition",
    "Description",
    "Statistic",
    "columns",
    "description_of",
    "numbers_of",
]
