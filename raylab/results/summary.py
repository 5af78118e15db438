"""The numbers of a traced view: every statistic at each wavelength, what they leave open, and the accounts by facet."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from ..displays import shown_by
from ..scene.scene import Scene
from ..tracers.engine_result import EngineResult
from ..tracers.engines import engine_for
from ..tracers.ledger import BRIGHTER, DIMMER, DOUBT, ENTRIES
from ..tracers.totals import Totals
from .accounting import FacetTable, mean_of
from .statistics import STATISTICS, SYMMETRY, Statistic
from .statistics.goals import goal_of
from .statistics.limits import Limits, limits_of

FACETS = "facets"
EDGES = "edges"
NOT_THERE = (SYMMETRY.key, FACETS)
"""Subjects of notes on what a summary lacks."""


@dataclass(frozen=True)
class Record:
    """The statistics of one wavelength.

    Attributes
    ----------
    wavelength_nm : nm. area_mm2 : outline as seen. statistics : by key, those of the table `STATISTICS`.
    """

    wavelength_nm: float
    area_mm2: float
    statistics: dict[str, Statistic]


@dataclass(frozen=True)
class Summary:
    """Every statistic of one traced view; with more than one wavelength, their plain mean and the records one by one.

    Attributes
    ----------
    engine : which tracer. records : one `Record` per wavelength.
    symmetry : a `Statistic`, or None where it is not defined (no nominal symmetry, or a tilted view).
    notes : subject -> a missing number or a missed precision, with the remedy.
    by_scattering : of a stone that scatters, name of an entry, or ``luminance`` -> its part that came by scattering, mean over
        the wavelengths and standard error.
    facet_tables : the accounting facet by facet, one per wavelength; empty if not requested or without virtual facets.
    """

    engine: str
    records: tuple[Record, ...]
    symmetry: Statistic | None = None
    notes: Mapping[str, str] = field(default_factory=dict)
    facet_tables: tuple[FacetTable, ...] = ()
    by_scattering: Mapping[str, tuple[float, float]] = field(default_factory=dict)

    _repr_html_ = shown_by("summary_card")

    def __repr__(self) -> str:
        return f"<Summary: {', '.join(f'{key} {one.value:.4f}' for key, one in self.statistics.items())}>"

    @property
    def area_mm2(self) -> float:
        """Area of the outline as seen, mm^2."""
        return self.records[0].area_mm2

    @cached_property
    def statistics(self) -> dict[str, Statistic]:
        """Every statistic by key, in the table's order; symmetry last, where it is defined."""
        found = {key: _average([record.statistics[key] for record in self.records]) for key in self.records[0].statistics}
        return found if self.symmetry is None else {**found, SYMMETRY.key: self.symmetry}

    @property
    def brightness(self) -> Statistic:
        """Area-mean luminance relative to the brightest radiance."""
        return self.statistics["brightness"]

    @property
    def contrast_rms(self) -> Statistic:
        """Standard deviation of luminance over its mean."""
        return self.statistics["contrast_rms"]

    @property
    def glare(self) -> Statistic:
        """Area-mean share reflected by the first surface."""
        return self.statistics["glare"]

    @property
    def ledger(self) -> dict[str, Statistic]:
        """Area means of the six ledger entries."""
        return {entry: self.statistics[entry] for entry in ENTRIES}

    @property
    def beside_ledger(self) -> dict[str, Statistic]:
        """The statistics that are no entries of the ledger."""
        return {key: one for key, one in self.statistics.items() if key not in ENTRIES}

    @property
    def shortfalls(self) -> dict[str, str]:
        """The notes on numbers that miss the requested precision, such as a wider bracket."""
        return {subject: note for subject, note in self.notes.items() if subject not in NOT_THERE}

    @property
    def facets(self) -> FacetTable | None:
        """Where light leaves, and through which facets the stone is dark; None without `facet_tables`."""
        return mean_of(self.facet_tables) if self.facet_tables else None

    def to_dict(self) -> dict[str, object]:
        """Plain numbers: values by name under ``ledger`` and ``stats``, with ``brackets`` and ``errors`` beside them; the
        accounting under ``facets`` where there is one."""
        facets = self.facets
        scattered = {name: {"value": value, "error": error} for name, (value, error) in self.by_scattering.items()}
        return {
            "engine": self.engine,
            "wavelengths_nm": [record.wavelength_nm for record in self.records],
            "area_mm2": self.area_mm2,
            "ledger": {name: s.value for name, s in self.ledger.items()},
            "stats": {name: s.value for name, s in self.beside_ledger.items()},
            "brackets": {name: [s.low, s.high] for name, s in self.statistics.items()},
            "errors": {name: s.error for name, s in self.statistics.items()},
            **({} if facets is None else {"facets": facets.to_dict()}),
            **({"by_scattering": scattered} if scattered else {}),
            "notes": dict(self.notes),
        }


