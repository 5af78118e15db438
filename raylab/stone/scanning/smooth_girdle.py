"""A girdle without walls of its own: a smooth outline, or flats on an even wheel, fitted to all of its points together.

Flats differ little from a smooth curve, but their common period may show where none of them does, because all of them speak at
once; then the wheel's number of sides and its phase are fitted as well.

A smooth outline runs through the middle of what flats do: corners stand out over it. How far, is told by what its points show
beyond noise, or could hide in it, and is part of its errors.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from .envelope import CUTOFF, Planes, squares
from .girdle_ellipse import Band, cosine_of_normal, nearest_ellipse, radius_of, stretched, waves_of

ROUND_SIDES = 96
"""Tangent planes of a round girdle."""

HARMONICS = 6
"""Most waves around the stone that the smooth outline has."""

STANDS_OUT = math.sqrt(1.0 / 5.0 * 5.0 / 3.0)
"""Standard uncertainty of the outline, in sagittas of its flats. In any direction it reaches by 2/3 - x^2 beyond the smooth
curve through the flats' mean, x even in 0 to 1 from corner to middle; the square of that has the mean 1/5. Opposite flats stand
alike, and of the five waves that share a girdle's error (`plane_uncertainty.WAVES`) three move opposite sides alike."""

ENOUGH = 60
"""With fewer points the girdle's walls are taken as upright."""


@dataclass(frozen=True)
class SmoothOutline:
    """A smooth outline fitted to a band: an ellipse (its coefficients, see `radius_of`) and waves on it, whether it may lean,
    coefficients, their covariance for unit noise, the points' distances `off` (mm), and the price of its parameters."""

    sides: int
    phase: float
    ellipse: np.ndarray
    waves: int
    leans: bool
    beta: np.ndarray
    covariance: np.ndarray
    off: np.ndarray
    price: float

    def design(self, azimuth: np.ndarray, height: np.ndarray) -> np.ndarray:
        """(N, P) what each coefficient contributes at azimuths and heights."""
        return waves_of(azimuth, height, self.waves, self.leans)

    def radius(self, azimuth: np.ndarray, height: np.ndarray) -> np.ndarray:
        """(N,) the outline's radius, mm, at azimuths and heights."""
        return radius_of(azimuth, self.ellipse) + self.design(azimuth, height) @ self.beta

    def misfit(self, band: Band, noise: float) -> float:
        """Sum of the band's squared distances from the outline in noise variances."""
        return cost_of(self.off, band.weight, noise)

    def score(self, band: Band, noise: float) -> float:
        """What outlines of the same band are compared by."""
        return self.misfit(band, noise) + self.price

    def sagitta(self, band: Band, scatter: float) -> float:
        """Root mean square sagitta (mm) of the flats that the band shows beyond a `scatter` (mm) of its points, and one
        standard error more. Over a flat the outline's distance from its mean has 4/45 of the squared sagitta as variance."""
        beyond = self.misfit(band, scatter) - band.weight.sum() * (1.0 - len(self.beta) / len(band.weight))
        beyond += math.sqrt(2.0 * (band.weight**2).sum())
        return scatter * math.sqrt(45.0 / 4.0 * max(beyond, 0.0) / band.weight.sum())


def cost_of(heights: np.ndarray, weight: np.ndarray, noise: float) -> float:
    return float((weight * squares(heights, noise)).sum())


def smooth_outline(band: Band, sides: int, phase: float, noise: float) -> SmoothOutline:
    """The smooth outline of a band. Its walls are upright unless a lean shows: a lean of chance would make the stone wider.

    How surely the walls are known to be upright stays in the covariance.
    """
    ellipse = nearest_ellipse(band)
    upright = _least_squares(band, sides, phase, ellipse, noise, leans=False)
    if len(band.radius) < ENOUGH:
        return upright
    leaning = _least_squares(band, sides, phase, ellipse, noise, leans=True)
    if leaning.score(band, noise) < upright.score(band, noise):
        return leaning
    return replace(leaning, beta=np.r_[upright.beta, 0.0, 0.0, 0.0], off=upright.off, price=upright.price)


