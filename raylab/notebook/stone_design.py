"""The design of the page that means a given stone: proportions where the stone follows from them, else its facets."""

from __future__ import annotations

from typing import Any

import numpy as np

from ..errors import InputError
from ..stone.cuts.cut import GIRDLE_FINISH_KEY, Cut
from ..stone.known_cuts import get_cut
from ..stone.proportions import Measurements, measure
from ..stone.stone import Stone
from ..workbench.design_json import Design, facet_design, proportion_design, stone_of

SAME = 1e-9
"""Planes that differ by less (mm, and as unit normals) are the same."""
_DIGITS = 9
"""Digits of a measured proportion that are kept: so 57.00000000000001 is 57."""
GIRDLE_FACETS = "girdle_facets"


def design_of(stone: Stone) -> Design:
    """A stone of a cut by the proportions measured on it, if they make the same planes; else its facets, as they are."""
    table = facet_design(stone)
    if not stone.cut or stone.measured:
        return table
    cut = get_cut(stone.cut)
    about = {key: table[key] for key in ("name", "material", "absorption_per_mm")}
    try:
        design = proportion_design({"cut": cut.name, **_parameters(cut, stone, measure(stone)), **about}, stone)
        return design if _same(stone_of(design), stone) else table
    except InputError:  # proportions that the cut doesn't have, as of a stone with a facet moved
        return table


def _parameters(cut: Cut, stone: Stone, found: Measurements) -> dict[str, Any]:
    """The parameters of a cut as they are measured on a stone."""
    given: dict[str, Any] = {
        one.key: round(found[one.key].mean, _DIGITS) for one in cut.parameters if one.key in found and one.instead_of is None
    }
    girdle = np.flatnonzero(stone.on_girdle)
    if GIRDLE_FACETS in cut.keys:
        given[GIRDLE_FACETS] = len(girdle)
    if GIRDLE_FINISH_KEY in cut.keys and len(girdle):
        given[GIRDLE_FINISH_KEY] = stone.finishes[girdle[0]].kind
    return given


def _same(one: Stone, other: Stone) -> bool:
    """Whether two stones have the same facets by name, plane and finish."""
    if (one.tiers, one.indices, one.finishes) != (other.tiers, other.indices, other.finishes):
        return False
    apart = max(np.abs(one.normals - other.normals).max(), np.abs(one.distances_mm - other.distances_mm).max())
    return bool(apart < SAME)
