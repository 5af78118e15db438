"""Polygons to pixels, exactly: each pixel gets the area that a polygon covers of it, not a sample.

Going around a polygon, the edge from (xa, ya) to (xb, yb) within one pixel row covers, of everything to its right, the
height yb - ya; of its own pixel it covers that height times the mean distance to the pixel's right side. Added along the
row from the left, these give each pixel's covered share: 1 inside, 0 outside, the exact area between. Every polygon is worked
out in its own box, so that no rounding of one reaches the pixels of another.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from ...jit import njit
from ...scene.pixel_grid import PixelGrid
from ...stopping import pause
from ...threads import at_once

BANDS = 16
"""Bands of rows, each worked off by one thread: fixed, so that results don't depend on the number of threads."""

SLICE = 1 << 16
"""Polygons that a thread draws between two pauses."""

NOTHING = 1e-13
"""A smaller share of a pixel is what rounding leaves to the right of a polygon."""


@njit(in_place=True)
def _add_edge(share, x_low, y_low, xa, ya, xb, yb):
    """Add an edge's heights to `share` (rows, columns + 1), a box whose corner is the pixel (x_low, y_low).

    Coordinates in pixels, xa to xb and ya to yb inside the box.
    """
    sign = 1.0
    if yb < ya:
        sign, xa, ya, xb, yb = -1.0, xb, yb, xa, ya
    if ya == yb:
        return
    slope = (xb - xa) / (yb - ya)
    for row in range(math.floor(ya), math.ceil(yb)):
        y0, y1 = max(ya, row), min(yb, row + 1.0)
        x0 = xa + (y0 - ya) * slope
        x1 = xa + (y1 - ya) * slope if y1 < yb else xb
        left, right = max(min(x0, x1), min(xa, xb)), min(max(x0, x1), max(xa, xb))
        height = y1 - y0
        column, end = math.floor(left), math.floor(right)
        if column == end:
            inside = 0.5 * (left + right) - column
            share[row - y_low, column - x_low] += sign * height * (1.0 - inside)
            share[row - y_low, column + 1 - x_low] += sign * height * inside
            continue
        per_column = height / (right - left)
        for c in range(column, end + 1):
            a, b = max(left, c), min(right, c + 1.0)
            part = (b - a) * per_column
            inside = 0.5 * (a + b) - c
            share[row - y_low, c - x_low] += sign * part * (1.0 - inside)
            share[row - y_low, c + 1 - x_low] += sign * part * inside


@njit(in_place=True)
def _extent(values, size):
    """The smallest and the largest of the first `size` values."""
    low, high = np.inf, -np.inf
    for k in range(size):
        low, high = min(low, values[k]), max(high, values[k])
    return low, high


@njit(in_place=True)
def _clip_rows(x, y, size, low, high, out_x, out_y, spare_x, spare_y):
    """The part of a polygon with low <= y <= high, written to out_x and out_y; returns its number of corners.

    All arrays have room for twice the polygon's corners and 8 more.
    """
    kept = 0
    for k in range(size):
        nxt = k + 1 if k + 1 < size else 0
        if y[k] >= low:
            spare_x[kept], spare_y[kept] = x[k], y[k]
            kept += 1
        if (y[k] < low) != (y[nxt] < low) and y[k] != low and y[nxt] != low:
            spare_x[kept], spare_y[kept] = x[k] + (low - y[k]) / (y[nxt] - y[k]) * (x[nxt] - x[k]), low
            kept += 1
    size, kept = kept, 0
    for k in range(size):
        nxt = k + 1 if k + 1 < size else 0
        if spare_y[k] <= high:
            out_x[kept], out_y[kept] = spare_x[k], spare_y[k]
            kept += 1
        if (spare_y[k] > high) != (spare_y[nxt] > high) and spare_y[k] != high and spare_y[nxt] != high:
            out_x[kept] = spare_x[k] + (high - spare_y[k]) / (spare_y[nxt] - spare_y[k]) * (spare_x[nxt] - spare_x[k])
            out_y[kept] = high
            kept += 1
    return kept