def _least_squares(band: Band, sides: int, phase: float, ellipse: np.ndarray, noise: float, *, leans: bool) -> SmoothOutline:
    """Least squares of the radius, or with `sides` of the distance along the normal of the flat that a point is on."""
    around = stretched(band.azimuth, ellipse, back=True)
    extent = band.radius * (np.cos(_off(around, sides, phase)) if sides else 1.0) - radius_of(band.azimuth, ellipse)
    waves = min(HARMONICS, len(extent) // 24)
    A = waves_of(band.azimuth, band.height, waves, leans)
    use = np.ones(len(extent), dtype=bool)
    for _ in range(4):  # points off the outline, such as a chip's, are left out in the next turn
        W = band.weight[use, None] * A[use]
        M = np.linalg.pinv(A[use].T @ W)
        beta = M @ (W.T @ extent[use])
        off = np.abs(extent - A @ beta)
        use = off <= max(CUTOFF * noise, 4.0 * float(np.median(off)))
    covariance = M @ (W.T @ W) @ M
    price = (len(beta) + (2 if sides else 0)) * math.log(len(extent))
    return SmoothOutline(
        sides, phase, ellipse, waves, leans, beta, covariance, off * cosine_of_normal(band.azimuth, ellipse), price
    )


def _off(azimuth: np.ndarray, sides: int, phase: float) -> np.ndarray:
    """Azimuth from the middle of the flat that a point is on, radians; all of them on the circle that an ellipse is made of."""
    step = 2.0 * math.pi / sides
    return (azimuth - phase + step / 2.0) % step - step / 2.0


def even_wheels(band: Band, smooth: SmoothOutline, noise: float) -> list[SmoothOutline]:
    """Wheels of flats whose period shows in what the smooth outline leaves.

    With N flats the radius swings by 2 R/N^2 as cos N(azimuth - phase), least in the middle of a flat. Flats of an oval are
    sought as a wheel's, stretched.
    """
    rest = band.radius - smooth.radius(band.azimuth, band.height)
    most = CUTOFF * noise + 5e-3 * float(band.radius.mean())  # a chip counts little
    rest = rest.clip(-most, most)
    sides = np.arange(HARMONICS + 2, 201)
    around = stretched(band.azimuth, smooth.ellipse, back=True)
    wave = 2.0 * np.array([np.mean(band.weight * rest * np.exp(-1j * n * around)) for n in sides])
    expected = 2.0 * float(np.mean(band.radius)) / sides**2
    error = noise * math.sqrt(2.0 * float(np.mean(band.weight**2)) / len(rest))
    likely = (np.abs(wave) > 4.0 * error) & (np.abs(wave) > 0.5 * expected) & (np.abs(wave) < 2.0 * expected)
    return [
        smooth_outline(band, int(n), float((math.pi - np.angle(c)) / n), noise)
        for n, c in zip(sides[likely], wave[likely], strict=True)
    ]


def tangents(outline: SmoothOutline, band: Band, noise: float, scatter: float) -> Planes:
    """The planes of a wheel's flats or of a round outline, about the girdle's axis; for the noises see `fit_girdle`."""
    sides = outline.sides or ROUND_SIDES
    azimuth = stretched(outline.phase + 2.0 * math.pi * np.arange(sides) / sides, outline.ellipse)
    level = np.zeros(sides)
    here, radius = outline.design(azimuth, level), outline.radius(azimuth, level)
    step = 1e-6
    along = (outline.design(azimuth + step, level) - here) / step / radius[:, None]  # mm per mm along the outline
    rise = (outline.radius(azimuth + step, level) - radius) / step / radius
    upward = outline.design(azimuth, level + 1.0) - here
    if not outline.sides:
        x = math.pi / sides
        radius = radius * math.sqrt(x / math.tan(x))  # tangent planes that enclose the outline's own area
    out = np.stack([np.cos(azimuth), np.sin(azimuth), level], axis=1)
    side = np.stack([-np.sin(azimuth), np.cos(azimuth), level], axis=1)
    normals = out - rise[:, None] * side - (upward @ outline.beta)[:, None] * [0.0, 0.0, 1.0]
    normals /= np.linalg.norm(normals, axis=1)[:, None]
    center = radius[:, None] * out
    J = np.stack([here, along, upward], axis=1)
    axes = np.stack([side, np.broadcast_to([0.0, 0.0, 1.0], side.shape)], axis=2)
    count = np.full(sides, len(band.azimuth) / sides)
    covariance = J @ outline.covariance @ J.transpose(0, 2, 1)
    covariance[:, 0, 0] += (STANDS_OUT * outline.sagitta(band, scatter) / scatter) ** 2
    return Planes(normals, (normals * center).sum(axis=1), center, count, np.full(sides, noise), axes, covariance)
