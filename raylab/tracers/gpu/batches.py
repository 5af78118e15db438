"""Scenes lowered to the arrays of a launch, and area means back."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numba import cuda

from ...lighting.dome import DomeTable
from ...scene.pixel_grid import PixelGrid
from ...scene.scene import Scene
from ...scene.view import height_above
from ..ledger import MAPPED
from ..outline_rays import Fan, generator_of
from ..randomizations import RANDOMIZATIONS
from ..stone_table import stone_table
from .kernels import SUMS, THREADS, Fans, Scenes, outline_sums, pixel_means


def lowered(scenes: Sequence[Scene], wavelength_nm: float) -> Scenes:
    """The arrays of several scenes, in main memory."""
    tables = [stone_table(scene.stone, wavelength_nm) for scene in scenes]
    counts = [len(table.planes) for table in tables]
    return Scenes(
        planes=np.concatenate([table.planes for table in tables]),
        finish=np.concatenate([np.asarray(table.finish, np.int64) for table in tables]),
        rows=np.concatenate([[0], np.cumsum(counts)]),
        sloping=np.array([table.sloping for table in tables], np.int64),
        core2=np.array([table.rim.core2.min() for table in tables]),
        media=np.array([[table.medium.n, table.medium.absorption_per_mm] for table in tables]),
        turns=np.ascontiguousarray([scene.view.rotation() for scene in scenes]),
        eyes=np.array([_eye(scene) for scene in scenes]),
    )


def together(fans: Sequence[Fan]) -> Fans:
    """The arrays of several outlines, in main memory."""
    return Fans(
        hubs=np.array([fan.hub for fan in fans]),
        rims=np.concatenate([fan.rim for fan in fans]),
        upto=np.concatenate([fan.upto for fan in fans]),
        parts=np.concatenate([[0], np.cumsum([len(fan.upto) for fan in fans])]),
    )


def _eye(scene: Scene) -> list[float]:
    """See `Scenes.eyes`."""
    eye = scene.view.eye_mm
    return [0.0, 0.0, height_above(scene.stone), 0.0] if eye is None else [*map(float, eye), 1.0]


def outline_means(scenes: Sequence[Scene], wavelength_nm: float, points: int, fans: Sequence[Fan]) -> np.ndarray:
    """(D, RANDOMIZATIONS, MOMENTS) means over the outlines of scenes under one dome with one set of settings."""
    out = cuda.device_array((len(scenes), RANDOMIZATIONS, SUMS))
    steps = cuda.device_array(len(scenes) * RANDOMIZATIONS, np.int64)
    on_card, outlines = scenes_on_card(lowered(scenes, wavelength_nm)), fans_on_card(together(fans))
    seed, rules = scenes[0].settings.seed, _rules(scenes[0])
    outline_sums[len(scenes) * RANDOMIZATIONS, THREADS](
        on_card, outlines, dome_on_card(scenes[0].dome.table), rules, points, generator_of(points), seed, out, steps
    )
    sums = out.copy_to_host()
    return np.asarray(sums[..., :-1] / sums[..., -1:])


def pixel_maps(scene: Scene, wavelength_nm: float, grid: PixelGrid, cells: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Means (MAPPED, P), coverage (P,) and error of the luminance (P,) of the pixels of a grid, with cells^2 samples each."""
    pixels = grid.resolution**2
    means, coverage, error = cuda.device_array((MAPPED, pixels)), cuda.device_array(pixels), cuda.device_array(pixels)
    on_card = scenes_on_card(lowered([scene], wavelength_nm))
    area = grid.pixel_mm**2 / cells**2
    pixel_means[-(-pixels // THREADS), THREADS](
        on_card, dome_on_card(scene.dome.table), _rules(scene), grid.x0_mm, grid.y0_mm, grid.pixel_mm, grid.resolution, cells,
        area, scene.settings.seed, means, coverage, error,
    )  # fmt: skip
    return means.copy_to_host(), coverage.copy_to_host(), error.copy_to_host()


def _rules(scene: Scene) -> tuple[bool, float, int]:
    return scene.settings.polarized, scene.settings.min_weight, scene.settings.max_bounces


def scenes_on_card(scenes: Scenes) -> Scenes:
    """The same in the card's memory."""
    return Scenes(*(cuda.to_device(array) for array in scenes))


def fans_on_card(fans: Fans) -> Fans:
    """The same in the card's memory."""
    return Fans(*(cuda.to_device(array) for array in fans))


def dome_on_card(table: DomeTable) -> DomeTable:
    """The dome's table with its arrays in the card's memory."""
    arrays = {name: getattr(table, name) for name in table._fields if isinstance(getattr(table, name), np.ndarray)}
    return table._replace(**{name: cuda.to_device(np.ascontiguousarray(array)) for name, array in arrays.items()})
