"""A toy statistic in one file: what reaches the sky, less what leaks."""

from __future__ import annotations

from raylab.results.statistics.definition import Definition, statistic, unit_vector
from raylab.tracers.ledger import LEAK, LUMINANCE, SKY, UNTRACED


def _of(totals, limits):
    value, traced = (means[..., SKY] - means[..., LEAK] for means in (totals.estimate, totals.mean))
    untraced = totals.mean[..., UNTRACED]
    return statistic(value, traced - untraced, traced + untraced, totals.error(_gradient(totals.estimate, limits[LUMINANCE])))


def _gradient(mean, peak_radiance):
    return unit_vector(SKY) - unit_vector(LEAK)


SURPLUS = Definition(
    key="surplus",
    label="surplus of the sky (toy)",
    definition="area mean of the sky's share less the leak's (a toy)",
    percent=True,
    span=(-1.0, 1.0),
    of=_of,
    gradient=_gradient,
)
