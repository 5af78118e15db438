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
    standard deviation by at most the root mean square of e. So does light on an edge, up by `brighter` and down by `dimmer`.

    Where the luminance is even but for its sampling error, the root is too steep for its tangent to tell of its error, and has
    none where the variance comes out below 0. So the secant does, from one standard error of the variance below to one above.
    """
    m, deviation = _mean_and_deviation(totals.mean)
    peak_radiance = limits[LUMINANCE]
    likely, scatter = _mean_and_deviation(totals.estimate)
    most = m + totals.mean[..., UNTRACED] * peak_radiance + totals.mean[..., BRIGHTER]
    least = m - totals.mean[..., DIMMER]
    shake = _root(totals.mean[..., UNTRACED_SQUARE]) * peak_radiance + _root(totals.mean[..., SWING_SQUARE])
    variance, unsure = scatter * scatter, totals.error(_variance_gradient(totals.estimate))
    with np.errstate(divide="ignore", invalid="ignore"):
        above, below = _root(variance + unsure), _root(variance - unsure)
        secant = np.where(variance > unsure, 1.0 / (above + below), above / (2.0 * unsure))
        error = totals.error(_by_slope(totals.estimate, scatter, np.where(unsure > 0.0, secant, 0.0)))
        value, low = scatter / likely, np.maximum(0.0, deviation - shake) / most
        high = np.where(least > 0.0, (deviation + shake) / least, math.inf)
    dark = likely <= 0.0  # nothing is lit, and nothing has a contrast
    value, low, high, error = (np.where(dark, math.nan, part) for part in (value, low, high, error))
    return statistic(value, low, high, error, totals.whole)


def _gradient(mean: np.ndarray, peak_radiance: float) -> np.ndarray:
    m, deviation = _mean_and_deviation(mean)
    with np.errstate(divide="ignore", invalid="ignore"):
        gradient = _by_slope(mean, deviation, 0.5 / deviation)
    gradient[(m <= 0.0) | (deviation <= 0.0)] = math.nan
    return gradient


def _by_slope(mean: np.ndarray, deviation: np.ndarray, slope: np.ndarray) -> np.ndarray:
    """With m the mean, q the mean square and s the root of q - m^2, whose slope is given:
    d(s/m) = slope (dq - 2 m dm) / m - s dm / m^2."""
    m = mean[..., LUMINANCE]
    gradient = _variance_gradient(mean) * (slope / m)[..., np.newaxis]
    gradient[..., LUMINANCE] -= deviation / (m * m)
    return gradient


def _variance_gradient(mean: np.ndarray) -> np.ndarray:
    """Of q - m^2."""
    gradient = np.zeros(mean.shape)
    gradient[..., LUMINANCE_SQUARE], gradient[..., LUMINANCE] = 1.0, -2.0 * mean[..., LUMINANCE]
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
