"""RMS contrast: area-weighted standard deviation of luminance over its mean.

Peli, J. Opt. Soc. Am. A 7 (1990) 2032-2040; weights are areas, so the divisor is the whole area.
"""

from __future__ import annotations

import math

import numpy as np

from ...tracers.ledger import BRIGHTER, DIMMER, LUMINANCE, UNTRACED
from ...tracers.totals import LUMINANCE_SQUARE, MOMENTS, SWING_SQUARE, UNTRACED_SQUARE, Totals
from .definition import Definition, Statistic


def _of(totals: Totals, peak_radiance: float) -> Statistic:
    """The untraced light adds at most e = untraced x peak in each point, which moves the mean by at most mean(e) and the
    standard deviation by at most the root mean square of e. So does light on an edge, up by `brighter` and down by `dimmer`."""
    m, deviation = _mean_and_deviation(totals.mean)
    likely, scatter = _mean_and_deviation(totals.estimate)
    if likely <= 0.0:
        return Statistic(math.nan, math.nan, math.nan, math.nan)
    most = m + float(totals.mean[UNTRACED]) * peak_radiance + float(totals.mean[BRIGHTER])
    least = m - float(totals.mean[DIMMER])
    shake = _root(totals.mean[UNTRACED_SQUARE]) * peak_radiance + _root(totals.mean[SWING_SQUARE])
    error = totals.error(_gradient(totals.estimate, peak_radiance)) if scatter > 0.0 else 0.0
    high = (deviation + shake) / least if least > 0.0 else math.inf
    return Statistic(scatter / likely, max(0.0, deviation - shake) / most, high, error, totals.whole)


def _gradient(mean: np.ndarray, peak_radiance: float) -> np.ndarray:
    """With m the mean, q the mean square and s = sqrt(q - m^2): d(s/m) = dq / (2 s m) - (1/s + s/m^2) dm."""
    m, deviation = _mean_and_deviation(mean)
    if m <= 0.0 or deviation <= 0.0:
        return np.full(MOMENTS, math.nan)
    gradient = np.zeros(MOMENTS)
    gradient[LUMINANCE_SQUARE] = 0.5 / (deviation * m)
    gradient[LUMINANCE] = -1.0 / deviation - deviation / (m * m)
    return gradient


def _mean_and_deviation(mean: np.ndarray) -> tuple[float, float]:
    """Mean and standard deviation of the luminance over the outline."""
    m, q = float(mean[LUMINANCE]), float(mean[LUMINANCE_SQUARE])
    return m, _root(q - m * m)


def _root(square: float) -> float:
    """Root of a mean square, which rounding may have left below 0."""
    return math.sqrt(max(0.0, float(square)))


CONTRAST_RMS = Definition(
    key="contrast_rms",
    label="contrast (RMS)",
    definition="area-weighted standard deviation of luminance over its mean (Peli, J. Opt. Soc. Am. A 7 (1990) 2032)",
    of=_of,
    gradient=_gradient,
)
