"""Dark areas for the page: their numbers, and the outline of the largest one for the maps.

They take as long as a picture, so the page asks for them in the background, while nothing moves.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from ..darkness import dark_areas_in
from ..errors import UnsupportedScene
from ..results.dark_areas import NUMBERS, DarkAreas
from ..results.summary import exact_result
from ..scene.scene import Scene


def shown_numbers() -> list[dict[str, Any]]:
    """The numbers as the page needs them: name, words, whether in percent."""
    return [
        {"key": key, "label": one.label, "definition": one.definition, "percent": one.percent} for key, one in NUMBERS.items()
    ]


def dark_answer(scene: Scene) -> tuple[dict[str, Any], dict[str, np.ndarray]]:
    """Numbers and outline of a stone under a view; those of `dark_areas` of its trace."""
    found = dark_areas_of_scene(scene)
    return {"dark": found.to_dict()}, {"outline": outline_of(found)}


def dark_areas_of_scene(scene: Scene, threads: int | None = None) -> DarkAreas:
    """The dark areas of a scene. Raises UnsupportedScene where no exact engine traces it."""
    traced = exact_result(scene, early=False, threads=threads)
    if traced.polygons is None:
        raise UnsupportedScene.by((traced.engine, "dark areas need virtual facets"))
    return dark_areas_in(traced.polygons, scene)


def outline_of(found: DarkAreas) -> np.ndarray:
    """(K, 4) the sides of pixels, x and y of both ends in mm, between the largest dark area and what is around it."""
    grid, inside = found.grid, np.pad(found.where, 1)
    sides = []
    for axis in (0, 1):
        row, column = np.nonzero(np.diff(inside, axis=axis))
        ends = [(column - (axis == 0), row - (axis == 1)), (column, row)]  # of a side below a pixel, or to its left
        sides.append(np.column_stack([corner for end in ends for corner in end]))
    corners = np.concatenate(sides)
    return np.array([grid.x0_mm, grid.y0_mm] * 2) + grid.pixel_mm * corners
