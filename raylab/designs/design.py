"""The statistics of designs: each a row of numbers (`COLUMNS`), or the reason why it has none. See `keys` for designs."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from functools import partial
from typing import TypeVar

import numpy as np

from ..errors import InputError, UnsupportedScene
from ..results.statistics import columns, numbers_of
from ..results.statistics.goals import goal_of
from ..results.statistics.limits import limits_of
from ..results.summary import Record, exact_record, quick_record, record
from ..scene.scene import Scene
from ..scene.settings import TraceSettings
from ..stone.stone import Stone
from ..tracers.engine import BatchEngine, BuildingEngine, Engine
from ..tracers.engines import engine_named
from .columns import Columns
from .keys import GEOMETRY, LIGHT_KEYS, TRACED, Design, reason_for
from .lots import built_rows
from .making import dome_in, geometry_of, stone_of, view_of

Made = TypeVar("Made")

COLUMNS = (*columns(), *GEOMETRY, "reason")
"""A design's row of numbers: each statistic with its bracket and its standard error, the geometry, the reason code."""


LEFT_AT_A_TIME = 1024
"""Designs whose stones are in memory at a time where an engine doesn't build them itself."""


def trace_designs(designs: Iterable[Design] | Columns, settings: TraceSettings) -> np.ndarray:
    """(K, len(COLUMNS)) one row for each design; those that are no stone are NaN but for the reason.

    An engine that builds stones itself gets what it can build of `Columns`. Other designs that follow each other and differ in
    light or view alone share their stone.

    Raises UnsupportedScene where the engine, an exact one if the settings name none, can't trace them.
    """
    engine = engine_named(settings.engine) if settings.engine is not None else None
    if isinstance(engine, BuildingEngine) and isinstance(designs, Columns):
        rows = np.full((len(designs), len(COLUMNS)), np.nan)
        left = np.flatnonzero(built_rows(engine, designs, settings, rows))
        for some in (left[start : start + LEFT_AT_A_TIME] for start in range(0, len(left), LEFT_AT_A_TIME)):
            rows[some] = _one_by_one(designs.at(some), settings, engine)
        return rows
    return _one_by_one(designs, settings, engine)


def _one_by_one(designs: Iterable[Design], settings: TraceSettings, engine: Engine | None) -> np.ndarray:
    """The rows of designs whose stones are built here."""
    stones = _Stones()
    if isinstance(engine, BatchEngine):
        rows = _batched(engine, [_tried(partial(_scene, stones, design, settings)) for design in designs])
    else:
        rows = [row_of(partial(_scene, stones, design, settings)) for design in designs]
    return np.array(rows).reshape(-1, len(COLUMNS))


def _scene(stones: _Stones, design: Design, settings: TraceSettings) -> Scene:
    return scene_of(stones.of(design), design, settings)


def row_of(build: Callable[[], Scene]) -> np.ndarray:
    """(len(COLUMNS),) the numbers of the scene that `build` makes; NaN but for the reason where it raises InputError.

    Raises UnsupportedScene where its engine can't trace the scene.
    """
    row = _tried(lambda: _traced(build()))
    return _without(row) if isinstance(row, InputError) else row


def _traced(scene: Scene) -> np.ndarray:
    return _row(scene, exact_record(scene, threads=1) if scene.settings.engine is None else quick_record(scene, threads=1))


def _tried(work: Callable[[], Made]) -> Made | InputError:
    """What `work` makes, or the InputError that it raises; UnsupportedScene is no fault of the one design and is raised."""
    try:
        return work()
    except UnsupportedScene:
        raise
    except InputError as error:
        return error


def _batched(engine: BatchEngine, scenes: Sequence[Scene | InputError]) -> list[np.ndarray]:
    """The rows of scenes that are traced together where they share dome and wavelength."""
    rows = [_without(one) if isinstance(one, InputError) else np.empty(0) for one in scenes]
    groups: dict[tuple[str, float], list[int]] = {}
    for k, one in enumerate(scenes):
        if isinstance(one, Scene):
            if (reason := engine.supports(one)) is not None:
                raise UnsupportedScene.by((engine.name, reason))
            groups.setdefault((one.dome.digest, one.settings.wavelength_nm), []).append(k)
    for (_, wavelength_nm), members in groups.items():
        some = [one for one in (scenes[k] for k in members) if isinstance(one, Scene)]
        totals = engine.batch(some, wavelength_nm, [goal_of(one) for one in some])
        for k, scene, found in zip(members, some, totals, strict=True):
            rows[k] = _row(scene, record(wavelength_nm, found, limits_of(scene, wavelength_nm)))
    return rows


def _without(error: InputError) -> np.ndarray:
    """The row of a design that has no numbers."""
    row = np.full(len(COLUMNS), np.nan)
    row[-1] = reason_for(error)
    return row


def _row(scene: Scene, found: Record) -> np.ndarray:
    return np.array([*numbers_of(found.statistics), *geometry_of(scene.stone).values(), found.area_mm2, TRACED])


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
