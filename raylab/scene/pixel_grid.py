"""`PixelGrid`: the square pixels of a map, on the plane z = 0 of the dome's frame."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..stone.stone import Stone
from ..units import whole_in
from .view import View, extent

MAX_RESOLUTION = 16384
"""Most pixels along each side of a map."""


@dataclass(frozen=True)
class PixelGrid:
    """A square grid of pixels over the stone.

    Attributes: `x0_mm`, `y0_mm` (outer corner of the first pixel), `pixel_mm` (its side), `resolution` (pixels along
    each side).
    """

    x0_mm: float
    y0_mm: float
    pixel_mm: float
    resolution: int

    @property
    def x_mm(self) -> np.ndarray:
        """(resolution,) pixel centres along x."""
        return self.x0_mm + (np.arange(self.resolution) + 0.5) * self.pixel_mm

    @property
    def y_mm(self) -> np.ndarray:
        """(resolution,) pixel centres along y, rising."""
        return self.y0_mm + (np.arange(self.resolution) + 0.5) * self.pixel_mm


def grid_around(stone: Stone, view: View | Sequence[View], resolution: int, margin: float = 0.02) -> PixelGrid:
    """The square grid that shows the whole stone under one view or several; the margin on each side is a share of its size."""
    resolution = whole_in("resolution", resolution, 1, MAX_RESOLUTION)
    points = np.concatenate([extent(stone, one) for one in ([view] if isinstance(view, View) else view)])
    low, high = points.min(axis=0), points.max(axis=0)
    side = float((high - low).max()) * (1.0 + 2.0 * margin)
    corner = (low + high) / 2.0 - side / 2.0
    return PixelGrid(float(corner[0]), float(corner[1]), side / resolution, resolution)
