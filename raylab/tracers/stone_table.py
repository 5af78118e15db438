"""A stone as flat arrays for kernels, lowered once per wavelength."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from ..optics.media import Medium, medium_of
from ..stone.stone import Stone
from .crossings import InclusionTable, inclusion_table
from .rim import Rim, rim_of

STEEP = 0.02
"""Facets whose normal's z is smaller than this are side facets, searched only near the stone's rim."""


class StoneTable(NamedTuple):
    """What a kernel needs of a stone at one wavelength.

    A `row` is a facet's place in this table, a `facet` its number in the `Stone`.

    Attributes
    ----------
    planes : (R, 4) outward unit normal and distance in mm of each row, side facets last.
    sloping : number of rows before the side facets.
    rim : where side facets can be met, see `rim`. It holds for every stone, a girdle not quite vertical included.
    facet : (R,) the facet of each row.
    finish, amount : (R,) each row's `Finish.code` and `Finish.amount`.
    medium : what the stone is made of.
    inclusions : what takes light inside it.
    """

    planes: np.ndarray
    sloping: int
    rim: Rim
    facet: np.ndarray
    finish: np.ndarray
    amount: np.ndarray
    medium: Medium
    inclusions: InclusionTable


def stone_table(stone: Stone, wavelength_nm: float) -> StoneTable:
    """Lower a stone at a wavelength. Raises InputError outside the material's range."""
    steep = np.abs(stone.normals[:, 2]) < STEEP
    facet = np.argsort(steep, kind="stable")
    planes = np.ascontiguousarray(np.column_stack([stone.normals, stone.distances_mm])[facet])
    sloping = int(len(stone) - steep.sum())
    height = float(np.abs(stone.vertices_mm[:, 2]).max())
    return StoneTable(
        planes=planes,
        sloping=sloping,
        rim=rim_of(planes[sloping:], sloping, height, crosses_axis(planes)),
        facet=facet.astype(np.int64),
        finish=stone.finish_codes[facet],
        amount=stone.finish_amounts[facet],
        medium=medium_of(stone.material, wavelength_nm),
        inclusions=inclusion_table(stone.inclusions),
    )


def crosses_axis(planes: np.ndarray) -> bool:
    """Does the z axis run through the body of planes (R, 4)?"""
    up, down, distances = planes[:, 2] > 0.0, planes[:, 2] < 0.0, planes[:, 3]
    level = distances[~(up | down)]
    top = (distances[up] / planes[up, 2]).min()
    return bool(top > (distances[down] / planes[down, 2]).max() and (level > 0.0).all())
