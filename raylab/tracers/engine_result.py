"""What an engine hands up: maps over pixels and area means over the stone, for one wavelength."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from ..scene.pixel_grid import PixelGrid
from .totals import Totals

if TYPE_CHECKING:
    from .exact.beams import Beams


@dataclass(frozen=True)
class EngineResult:
    """One wavelength's result.

    Attributes
    ----------
    grid : the pixels of the maps; None if only area means were requested.
    wavelength_nm, engine : how it was made.
    fields : name -> (resolution, resolution) float64, y rising; empty without a grid. Per pixel the mean over its covered part,
        NaN where it is not covered: ``luminance``, the ledger's entries, ``glare``, ``source_x/y/z``, ``bounces`` (the last two
        as weighted sums, see `ledger`); ``coverage`` from 0 to 1; sampled engines add ``luminance_error``, the exact one
        ``polygon`` (see `exact_image`).
    totals : area means, independent of the grid for an exact engine.
    polygons : the virtual facets; None from an engine that has none.
    unfolded : `polygons` with all symmetry copies written out, as numbered in the field ``polygon``. Many times as large as
        `polygons`, so that whoever keeps a result lets go of it.
    by_scattering : of a stone that scatters, name of an entry, or ``luminance`` -> the area mean of its part that came by
        scattering, and the standard error.
    notes : subject -> what a reader of the numbers must know, and what to do about it.
    """

    grid: PixelGrid | None
    wavelength_nm: float
    engine: str
    fields: dict[str, np.ndarray]
    totals: Totals
    polygons: Beams | None = None
    unfolded: Beams | None = None
    by_scattering: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    notes: Mapping[str, str] = field(default_factory=dict)
