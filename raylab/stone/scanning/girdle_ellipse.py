"""A girdle's points in a band about its axis, the ellipse nearest to them, and the circle that it is a stretched image of.

An oval's flats are those of an even wheel, stretched: on the circle they are even again.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Band:
    """Girdle points about the girdle's axis: radius, azimuth and height (mm), and relative weights of mean 1."""

    radius: np.ndarray
    azimuth: np.ndarray
    height: np.ndarray
    weight: np.ndarray


def around_axis(points: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    return np.arctan2(points[:, 1], points[:, 0]), points[:, 2]


def band_of(points: np.ndarray, area: np.ndarray) -> Band:
    azimuth, height = around_axis(points)
    return Band(np.hypot(points[:, 0], points[:, 1]), azimuth, height, area / area.mean())


def waves_of(azimuth: np.ndarray, height: np.ndarray, waves: int, leans: bool) -> np.ndarray:
    """(N, P) waves around the stone, and a lean: the same all round, and towards x and y."""
    columns = [np.ones_like(azimuth), *(f(k * azimuth) for k in range(1, waves + 1) for f in (np.cos, np.sin))]
    columns += [height, height * np.cos(azimuth), height * np.sin(azimuth)] if leans else []
    return np.column_stack(columns)


def radius_of(azimuth: np.ndarray, coefficients: np.ndarray) -> np.ndarray:
    """(N,) radius, mm, of an ellipse about the origin; 1 / radius^2 = a + b cos 2 azimuth + c sin 2 azimuth."""
    return np.asarray((waves_of(2.0 * azimuth, azimuth, 1, leans=False) @ coefficients) ** -0.5)


def stretched(azimuth: np.ndarray, ellipse: np.ndarray, *, back: bool = False) -> np.ndarray:
    """(N,) where azimuths on a circle come to when it is stretched along its diameters to an ellipse; `back`: the reverse."""
    mean, *wave = ellipse
    axis, size = 0.5 * math.atan2(-wave[1], -wave[0]), math.hypot(*wave)
    ratio = math.sqrt((mean + size) / (mean - size))
    along = azimuth - axis
    return np.asarray(axis + np.arctan2(np.sin(along) * (ratio if back else 1.0), np.cos(along) * (1.0 if back else ratio)))


def nearest_ellipse(band: Band) -> np.ndarray:
    """Coefficients (3,) of the ellipse nearest to a band; those of its mean circle where the nearest conic is none."""
    A = waves_of(2.0 * band.azimuth, band.azimuth, 1, leans=False)
    weight = (band.radius / band.radius.mean()) ** 3 * np.sqrt(band.weight)  # of 1 / radius^2, for the same error of radius
    found = np.linalg.lstsq(weight[:, None] * A, weight / band.radius**2, rcond=None)[0]
    is_one = found[0] > 1.05 * math.hypot(found[1], found[2])
    return np.asarray(found if is_one else [band.radius.mean() ** -2, 0.0, 0.0])


def cosine_of_normal(azimuth: np.ndarray, ellipse: np.ndarray) -> np.ndarray:
    """(N,) cosine between an ellipse's radius and its normal: distances from it are so much less than along the radius."""
    step = 1e-6
    radius = radius_of(azimuth, ellipse)
    return np.asarray(1.0 / np.hypot(1.0, (radius_of(azimuth + step, ellipse) - radius) / step / radius))
