"""Where the samples of a pixel lie: stratified, each keyed by its pixel and its number."""

from __future__ import annotations

from ..jit import njit
from .keyed import keyed_uniform


@njit(inline="always")
def stratum_of(sample, cells):
    """The row, the first column and the number of columns of the stratum of a pixel's sample, in cells of 1/cells of its side.

    A row of cells is cut into strata of two, with one sample for each cell; the last one of an odd row has three.
    """
    last = max(cells // 2, 1) - 1
    stratum = min(sample % cells // 2, last)
    return sample // cells, 2 * stratum, cells - 2 * last if stratum == last else 2


@njit(inline="always")
def sample_place(x0, y0, pixel_mm, resolution, pixel, sample, cells, seed):
    """The place (x, y), mm, on the map plane of a pixel's sample, anywhere in its stratum."""
    row, column, columns = stratum_of(sample, cells)
    cell = pixel_mm / cells
    x, y = x0 + (pixel % resolution) * pixel_mm, y0 + (pixel // resolution) * pixel_mm
    return (
        x + (column + columns * keyed_uniform(seed, pixel, sample, 0)) * cell,
        y + (row + keyed_uniform(seed, pixel, sample, 1)) * cell,
    )
