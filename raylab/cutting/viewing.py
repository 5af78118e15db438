"""The light in which choices are weighed, and what changes between two stones in it."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any

from ..errors import InputError
from ..lighting.dome import Dome
from ..results.statistics import Statistic, record
from ..scene.scene import Scene
from ..scene.view import View
from ..stone.stone import Stone
from ..tracers.exact.beams import Beams, trace_beams
from ..tracing import Result, trace_scene
from ..units import SODIUM_D_NM, number_in

PRECISION = 2e-4
"""Width of the bracket on brightness. That on contrast is some twenty times as wide, and choices of halves differ by little: at
5e-3 few could be told apart. Measured on the blocked demo stone: 0.004 on contrast, at a third more time than at 5e-3."""

POINTS_PER_CT = 100.0
"""1 ct = 100 points (trade practice)."""


@dataclass(frozen=True)
class Light:
    """A dome, a parallel view, and the settings of the exact engine, see `trace_beams`.

    Raises InputError for a setting out of range or a view in perspective.
    """

    dome: Dome
    view: View = field(default_factory=View)
    wavelength_nm: float = SODIUM_D_NM
    precision: float = PRECISION
    polarized: bool = True

    def __post_init__(self) -> None:
        number_in("precision", self.precision, 1e-7, 1.0)
        if not self.view.parallel:
            problem = "stones are finished under a parallel view"
            raise InputError(problem, key="view.distance_mm", value=self.view.distance_mm)

    def beams(self, stone: Stone, *, keep_paths: bool = True) -> Beams:
        """The virtual facets of a stone."""
        return trace_beams(
            stone,
            self.dome,
            self.view,
            wavelength_nm=self.wavelength_nm,
            polarized=self.polarized,
            precision=self.precision,
            keep_paths=keep_paths,
        )

    def numbers(self, stone: Stone) -> dict[str, Statistic]:
        """Brightness, contrast, glare and the ledger's entries by name, each with a certain bracket."""
        totals = self.beams(stone, keep_paths=False).totals
        told = record(self.wavelength_nm, totals, self.dome.peak_radiance)
        return {"brightness": told.brightness, "contrast_rms": told.contrast_rms, "glare": told.glare, **told.ledger}

    def result(self, stone: Stone, resolution: int) -> Result:
        """Maps and numbers, as `trace` gives them without the account by facet."""
        scene = Scene(
            stone=stone,
            dome=self.dome,
            view=self.view,
            resolution=resolution,
            wavelengths_nm=self.wavelength_nm,
            engine="beams",
            precision=self.precision,
            polarized=self.polarized,
        )
        return trace_scene(scene, by_facet=False)


@dataclass(frozen=True)
class Change:
    """What changes from one stone to another.

    Attributes
    ----------
    lost_points : weight taken away, in points of 0.01 ct. weight_ct : weight afterwards.
    light : the change of each statistic of `Light.numbers`; its bracket holds for certain, sampling aside.
    """

    lost_points: float
    weight_ct: float
    light: dict[str, Statistic]

    def to_dict(self) -> dict[str, Any]:
        """Plain numbers, ready for JSON."""
        light = {
            name: {"change": one.value, "low": one.low, "high": one.high, "error": one.error}
            for name, one in self.light.items()
        }
        return {"lost_points": self.lost_points, "weight_ct": self.weight_ct, "light": light}


def change(before: Stone, after: Stone, light: Light) -> Change:
    """What changes from one stone to another in a light; jumps and all."""
    old, new = light.numbers(before), light.numbers(after)
    return Change(lost_points(before, after), after.weight_ct, differences(old, new))


def differences(old: dict[str, Statistic], new: dict[str, Statistic]) -> dict[str, Statistic]:
    """New less old, with what is certain of it, and the standard error of what is sampled (symmetry)."""
    return {
        name: Statistic(
            new[name].value - one.value,
            new[name].low - one.high,
            new[name].high - one.low,
            math.hypot(new[name].error, one.error),
        )
        for name, one in old.items()
    }


def lost_points(before: Stone, after: Stone) -> float:
    """Weight taken away, in points."""
    return POINTS_PER_CT * (before.weight_ct - after.weight_ct)
