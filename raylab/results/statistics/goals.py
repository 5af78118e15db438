"""What a scene's settings ask of its statistics, as the `Goal` that an engine works towards."""

from __future__ import annotations

import math
from collections.abc import Iterable
from functools import reduce
from typing import Any

import numpy as np

from ...errors import InputError, nearest
from ...scene.scene import Scene
from ...scene.settings import TraceSettings
from ...tracers.goal import Goal
from ...tracers.ledger import LUMINANCE
from ...tracers.totals import Totals
from . import STATISTICS
from .brightness import BRIGHTNESS
from .contrast import CONTRAST_RMS
from .definition import Definition, Statistic
from .limits import Limits, limits_of

BY_DEFAULT = (BRIGHTNESS, CONTRAST_RMS)
"""The statistics whose standard errors count where the settings name none."""


def goal_of(scene: Scene, wavelength_nm: float | None = None) -> Goal:
    """What the scene's settings ask for at a wavelength, nm; by default at the scene's one.

    Raises InputError for a statistic that is not in the table, or where no wavelength is stated and the scene has several.
    """
    settings = scene.settings
    return goal_within(limits_of(scene, settings.wavelength_nm if wavelength_nm is None else wavelength_nm), settings)


def goal_within(limits: Limits, settings: TraceSettings) -> Goal:
    """What settings ask for of scenes with the same limits; of many at once, the goal's numbers are arrays.

    Raises InputError for a statistic that is not in the table.
    """
    peak = limits[LUMINANCE]
    for key in settings.precision_of:
        if key not in STATISTICS:
            raise InputError("unknown statistic", key="precision_of", value=key, expected=nearest(key, STATISTICS))
    named = [STATISTICS[key] for key in settings.precision_of]
    counted = named or BY_DEFAULT

    def width(totals: Totals) -> Any:
        return _widest((one.width for one in _each(named, totals, limits)), settings.precision)

    def error(totals: Totals) -> Any:
        return _widest((one.error for one in _each(counted, totals, limits)), settings.standard_error or math.inf)

    def derivatives(mean: np.ndarray) -> np.ndarray:
        return np.nan_to_num([one.gradient(mean, peak) for one in counted])

    return Goal(
        width if named and settings.standard_error is None else None,
        error if settings.standard_error else None,
        derivatives,
    )


def missed(scene: Scene, wavelength_nm: float, totals: Totals) -> dict[str, str]:
    """Notes on widths and errors that were asked for and not reached at a wavelength, nm."""
    settings, goal, notes = scene.settings, goal_of(scene, wavelength_nm), dict[str, str]()
    if goal.width is not None and (wide := goal.width(totals)) > 1.0 + 1e-9:
        notes["precision_of"] = f"the widest bracket asked for is {wide * settings.precision:.3g}, not {settings.precision:g}"
    if goal.error is not None and settings.standard_error is not None and (wide := goal.error(totals)) > 1.0 + 1e-9:
        notes["standard_error"] = (
            f"the largest standard error asked for is {wide * settings.standard_error:.3g}, not {settings.standard_error:g}; "
            "a sampled engine reaches it by more samples"
        )
    return notes


def _each(wanted: Iterable[Definition], totals: Totals, limits: Limits) -> Iterable[Statistic]:
    return (one.of(totals, limits) for one in wanted)


def _widest(widths: Iterable[Any], wanted: float) -> Any:
    """The largest width as a multiple of the wanted one; a statistic that is not defined asks for nothing."""
    return reduce(np.fmax, (width / wanted for width in widths), 0.0)
