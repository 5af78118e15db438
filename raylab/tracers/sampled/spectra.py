"""Spectra of pixels from view rays, for pictures in colour: a ray is traced where its spectrum or its pixel needs it.

At many wavelengths most rays tell little new, so two things are left out, each by a measured difference:

* **wavelengths**: a ray is traced at every eighth one, in a stone with body colour at every fourth. Where three neighbours lie
  on a straight line to `STRAIGHT`, it is interpolated between them; elsewhere the intervals are halved, down to all of them.
* **samples**: of a pixel's samples every other one is traced, as on a chessboard. Where their spectra agree to `ALIKE`, they
  stand for all; elsewhere the others are traced too.

Both are shares of the dome's brightest radiance. What happens twice between two wavelengths that are traced, or lies in a
corner of a pixel that no ray of the first half meets, is not seen; its mean is what other pixels' rays of the same kind see.
A path ends below `WEIGHT` of its ray, a quarter of a step of 8 bits.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np

from ...progress import Progress, silent
from ...scene.pixel_grid import PixelGrid
from ...scene.scene import Scene
from ..allocation import even_cells
from ..ledger import LUMINANCE
from ..packets import PathRules
from ..stone_table import stone_table
from .rays import trace_rays
from .sampling import tile_points
from .view_rays import view_cones, view_rays

STRAIGHT, ALIKE, WEIGHT = 0.02, 0.03, 1e-3
EVERY, EVERY_IN_BODY_COLOR = 8, 4
"""At first a ray is traced at every so many wavelengths. Without body colour a spectrum has steps and slow slopes only."""
NUMBERS_PER_TILE = 1 << 22
"""Rays times wavelengths that are held at a time, 8 bytes each."""


def spectra(
    scene: Scene, nodes_nm: Sequence[float], grid: PixelGrid, *, progress: Progress = silent
) -> Iterator[tuple[slice, np.ndarray, np.ndarray]]:
    """Tiles of a picture: which of its pixels, in order; their luminance (N, P) over the covered part, relative to the dome's
    brightest radiance, at N wavelengths; their coverage (P,)."""
    n, samples = grid.resolution, scene.settings.samples
    rows_per_tile = max(1, NUMBERS_PER_TILE // (n * samples * len(nodes_nm)))
    for first in range(0, n, rows_per_tile):
        rows = min(rows_per_tile, n - first)
        rays = _Rays(scene, nodes_nm, grid, first, rows)
        # Where light is scattered, rays are alike by chance: to stop at these would favour the commoner luminance.
        begun = np.ones(samples, bool) if scene.stone.scatters else _chessboard(samples)
        taken = np.tile(begun, rows * n)
        rays.trace(np.flatnonzero(taken))
        others = np.repeat(rays.differ(taken), samples) & ~taken
        rays.trace(np.flatnonzero(others))
        taken |= others
        count = taken.reshape(-1, samples).sum(axis=1)
        luminance = np.stack([one.reshape(-1, samples).sum(axis=1) for one in rays.luminance]) / count
        yield slice(first * n, (first + rows) * n), luminance, rays.hit.reshape(-1, samples).sum(axis=1) / count
        progress(first + rows, n)


def _chessboard(samples: int) -> np.ndarray:
    """(samples,) which samples of a pixel are traced first; all where there are fewer than four."""
    cells = math.isqrt(samples)
    row, column = np.divmod(np.arange(samples), cells)
    return (row + column) % 2 == 0 if samples >= 4 else np.ones(samples, bool)


class _Rays:
    """The view rays of a tile, and what is known of them.

    Attributes: `luminance` (N, R), 0 for what isn't traced; `hit` (R,), whether a traced ray met the stone.
    """

    def __init__(self, scene: Scene, nodes_nm: Sequence[float], grid: PixelGrid, first_row: int, rows: int) -> None:
        pixels = slice(first_row * grid.resolution, (first_row + rows) * grid.resolution)
        points, in_pupil, _ = tile_points(scene, grid, first_row, even_cells(grid, scene.settings.samples)[pixels])
        self.origins, self.directions = view_rays(points, scene.stone, scene.view, in_pupil)
        self.cones = view_cones(points, scene.view, grid.pixel_mm**2 / scene.settings.samples)
        self.nodes_nm = np.asarray(nodes_nm, dtype=float)
        self.every = EVERY_IN_BODY_COLOR if scene.stone.material.absorption else EVERY
        self.tables = [stone_table(scene.stone, wavelength_nm) for wavelength_nm in nodes_nm]
        self.dome, self.turn = scene.dome, scene.view.rotation()
        settings = scene.settings
        self.rules = PathRules(settings.polarized, max(settings.min_weight, WEIGHT), settings.max_bounces, seed=settings.seed)
        self.first_key = first_row * grid.resolution * settings.samples  # a ray is scattered alike at all wavelengths
        self.samples = settings.samples
        self.luminance = np.zeros((len(nodes_nm), len(points)))
        self.hit = np.zeros(len(points), bool)

    def trace(self, rays: np.ndarray) -> None:
        """The spectra of some rays, given by their numbers."""
        last = len(self.nodes_nm) - 1
        self._at(0, rays)
        rays = rays[self.hit[rays]]
        begin = np.unique(np.linspace(0, last, 2 * math.ceil(last / (2 * self.every)) + 1).round().astype(int))
        if last < 2 * self.every or len(begin) % 2 == 0:
            begin = np.arange(last + 1)
        for k in begin[1:]:
            self._at(k, rays)
        if len(begin) <= last:
            for k in range(0, len(begin) - 2, 2):
                self._between(begin[k], begin[k + 1], begin[k + 2], rays)

    def differ(self, taken: np.ndarray) -> np.ndarray:
        """(P,) whether the rays of a pixel that are traced disagree, by meeting the stone or by their spectra."""
        within = taken.reshape(-1, self.samples)[0]
        met = self.hit.reshape(-1, self.samples)[:, within]
        found = np.asarray(met.any(axis=1) & ~met.all(axis=1))
        for one in self.luminance:
            found |= np.ptp(one.reshape(-1, self.samples)[:, within], axis=1) > ALIKE
        return found

    def _at(self, k: int, rays: np.ndarray) -> None:
        """Trace rays at one wavelength."""
        if len(rays):
            cones = None if self.cones is None else self.cones[rays]
            rows, hit, _ = trace_rays(
                self.origins[rays],
                self.directions[rays],
                self.tables[k],
                self.dome.table,
                self.turn,
                cones=cones,
                keys=self.first_key + rays,
                rules=self.rules,
            )
            self.luminance[k, rays] = rows[:, LUMINANCE] / self.dome.peak_radiance
            self.hit[rays] = hit

    def _between(self, a: int, b: int, c: int, rays: np.ndarray) -> None:
        """Fill in the wavelengths between three that are traced."""
        if c - a < 3 or not len(rays):
            return
        here = self.luminance
        share = (self.nodes_nm[b] - self.nodes_nm[a]) / (self.nodes_nm[c] - self.nodes_nm[a])
        bent = np.abs(here[b, rays] - (1.0 - share) * here[a, rays] - share * here[c, rays]) > STRAIGHT
        for low, high in ((a, b), (b, c)):
            if high - low > 1:
                middle = (low + high) // 2
                self._at(middle, rays[bent])
                self._between(low, middle, high, rays[bent])
                self._straight(low, high, rays[~bent])

    def _straight(self, low: int, high: int, rays: np.ndarray) -> None:
        for k in range(low + 1, high):
            share = (self.nodes_nm[k] - self.nodes_nm[low]) / (self.nodes_nm[high] - self.nodes_nm[low])
            self.luminance[k, rays] = (1.0 - share) * self.luminance[low, rays] + share * self.luminance[high, rays]
