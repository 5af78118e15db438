"""One number, one definition: what a traced view says about the stone as a whole.

Each statistic comes with a bracket [low, high], which holds for certain and comes from the untraced weight, and with a
standard error, which comes from sampling and is zero for an exact engine. `value` counts what was traced, no more.

* ``brightness``: area mean of the luminance over the outline, relative to the dome's brightest radiance.
* ledger entries and ``glare``: area means (see `tracers.ledger`).
* ``contrast_rms``: area-weighted standard deviation of luminance over its mean (RMS contrast: Peli, J. Opt. Soc. Am. A 7
  (1990) 2032-2040; weights are areas, so the divisor is the whole area).
* ``symmetry``: agreement of the luminance with its own rotations and mirror images (see `symmetry.agreement`).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from ..tracers.engine_result import LUMINANCE_SQUARE, MOMENTS, UNTRACED_SQUARE, EngineResult, Totals
from ..tracers.ledger import ENTRIES, GLARE, LUMINANCE, SKY, UNTRACED
from .accounting import FacetTable, mean_of


@dataclass(frozen=True)
class Statistic:
    """A number with what is known of its surroundings.

    Attributes: `value`; `low` and `high`, the certain bracket; `error`, the standard error of sampling (0: none).
    """

    value: float
    low: float
    high: float
    error: float = 0.0

    def __float__(self) -> float:
        return self.value

    def __str__(self) -> str:
        sampled = f" \u00b1 {self.error:.5f}" if self.error > 0.0 else ""
        return f"{self.value:.4f} [{self.low:.4f}, {self.high:.4f}]{sampled}"


@dataclass(frozen=True)
class Record:
    """The statistics of one wavelength."""

    wavelength_nm: float
    brightness: Statistic
    contrast_rms: Statistic
    glare: Statistic
    ledger: dict[str, Statistic]


@dataclass(frozen=True)
class Summary:
    """Every statistic of one traced view; with several wavelengths, their plain mean and the records one by one.

    Attributes
    ----------
    engine : which tracer. area_mm2 : outline as seen. records : one `Record` per wavelength.
    symmetry : a `Statistic`, or None where it is not defined (no nominal symmetry, or a tilted view).
    facet_tables : the accounting facet by facet, one per wavelength; empty where rays were sampled.
    """

    engine: str
    area_mm2: float
    records: tuple[Record, ...]
    symmetry: Statistic | None = None
    symmetry_note: str = field(default="")
    facet_tables: tuple[FacetTable, ...] = ()

    @property
    def brightness(self) -> Statistic:
        """Area-mean luminance relative to the brightest radiance."""
        return _average([record.brightness for record in self.records])

    @property
    def contrast_rms(self) -> Statistic:
        """Standard deviation of luminance over its mean."""
        return _average([record.contrast_rms for record in self.records])

    @property
    def glare(self) -> Statistic:
        """Area-mean share reflected by the first surface."""
        return _average([record.glare for record in self.records])

    @property
    def ledger(self) -> dict[str, Statistic]:
        """Area means of the six ledger entries."""
        return {name: _average([record.ledger[name] for record in self.records]) for name in ENTRIES}

    @property
    def facets(self) -> FacetTable | None:
        """Where light leaves, and through which facets the stone is dark; None where not asked for or rays were sampled."""
        return mean_of(self.facet_tables) if self.facet_tables else None

    def statistics(self) -> dict[str, Statistic]:
        """All statistics beside the ledger, by name."""
        found = {"brightness": self.brightness, "contrast_rms": self.contrast_rms, "glare": self.glare}
        return found if self.symmetry is None else {**found, "symmetry": self.symmetry}

    def to_dict(self) -> dict[str, object]:
        """Plain numbers: values by name under ``ledger`` and ``stats``, with ``brackets`` and ``errors`` beside them; the
        accounting under ``facets`` where there is one."""
        both, facets = {**self.ledger, **self.statistics()}, self.facets
        notes = {"symmetry": self.symmetry_note} if self.symmetry_note else {}
        if self.engine == "rays":
            notes["facets"] = "which facet lets light out is told by the exact engine only (parallel view)"
        return {
            "engine": self.engine,
            "wavelengths_nm": [record.wavelength_nm for record in self.records],
            "area_mm2": self.area_mm2,
            "ledger": {name: s.value for name, s in self.ledger.items()},
            "stats": {name: s.value for name, s in self.statistics().items()},
            "brackets": {name: [s.low, s.high] for name, s in both.items()},
            "errors": {name: s.error for name, s in both.items()},
            **({} if facets is None else {"facets": facets.to_dict()}),
            "notes": notes,
        }


def _average(each: Sequence[Statistic]) -> Statistic:
    """Mean over wavelengths, part by part; errors of common samples don't average out, and are not taken to."""
    return Statistic(*(float(np.mean([getattr(one, part) for one in each])) for part in ("value", "low", "high", "error")))


def record(wavelength_nm: float, totals: Totals, peak_radiance: float) -> Record:
    """The statistics of one wavelength from its area means; `peak_radiance` is the dome's brightest."""
    untraced = float(totals.mean[UNTRACED])
    ledger = {name: _share(totals, SKY + k, untraced) for k, name in enumerate(ENTRIES)}
    ledger["untraced"] = Statistic(untraced, 0.0, untraced, totals.error(_unit(UNTRACED)))
    brightness = _share(totals, LUMINANCE, untraced * peak_radiance)
    scaled = Statistic(*(x / peak_radiance for x in (brightness.value, brightness.low, brightness.high, brightness.error)))
    contrast = _contrast(totals, peak_radiance)
    return Record(wavelength_nm, scaled, contrast, _share(totals, GLARE, 0.0), ledger)


def summarize(
    traced: Sequence[EngineResult],
    peak_radiance: float,
    symmetry: Statistic | None,
    symmetry_note: str,
    facet_tables: Sequence[FacetTable] = (),
) -> Summary:
    """The summary of one view at one or several wavelengths."""
    records = tuple(record(one.wavelength_nm, one.totals, peak_radiance) for one in traced)
    return Summary(traced[0].engine, traced[0].totals.area_mm2, records, symmetry, symmetry_note, tuple(facet_tables))


def _unit(channel: int) -> np.ndarray:
    gradient = np.zeros(MOMENTS)
    gradient[channel] = 1.0
    return gradient


def _share(totals: Totals, channel: int, above: float) -> Statistic:
    value = float(totals.mean[channel])
    return Statistic(value, value, value + above, totals.error(_unit(channel)))


def _contrast(totals: Totals, peak_radiance: float) -> Statistic:
    """RMS contrast with its bracket: the untraced light adds at most e = untraced x peak in each point, which moves the
    mean by at most mean(e) and the standard deviation by at most the root mean square of e."""
    m, q = float(totals.mean[LUMINANCE]), float(totals.mean[LUMINANCE_SQUARE])
    if m <= 0.0:
        return Statistic(math.nan, math.nan, math.nan, math.nan)
    deviation = math.sqrt(max(0.0, q - m * m))
    more = float(totals.mean[UNTRACED]) * peak_radiance
    shake = math.sqrt(max(0.0, float(totals.mean[UNTRACED_SQUARE]))) * peak_radiance
    gradient = np.zeros(MOMENTS)
    if deviation > 0.0:
        gradient[LUMINANCE_SQUARE] = 0.5 / (deviation * m)
        gradient[LUMINANCE] = -1.0 / deviation - deviation / (m * m)
    return Statistic(deviation / m, max(0.0, deviation - shake) / (m + more), (deviation + shake) / m, totals.error(gradient))
