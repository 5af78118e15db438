"""The exact statistics of designs: each a row of numbers (`COLUMNS`), or the reason why it has none. See `keys` for designs."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from functools import partial

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
    stones = _Stones()
    rows = [row_of(partial(_scene, stones, design, settings)) for design in designs]
    return np.array(rows).reshape(-1, len(COLUMNS))


def _scene(stones: _Stones, design: Design, settings: TraceSettings) -> Scene:
    return scene_of(stones.of(design), design, settings)


def row_of(build: Callable[[], Scene]) -> np.ndarray:
    """(len(COLUMNS),) the numbers of the scene that `build` makes; NaN but for the reason where it raises InputError.

    Raises UnsupportedScene where no exact engine can trace the scene.
    """
    try:
        return _row(build())
    except UnsupportedScene:  # no fault of the one design
        raise
    except InputError as error:
        row = np.full(len(COLUMNS), np.nan)
        row[-1] = reason_for(error)
        return row


class _Stones:
    """The stones of designs, of which the last is kept."""

    def __init__(self) -> None:
        self._proportions: dict[str, object] = {}
        self._stone: Stone | None = None

    def of(self, design: Design) -> Stone:
        """The stone of a design. Raises InputError as `stone_of`."""
        proportions = {key: value for key, value in design.items() if key not in LIGHT_KEYS}
        if self._stone is None or proportions != self._proportions:
            self._stone = None
            self._stone, self._proportions = stone_of(design), proportions
        return self._stone


def scene_of(stone: Stone, design: Design, settings: TraceSettings) -> Scene:
    """A design whose stone is built, under its light, at its wavelength."""
    return Scene(stone, dome_in(design), view_of(design), replace(settings, wavelengths_nm=design["wavelength_nm"]))


def _row(scene: Scene) -> np.ndarray:
    found = exact_record(scene, threads=1)
    return np.array([*numbers_of(found.statistics), *geometry_of(scene.stone).values(), found.area_mm2, TRACED])
