"""RMS contrast: area-weighted standard deviation of luminance over its mean.

Peli, J. Opt. Soc. Am. A 7 (1990) 2032-2040; weights are areas, so the divisor is the whole area.
"""

from __future__ import annotations

import math

import numpy as np

from ...tracers.ledger import BRIGHTER, DIMMER, LUMINANCE, UNTRACED
from ...tracers.totals import LUMINANCE_SQUARE, SWING_SQUARE, UNTRACED_SQUARE, Totals
from .definition import Definition, Statistic, statistic
from .limits import Limits


def _of(totals: Totals, limits: Limits) -> Statistic:
    """The untraced light adds at most e = untraced x peak in each point, which moves the mean by at most mean(e) and the
    standard deviation by at most the root mean square of e. So does light on an edge, up by `brighter` and down by `dimmer`."""
    m, deviation = _mean_and_deviation(totals.mean)
    peak_radiance = limits[LUMINANCE]
    likely, scatter = _mean_and_deviation(totals.estimate)
    most = m + totals.mean[..., UNTRACED] * peak_radiance + totals.mean[..., BRIGHTER]
    least = m - totals.mean[..., DIMMER]
    shake = _root(totals.mean[..., UNTRACED_SQUARE]) * peak_radiance + _root(totals.mean[..., SWING_SQUARE])
    error = np.where(scatter > 0.0, totals.error(_gradient(totals.estimate, peak_radiance)), 0.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        value, low = scatter / likely, np.maximum(0.0, deviation - shake) / most
        high = np.where(least > 0.0, (deviation + shake) / least, math.inf)
    dark = likely <= 0.0  # nothing is lit, and nothing has a contrast
    value, low, high, error = (np.where(dark, math.nan, part) for part in (value, low, high, error))
    return statistic(value, low, high, error, totals.whole)


def _gradient(mean: np.ndarray, peak_radiance: float) -> np.ndarray:
    """With m the mean, q the mean square and s = sqrt(q - m^2): d(s/m) = dq / (2 s m) - (1/s + s/m^2) dm."""
    m, deviation = _mean_and_deviation(mean)
    gradient = np.zeros(mean.shape)
    with np.errstate(divide="ignore", invalid="ignore"):
        gradient[..., LUMINANCE_SQUARE] = 0.5 / (deviation * m)
        gradient[..., LUMINANCE] = -1.0 / deviation - deviation / (m * m)
    gradient[(m <= 0.0) | (deviation <= 0.0)] = math.nan
    return gradient


def _mean_and_deviation(mean: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(...,) mean and standard deviation of the luminance over the outline."""
    m, q = mean[..., LUMINANCE], mean[..., LUMINANCE_SQUARE]
    return m, _root(q - m * m)


def _root(square: np.ndarray) -> np.ndarray:
    """Root of a mean square, which rounding may have left below 0."""
    return np.asarray(np.sqrt(np.maximum(0.0, square)))


CONTRAST_RMS = Definition(
    key="contrast_rms",
    label="contrast (RMS)",
    definition="area-weighted standard deviation of luminance over its mean (Peli, J. Opt. Soc. Am. A 7 (1990) 2032)",
    of=_of,
    gradient=_gradient,
)
