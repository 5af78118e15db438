"""Designs derived from another one by removing material: a facet or tier repolished, a blocked stone finished.

    {"kind": "repolished", "of": {...}, "facet": "pavilion main 3", "slope_deg": 0.3, "azimuth_deg": 0, "depth_mm": 0}
    {"kind": "finished", "of": {...}, "star_pct": 50, "lower_half_pct": 77, ..., "diameter_mm": null}

`of` is a design by proportions or a table of facets. Without a move the stone is as it was, so that a slider may pass zero.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any, Literal, NamedTuple

from pydantic import BaseModel

from ..cutting.blocked import blocked_stone
from ..cutting.last_facets import LastFacets, finished
from ..cutting.repolishing import repolish
from ..stone.cuts.shared import DIAMETER
from ..stone.stone import Stone
from ..toml_tables import schema_of

POLISHED, FINISHED = "repolished", "finished"

GRIND = replace(
    DIAMETER,
    label="final girdle diameter",
    description="girdle diameter before the last facets are cut",
    default=None,
    optional=True,
    unset="the girdle keeps its measured diameter",
)
"""What can be chosen for a finished design besides its last facets."""


class Reworked(NamedTuple):
    """A stone before and after."""

    before: Stone
    after: Stone


def polished(before: Stone, facet: str, slope_deg: float = 0.0, azimuth_deg: float = 0.0, depth_mm: float = 0.0) -> Reworked:
    """A facet or tier repolished, see `repolish`. Raises InputError as that does, but for no move at all."""
    if not (slope_deg or azimuth_deg or depth_mm):
        return Reworked(before, before)
    name = _titled(before.name, POLISHED)
    return Reworked(before, repolish(before, facet, slope_deg=slope_deg, azimuth_deg=azimuth_deg, depth_mm=depth_mm, name=name))


def finished_on(before: Stone, diameter_mm: float | None = None, **choice: Any) -> Reworked:
    """A blocked stone with its last facets; before is with its girdle as ground. Raises InputError as `finish` does."""
    blocked = blocked_stone(before, diameter_mm)
    made = finished(blocked, LastFacets(**choice))
    return Reworked(blocked.stone, replace(made, name=_titled(before.name, FINISHED)))


def _titled(name: str, what: str) -> str:
    """A stone's name with what was done to it, once."""
    return name if name.endswith(what) else f"{name}, {what}"


_OF: dict[str, Any] = {"of": (dict, ...)}
_POLISHED = schema_of(polished, omit=("before",), kind=(Literal[POLISHED], ...), **_OF)
_FINISHED = schema_of(LastFacets, kind=(Literal[FINISHED], ...), diameter_mm=(float | None, None), **_OF)

KINDS: dict[str, tuple[type[BaseModel], Callable[..., Reworked]]] = {
    POLISHED: (_POLISHED, polished),
    FINISHED: (_FINISHED, finished_on),
}
"""By kind of design: the schema of its table, and what makes the stones of the one it is made of."""
