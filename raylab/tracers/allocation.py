"""How many samples each pixel of a map takes: more where the luminance at its corners differs.

The error of a map comes from few pixels, those through which an edge between bright and dark runs. So a ray through each corner
of the pixels is traced first. It is no sample: it tells where samples are worth most, and they are placed without regard to
what other samples found. So no mean is biased, and the errors that follow from the samples hold.

With v n^-1.5 the variance of the mean over n stratified samples across edges (Mitchell 1996, Consequences of stratified
sampling in graphics, from memory), the sum of the variances of all pixels is least at n ~ v^0.4. The scatter of four corners
is a poor guide to v; measured with a round brilliant, any power of it from 0.3 to 0.5 serves as well, and the standard
deviation, the power 0.5, needs no function whose last bits differ between machines.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from ..scene.pixel_grid import PixelGrid

LEAST_CELLS = 3
"""With fewer cells along a pixel's side, there is nothing to share out: every pixel takes as many samples."""
EVENLY = 0.3
"""At least this share of the samples is spread evenly, since corners don't see what lies between them."""
MOST = 8.0
"""No pixel takes more than about so many times the mean, beyond what is spread evenly."""
CORNER_WEIGHT = 0.01
"""Weight below which a corner's path ends."""
CORNERS_AT_A_TIME = 1 << 16


def even_cells(grid: PixelGrid, samples: int) -> np.ndarray:
    """(P,) cells along the side of each pixel where all take as many samples."""
    return np.full(grid.resolution**2, math.isqrt(samples), np.int32)


def cells_by_corners(grid: PixelGrid, samples: int, light_at: Callable[[np.ndarray], np.ndarray]) -> np.ndarray:
    """(P,) cells along the side of each pixel, which takes their square of samples; on average `samples`, about.

    Parameters
    ----------
    light_at : luminance (R,) at points (R, 2) of the map plane, mm, 0 beside the stone.
    """
    scatter = _scatter_of_corners(grid, light_at)
    mean = scatter.mean()
    if math.isqrt(samples) < LEAST_CELLS or not mean > 0.0:
        return even_cells(grid, samples)
    more = (1.0 - EVENLY) * np.minimum(scatter / mean, MOST)
    wanted = samples * (1.0 - more.mean() + more)
    return np.maximum(np.rint(np.sqrt(wanted)), 2.0).astype(np.int32)  # a stratum takes two


def _scatter_of_corners(grid: PixelGrid, light_at: Callable[[np.ndarray], np.ndarray]) -> np.ndarray:
    """(P,) standard deviation of the luminance at the four corners of each pixel."""
    n = grid.resolution
    x, y = (start + grid.pixel_mm * np.arange(n + 1) for start in (grid.x0_mm, grid.y0_mm))
    found, rows = np.empty((n, n)), max(1, CORNERS_AT_A_TIME // (n + 1))
    for first in range(0, n, rows):
        corners = np.stack(np.meshgrid(x, y[first : first + rows + 1]), axis=-1)
        light = light_at(corners.reshape(-1, 2)).reshape(corners.shape[:2])
        found[first : first + rows] = np.stack([light[:-1, :-1], light[1:, :-1], light[:-1, 1:], light[1:, 1:]]).std(axis=0)
    return found.ravel()
