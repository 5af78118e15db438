"""Keys of a design that move single facets or tiers: ``"pavilion main 3.slope_deg"``, ``"star.depth_mm"``.

Before the dot stands a tier or a facet, behind it a field of `Offset`. Several keys of one facet add up to its offset.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import fields
from typing import Any, NamedTuple

from ..errors import InputError, nearest
from ..stone.cuts.cut import Cut
from ..stone.offsets import Offset
from ..stone.stone import Stone

UNITS = {"deg": "degree", "mm": "mm"}
FIELDS = tuple(one.name for one in fields(Offset))
PAINTING = "painting_deg"


class Deviation(NamedTuple):
    """A key in parts: the tier or facet, and the field of its `Offset`."""

    facet: str
    field: str

    @property
    def about(self) -> tuple[str, str]:
        """Long name and unit."""
        what, _, unit = self.field.rpartition("_")
        return f"{what} offset of {self.facet}", UNITS[unit]


def deviation(key: str) -> Deviation | None:
    """The parts of a key; None for a key of another kind.

    >>> deviation("pavilion main 3.slope_deg").about
    ('slope offset of pavilion main 3', 'degree')
    """
    facet, dot, field = key.rpartition(".")
    return Deviation(facet, field) if dot and facet and field in FIELDS else None


def offsets_of(design: Mapping[str, Any]) -> dict[str, Offset]:
    """The offset of each tier or facet that a design moves."""
    found: dict[str, dict[str, float]] = {}
    for key, value in design.items():
        if (parts := deviation(key)) is not None:
            found.setdefault(parts.facet, {})[parts.field] = value
    return {facet: Offset(**values) for facet, values in found.items()}


def check_deviations(keys: Iterable[str], cuts: Iterable[Cut], stones: Iterable[Stone]) -> None:
    """Raise InputError for a key whose tier, or whose facet of a stone, none of the cuts and stones has.

    A facet's number within the tier of a cut is not checked: it depends on the other parameters.
    """
    tiers = {tier.name: tier for cut in cuts for tier in cut.tiers}
    facets = {name for stone in stones for f in range(len(stone)) for name in (stone.tiers[f], stone.facet_name(f))}
    for key in keys:
        parts = deviation(key)
        if parts is None:
            continue
        stem, _, number = parts.facet.rpartition(" ")
        tier = tiers.get(parts.facet) or (tiers.get(stem) if number.isdecimal() else None)
        if tier is None and parts.facet not in facets:
            raise InputError("unknown tier or facet", key=key, expected=nearest(parts.facet, {*tiers, *facets}))
        if tier is not None and parts.field == PAINTING and not tier.painted_toward:
            painted = ", ".join(one.name for one in tiers.values() if one.painted_toward)
            raise InputError("not a tier that is painted", key=key, expected=f"one of {painted}" if painted else "no painting")
