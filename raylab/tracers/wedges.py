"""Which facets a ray can meet in which direction from the z axis: lists by wedge, for a search that follows one ray.

Seen along the z axis the plane is divided into wedges. In each, a body that the axis runs through is bounded by the facets that
reach into the wedge, and by no others: on the way from the axis to a place outside, within its wedge, one of them is crossed.
So a ray inside is followed to the nearest of the facets that are listed where it may leave, then to the nearest of those listed
where that is, and so on. Each step brings it nearer. When a place's own list has been tried, none of its facets lies before it,
and the ray leaves there. Of a brilliant's 57 sloping facets a wedge lists 6, and two steps do for most rays.

Lists decide how much is searched, and nothing else: the facet found is that of a search over all planes.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from ..jit import njit
from ..stone.facet_area import MOST_CORNERS, cut_out, plane_axes
from .facet_search import nearer_one, with_sides
from .stone_table import StoneTable, crosses_axis

WEDGES = 16
"""Of an eighth of a half turn each; a round brilliant has a mirror between every two."""
AN_EIGHTH = math.sqrt(2.0) - 1.0
"""The tangent of an eighth of a half turn."""
LEAST = 1e-9
"""Share of the stone's size by which a facet reaches into a wedge at least to be listed there; rounding is no less."""
FAR = 1e3
"""As many times the stone's size, facets that no other one cuts off are taken to reach."""


class Wedges(NamedTuple):
    """See the module.

    Attributes
    ----------
    spans : (WEDGES, 2) wedge w lists rows[spans[w, 0]:spans[w, 1]].
    rows : (L,) rows of the stone's table.
    reach : mm, about where a ray leaves: any length will do, and half the stone's width is the quickest.
    """

    spans: np.ndarray
    rows: np.ndarray
    reach: float


@njit(inline="always")
def wedge_of(x, y):
    """The number of a place's wedge; in no order."""
    ax, ay = abs(x), abs(y)
    near = min(ax, ay) > AN_EIGHTH * max(ax, ay)
    return (1 if x < 0.0 else 0) + (2 if y < 0.0 else 0) + (4 if ay > ax else 0) + (8 if near else 0)


def numbers_around() -> np.ndarray:
    """(WEDGES,) the numbers of the wedges in their order around the axis, counter-clockwise from the x axis on."""
    middles = (np.arange(WEDGES) + 0.5) * 2.0 * np.pi / WEDGES
    return np.array([wedge_of(x, y) for x, y in zip(np.cos(middles), np.sin(middles), strict=True)])


def wedges_in(table: StoneTable) -> Wedges:
    """The `Wedges` of a stone."""
    sides = table.planes[table.sloping :, 3]
    reach = float(sides.mean() if len(sides) else table.planes[:, 3].max())
    return wedges_of(table.planes, table.sloping, reach, crosses_axis(table.planes))


def wedges_of(planes: np.ndarray, sloping: int, reach: float, crossed: bool) -> Wedges:
    """The `Wedges` of the body that the first `sloping` of some planes (R, 4) enclose.

    Parameters
    ----------
    reach : see `Wedges`. crossed : does the z axis run through the body? Where it doesn't, each wedge lists all.
    """
    if not crossed:
        return Wedges(np.tile(np.array([0, sloping]), (WEDGES, 1)), np.arange(sloping), reach)
    listed = np.zeros((WEDGES, sloping), np.bool_)
    _fill(planes, sloping, reach, listed)
    listed[numbers_around()] = listed.copy()
    ends = np.cumsum(listed.sum(axis=1))
    return Wedges(np.stack([ends - listed.sum(axis=1), ends], axis=-1), np.nonzero(listed)[1], reach)


@njit()
def _fill(planes, sloping, reach, listed):
    """Fill listed (WEDGES, sloping), in the order around the axis: which facets reach into which wedge."""
    one, other = np.empty((MOST_CORNERS, 2)), np.empty((MOST_CORNERS, 2))
    width = 2.0 * math.pi / WEDGES
    for row in range(sloping):
        corners = cut_out(planes, sloping, row, FAR * reach, one, other)
        nx, ny, nz, d = planes[row, 0], planes[row, 1], planes[row, 2], planes[row, 3]
        ux, uy, _, vx, vy, _ = plane_axes(nx, ny, nz)
        middle_x, middle_y = 0.0, 0.0
        for k in range(corners):
            middle_x += d * nx + one[k, 0] * ux + one[k, 1] * vx
            middle_y += d * ny + one[k, 0] * uy + one[k, 1] * vy
        middle, low, high = math.atan2(middle_y, middle_x), 0.0, 0.0
        for k in range(corners):
            x, y = d * nx + one[k, 0] * ux + one[k, 1] * vx, d * ny + one[k, 0] * uy + one[k, 1] * vy
            if math.hypot(x, y) > LEAST * reach:  # a corner on the axis lies in every direction
                off = math.atan2(y, x) - middle
                off -= 2.0 * math.pi * math.floor(off / (2.0 * math.pi) + 0.5)
                low, high = min(low, off), max(high, off)
        everywhere = corners < 0 or high - low > math.pi + LEAST  # more corners than are kept; the axis runs through the facet
        for wedge in range(WEDGES):
            from_middle = wedge * width - middle
            from_middle -= 2.0 * math.pi * math.floor((from_middle - low) / (2.0 * math.pi))  # from low to low + 2 pi
            begins_in = from_middle < high - LEAST
            ends_in = from_middle + width - 2.0 * math.pi > low + LEAST
            if corners != 0 and (everywhere or begins_in or ends_in):
                listed[wedge, row] = True


@njit()
def row_ahead(planes, spans, rows, reach, last, x, y, z, vx, vy, vz):
    """The nearest of the sloping facets to a ray inside, but for the row `last`, as distance num/den and row; -1.0 for none.

    Parameters
    ----------
    planes : of the `StoneTable`. spans, rows, reach : its `Wedges`. last : as a number with a point, see `nearest_row`.
    """
    num, den, best = 1e300, 1.0, -1.0
    wedge, tried = np.uint32(wedge_of(x + reach * vx, y + reach * vy)), np.uint32(WEDGES)
    while wedge != tried:
        place, end = np.uint32(spans[wedge, 0]), np.uint32(spans[wedge, 1])
        while place < end:
            k = np.uint32(rows[place])
            num, den, best = nearer_one(
                planes[k, 0], planes[k, 1], planes[k, 2], planes[k, 3], float(k), x, y, z, vx, vy, vz, last, num, den, best
            )
            place = np.uint32(place + 1)
        t = num / den
        tried, wedge = wedge, np.uint32(wedge_of(x + t * vx, y + t * vy))
    return num, den, best


@njit()
def next_row(planes, spans, nearby, reach, core2, far2, height, starts, rows, last, x, y, z, vx, vy, vz):
    """The row that a ray inside meets after the row `last` it stands on, and how far it is, mm; row -1 for none.

    Parameters
    ----------
    planes : of the `StoneTable`. spans, nearby, reach : its `Wedges`. core2, far2, height, starts, rows : its `Rim`, which says
        where side facets count.
    """
    on = float(last)
    num, den, best = row_ahead(planes, spans, nearby, reach, on, x, y, z, vx, vy, vz)
    return with_sides(planes, core2, far2, height, starts, rows, on, x, y, z, vx, vy, vz, num, den, best)
