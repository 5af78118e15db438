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

    A `row` is a facet's place in this table, a `facet` its number in the `Stone`.

    Attributes
    ----------
    planes : (R, 4) outward unit normal and distance in mm of each row, side facets last.
    sloping : number of rows before the side facets.
    core_radius2 : mm^2; inside the cylinder of this squared radius about the z axis no side facet can be hit, so one comparison
        spares a girdle's 96 planes. It holds for every stone, a girdle not quite vertical included.
    facet : (R,) the facet of each row.
    finish : (R,) each row's `Finish.code`.
    medium : what the stone is made of.
    """

    planes: np.ndarray
    sloping: int
    core_radius2: float
    facet: np.ndarray
    finish: np.ndarray
    medium: Medium


def stone_table(stone: Stone, wavelength_nm: float) -> StoneTable:
    """Lower a stone at a wavelength. Raises InputError outside the material's range."""
    steep = np.abs(stone.normals[:, 2]) < STEEP
    facet = np.argsort(steep, kind="stable")
    height = np.abs(stone.vertices_mm[:, 2]).max()
    # |z| <= height inside the stone, so n.x <= |n_xy| rho + |n_z| height stays below d wherever rho is below this radius.
    side = stone.normals[steep]
    free = (stone.distances_mm[steep] - np.abs(side[:, 2]) * height) / np.hypot(side[:, 0], side[:, 1])
    core = max(0.0, float(free.min()) * (1.0 - 1e-9)) if len(side) else np.inf
    return StoneTable(
        planes=np.ascontiguousarray(np.column_stack([stone.normals, stone.distances_mm])[facet]),
        sloping=int(len(stone) - steep.sum()),
        core_radius2=core * core,
        facet=facet.astype(np.int64),
        finish=stone.finish_codes[facet],
        medium=medium_of(stone.material, wavelength_nm),
    )
