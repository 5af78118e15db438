"""From virtual facets to maps: exact pixel coverage, in tiles of bounded memory."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ...jit import njit
from ...scene.pixel_grid import PixelGrid
from ..engine_result import EngineResult
from ..ledger import FIELDS, MAPPED, SOURCE_X, SOURCE_Y
from .beams import Beams
from .pixel_coverage import rasterize
from .tracer import NAME

TILE = 1024
"""Pixels along a side that are worked off at a time."""


def exact_image(beams: Beams, grid: PixelGrid, wavelength_nm: float, fields: Sequence[str] = FIELDS[:MAPPED]) -> EngineResult:
    """Maps and area means of virtual facets; no sampling error, at any resolution from one trace.

    Only the `fields` are drawn, by default all that have maps; each takes its time. One more, ``polygon``, gives the number,
    among those of `beams.unfolded()`, of the virtual facet that covers most of each pixel; -1 for none.
    """
    whole = beams.unfolded()
    n = grid.resolution
    wanted, shown = np.array([FIELDS.index(name) for name in fields], np.int64), (beams.rows != 0.0).any(axis=0)
    shown[SOURCE_X : SOURCE_Y + 1] = shown[SOURCE_X : SOURCE_Y + 1].any()  # copies turn the one into the other
    channels = np.flatnonzero(shown[wanted])  # several are 0 in most stones: they take no time
    carried = whole.rows[:, wanted[channels]]
    means, coverage = np.empty((len(fields), n, n)), np.empty((n, n))
    polygon = np.empty((n, n), np.int32)
    side = min(TILE, n)
    for first_row in range(0, n, side):
        for first_column in range(0, n, side):
            x0, y0 = grid.x0_mm + first_column * grid.pixel_mm, grid.y0_mm + first_row * grid.pixel_mm
            pixels = rasterize(whole.vertices_mm, whole.starts, carried, PixelGrid(x0, y0, grid.pixel_mm, side))
            rows, columns = slice(first_row, first_row + side), slice(first_column, first_column + side)
            held = coverage[rows, columns].shape
            coverage[rows, columns] = pixels.coverage[: held[0], : held[1]]
            polygon[rows, columns] = pixels.polygon[: held[0], : held[1]]
            _put_means(pixels.sums, pixels.coverage, channels, first_row, first_column, means)
    maps = {name: means[k] for k, name in enumerate(fields)} | {"coverage": coverage, "polygon": polygon}
    return EngineResult(grid, wavelength_nm, NAME, maps, beams.totals, beams, whole)


@njit(in_place=True, nogil=True)
def _put_means(sums, coverage, channels, first_row, first_column, means):
    """A tile's sums (side, side, C) over its coverage (side, side) into the maps `means` (F, n, n), whatever hangs over their
    edge left out: NaN where nothing is covered, else 0 in the maps that are not among `channels` (C,).

    Row by row, because the maps lie one after another and the sums of a pixel side by side: map by map, each would be read from
    memory as often as there are maps.
    """
    size = means.shape[1]
    for row in range(min(len(sums), size - first_row)):
        width = min(len(sums), size - first_column)
        for field in range(len(means)):
            for column in range(width):
                means[field, first_row + row, first_column + column] = 0.0 if coverage[row, column] > 0.0 else np.nan
        for k in range(len(channels)):
            for column in range(width):
                if coverage[row, column] > 0.0:
                    mean = sums[row, column, k] / coverage[row, column]
                    means[channels[k], first_row + row, first_column + column] = mean