@njit(nogil=True)
def _draw_band(low, high, which, vertices, starts, values, x0, y0, pixel, sums, coverage, widest, polygon):
    """Add the parts of the polygons `which` (T,) in the rows low..high-1 to sums (ny, nx, C) and coverage (ny, nx).

    The widest polygons are noted.

    Parameters
    ----------
    vertices, starts, values : see `rasterize`. x0, y0, pixel : the grid's corner and pixel, mm.
    widest, polygon : (ny, nx) largest covered share so far, and whose it is.
    """
    columns, channels = sums.shape[1], sums.shape[2]
    most = 0
    for p in which:
        most = max(most, starts[p + 1] - starts[p])
    share, capacity = np.zeros((high - low, columns + 2)), 2 * most + 8
    x, y = np.empty(capacity), np.empty(capacity)
    cx, cy, sx, sy = np.empty(capacity), np.empty(capacity), np.empty(capacity), np.empty(capacity)
    for p in which:
        size = starts[p + 1] - starts[p]
        for k in range(size):
            y[k] = (vertices[starts[p] + k, 1] - y0) / pixel
        bottom, top = _extent(y, size)
        if top <= low or bottom >= high:
            continue
        for k in range(size):
            x[k] = (vertices[starts[p] + k, 0] - x0) / pixel
        left, right = _extent(x, size)
        if right <= 0.0 or left >= columns:
            continue
        if bottom < low or top > high:
            size = _clip_rows(x, y, size, float(low), float(high), cx, cy, sx, sy)
            for k in range(size):
                x[k], y[k] = cx[k], cy[k]
        if left < 0.0 or right > columns:  # turn the polygon to clip its columns the same way
            size = _clip_rows(y, x, size, 0.0, float(columns), cx, cy, sx, sy)
            for k in range(size):
                x[k], y[k] = cy[k], cx[k]
        if size < 3:
            continue
        left, right = _extent(x, size)
        bottom, top = _extent(y, size)
        x_low, x_high = math.floor(left), min(math.floor(right), columns - 1)
        y_low, y_high = math.floor(bottom), min(math.ceil(top), high)
        for k in range(size):
            nxt = k + 1 if k + 1 < size else 0
            _add_edge(share, x_low, y_low, x[k], y[k], x[nxt], y[nxt])
        for row in range(y_low, y_high):
            covered = 0.0
            for column in range(x_low, x_high + 1):
                covered += share[row - y_low, column - x_low]
                share[row - y_low, column - x_low] = 0.0
                # A counter-clockwise polygon rises on its right, so heights seen from the left come out negative.
                if covered < -NOTHING:
                    coverage[row, column] -= covered
                    if -covered > widest[row, column]:
                        widest[row, column], polygon[row, column] = -covered, p
                    for channel in range(channels):
                        sums[row, column, channel] -= covered * values[p, channel]
            share[row - y_low, x_high + 1 - x_low] = 0.0
            share[row - y_low, x_high + 2 - x_low] = 0.0


class Pixels(NamedTuple):
    """Polygons as pixels, y rising.

    sums : (ny, nx, C) the sum over polygons of value times covered share of the pixel. coverage : (ny, nx) the sum of covered
    shares: 0 to 1, to rounding, for polygons that tile a region. polygon : (ny, nx) the one that covers most, -1 for none.
    """

    sums: np.ndarray
    coverage: np.ndarray
    polygon: np.ndarray


def rasterize(vertices_mm: np.ndarray, starts: np.ndarray, values: np.ndarray, grid: PixelGrid) -> Pixels:
    """Exact pixel coverage of polygons that carry values.

    Parameters
    ----------
    vertices_mm : (K, 2) the polygons' corners end to end, each polygon counter-clockwise, map plane.
    starts : (L + 1,) polygon k has the corners starts[k] to starts[k + 1].
    values : (L, C) what each polygon carries.
    grid : the pixels.
    """
    side = grid.resolution
    carried = np.ascontiguousarray(values, dtype=float)
    out = Pixels(np.zeros((side, side, values.shape[1])), np.zeros((side, side)), np.full((side, side), -1))
    corners = np.ascontiguousarray(vertices_mm, dtype=float)
    origin_and_step, widest = (grid.x0_mm, grid.y0_mm, grid.pixel_mm), np.zeros((side, side))
    edges = [band * side // BANDS for band in range(BANDS + 1)]
    first_corners = np.asarray(starts, np.int64)
    real = np.flatnonzero(np.diff(first_corners) >= 3)
    y = (corners[:, 1] - grid.y0_mm) / grid.pixel_mm
    bottom, top = (extreme.reduceat(y, first_corners[real]) for extreme in (np.minimum, np.maximum))

    def draw(band: int) -> None:
        here = real[(top > edges[band]) & (bottom < edges[band + 1])]
        for first in range(0, len(here), SLICE):
            pause()
            _draw_band(
                edges[band],
                edges[band + 1],
                here[first : first + SLICE],
                corners,
                first_corners,
                carried,
                *origin_and_step,
                out.sums,
                out.coverage,
                widest,
                out.polygon,
            )

    at_once(draw, [band for band in range(BANDS) if edges[band] < edges[band + 1]])
    return out
