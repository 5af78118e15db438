"""How choices are weighed: the exact statistics of a stone under its light, and what changes between two stones."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

from ..lighting.dome_file import DomeLike, dome_of
from ..results.statistics import Statistic
from ..results.summary import exact_record
from ..scene.scene import Scene
from ..scene.settings import TraceSettings
from ..scene.view import View
from ..stone.stone import Stone
from ..tracers.engines import exactly

TIGHT = TraceSettings(precision=2e-4)
"""Default settings. The bracket on contrast is about twenty times as wide as that on brightness, and choices of halves differ
by little: at 5e-3 few differences were significant. Measured on the blocked demo stone: 0.004 on contrast, at a third more
time than at 5e-3."""

POINTS_PER_CT = 100.0
"""1 ct = 100 points (trade practice)."""


def seen(stone: Stone, dome: DomeLike, view: View | None, settings: TraceSettings | None, resolution: int = 256) -> Scene:
    """A stone under the light in which it and what is made of it are weighed, face-up and by `TIGHT` where nothing else is
    given.

    Raises UnsupportedScene where no exact engine can trace it, such as in perspective; InputError for more than one wavelength.
    """
    return exactly(Scene(stone, dome_of(dome), view or View(), settings or TIGHT, resolution))


@dataclass(frozen=True)
class Change:
    """What changes from one stone to another.

    Attributes
    ----------
    lost_points : weight taken away, in points of 0.01 ct. weight_ct : weight afterwards.
    light : the change of each statistic; its bracket holds for certain, sampling aside.
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


def change(before: Scene, after: Stone) -> Change:
    """What changes from the stone of a scene to another stone under the same light; jumps and all."""
    old, new = (exact_record(scene).statistics for scene in (before, replace(before, stone=after)))
    return Change(lost_points(before.stone, after), after.weight_ct, differences(old, new))


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
