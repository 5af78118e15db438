"""Dark areas of the face: the largest connected one, and the dark band across the width of a long stone.

A spot is dark where its luminance is below a share of the mean over the outline, by default `accounting.DARK_BELOW`. Spots are
connected where pixels share a side. The band is the strip across the width through the stone's axis, a fifth of the length wide
by default; the trade calls it a bow tie where it is dark. Its numbers:

    share   of the face that lies in the strip and is dark
    depth   1 - mean luminance in the strip / mean luminance in the rest: 1 for a black band, 0 for none, below 0 for a light
            one

All are our own definitions. Brackets hold for the untraced light, which can make any spot lighter: a spot is surely dark where
it is dark with all of its own and no other, and perhaps dark where it is dark with none of its own and all of the others'. The
values count what was traced. A sampled trace gives the depth its standard error; how its scatter makes pixels dark or light
is not stated.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np

from ..plane_geometry import LONG, long_axis
from ..scene.pixel_grid import PixelGrid
from ..scene.view import View, silhouette
from ..stone.stone import Stone
from ..tracers.exact.beams import Beams
from ..tracers.exact.pixel_coverage import rasterize
from ..tracers.ledger import LUMINANCE, UNTRACED
from .statistics.definition import Description, Statistic

BAND = 0.2
"""Width of the strip as a share of the stone's length as seen."""

LARGEST = Description(
    key="dark_area",
    label="largest connected dark area",
    definition="share of the outline in the largest connected area whose luminance is below half of the mean",
    percent=True,
    span=(0.0, 1.0),
)
BAND_SHARE = Description(
    key="dark_band",
    label="dark band across the width",
    definition="share of the outline that is dark within the middle fifth of the length",
    percent=True,
    span=(0.0, 1.0),
)
BAND_DEPTH = Description(
    key="dark_band_depth",
    label="depth of the dark band",
    definition="1 - mean luminance in the middle fifth of the length / mean luminance in the rest",
    span=(-math.inf, 1.0),
)
NUMBERS = {one.key: one for one in (LARGEST, BAND_SHARE, BAND_DEPTH)}
"""What `DarkAreas` tells, by key, in the order of tables."""
UNDEFINED = Statistic(math.nan, math.nan, math.nan, math.nan)
"""For a stone without a band."""
SAME = 1e-9
"""Areas that differ by a smaller share are equal, as mirror images are; then the one whose first pixel is lowest counts."""


class Strip(NamedTuple):
    """The strip across the width on the map plane.

    Attributes: `along` (2,), unit vector of the stone's length; `half_mm`, half of the strip's width.
    """

    along: np.ndarray
    half_mm: float

    def coordinates(self, points_mm: np.ndarray) -> np.ndarray:
        """(K, 2) points of the map plane along the length and across it."""
        x, y = self.along
        return points_mm @ np.array([[x, -y], [y, x]])


@dataclass(frozen=True)
class DarkAreas:
    """The dark areas of one view at one wavelength.

    Attributes
    ----------
    below : a spot is dark where its luminance is below this share of the mean. band : width of the strip, share of the length.
    largest : share of the outline in the largest connected dark area.
    center_mm : (2,) its centroid on the map plane; NaN where nothing is dark. extent_mm : its smallest and largest x, then y.
    where : (ny, nx) bool, the pixels of it. grid : these pixels.
    strip, band_share, band_depth : see the module; None for a stone that isn't long.
    """

    below: float
    band: float
    largest: Statistic
    center_mm: tuple[float, float]
    extent_mm: tuple[float, float, float, float]
    where: np.ndarray
    grid: PixelGrid
    strip: Strip | None
    band_share: Statistic | None
    band_depth: Statistic | None

    @property
    def statistics(self) -> dict[str, Statistic]:
        """The numbers by key, those of the band only for a long stone."""
        found = {LARGEST.key: self.largest, BAND_SHARE.key: self.band_share, BAND_DEPTH.key: self.band_depth}
        return {key: one for key, one in found.items() if one is not None}

    def to_dict(self) -> dict[str, Any]:
        """Plain numbers: values, brackets and errors by key; the place of the largest area in mm, NaN where nothing is dark."""
        return {
            "below": self.below,
            "band": self.band,
            "values": {key: one.value for key, one in self.statistics.items()},
            "brackets": {key: [one.low, one.high] for key, one in self.statistics.items()},
            "errors": {key: one.error for key, one in self.statistics.items()},
            "center_mm": list(self.center_mm),
            "extent_mm": list(self.extent_mm),
        }


