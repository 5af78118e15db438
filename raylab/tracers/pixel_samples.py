"""Where the samples of a pixel lie: stratified, each keyed by its pixel and its number."""

from __future__ import annotations

from ..jit import njit
from .keyed import keyed_uniform


@njit(inline="always")
def stratum_at(column, cells):
    """The first column and the number of columns of a cell's stratum, in cells of 1/cells of the pixel's side.

    A row of cells is cut into strata of two, with one sample for each cell; the last one of an odd row has three.
    """
    last = max(cells // 2, 1) - 1
    stratum = min(column // 2, last)
    return 2 * stratum, cells - 2 * last if stratum == last else 2


@njit(inline="always")
def stratum_of(sample, cells):
    """The row of a pixel's sample, and the first column and the number of columns of its stratum."""
    column, columns = stratum_at(sample % cells, cells)
    return sample // cells, column, columns


@njit(inline="always")
def place_in_stratum(x, y, cell, row, column, columns, seed, pixel, sample):
    """The place (x, y), mm, on the map plane of a pixel's sample, anywhere in its stratum. `cell` : the side of a cell."""
    return (
        x + (column + columns * keyed_uniform(seed, pixel, sample, 0)) * cell,
        y + (row + keyed_uniform(seed, pixel, sample, 1)) * cell,
    )


@njit(inline="always")
def sample_place(x0, y0, pixel_mm, resolution, pixel, sample, cells, seed):
    """The place (x, y), mm, on the map plane of a pixel's sample."""
    row, column, columns = stratum_of(sample, cells)
    x, y = x0 + (pixel % resolution) * pixel_mm, y0 + (pixel // resolution) * pixel_mm
    return place_in_stratum(x, y, pixel_mm / cells, row, column, columns, seed, pixel, sample)
