"""From pixels to view rays and back: stratified samples, their means, and the standard errors that follow from them.

Every random number is a pure function of (seed, pixel, sample, axis), so a picture depends neither on threads nor on
tiles nor on what ran before. Each pixel is cut into strata of two cells of k x k, with a sample for each cell anywhere in the
stratum; an odd row of cells ends with a stratum of three. How large k is in each pixel `allocation` says.

Standard errors come from the scatter of the samples within each stratum, pooled over strata: an unbiased estimate of the
variance of a stratified mean (Cochran, Sampling Techniques, chapter 5; from memory). With one sample a pixel two neighbouring
pixels make a stratum; their means differ, so the stated error is on the safe side then.
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
from ...jit import njit, parallel_kernel
from ...progress import Progress, silent
from ...scene.pixel_grid import PixelGrid
from ...scene.scene import Scene
from ...scene.view import View, height_above, silhouette
from ...stone.stone import Stone
from ..engine_result import EngineResult
from ..keyed import keyed_uniform
from ..ledger import (
    BRIGHTER,
    CHANNELS,
    DIMMER,
    FIELDS,
    INCLUDED,
    LUMINANCE,
    MAPPED,
    UNTRACED,
)
from ..packets import PathRules
from ..pixel_samples import sample_place, stratum_of
from ..randomizations import could_meet_in
from ..scattering import SPREAD
from ..stone_table import stone_table
from ..totals import LUMINANCE_SQUARE, MOMENTS, SWING_SQUARE, UNMET, UNTRACED_SQUARE, Totals
from .allocation import CORNER_WEIGHT, LEAST_CELLS, cells_by_corners, even_cells
from .by_scattering import PartSums, mean_of_two
from .rays import trace_rays

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


@njit()
def strata_of(cells, resolution):
    """The strata of the samples of whole rows of pixels: (T + 1,) where each begins and where the last one ends; (rows + 1,)
    which of them is the first of each row.

    With one sample in each pixel two neighbouring pixels make a stratum, and the last three where their number is odd.

    Parameters
    ----------
    cells : (P,) along each pixel's side; 1 in all of them or in none. resolution : pixels of a row.
    """
    rows, samples = cells.size // resolution, 0
    for pixel in range(cells.size):
        samples += cells[pixel] * cells[pixel]
    begins, firsts = np.empty(samples + 1, np.int64), np.empty(rows + 1, np.int64)
    found, sample, pixel = 0, 0, 0
    for row in range(rows):
        firsts[row], end = found, (row + 1) * resolution
        while pixel < end:
            k, within = cells[pixel], 0
            if k == 1:
                begins[found] = sample
                together = end - pixel if end - pixel <= 3 else 2
                found, sample, pixel = found + 1, sample + together, pixel + together
                continue
            while within < k * k:
                begins[found] = sample + within
                found, within = found + 1, within + stratum_of(within, k)[2]
            sample, pixel = sample + k * k, pixel + 1
    begins[found], firsts[rows] = sample, found
    return begins[: found + 1], firsts


@njit(inline="always")
def _moments(row, z):
    """Fill z (MOMENTS + 1,) from the ledger row (CHANNELS,) of a ray that met the stone, or (WIDTH,); the last is 1."""
    for k in range(CHANNELS):
        z[k] = row[k]
    z[LUMINANCE_SQUARE] = row[LUMINANCE] ** 2
    if row.size > CHANNELS:  # the product of two paths, of which the row is the mean
        z[LUMINANCE_SQUARE] -= row[SPREAD]
    z[UNTRACED_SQUARE] = row[UNTRACED] ** 2
    z[SWING_SQUARE] = (row[DIMMER] + row[BRIGHTER]) ** 2
    z[UNMET] = row[UNTRACED]  # of which next to nothing is unmet: rays end at a facet
    z[MOMENTS] = 1.0


@njit()
def means_of_hits(rows, hit, means):
    """Fill means (S, MOMENTS) over those that met the stone of S sets of rays, equally many and in order.

    rows, hit : (R, CHANNELS) and (R,).
    """
    points, z = len(rows) // len(means), np.zeros(MOMENTS + 1)
    for s in range(len(means)):
        total = np.zeros(MOMENTS + 1)
        for r in range(s * points, (s + 1) * points):
            if hit[r]:
                _moments(rows[r], z)
                total += z
        for k in range(MOMENTS):
            means[s, k] = total[k] / total[MOMENTS]


@parallel_kernel
def _reduce(rows, hit, starts, begins, firsts, usual, begin, means, coverage, luminance_error, sums, scatter):
    """Samples to pixels.

    Parameters
    ----------
    rows, hit : (R, CHANNELS) and (R,), the samples of P pixels in order, whole rows of pixels.
    starts : (P + 1,) where each pixel's samples begin. begins, firsts : see `strata_of`.
    usual : so many samples of a pixel count as that many in the sums; where it has more, each counts less.
    begin : number of the first pixel in `means` (CHANNELS, all pixels). coverage, luminance_error : (P,). All are filled.
    sums : (rows of pixels, MOMENTS + 1), filled: sums of the moments, the last of which is `hit`.
    scatter : (rows of pixels, MOMENTS + 1, MOMENTS + 1), filled: unbiased estimates of the covariance of these sums, the lower
        triangles.
    """
    size = MOMENTS + 1
    width = coverage.shape[0] // sums.shape[0]
    for line in numba.prange(sums.shape[0]):
        z, total, off = np.zeros(size), np.zeros(size), np.zeros(size)
        for i in range(line * width, (line + 1) * width):
            total[:] = 0.0
            for r in range(starts[i], starts[i + 1]):
                if hit[r]:
                    _moments(rows[r], z)
                    total += z
            hits, samples = total[MOMENTS], starts[i + 1] - starts[i]
            coverage[i] = hits / samples
            for c in range(CHANNELS):
                means[c, begin + i] = total[c] / hits if hits > 0.0 else np.nan
            luminance_error[i] = 0.0 if hits > 1.0 else np.nan
            counts = usual / samples
            for a in range(size):
                sums[line, a] += counts * total[a]
        i = line * width
        for t in range(firsts[line], firsts[line + 1]):
            first, last = begins[t], begins[t + 1]
            count, hits = last - first, 0
            while first >= starts[i + 1]:
                i += 1
            total[:] = 0.0
            for r in range(first, last):
                if hit[r]:
                    _moments(rows[r], z)
                    total += z
                    hits += 1
            if count < 2 or hits == 0:
                continue
            samples = starts[i + 1] - starts[i]
            larger, counts = count / (count - 1.0), usual / samples
            for r in range(first, last):
                z[:] = 0.0
                if hit[r]:
                    _moments(rows[r], z)
                for a in range(size):
                    off[a] = z[a] - total[a] / count
                for a in range(size):
                    if off[a] != 0.0:  # most channels are 0 in most stones
                        for b in range(a + 1):
                            scatter[line, a, b] += larger * counts * counts * off[a] * off[b]
                if samples > 1:  # of the luminance less the pixel's mean, where the stone was met
                    luminance_error[i] += larger * (off[LUMINANCE] - means[LUMINANCE, begin + i] * off[MOMENTS]) ** 2
        for i in range(line * width, (line + 1) * width):
            luminance_error[i] = math.sqrt(luminance_error[i]) / (coverage[i] * (starts[i + 1] - starts[i]))


def view_cones(points: np.ndarray, view: View, area_mm2: float | np.ndarray) -> np.ndarray | None:
    """(R,) solid angle, sr, in which the eye sees a small area of the map plane about points (R, 2); None if parallel.

    The area is that of all or one for each point.

    Area times cosine over distance squared.
    """
    eye = view.eye_mm
    return None if eye is None else area_mm2 * eye[2] / (((points - eye[:2]) ** 2).sum(axis=1) + eye[2] ** 2) ** 1.5


def view_rays(
    points: np.ndarray, stone: Stone, view: View, in_pupil: np.ndarray | None = None
) -> tuple[np.ndarray, np.ndarray]:
    """Origins and unit directions (R, 3), stone's frame, of the view rays through points (R, 2) of the map plane, mm.

    They start in the middle of the pupil, or at the points `in_pupil` (R, 2) of it, in units of its radius.
    """
    turn, middle = view.rotation(), view.eye_mm
    if middle is None:
        origins = np.column_stack([points, np.full(len(points), height_above(stone))])
        return origins @ turn, np.broadcast_to(np.array([0.0, 0.0, -1.0]) @ turn, origins.shape)
    eye = np.broadcast_to(middle, (len(points), 3))
    if in_pupil is not None:
        eye = eye + 0.5 * view.pupil_mm * np.column_stack([in_pupil, np.zeros(len(points))])
    directions = np.column_stack([points, np.zeros(len(points))]) - eye
    directions /= np.linalg.norm(directions, axis=1)[:, None]
    return eye @ turn, directions @ turn


def sample_points(
    points: np.ndarray,
    scene: Scene,
    wavelength_nm: float,
    *,
    in_pupil: np.ndarray | None = None,
    area_mm2: float | np.ndarray = 0.0,
    first_key: int = 0,
) -> tuple[np.ndarray, np.ndarray]:
    """Ledger rows (R, CHANNELS) and hits (R,) of the view rays through points (R, 2) of the map plane, mm.

    Parameters
    ----------
    in_pupil : see `view_rays`.
    area_mm2 : the part of the map plane that each stands for, over which a perspective view averages images of the sky.
    first_key : in a stone that scatters a row is the mean of two paths, (R, WIDTH), whose random numbers are keyed by the
        number of the point and this.
    """
    settings = scene.settings
    origins, directions = view_rays(points, scene.stone, scene.view, in_pupil)
    table, cones = stone_table(scene.stone, wavelength_nm), view_cones(points, scene.view, area_mm2)
    rules = PathRules(settings.polarized, settings.min_weight, settings.max_bounces, seed=settings.seed)

    def trace(keys: np.ndarray | None) -> tuple[np.ndarray, np.ndarray]:
        rows, hit, _ = trace_rays(
            origins, directions, table, scene.dome.table, scene.view.rotation(), cones=cones, keys=keys, rules=rules
        )
        return rows, hit

    return mean_of_two(trace, np.arange(first_key, first_key + len(points))) if scene.stone.scatters else trace(None)


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
        _reduce(found, hit, starts, begins, firsts, samples, first * n, means, coverage[tile], error[tile], part, part_scatter)
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
    totals = _totals(face, sums, scatter, scene, samples / float(cells.min()) ** 2)
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


def _totals(area_mm2: float, sums: np.ndarray, scatter: np.ndarray, scene: Scene, most_counts: float) -> Totals:
    """Ratio estimates sum(z)/sum(hit) with the covariance of their errors.

    Where rays could have met something and none did, its error is that of one ray of weight 1, of those that count most.
    """
    full = scatter + np.tril(scatter, -1).T
    hits = sums[MOMENTS]
    mean = sums[:MOMENTS] / hits
    cross = np.outer(mean, full[MOMENTS, :MOMENTS])
    covariance = full[:MOMENTS, :MOMENTS] - cross - cross.T + np.outer(mean, mean) * full[MOMENTS, MOMENTS]
    for channel, most in could_meet_in(scene).items():
        if mean[channel] == 0.0 and covariance[channel, channel] == 0.0:
            covariance[channel, channel] = (most * most_counts) ** 2
    return Totals(area_mm2, mean, covariance / hits**2)