class Cells(NamedTuple):
    """What a face is made of: polygons or pixels.

    Attributes
    ----------
    areas : (N,) in any unit. in_strip : (N,) how much of them lies in the strip; zeros where there is none.
    luminance : (N,). more : (N,) by how much the untraced light can raise it. error : (N,) its standard error.
    """

    areas: np.ndarray
    in_strip: np.ndarray
    luminance: np.ndarray
    more: np.ndarray
    error: np.ndarray


class Pixels(NamedTuple):
    """The same on a grid, (ny, nx) each, NaN off the stone; `coverage` is the share of a pixel that the stone covers."""

    grid: PixelGrid
    coverage: np.ndarray
    luminance: np.ndarray
    more: np.ndarray


def strip_across(stone: Stone, view: View, band: float) -> Strip | None:
    """The strip of a stone in a view, `band` of its length wide; None for a stone that isn't longer than wide, see `LONG`."""
    axis, spread = long_axis(stone.outline_mm)
    along = view.rotation()[:2, :2] @ axis
    if spread <= LONG or np.linalg.norm(along) < 1e-9:
        return None
    along /= np.linalg.norm(along)
    return Strip(along, 0.5 * band * float(np.ptp(silhouette(stone, view) @ along)))


def cells_of_beams(whole: Beams, peak_radiance: float, strip: Strip | None) -> Cells:
    """The virtual facets of the whole outline, see `Beams.unfolded`, exactly."""
    nothing = np.zeros(len(whole))
    inside = nothing if strip is None else _areas_inside(whole, strip)
    return Cells(whole.areas_mm2, inside, whole.rows[:, LUMINANCE], whole.rows[:, UNTRACED] * peak_radiance, nothing)


def cells_of_pixels(pixels: Pixels, error: np.ndarray, strip: Strip | None) -> Cells:
    """The covered pixels, with the standard errors (ny, nx) of their luminance; what the strip's edges cut counts in part."""
    grid, seen = pixels.grid, pixels.coverage > 0.0
    x, y = np.meshgrid(grid.x_mm, grid.y_mm)
    inside, areas = np.zeros(int(seen.sum())), pixels.coverage[seen]
    if strip is not None:
        along = strip.coordinates(np.column_stack([x[seen], y[seen]]))[:, 0]
        inside = np.clip((strip.half_mm - np.abs(along)) / grid.pixel_mm + 0.5, 0.0, 1.0)
    return Cells(areas, areas * inside, pixels.luminance[seen], pixels.more[seen], error[seen])


def _areas_inside(whole: Beams, strip: Strip) -> np.ndarray:
    """(L,) how much of each convex polygon, mm^2, lies in a strip about the origin: what its left edge leaves to the right,
    less what its right edge does."""
    along, across = strip.coordinates(whole.vertices_mm).T
    after = np.arange(1, len(along) + 1)
    after[whole.starts[1:] - 1] = whole.starts[:-1]

    def beyond(edge: float) -> np.ndarray:
        """Area to the right of an edge: the integral of max(s - edge, 0) dt around each polygon, s along, t across."""
        a, b = along - edge, along[after] - edge
        rise = across[after] - across
        both, neither = (a >= 0.0) & (b >= 0.0), (a <= 0.0) & (b <= 0.0)
        with np.errstate(invalid="ignore", divide="ignore"):
            crossing = 0.5 * np.maximum(a, b) ** 2 / np.abs(b - a)
        mean = np.where(both, 0.5 * (a + b), np.where(neither, 0.0, crossing))
        return np.add.reduceat(mean * rise, whole.starts[:-1])

    return np.clip(beyond(-strip.half_mm) - beyond(strip.half_mm), 0.0, whole.areas_mm2)


