"""The field of visibility by view rays: evenly spread points of the face, several times over, each time shifted at random.

The points of a run are those of an additive sequence in two dimensions (four with a pupil), whose steps are powers of the
generalised golden ratio (Roberts 2018, from memory), shifted as a whole by random numbers modulo 1 (Cranley and Patterson,
SIAM J. Numer. Anal. 13 (1976) 904, from memory). Each run is unbiased, and the scatter of the runs gives the standard error.
The lattices of `outline_rays` would not do: they have two dimensions and few numbers of points.

Each part of a run is summed by one thread, and the parts are added in their order, so no number depends on the threads.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np

from ...progress import Progress, silent
from ...scene.scene import Scene
from ...scene.view import extent
from ...stopping import pause
from ...threads import in_order
from ..packets import PathRules
from ..stone_table import StoneTable, stone_table
from ..voxels import VoxelGrid
from ..wedges import Wedges, wedges_in
from .view_rays import view_cones, view_rays
from .visibility_rays import FACE_AREA, FACE_LUMINANCE, SUMS, leave_in_voxels

RUNS = 8
"""Independent runs, whose scatter gives the standard error."""
PARTS = 4
"""Parts of a run: with the runs, more than most machines have threads."""
AT_A_TIME = 8192
"""Rays between two pauses: a tenth of a second or less."""


class VisibilitySums(NamedTuple):
    """What `visibility_rays` leaves in each voxel, over all rays; mean of the runs and its standard error.

    Attributes
    ----------
    mean, error : (voxels, SUMS) mm^2 of the face times mm.
    face_mm2, face_luminance : area of the face, and its luminance times area; as sampled.
    """

    mean: np.ndarray
    error: np.ndarray
    face_mm2: float
    face_luminance: float


def visibility_sums(
    scene: Scene, wavelength_nm: float, grid: VoxelGrid, rays: int, progress: Progress = silent
) -> VisibilitySums:
    """Follow so many view rays over the face and around it, in RUNS runs, and add up what they leave."""
    voxels = grid.nx * grid.ny * grid.nz
    first, second, totals = np.zeros((voxels, SUMS)), np.zeros((voxels, SUMS)), np.zeros(2)
    for run, face in runs_of(scene, wavelength_nm, grid, rays, progress):
        first += run
        second += run * run
        totals += face
    mean = first / RUNS
    scatter = np.maximum(second / RUNS - mean * mean, 0.0) / (RUNS - 1)
    return VisibilitySums(mean, np.sqrt(scatter), *(float(totals[k]) / RUNS for k in (FACE_AREA, FACE_LUMINANCE)))


def runs_of(
    scene: Scene, wavelength_nm: float, grid: VoxelGrid, rays: int, progress: Progress = silent
) -> Iterator[tuple[np.ndarray, np.ndarray]]:
    """The independent runs, one after the other: sums (voxels, SUMS) and totals (2,), which the next fills anew."""
    table, count = stone_table(scene.stone, wavelength_nm), -(-rays // RUNS)
    stone = table, wedges_in(table)

    def part(number: int) -> tuple[np.ndarray, np.ndarray]:
        begin, end = (count * k // PARTS for k in (number % PARTS, number % PARTS + 1))
        return _part(scene, stone, grid, number // PARTS, begin, end, count)

    sums, totals = np.zeros((grid.nx * grid.ny * grid.nz, SUMS)), np.zeros(2)
    for done, (found, face) in enumerate(in_order(part, range(RUNS * PARTS)), start=1):
        sums += found
        totals += face
        progress(done, RUNS * PARTS)
        if done % PARTS == 0:
            yield sums, totals
            sums[:], totals[:] = 0.0, 0.0


def _part(
    scene: Scene, stone: tuple[StoneTable, Wedges], grid: VoxelGrid, run: int, begin: int, end: int, count: int
) -> tuple[np.ndarray, np.ndarray]:
    """The rays from `begin` to `end` of the `count` rays of a run: sums (voxels, SUMS) and totals (2,)."""
    low, high = (f(extent(scene.stone, scene.view), axis=0) for f in (np.min, np.max))
    settings, area = scene.settings, float(np.prod(high - low)) / count
    rules = PathRules(bool(settings.polarized), 0.0, int(settings.max_bounces), seed=int(settings.seed))
    sums, totals = np.zeros((grid.nx * grid.ny * grid.nz, SUMS)), np.zeros(2)
    for start in range(begin, end, AT_A_TIME):
        pause()
        even = _even_points(np.arange(start, min(start + AT_A_TIME, end)), run, settings.seed, 4 if scene.view.pupil_mm else 2)
        points = low + even[:, :2] * (high - low)
        radius, angle = np.sqrt(even[:, -2]), 2.0 * np.pi * even[:, -1]
        disc = np.column_stack([radius * np.cos(angle), radius * np.sin(angle)]) if scene.view.pupil_mm else None
        origins, directions = (np.ascontiguousarray(one) for one in view_rays(points, scene.stone, scene.view, disc))
        cones = view_cones(points, scene.view, 1.0)
        spread = np.zeros(len(points)) if cones is None else cones
        light = (scene.dome.table, scene.view.rotation(), rules)
        leave_in_voxels(origins, directions, spread, area, *stone, *light, run * count + start, grid, sums, totals)
    return sums, totals


def _even_points(numbers: np.ndarray, run: int, seed: int, dimensions: int) -> np.ndarray:
    """(N, dimensions) points of the unit square or cube: those of these numbers in a run's sequence."""
    golden = 2.0
    for _ in range(60):  # the positive root of g^(d + 1) = g + 1
        golden = (1.0 + golden) ** (1.0 / (dimensions + 1))
    steps = golden ** -np.arange(1.0, dimensions + 1.0)
    shift = np.random.default_rng([seed, run]).random(dimensions)
    return np.asarray((shift + numbers[:, None] * steps) % 1.0)
