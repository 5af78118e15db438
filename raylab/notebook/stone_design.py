"""The design of the page that means a given stone: proportions where the stone follows from them, else its facets."""

from __future__ import annotations

import numpy as np

from ..errors import InputError
from ..stone.finish import Finish
from ..stone.stone import Stone
from ..workbench.design_json import Design, facet_design, proportion_design, stone_of

SAME = 1e-9
"""Planes that differ by less (mm, and as unit normals) are the same."""


def design_of(stone: Stone) -> Design:
    """A stone of a cut by the proportions that made it, if they still make it; else its facets, as they are."""
    table = facet_design(stone)
    if not stone.cut or stone.measured or stone.proportions is None:
        return table
    given = {key: str(value) if isinstance(value, Finish) else value for key, value in stone.proportions.items()}
    about: Design = {key: table[key] for key in ("name", "material", "absorption_per_mm", "inclusions") if key in table}
    try:
        design = proportion_design({"cut": stone.cut, **given, **about}, stone)
        return design if _same(stone_of(design), stone) else table
    except InputError:  # as of a stone that was given the name of another cut
        return table


def _same(one: Stone, other: Stone) -> bool:
    """Whether two stones have the same facets by name, plane and finish."""
    if (one.tiers, one.indices, one.finishes) != (other.tiers, other.indices, other.finishes):
        return False
    apart = max(np.abs(one.normals - other.normals).max(), np.abs(one.distances_mm - other.distances_mm).max())
    return bool(apart < SAME)
