"""`Comparison`: the record of stones side by side."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

import xarray as xr

from ..displays import shown_by
from ..lighting.dome import Dome
from ..results.summary import Summary
from ..scene.settings import TraceSettings
from ..scene.view import View
from ..stone.extent import extent_of
from ..stone.measuring.plane_uncertainty import EXACT, Uncertainty
from ..stone.proportions import Measurements, spread_key
from ..stone.stone import Stone
from .alignment import Pose
from .uncertainty import UNKNOWN, Estimate
from .verdicts import Verdict, judge_all

DIAMETERS = ("diameter_mm", spread_key("diameter_mm"))
"""Proportions that say nothing of a stone that isn't round."""


@dataclass(frozen=True)
class Comparison:
    """The result of `compare`.

    Attributes
    ----------
    labels : "A", "B", ... in the given order. stones : as offered, at true size, with their inclusions.
    poses : how each stone was turned, moved and scaled to be traced. shown : the stones as traced, without inclusions.
    dome, views, scale, coverage, uncertainties, known_to_pct, resolution, settings : the request.
    measurements : measurements of each stone as offered. proportions : for each stone, estimates by name.
    light : for each view, for each stone, estimates of every statistic by name.
    summaries : for each view, for each stone, the summary of the trace.
    maps : on (stone, tilt_deg, y, x), one grid in mm for all.
    """

    labels: tuple[str, ...]
    stones: tuple[Stone, ...]
    poses: tuple[Pose, ...]
    shown: tuple[Stone, ...]
    dome: Dome
    views: tuple[View, ...]
    scale: str
    coverage: float
    uncertainties: tuple[Uncertainty, ...]
    known_to_pct: float
    resolution: int
    settings: TraceSettings
    measurements: tuple[Measurements, ...]
    proportions: tuple[dict[str, Estimate], ...]
    light: tuple[tuple[dict[str, Estimate], ...], ...]
    summaries: tuple[tuple[Summary, ...], ...]
    maps: xr.Dataset

    _repr_html_ = shown_by("comparison_card")

    def __repr__(self) -> str:
        named = (f"{label} {stone.name!r}" for label, stone in zip(self.labels, self.stones, strict=True))
        return f"<Comparison: {', '.join(named)} under {self.dome.name!r}, {len(self.views)} views>"

    def certain_word(self, labels: Sequence[str] = ()) -> str:
        """What a difference that is certain is called among stones, all by default: "significant" if one of them was measured,
        or "resolved" if only the tracing limits what is known."""
        stated = dict(zip(self.labels, self.uncertainties, strict=True))
        return "significant" if any(stated[label] != EXACT for label in labels or self.labels) else "resolved"

    @property
    def scatter_left_out(self) -> bool:
        """Whether the uncertainties of a stone lack the noise of its scan."""
        return any(stated.scatter_left_out for stated in self.uncertainties)

    @property
    def about_scans(self) -> tuple[str, ...]:
        """Sentences on what the scans leave open: a noise that is not known, walls that may be missing."""
        stated = dict(zip(self.labels, self.uncertainties, strict=True))
        said = []
        if labels := [label for label, one in stated.items() if one.scatter_left_out]:
            said.append(
                f"The noise of the scan of {' and of '.join(labels)} is not known, because the mesh has too few points on a "
                "facet: the uncertainties are those of the measuring device alone, and the true ones are larger."
            )
        for label, one in stated.items():
            if one.unsure_walls:
                walls = f"{one.unsure_walls} wall{'s' * (one.unsure_walls > 1)}"
                said.append(
                    f"Beside {walls} of the girdle of {label}, the points of its scan leave room for another wall: length, "
                    "width and girdle are known less well there, as their uncertainties say."
                )
        return tuple(said)

    def difference(self, name: str, first: str = "A", second: str = "B") -> xr.DataArray:
        """Map of one stone minus that of another, on (tilt_deg, y, x); NaN outside either stone."""
        layers = self.maps[name]
        found = layers.sel(stone=first, drop=True) - layers.sel(stone=second, drop=True)
        return found.assign_attrs(layers.attrs | {"long_name": f"{layers.attrs['long_name']}, {first} minus {second}"})

    def light_verdicts(self, view: int) -> dict[str, tuple[Verdict, ...]]:
        """For each statistic that two stones or more have in a view, and that is not 0 for all, the verdict on each pair; it is
        "unknown" where one of the pair lacks the statistic."""
        return self._verdicts(self.light[view], skip=("untraced",))

    def proportion_verdicts(self) -> dict[str, tuple[Verdict, ...]]:
        """The same for each proportion; a diameter is compared of round stones alone."""
        round_all = all(extent_of(stone).round for stone in self.stones)
        return self._verdicts(self.proportions, skip=() if round_all else DIAMETERS)

    def _verdicts(self, each: Sequence[Mapping[str, Estimate]], skip: Sequence[str] = ()) -> dict[str, tuple[Verdict, ...]]:
        known = {name: [found[name] for found in each if name in found] for found in each for name in found if name not in skip}
        real = [name for name, some in known.items() if len(some) > 1 and any(one.statistic.value != 0.0 for one in some)]
        rows = {name: dict(zip(self.labels, (found.get(name, UNKNOWN) for found in each), strict=True)) for name in real}
        return {name: judge_all(name, row, self.coverage) for name, row in rows.items()}

    def to_dict(self) -> dict[str, Any]:
        """Numbers, verdicts and their basis: plain numbers, strings, lists and None, ready for JSON."""

        def records(each: Sequence[Mapping[str, Estimate]], verdicts: Mapping[str, Sequence[Verdict]]) -> dict[str, Any]:
            return {
                "values": {
                    label: {name: one.to_dict() for name, one in found.items()}
                    for label, found in zip(self.labels, each, strict=True)
                },
                "verdicts": {name: [verdict.to_dict() for verdict in pairs] for name, pairs in verdicts.items()},
            }

        views = [
            {
                "tilt_deg": view.tilt_deg,
                "tilt_azimuth_deg": view.tilt_azimuth_deg,
                **records(self.light[k], self.light_verdicts(k)),
            }
            for k, view in enumerate(self.views)
        ]
        return {
            "stones": {label: found.to_dict() for label, found in zip(self.labels, self.measurements, strict=True)},
            "dome": {"name": self.dome.name, "description": self.dome.description},
            "engine": self.summaries[0][0].engine,
            "scale": self.scale,
            "poses": {label: pose.to_dict() for label, pose in zip(self.labels, self.poses, strict=True)},
            "uncertainty": {label: one.to_dict() for label, one in zip(self.labels, self.uncertainties, strict=True)},
            "coverage": self.coverage,
            "known_to_pct": self.known_to_pct,
            "settings": {"resolution": self.resolution, **asdict(self.settings)},
            "proportions": records(self.proportions, self.proportion_verdicts()),
            "views": views,
            **({"without_inclusions": left_out} if (left_out := self.left_out()) else {}),
        }

    def left_out(self) -> dict[str, int]:
        """How many inclusions the stones have that have some; all numbers are those of the stones without."""
        stones = zip(self.labels, self.stones, strict=True)
        return {label: len(stone.inclusions) for label, stone in stones if stone.inclusions}
