"""A picture by stratified samples: where they lie in pixels and pupil, and the loop over tiles.

Every random number is a pure function of (seed, pixel, sample, axis), so a picture depends neither on threads nor on
tiles nor on what ran before. Each pixel is cut into strata of two cells of k x k, with a sample for each cell anywhere in the
stratum; an odd row of cells ends with a stratum of three. How large k is in each pixel `allocation` says.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import NamedTuple

import numba
import numpy as np

from ...convex_hulls import ConvexHull
from ...errors import InputError
from ...jit import parallel_kernel
from ...progress import Progress, silent
from ...scene.pixel_grid import PixelGrid
from ...scene.scene import Scene
from ...scene.view import silhouette
from ...stone.stone import Stone
from ..allocation import CORNER_WEIGHT, LEAST_CELLS, cells_by_corners, even_cells
from ..engine_result import EngineResult
from ..keyed import keyed_uniform
from ..ledger import CHANNELS, FIELDS, INCLUDED, LUMINANCE, MAPPED
from ..pixel_samples import sample_place
from ..totals import MOMENTS, Totals
from .by_scattering import PartSums
from .sums import reduce_samples, strata_of, totals_of
from .view_rays import sample_points

NAME = "rays"
"""What this engine is called in the table."""
MOST_REMARKS = 5
"""So many remarks on inclusions are written out."""
RAYS_PER_TILE = 1 << 16
"""So few that the next tile finds its memory in place: larger ones spend a quarter of the time on fresh pages."""


@parallel_kernel
def _jittered(x0, y0, pixel_mm, resolution, first_pixel, cells, starts, seed, points):
    """Fill points (R, 2), mm on the map plane: each pixel's samples, anywhere in their strata.

    Parameters
    ----------
    first_pixel : of P pixels in order. cells : (P,) along each pixel's side. starts : (P + 1,) where its samples begin.
    """
    for i in numba.prange(cells.size):
        for s in range(starts[i + 1] - starts[i]):
            x, y = sample_place(x0, y0, pixel_mm, resolution, first_pixel + i, s, cells[i], seed)
            points[starts[i] + s, 0], points[starts[i] + s, 1] = x, y


@parallel_kernel
def _spread_over_disc(first_pixel, cells, starts, seed, points):
    """Fill points (R, 2) of a unit disc, one for each point of `_jittered`.

    The samples of a pixel take the disc's cells x cells parts of equal area in a random order, so that the position in the
    pixel and the position in the disc are independent.
    """
    for i in numba.prange(cells.size):
        pixel, k, samples = first_pixel + i, cells[i], starts[i + 1] - starts[i]
        part = np.arange(samples)
        for s in range(samples - 1, 0, -1):  # a shuffle after Fisher and Yates
            other = int(keyed_uniform(seed, pixel, s, 2) * (s + 1))
            part[s], part[other] = part[other], part[s]
        for s in range(samples):
            radius = math.sqrt((part[s] % k + keyed_uniform(seed, pixel, s, 3)) / k)
            angle = 2.0 * math.pi * (part[s] // k + keyed_uniform(seed, pixel, s, 4)) / k
            points[starts[i] + s, 0] = radius * math.cos(angle)
            points[starts[i] + s, 1] = radius * math.sin(angle)


def tile_points(
    scene: Scene, grid: PixelGrid, first_row: int, cells: np.ndarray
) -> tuple[np.ndarray, np.ndarray | None, np.ndarray]:
    """Points (R, 2) of the map plane, mm, for the samples of some rows of pixels in order; those of the pupil, see `view_rays`;
    (P + 1,) where each pixel's samples begin and the last ones end.

    Parameters
    ----------
    cells : (P,) along the side of each of these pixels, whose square of samples it takes.
    """
    seed, n = scene.settings.seed, grid.resolution
    starts = np.append(0, np.cumsum(cells.astype(np.int64) ** 2))
    points = np.empty((starts[-1], 2))
    _jittered(grid.x0_mm, grid.y0_mm, grid.pixel_mm, n, first_row * n, cells, starts, seed, points)
    if not scene.view.pupil_mm:
        return points, None, starts
    in_pupil = np.empty_like(points)
    _spread_over_disc(first_row * n, cells, starts, seed, in_pupil)
    return points, in_pupil, starts


def cells_of_pixels(scene: Scene, wavelength_nm: float, grid: PixelGrid) -> np.ndarray:
    """(P,) cells along the side of each pixel, see `allocation`."""
    settings = scene.settings
    if settings.samples < LEAST_CELLS**2 or scene.stone.scatters:  # corners would tell what was scattered by chance
        return even_cells(grid, settings.samples)
    coarse = replace(scene, settings=replace(settings, min_weight=max(settings.min_weight, CORNER_WEIGHT)))

    def light_at(points: np.ndarray) -> np.ndarray:
        return sample_points(points, coarse, wavelength_nm)[0][:, LUMINANCE]

    return cells_by_corners(grid, settings.samples, light_at)


class Tile(NamedTuple):
    """Whole rows of pixels with their samples.

    Attributes
    ----------
    pixels : which of all pixels, in order. points, in_pupil, starts : see `tile_points`.
    area_mm2 : (R,) that each sample stands for.
    rows, hit : (R, CHANNELS) and (R,), what was traced.
    """

    pixels: slice
    points: np.ndarray
    in_pupil: np.ndarray | None
    starts: np.ndarray
    area_mm2: np.ndarray
    rows: np.ndarray
    hit: np.ndarray


def _tiles(cells: np.ndarray) -> Iterator[tuple[int, int]]:
    """The first row of pixels and the row after the last one of each tile; cells : (rows, pixels of a row)."""
    rays = np.append(0, np.cumsum((cells.astype(np.int64) ** 2).sum(axis=1)))
    first = 0
    while first < len(cells):
        end = max(first + 1, int(np.searchsorted(rays, rays[first] + RAYS_PER_TILE, side="right")) - 1)
        yield first, end
        first = end


def sample_image(
    scene: Scene,
    wavelength_nm: float,
    grid: PixelGrid,
    *,
    progress: Progress = silent,
    beside: Callable[[Tile], None] | None = None,
) -> EngineResult:
    """Maps and area means from `settings.samples` view rays per pixel on average, in tiles of bounded memory.

    `beside` is called with each tile, for what else its samples tell.

    Raises InputError for a grid whose samples all miss the stone.
    """
    samples, n = scene.settings.samples, grid.resolution
    cells = cells_of_pixels(scene, wavelength_nm, grid)
    means, coverage, error = np.empty((CHANNELS, n * n)), np.empty(n * n), np.empty(n * n)
    size = MOMENTS + 1
    sums, scatter, first_key = np.zeros(size), np.zeros((size, size)), 0
    parts, by_scattering = PartSums(), np.empty(n * n if scene.stone.scatters else 0)
    for first, end in _tiles(cells.reshape(n, n)):
        tile = slice(first * n, end * n)
        points, in_pupil, starts = tile_points(scene, grid, first, cells[tile])
        counts = np.diff(starts)
        area = np.repeat(grid.pixel_mm**2 / counts, counts)
        found, hit = sample_points(points, scene, wavelength_nm, in_pupil=in_pupil, area_mm2=area, first_key=first_key)
        first_key += len(points)
        if beside is not None:
            beside(Tile(tile, points, in_pupil, starts, area, found, hit))
        part, part_scatter = np.zeros((end - first, size)), np.zeros((end - first, size, size))
        begins, firsts = strata_of(cells[tile], n)
        reduce_samples(
            found, hit, starts, begins, firsts, samples, first * n, means, coverage[tile], error[tile], part, part_scatter
        )
        sums += part.sum(axis=0)
        scatter += part_scatter.sum(axis=0)
        if scene.stone.scatters:
            light = np.add.reduceat(parts.add(found, hit, begins), starts[:-1])
            with np.errstate(invalid="ignore"):
                by_scattering[tile] = light / np.add.reduceat(hit, starts[:-1], dtype=np.int64)
        progress(end, n)
    if sums[MOMENTS] == 0.0:
        raise InputError("no sample met the stone", key="resolution", value=n, expected="a larger resolution or more samples")
    fields = {name: means[c].reshape(n, n) for c, name in enumerate(FIELDS[:MAPPED])}
    fields["coverage"] = coverage.reshape(n, n)
    fields["luminance_error"] = error.reshape(n, n)
    if scene.stone.inclusions:
        fields[FIELDS[INCLUDED]] = means[INCLUDED].reshape(n, n)
    if scene.stone.scatters:
        fields["by_scattering"] = by_scattering.reshape(n, n)
    face = float(ConvexHull(silhouette(scene.stone, scene.view)).volume)
    totals = totals_of(face, sums, scatter, scene, samples / float(cells.min()) ** 2)
    scattered = parts.means() if scene.stone.scatters else {}
    notes = {**_notes(scene.stone, totals), **_scattering_note(scattered)}
    return EngineResult(grid, wavelength_nm, NAME, fields, totals, notes=notes, by_scattering=scattered)


def _scattering_note(scattered: dict[str, tuple[float, float]]) -> dict[str, str]:
    """How much light came by scattering; nothing for a stone that doesn't scatter."""
    if not scattered:
        return {}
    value, error = scattered[FIELDS[LUMINANCE]]
    return {"by_scattering": f"{value:.3g} of the luminance came by scattering (standard error {error:.1e})"}


def _notes(stone: Stone, totals: Totals) -> dict[str, str]:
    """What the inclusions take, and what is to be known of them; nothing for a stone without."""
    if not stone.inclusions:
        return {}
    error = math.sqrt(totals.covariance[INCLUDED, INCLUDED])
    count = len(stone.inclusions)
    taken = f"{count} inclusion{'s' * (count > 1)} take{'s' * (count == 1)} {totals.mean[INCLUDED]:.3g} of the light"
    told = f"{taken} (standard error {error:.1e}), which is part of absorbed"
    return {"inclusions": "; ".join([told, *stone.inclusion_remarks(MOST_REMARKS)])}
