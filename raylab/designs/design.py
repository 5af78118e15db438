"""The exact statistics of designs: each a row of numbers (`COLUMNS`), or the reason why it has none. See `keys` for designs."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from ..errors import InputError, UnsupportedScene
from ..results.statistics import columns, numbers_of
from ..results.summary import exact_record
from ..scene.scene import Scene
from ..scene.settings import TraceSettings
from ..stone.stone import Stone
from .keys import GEOMETRY, LIGHT_KEYS, TRACED, Design, reason_for
from .making import dome_in, geometry_of, stone_of, view_of

COLUMNS = (*columns(), *GEOMETRY, "reason")
"""A design's row of numbers: each statistic with its bracket and its standard error, the geometry, the reason code."""


def trace_designs(designs: Iterable[Design], settings: TraceSettings) -> np.ndarray:
    """(K, len(COLUMNS)) one row for each design; those that are no stone are NaN but for the reason.

    Designs that follow each other and differ in light or view alone share their stone.

    Raises UnsupportedScene where no exact engine can trace them.
    """
    rows, last, stone = [], None, None
    for design in designs:
        try:
            proportions = {key: value for key, value in design.items() if key not in LIGHT_KEYS}
            if stone is None or proportions != last:
                stone = None
                stone = stone_of(design)
                last = proportions
            rows.append(_row(scene_of(stone, design, settings)))
        except UnsupportedScene:  # no fault of the one design
            raise
        except InputError as error:
            rows.append(np.full(len(COLUMNS), np.nan))
            rows[-1][-1] = reason_for(error)
    return np.array(rows).reshape(-1, len(COLUMNS))


def scene_of(stone: Stone, design: Design, settings: TraceSettings) -> Scene:
    """A design whose stone is built, under its light, at its wavelength."""
    return Scene(stone, dome_in(design), view_of(design), replace(settings, wavelengths_nm=design["wavelength_nm"]))


def _row(scene: Scene) -> np.ndarray:
    found = exact_record(scene, threads=1)
    return np.array([*numbers_of(found.statistics), *geometry_of(scene.stone).values(), found.area_mm2, TRACED])
