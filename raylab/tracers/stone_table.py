"""A stone as flat arrays for kernels, lowered once per wavelength."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from ..optics.media import Medium, medium_of
from ..stone.stone import Stone

STEEP = 0.02
"""Facets whose normal's z is smaller than this are side facets, searched only near the stone's rim."""


class StoneTable(NamedTuple):
    """What a kernel needs of a stone at one wavelength.

    `planes` (F, 4): outward unit normal and distance in mm, side facets last; `mains` counts the others. Inside the
    cylinder of squared radius `core2` about the z axis no side facet can be hit, so one comparison spares a girdle's 96
    planes; it holds for every stone, a girdle not quite vertical included. `facet` (F,) gives each row's facet number in
    the `Stone`; `finish` (F,) each row's `Finish.code`; `medium` what the stone is made of.
    """

    planes: np.ndarray
    mains: int
    core2: float
    facet: np.ndarray
    finish: np.ndarray
    medium: Medium


def stone_table(stone: Stone, wavelength_nm: float) -> StoneTable:
    """Lower a stone at a wavelength. Raises InputError outside the material's range."""
    steep = np.abs(stone.normals[:, 2]) < STEEP
    order = np.argsort(steep, kind="stable")
    reach = np.abs(stone.vertices_mm[:, 2]).max()
    # |z| <= reach inside the stone, so n.x <= |n_xy| rho + |n_z| reach stays below d wherever rho is below this radius.
    side = stone.normals[steep]
    free = (stone.distances_mm[steep] - np.abs(side[:, 2]) * reach) / np.hypot(side[:, 0], side[:, 1])
    core = max(0.0, float(free.min()) * (1.0 - 1e-9)) if len(side) else np.inf
    return StoneTable(
        planes=np.ascontiguousarray(np.column_stack([stone.normals, stone.distances_mm])[order]),
        mains=int(len(stone) - steep.sum()),
        core2=core * core,
        facet=order.astype(np.int64),
        finish=np.array([finish.code for finish in stone.finishes])[order],
        medium=medium_of(stone.material, wavelength_nm),
    )
