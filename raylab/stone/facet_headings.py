"""Which column of a facet table a heading means: raylab's own words, with units and spelling as people write them.

``slope_deg``, ``Slope (°)``, ``slope / degrees`` and ``slopes`` are one column. A heading that is exactly raylab's goes before
one that only resembles it. Where two headings mean one column, or a unit is another one, the table is refused.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Sequence

from ..errors import InputError

COLUMNS = ("facet", "tier", "side", "slope_deg", "azimuth_deg", "distance_mm")

NUMBERS = ("slope_deg", "azimuth_deg", "distance_mm")
"""Columns of decimal numbers."""

_DEGREES, _MM = ("deg", "degs", "degree", "degrees", "°"), ("mm", "millimetre", "millimetres", "millimeter", "millimeters")
_UNITS = {"slope": _DEGREES, "azimuth": _DEGREES, "distance": _MM}
_OTHER_UNITS = ("rad", "radian", "radians", "gon", "cm", "m", "um", "µm", "μm", "nm", "in", "inch", "inches", "ct", "%")
_WORDS = {
    **{name.split("_")[0]: name for name in COLUMNS},
    "facet no": "facet",
    "facet number": "facet",
    "tier name": "tier",
    "slope angle": "slope_deg",
    "azimuth angle": "azimuth_deg",
}
_PARTS = re.compile(r"[^\W\d_]+|[°%]")
ALIKE = 0.8
"""Least likeness of a misspelt word (difflib's ratio); "size" for "side" is 0.75."""


def columns_of(headings: Sequence[str]) -> list[str]:
    """For each heading the name of its column, ``""`` for one that is passed over.

    Raises InputError for a missing column, one that stands twice, and one in another unit.
    """
    found = [heading if heading in COLUMNS else "" for heading in (one.strip().lower() for one in headings)]
    exact = {*found}
    for at, heading in enumerate(headings):
        words, _ = _parts(heading)
        if not found[at] and _WORDS.get(words) not in (None, *exact):
            found[at] = _in_its_unit(heading, _WORDS[words])
    for at, column in _misspelt(headings, found).items():
        found[at] = _in_its_unit(headings[at], column)
    missing = [name for name in COLUMNS if name not in found]
    if missing:
        raise InputError(f"missing column {', '.join(missing)}", expected="a first line " + ",".join(COLUMNS))
    twice = [name for name in COLUMNS if found.count(name) > 1]
    if twice:
        raise InputError(f"repeated column {twice[0]}", expected="each column once")
    return found


def _parts(heading: str) -> tuple[str, str | None]:
    """A heading's words and its unit."""
    parts = _PARTS.findall(heading.lower())
    unit = parts.pop() if len(parts) > 1 and parts[-1] in (*_DEGREES, *_MM, *_OTHER_UNITS) else None
    return " ".join(parts), unit


def _in_its_unit(heading: str, column: str) -> str:
    """The column of a heading. Raises InputError where the heading states a unit that the column doesn't have."""
    word, unit = column.split("_")[0], _parts(heading)[1]
    if unit is not None and unit not in _UNITS.get(word, ()):
        expected = column if column in NUMBERS else f"{column}, which has no unit"
        raise InputError(f"wrong unit of {word}", key=heading.strip(), expected=expected)
    return column


def _misspelt(headings: Sequence[str], found: Sequence[str]) -> dict[int, str]:
    """Missing columns that exactly one heading resembles, by its place."""
    missing = {column.split("_")[0]: column for column in COLUMNS if column not in found}
    close: dict[str, list[int]] = {}
    for at, heading in enumerate(headings):
        for word in () if found[at] else difflib.get_close_matches(_parts(heading)[0], missing, cutoff=ALIKE):
            close.setdefault(missing[word], []).append(at)
    return {places[0]: column for column, places in close.items() if len(places) == 1}
