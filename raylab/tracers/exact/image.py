"""From virtual facets to maps: exact pixel coverage, in tiles of bounded memory."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ...scene.pixel_grid import PixelGrid
from ..engine_result import EngineResult
from ..ledger import FIELDS
from .beams import NAME, Beams
from .pixel_coverage import rasterize

TILE = 1024
"""Pixels along a side that are worked off at a time."""


def exact_image(beams: Beams, grid: PixelGrid, wavelength_nm: float, fields: Sequence[str] = FIELDS) -> EngineResult:
    """Maps and area means of virtual facets; no sampling error, at any resolution from one trace.

    Only the `fields` are drawn, by default all of `FIELDS`; each takes its time. One more field, ``polygon``, gives the number,
    among those of `beams.unfolded()`, of the virtual facet that covers most of each pixel; -1 for none.
    """
    whole = beams.unfolded()
    n = grid.resolution
    rows_drawn = whole.rows if tuple(fields) == FIELDS else whole.rows[:, [FIELDS.index(name) for name in fields]]
    means, coverage = np.empty((len(fields), n, n)), np.empty((n, n))
    polygon = np.empty((n, n), np.int32)
    side = min(TILE, n)
    for first_row in range(0, n, side):
        for first_column in range(0, n, side):
            x0, y0 = grid.x0_mm + first_column * grid.pixel_mm, grid.y0_mm + first_row * grid.pixel_mm
            drawn = rasterize(whole.vertices_mm, whole.starts, rows_drawn, PixelGrid(x0, y0, grid.pixel_mm, side))
            rows, columns = slice(first_row, first_row + side), slice(first_column, first_column + side)
            held = coverage[rows, columns].shape
            part = coverage[rows, columns] = drawn.coverage[: held[0], : held[1]]
            polygon[rows, columns] = drawn.polygon[: held[0], : held[1]]
            for channel in range(len(fields)):
                target = means[channel, rows, columns]
                target[...] = np.nan
                np.divide(drawn.sums[: held[0], : held[1], channel], part, out=target, where=part > 0.0)
    drawn_fields = {name: means[channel] for channel, name in enumerate(fields)}
    drawn_fields |= {"coverage": coverage, "polygon": polygon}
    return EngineResult(grid, wavelength_nm, NAME, drawn_fields, beams.totals, beams, whole)