def pixels_of_beams(whole: Beams, peak_radiance: float, grid: PixelGrid) -> Pixels:
    """The virtual facets of the whole outline drawn on pixels."""
    drawn = rasterize(whole.vertices_mm, whole.starts, whole.rows[:, [LUMINANCE, UNTRACED]], grid)
    with np.errstate(invalid="ignore", divide="ignore"):
        means = np.where(drawn.coverage > 0.0, drawn.sums.transpose(2, 0, 1) / drawn.coverage, np.nan)
    return Pixels(grid, drawn.coverage, means[0], means[1] * peak_radiance)


def dark_areas_of(cells: Cells, pixels: Pixels, strip: Strip | None, *, below: float, band: float) -> DarkAreas:
    """The dark areas of a face from its cells; connected areas are found in its pixels. For the strip see `strip_across`."""
    whole = float(cells.areas.sum())
    mean, more = (float((cells.areas * values).sum()) / whole for values in (cells.luminance, cells.more))
    darks = [_darks(one.luminance, one.more, mean, more, below) for one in (pixels, cells)]
    each = [_largest(dark, pixels.coverage) for dark in darks[0]]
    where, grid = each[0][0], pixels.grid
    center, extent = _place(where, pixels.coverage, grid)
    largest = Statistic(each[0][1], each[1][1], each[2][1])
    if strip is None:
        return DarkAreas(below, band, largest, center, extent, where, grid, None, None, None)
    dark, surely, perhaps = (float(cells.in_strip[one].sum()) / whole for one in darks[1])
    return DarkAreas(below, band, largest, center, extent, where, grid, strip, Statistic(dark, surely, perhaps), _depth(cells))


def _darks(luminance: np.ndarray, more: np.ndarray, mean: float, mean_more: float, below: float) -> tuple[np.ndarray, ...]:
    """Where it is dark, surely dark and perhaps dark; see the module. The means are those over the outline."""
    return luminance < below * mean, luminance + more < below * mean, luminance < below * (mean + mean_more)


def _depth(cells: Cells) -> Statistic:
    """How much darker the strip is than the rest, by mean luminance; the untraced light can raise either."""
    inside, rest = (areas / areas.sum() for areas in (cells.in_strip, cells.areas - cells.in_strip))
    one, other = (float((areas * cells.luminance).sum()) for areas in (inside, rest))
    lift, lift_other = (float((areas * cells.more).sum()) for areas in (inside, rest))
    if not other > 0.0:
        return UNDEFINED
    error = float(np.linalg.norm((inside - one / other * rest) * cells.error)) / other
    return Statistic(1.0 - one / other, 1.0 - (one + lift) / other, 1.0 - one / (other + lift_other), error)


def _largest(dark: np.ndarray, coverage: np.ndarray) -> tuple[np.ndarray, float]:
    """(ny, nx) bool, the largest connected part of the pixels that are dark, and its share of all that is covered."""
    from scipy import ndimage  # a tenth of a second that only those who ask for dark areas should wait

    labels, count = ndimage.label(dark)
    areas = np.bincount(labels.ravel(), coverage.ravel(), count + 1)
    areas[0] = 0.0
    largest = int(np.argmax(areas >= (1.0 - SAME) * areas.max()))
    return (labels == largest) & dark, float(areas[largest] / coverage.sum())


def _place(
    where: np.ndarray, coverage: np.ndarray, grid: PixelGrid
) -> tuple[tuple[float, float], tuple[float, float, float, float]]:
    """Centroid and extent of an area, mm; NaN where there is none."""
    rows, columns = np.nonzero(where)
    if not len(rows):
        return (math.nan,) * 2, (math.nan,) * 4
    weights = coverage[rows, columns]
    x, y, half = grid.x_mm[columns], grid.y_mm[rows], 0.5 * grid.pixel_mm
    center = float(np.average(x, weights=weights)), float(np.average(y, weights=weights))
    return center, (float(x.min() - half), float(x.max() + half), float(y.min() - half), float(y.max() + half))
