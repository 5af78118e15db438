"""What an engine hands up: maps over pixels and area means over the stone, for one wavelength."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..scene.pixel_grid import PixelGrid
from .ledger import CHANNELS

LUMINANCE_SQUARE, UNTRACED_SQUARE = CHANNELS, CHANNELS + 1
MOMENTS = CHANNELS + 2
"""Area means kept for statistics: the ledger's channels, then the squares of luminance and of untraced weight."""


@dataclass(frozen=True)
class Totals:
    """Area means over the stone's outline as seen.

    Attributes
    ----------
    area_mm2 : area of the outline on the map plane.
    mean : (MOMENTS,) area means.
    covariance : (MOMENTS, MOMENTS) of the sampling error of those means; zeros from an exact engine.
    """

    area_mm2: float
    mean: np.ndarray
    covariance: np.ndarray

    def error(self, gradient: np.ndarray) -> float:
        """Standard error of a statistic with the given gradient (MOMENTS,) with respect to the means (delta method)."""
        return float(np.sqrt(max(0.0, gradient @ self.covariance @ gradient)))


@dataclass(frozen=True)
class EngineResult:
    """One wavelength's result.

    Attributes
    ----------
    frame : the pixel grid. wavelength_nm, engine : how it was made.
    fields : name -> (resolution, resolution) float64, y rising. Per pixel the mean over its covered part, NaN where it is
        not covered: ``luminance``, the ledger's entries, ``glare``, ``source_x/y/z``, ``bounces`` (the last two as
        weighted sums, see `ledger`); ``coverage`` from 0 to 1; sampled engines add ``luminance_error``, the
        exact one ``polygon`` (see `exact_image`).
    totals : area means, independent of the grid for an exact engine.
    """

    grid: PixelGrid
    wavelength_nm: float
    engine: str
    fields: dict[str, np.ndarray]
    totals: Totals