def _average(each: Sequence[Statistic]) -> Statistic:
    """Mean over wavelengths, part by part; errors of common samples don't average out, and are not taken to."""
    value, low, high, error = (
        float(np.mean([getattr(one, part) for one in each])) for part in ("value", "low", "high", "error")
    )
    return Statistic(value, low, high, error, all(one.whole for one in each))


def record(wavelength_nm: float, totals: Totals, limits: Limits) -> Record:
    """The statistics of one wavelength from the area means of scenes with these limits there."""
    return Record(wavelength_nm, totals.area_mm2, {key: one.of(totals, limits) for key, one in STATISTICS.items()})


def record_of(scene: Scene, traced: EngineResult) -> Record:
    """The statistics of what an engine found of a scene."""
    return record(traced.wavelength_nm, traced.totals, limits_of(scene, traced.wavelength_nm))


def _on_edges(totals: Totals) -> dict[str, str]:
    """A note where light leaves on an edge, so that brackets are wider than untraced light makes them."""
    doubt, dimmer, brighter = (float(totals.mean[channel]) for channel in (DOUBT, DIMMER, BRIGHTER))
    if not doubt + dimmer + brighter > 0.0:
        return {}
    note = (
        "light leaves exactly in the girdle plane or along an edge of the dome, where rounding would decide; brackets hold for "
        f"both sides (luminance down by {dimmer:.3g} or up by {brighter:.3g}, {doubt:.3g} of the weight between sky, head and "
        "leak); a tilt or a turn by a thousandth of a degree decides"
    )
    return {EDGES: note}


def exact_record(scene: Scene, *, threads: int | None = None) -> Record:
    """The statistics of a scene at its one wavelength; see `exact_result`."""
    return record_of(scene, exact_result(scene, threads=threads))


def quick_record(scene: Scene, *, threads: int | None = None) -> Record:
    """The statistics of a scene at its one wavelength, by its engine and without maps.

    Raises UnsupportedScene where the engine can't trace it, InputError where it has more than one wavelength.
    """
    return record_of(scene, engine_for(scene).trace(scene, scene.settings.wavelength_nm, goal=goal_of(scene), threads=threads))


def exact_result(scene: Scene, *, early: bool = True, threads: int | None = None) -> EngineResult:
    """A scene at its one wavelength, by an exact engine and without maps; `early` as in `Goal`.

    Raises UnsupportedScene where no exact engine can trace it, InputError where it has more than one wavelength.
    """
    goal = replace(goal_of(scene), early=early)
    return engine_for(scene, exact=True).trace(scene, scene.settings.wavelength_nm, goal=goal, threads=threads)


def summarize(
    scene: Scene,
    traced: Sequence[EngineResult],
    symmetry: Statistic | None = None,
    notes: Mapping[str, str] | None = None,
    facet_tables: Sequence[FacetTable] = (),
) -> Summary:
    """The summary of a scene as traced at one wavelength or several; `notes` beside those of the engine."""
    records = tuple(record_of(scene, one) for one in traced)
    said = {**_notes(traced), **(notes or {})}
    return Summary(traced[0].engine, records, symmetry, said, tuple(facet_tables), _by_scattering(traced))


def _by_scattering(traced: Sequence[EngineResult]) -> dict[str, tuple[float, float]]:
    """Plain means over wavelengths; errors of common samples don't average out, and are not taken to."""
    each = [one.by_scattering for one in traced]
    means = {name: np.mean([one[name] for one in each], axis=0) for name in each[0]}
    return {name: (float(value), float(error)) for name, (value, error) in means.items()}


def _notes(traced: Sequence[EngineResult]) -> dict[str, str]:
    """What there is to say of each wavelength, by subject; with the wavelength where there are several."""
    found: dict[str, str] = {}
    for one in traced:
        for subject, note in {**one.notes, **_on_edges(one.totals)}.items():
            words = note if len(traced) == 1 else f"at {one.wavelength_nm:g} nm {note}"
            found[subject] = f"{found[subject]}; {words}" if subject in found else words
    return found
