"""Scenes lowered to the arrays of a launch, and area means back."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numba import cuda

from ...scene.scene import Scene
from ..outline_rays import Fan, fan_of, generator_of
from ..randomizations import RANDOMIZATIONS
from ..stone_table import StoneTable, stone_table
from .kernels import SUMS, THREADS, Scenes, outline_sums

ROUNDING = 1e-9
"""Share of the core's radius by which it is taken smaller."""


def lowered(scenes: Sequence[Scene], wavelength_nm: float, fans: Sequence[Fan]) -> Scenes:
    """The arrays of several scenes, in main memory."""
    tables = [stone_table(scene.stone, wavelength_nm) for scene in scenes]
    counts = [len(table.planes) for table in tables]
    parts = [len(fan.upto) for fan in fans]
    return Scenes(
        planes=np.concatenate([table.planes for table in tables]),
        finish=np.concatenate([np.asarray(table.finish, np.int64) for table in tables]),
        rows=np.concatenate([[0], np.cumsum(counts)]),
        sloping=np.array([table.sloping for table in tables], np.int64),
        core2=np.array([_core2(scene, table) for scene, table in zip(scenes, tables, strict=True)]),
        media=np.array([[table.medium.n, table.medium.absorption_per_mm] for table in tables]),
        turns=np.ascontiguousarray([scene.view.rotation() for scene in scenes]),
        eyes=np.array([_eye(scene) for scene in scenes]),
        hubs=np.array([fan.hub for fan in fans]),
        rims=np.concatenate([fan.rim for fan in fans]),
        upto=np.concatenate([fan.upto for fan in fans]),
        parts=np.concatenate([[0], np.cumsum(parts)]),
    )


def _core2(scene: Scene, table: StoneTable) -> float:
    """The squared radius, mm^2, about the axis within which every place of the stone is inside all side facets."""
    sides, height = table.planes[table.sloping :], float(np.abs(scene.stone.vertices_mm[:, 2]).max())
    if not len(sides):
        return np.inf
    least = float((sides[:, 3] - np.abs(sides[:, 2]) * height).min()) * (1.0 - ROUNDING)
    return max(least, 0.0) ** 2 if least > 0.0 else -1.0


def _eye(scene: Scene) -> list[float]:
    """See `Scenes.eyes`."""
    eye = scene.view.eye_mm
    far = 2.0 * float(np.abs(scene.stone.vertices_mm).max()) * np.sqrt(3.0)
    return [0.0, 0.0, far, 0.0] if eye is None else [*map(float, eye), 1.0]


def outline_means(scenes: Sequence[Scene], wavelength_nm: float, points: int, fans: Sequence[Fan]) -> tuple[np.ndarray, int]:
    """(D, RANDOMIZATIONS, MOMENTS) means over the outlines of scenes under one dome with one set of settings; segments walked."""
    settings = scenes[0].settings
    on_card = Scenes(*(cuda.to_device(array) for array in lowered(scenes, wavelength_nm, fans)))
    table = scenes[0].dome.table
    dome = table._replace(**{name: cuda.to_device(np.ascontiguousarray(getattr(table, name))) for name in ARRAYS})
    out = cuda.device_array((len(scenes), RANDOMIZATIONS, SUMS))
    segments = cuda.device_array(len(scenes) * RANDOMIZATIONS, np.int64)
    rules = (settings.polarized, settings.min_weight, settings.max_bounces)
    outline_sums[len(scenes) * RANDOMIZATIONS, THREADS](
        on_card, dome, rules, points, generator_of(points), settings.seed, out, segments
    )
    sums = out.copy_to_host()
    return sums[..., :-1] / sums[..., -1:], int(segments.copy_to_host().sum())


ARRAYS = ("zones", "lamps", "image", "integral")
