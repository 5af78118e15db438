"""Brightness: how light the whole face is."""

from __future__ import annotations

import numpy as np

from ...tracers.ledger import BRIGHTER, DIMMER, LUMINANCE, UNTRACED
from ...tracers.totals import Totals
from .definition import Definition, Statistic, statistic, unit_vector
from .limits import Limits


def _of(totals: Totals, limits: Limits) -> Statistic:
    """The untraced light can add its share of the brightest radiance; light on an edge may be dimmer or brighter."""
    traced, untraced, dimmer, brighter = (totals.mean[..., one] for one in (LUMINANCE, UNTRACED, DIMMER, BRIGHTER))
    peak_radiance = limits[LUMINANCE]
    value, error = totals.estimate[..., LUMINANCE], totals.error_of(LUMINANCE)
    low, high = traced - dimmer, traced + untraced * peak_radiance + brighter
    return statistic(value / peak_radiance, low / peak_radiance, high / peak_radiance, error / peak_radiance, totals.whole)


def _gradient(mean: np.ndarray, peak_radiance: float) -> np.ndarray:
    return unit_vector(LUMINANCE) / peak_radiance


BRIGHTNESS = Definition(
    key="brightness",
    label="brightness",
    definition="area mean of the luminance over the outline, relative to the brightest radiance of the dome",
    percent=True,
    span=(0.0, 1.0),
    of=_of,
    gradient=_gradient,
)
