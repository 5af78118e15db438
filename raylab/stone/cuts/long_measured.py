"""Quantities measured on cuts with length and width, and on stones of no known cut; percentages are of the width.

Definitions: see `measuring.long_stone`. A quantity bears the key of the parameter that it gives back. No source defines these
for stones that are no round brilliants (ISO 24016:2020 defines the table of a round one); what the trade does is marked as
common practice, from memory.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from ..measuring import long_stone as of
from ..measuring.long_stone import Row
from ..tier import GIRDLE, Tier
from .cut import WIDTH_KEY, Measured
from .round_brilliant import ROUND_BRILLIANT

_LABELS = {one.key: one.label for one in ROUND_BRILLIANT.measured}
_PRACTICE = "(common practice)"
_OURS = "(our definition)"

SIZE = (
    Measured("length_mm", "length", "mm", f"extent of the outline along the length {_PRACTICE}", of.length),
    Measured(WIDTH_KEY, "width", "mm", f"extent of the outline across the length {_PRACTICE}", of.width),
    Measured("length_ratio", "length to width", "1", f"length over width {_PRACTICE}", of.ratio),
)


CULET_SIZE = Measured(
    "culet_pct", _LABELS["culet_pct"], "%", f"extent of the culet across the length, 0 for none {_OURS}", of.culet_width
)

TABLE_SIZE = (
    Measured(
        "table_pct", _LABELS["table_pct"], "%", f"extent of the table across the length, percent of the width {_PRACTICE}",
        of.table_width, uneven=True,
    ),
    Measured(
        "table_length_pct", "table length", "%", f"extent of the table along the length, percent of the length {_OURS}",
        of.table_length,
    ),
)  # fmt: skip


def long_measured(crown: Tier, pavilion: Tier, *, points: int = 2, cornered: bool = False) -> tuple[Measured, ...]:
    """Quantities of a cut whose first rows are these tiers.

    `points` is the number of points of its outline that lie as the one on +x; `cornered` is True for an outline with corners.
    """
    above, below = Row(crown, points), Row(pavilion, points)
    ends, sides = ("along the length", "across the width") if points == 2 else ("towards the points", "towards the sides")
    found = [
        *SIZE,
        *TABLE_SIZE,
    ]
    for side, row in (("crown", above), ("pavilion", below)):
        for key, label, where, words in (
            (f"{side}_angle_deg", _LABELS[f"{side}_angle_deg"], "sides", sides),
            (f"{side}_end_angle_deg", f"{side} angle at the ends", "ends", ends),
            (f"{side}_between_angle_deg", f"{side} angle between ends and sides", "between", "between these"),
        ):
            definition = f"slopes of the {row.tier.name}s that face {words} {_OURS}"
            found.append(Measured(key, label, "deg", definition, _slopes(row, where), uneven=True))
    found += [
        *_heights(above, crown.name, below, pavilion.name),
        Measured(
            "girdle_pct", _LABELS["girdle_pct"], "%",
            f"thickness at the {crown.name}s of ends and sides, percent of the width {_OURS}",
            lambda c: of.girdle(c, above, "ends", "sides"), uneven=True,
        ),
        Measured(
            "girdle_ends_pct", "girdle thickness at the ends", "%", f"thickness at the {crown.name}s that face {ends} {_OURS}",
            lambda c: of.girdle(c, above, "ends"),
        ),
        Measured(
            "girdle_sides_pct", "girdle thickness at the sides", "%",
            f"thickness at the {crown.name}s that face {sides} {_OURS}", lambda c: of.girdle(c, above, "sides"),
        ),
        Measured(
            "girdle_corners_pct", "girdle thickness at the corners", "%",
            f"thickness at the outline's corners, or at the {crown.name}s between ends and sides {_OURS}",
            lambda c: of.girdle_corners(c, above),
        ),
        CULET_SIZE,
        Measured("keel_pct", "keel", "%", f"length of the keel, percent of the length; 0 for a point {_OURS}", of.keel),
        Measured(
            "pavilion_bulge_pct", "bulge of the pavilion", "%",
            "in the section across the length, largest distance of each side from the straight line between the girdle's lower"
            f" edge and the lowest point {_OURS}",
            of.bulge,
        ),
        Measured(
            "left_right_pct", "outline, left against right", "%",
            f"largest difference of the outline from its mirror image in the length {_OURS}", of.left_against_right,
        ),
    ]  # fmt: skip
    if cornered:
        found.append(
            Measured("corner_deg", "corner angles", "deg", f"angles of the outline's corners {_OURS}", of.corner_angles)
        )
    return tuple(found)


END_TO_END = Measured(
    "end_to_end_pct", "outline, end against end", "%",
    f"largest difference of the outline from its mirror image in the width {_OURS}", of.end_against_end,
)  # fmt: skip
"""Of an outline whose two ends are alike."""


def rows_measured(tiers: Sequence[Tier]) -> tuple[Measured, ...]:
    """The slope across the width of each of some tiers."""
    return tuple(
        Measured(
            f"{tier.name.replace(' ', '_')}_deg", f"slope of the {tier.name}", "deg",
            f"slopes of the facets of this tier that face across the length {_OURS}", _slopes(Row(tier), "sides"), uneven=True,
        )
        for tier in tiers
    )  # fmt: skip


def _slopes(row: Row, where: str) -> of.Measure:
    return lambda c: of.slopes(c, row, where)


def _heights(above: Row, crown: str, below: Row, pavilion: str) -> tuple[Measured, Measured]:
    """Crown height and pavilion depth at the facets of two rows, which `crown` and `pavilion` name in the definitions."""
    return (
        Measured(
            "crown_height_pct", _LABELS["crown_height_pct"], "%",
            f"height from the upper girdle edge at each {crown} to the table edge, percent of the width {_PRACTICE}",
            lambda c: of.crown_height(c, above), uneven=True,
        ),
        Measured(
            "pavilion_depth_pct", _LABELS["pavilion_depth_pct"], "%",
            f"depth from the lower girdle edge at each {pavilion} to the lowest point, percent of the width {_PRACTICE}",
            lambda c: of.pavilion_depth(c, below), uneven=True,
        ),
    )  # fmt: skip


_RIM, _EACH = Row(GIRDLE), "girdle facet"
OF_NO_CUT = (
    *SIZE,
    *(replace(one, uneven=False) for one in (*TABLE_SIZE, *_heights(_RIM, _EACH, _RIM, _EACH))),
    Measured(
        "girdle_pct", _LABELS["girdle_pct"], "%", f"thickness at each {_EACH}, percent of the width {_OURS}",
        lambda c: of.girdle(c, _RIM, "ends", "sides", "between"),
    ),
    CULET_SIZE,
)  # fmt: skip
"""Quantities of a stone of no known cut, which can't be uneven: nobody knows what it should be."""
