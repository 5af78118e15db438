"""What a scene's settings ask of its statistics, as the `Goal` that an engine works towards."""

from __future__ import annotations

import math
from collections.abc import Iterable
from functools import reduce
from typing import Any

import numpy as np

from ...errors import InputError, nearest
from ...lighting.dome import Dome
from ...scene.scene import Scene
from ...scene.settings import TraceSettings
from ...tracers.goal import Goal
from ...tracers.totals import Totals
from . import STATISTICS
from .brightness import BRIGHTNESS
from .contrast import CONTRAST_RMS
from .definition import Definition, Statistic

BY_DEFAULT = (BRIGHTNESS, CONTRAST_RMS)
"""The statistics whose standard errors count where the settings name none."""


def goal_of(scene: Scene) -> Goal:
    """What the scene's settings ask for. Raises InputError for a statistic that is not in the table."""
    return goal_under(scene.dome, scene.settings)


def goal_under(dome: Dome, settings: TraceSettings) -> Goal:
    """What settings ask for of scenes under a dome; of many at once, the goal's numbers are arrays. Raises as `goal_of`."""
    peak = dome.peak_radiance
    for key in settings.precision_of:
        if key not in STATISTICS:
            raise InputError("unknown statistic", key="precision_of", value=key, expected=nearest(key, STATISTICS))
    named = [STATISTICS[key] for key in settings.precision_of]
    counted = named or BY_DEFAULT

    def width(totals: Totals) -> Any:
        return _widest((one.width for one in _each(named, totals, peak)), settings.precision)

    def error(totals: Totals) -> Any:
        return _widest((one.error for one in _each(counted, totals, peak)), settings.standard_error or math.inf)

    def derivatives(mean: np.ndarray) -> np.ndarray:
        return np.nan_to_num([one.gradient(mean, peak) for one in counted])

    return Goal(
        width if named and settings.standard_error is None else None,
        error if settings.standard_error else None,
        derivatives,
    )


def missed(scene: Scene, totals: Totals) -> dict[str, str]:
    """Notes on widths and errors that were asked for and not reached."""
    settings, goal, notes = scene.settings, goal_of(scene), dict[str, str]()
    if goal.width is not None and (wide := goal.width(totals)) > 1.0 + 1e-9:
        notes["precision_of"] = f"the widest bracket asked for is {wide * settings.precision:.3g}, not {settings.precision:g}"
    if goal.error is not None and settings.standard_error is not None and (wide := goal.error(totals)) > 1.0 + 1e-9:
        notes["standard_error"] = (
            f"the largest standard error asked for is {wide * settings.standard_error:.3g}, not {settings.standard_error:g}; "
            "a sampled engine reaches it by more samples"
        )
    return notes


def _each(wanted: Iterable[Definition], totals: Totals, peak_radiance: float) -> Iterable[Statistic]:
    return (one.of(totals, peak_radiance) for one in wanted)


def _widest(widths: Iterable[Any], wanted: float) -> Any:
    """The largest width as a multiple of the wanted one; a statistic that is not defined asks for nothing."""
    return reduce(np.fmax, (width / wanted for width in widths), 0.0)
