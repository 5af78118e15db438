"""The exact statistics of designs: each a row of numbers (`COLUMNS`), or the reason why it has none. See `keys` for designs."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from ..errors import InputError
from ..lighting.dome import Dome
from ..results.statistics import Record, Statistic, record
from ..stone.stone import Stone
from ..tracers.exact.beams import trace_beams
from ..tracers.ledger import ENTRIES
from ..units import number_in
from .keys import GEOMETRY, STONE_KEYS, TRACED, Design, geometry_of, reason_for, stone_of, view_of

STATISTICS: dict[str, str] = {
    "brightness": "area mean of the luminance over the outline, relative to the dome's brightest radiance",
    "contrast_rms": "area-weighted standard deviation of luminance over its mean (Peli, J. Opt. Soc. Am. A 7 (1990) 2032)",
    "glare": "area mean of the share reflected by the first surface",
    "sky": "area mean of the share that leaves above the girdle plane, outside the head's cone",
    "head": "area mean of the share that leaves into the head's cone",
    "leak": "area mean of the share that leaves below the girdle plane",
    "absorbed": "area mean of the share taken by body colour",
    "scattered": "area mean of the share that met an absorbing facet",
    "untraced": "area mean of the share still inside when tracing ended",
}
"""Exact statistics, each with a certain bracket; all have the unit 1."""

PARTS = ("", "_low", "_high")
COLUMNS = (*(name + part for name in STATISTICS for part in PARTS), *GEOMETRY, "reason")
"""A design's row of numbers: each statistic with its bracket, the geometry, the reason code."""


@dataclass(frozen=True)
class Settings:
    """How designs are traced: the settings of the exact engine, see `trace_beams`."""

    precision: float = 2e-3
    polarized: bool = True
    max_bounces: int = 200

    def __post_init__(self) -> None:
        number_in("precision", self.precision, 1e-7, 1.0)
        number_in("max_bounces", self.max_bounces, 1, 100_000)


def trace_designs(designs: Iterable[Design], settings: Settings) -> np.ndarray:
    """(K, len(COLUMNS)) one row for each design; those that are no stone are NaN but for the reason.

    Designs that follow each other and differ in light or view alone share their stone.
    """
    rows, last, stone = [], None, None
    for design in designs:
        try:
            proportions = {key: design[key] for key in STONE_KEYS if key in design}
            if stone is None or proportions != last:
                stone = None
                stone = stone_of(design)
                last = proportions
            rows.append(_row(stone, design, settings))
        except InputError as error:
            rows.append(np.full(len(COLUMNS), np.nan))
            rows[-1][-1] = reason_for(error)
    return np.array(rows).reshape(-1, len(COLUMNS))


def trace_design(stone: Stone, design: Design, settings: Settings) -> tuple[Record, float]:
    """The statistics of a design whose stone is built, and the area of its outline as seen, mm^2."""
    dome: Dome = design["dome"]
    beams = trace_beams(
        stone,
        dome,
        view_of(design),
        wavelength_nm=design["wavelength_nm"],
        polarized=settings.polarized,
        precision=settings.precision,
        max_bounces=settings.max_bounces,
        keep_paths=False,
        threads=1,
    )
    return record(design["wavelength_nm"], beams.totals, dome.peak_radiance), beams.area_mm2


def _row(stone: Stone, design: Design, settings: Settings) -> np.ndarray:
    found, area_mm2 = trace_design(stone, design, settings)
    told: dict[str, Statistic] = {
        "brightness": found.brightness,
        "contrast_rms": found.contrast_rms,
        "glare": found.glare,
        **{entry: found.ledger[entry] for entry in ENTRIES},
    }
    numbers = [number for name in STATISTICS for number in (told[name].value, told[name].low, told[name].high)]
    return np.array([*numbers, *geometry_of(stone).values(), area_mm2, TRACED])
