"""Stones in 3D that turn by mouse, touch and keys in any page: the workbench's own view as one script."""

from __future__ import annotations

from typing import Any

import numpy as np

from ..package_files import shipped
from ..stone.inclusions.inclusion_file import inclusion_tables
from ..stone.planes import facing_deg
from ..stone.stone import Stone
from .scripts import literal, script

START = "turning.js"
DIGITS = 5
"""Decimals of lengths in mm and of unit vectors, so that a page stays small."""


def turning_script(stones: list[Stone], figures: str, buttons: str, within: str = "document") -> str:
    """A script that shows stones in the elements that the selector `figures` finds; `buttons` finds those that turn them.

    Both are looked for within the element that the expression `within` gives. The modules are those of the workbench, each in a
    function of its own, so that no name is left behind. The same stones give the same text.
    """
    figure_list, button_list = (f"[...{within}.querySelectorAll({literal(one)})]" for one in (figures, buttons))
    solids = literal([solid_of(stone) for stone in stones])
    return script(shipped("workbench/static"), START, f"showStones({figure_list}, {solids}, {button_list})")


def solid_of(stone: Stone) -> dict[str, Any]:
    """A stone as plain numbers: corners, each facet's corners in turn, plane, tier, number, slope and azimuth; inclusions."""
    body = stone.polyhedron
    _, slopes, azimuths = facing_deg(stone.normals)
    rows = zip(stone.tiers, stone.indices, slopes.round(2).tolist(), azimuths.round(2).tolist(), strict=True)
    return {
        "vertices": _rounded(body.vertices),
        "normals": _rounded(stone.normals),
        "distances": _rounded(stone.distances_mm),
        "loops": [loop.tolist() for loop in body.loops],
        "facets": [list(row) for row in rows],
        "inclusions": inclusion_tables(stone.inclusions),
    }


def _rounded(numbers: np.ndarray) -> list[float]:
    """Numbers in one row, none of them minus zero."""
    return (numbers.round(DIGITS) + 0.0).ravel().tolist()  # type: ignore[no-any-return]
