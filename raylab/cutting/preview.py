"""`brillianteer`: the predicted numbers of a blocked stone for each choice of last facets."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from typing import TYPE_CHECKING, Any

from ..errors import InputError
from ..lighting.dome_file import DomeLike
from ..progress import Progress, part_of, reporter
from ..scene.scene import Scene
from ..scene.settings import TraceSettings
from ..scene.view import View
from ..stone.measuring.plane_uncertainty import Uncertainty
from ..stone.stone import Stone
from ..tracing import Result, trace_scene
from .blocked import Blocked, blocked_stone
from .last_facets import LastFacets, finished
from .mains import COVERAGE, Correction, MainOff, correct, coverage_factor, main_gradient, mains_off
from .viewing import lost_points, seen

if TYPE_CHECKING:
    import xarray as xr

MOST_ALTERNATIVES = 6
"""Alternatives that fit side by side."""


@dataclass(frozen=True)
class Preview:
    """A blocked stone and its finished alternatives.

    Attributes
    ----------
    blocked : the blocked stone. scene : the scene of that stone.
    choices, stones, results : for each alternative, the choice, the finished stone, its maps and numbers.
    mains : deviation of every measured main from its tier. coverage : coverage factor of a listed deviation.
    corrections : correction of each listed main alone, for the first choice. derivatives : derivatives by the listed mains,
        see `main_gradient`, or None.
    """

    blocked: Blocked
    scene: Scene
    choices: tuple[LastFacets, ...]
    stones: tuple[Stone, ...]
    results: tuple[Result, ...]
    mains: tuple[MainOff, ...]
    coverage: float
    corrections: tuple[Correction, ...]
    derivatives: xr.Dataset | None

    @property
    def weight_now_ct(self) -> float:
        """Weight of the blocked stone, girdle included."""
        return self.blocked.stone.weight_ct

    def lost_points(self, k: int) -> float:
        """Weight that alternative k removes, in points of 0.01 ct."""
        return lost_points(self.blocked.stone, self.stones[k])

    def to_dict(self) -> dict[str, Any]:
        """Plain numbers, strings, lists and None, ready for JSON."""
        stone = self.blocked.stone
        alternatives = [
            {
                "choice": asdict(choice),
                "weight_ct": self.stones[k].weight_ct,
                "lost_points": self.lost_points(k),
                "facets": len(self.stones[k]),
                **self.results[k].summary.to_dict(),
            }
            for k, choice in enumerate(self.choices)
        ]
        table = self.derivatives
        slopes = {
            main: {
                move: dict(
                    zip(
                        table.statistic.values.tolist(), table.derivative.sel(main=main, move=move).values.tolist(), strict=True
                    )
                )
                for move in table.move.values.tolist()
            }
            for main in ([] if table is None else table.main.values.tolist())
            if table is not None
        }
        return {
            "stone": {"name": stone.name, "material": stone.material.name, "weight_now_ct": stone.weight_ct},
            "dome": self.scene.dome.name,
            "view": asdict(self.scene.view),
            "alternatives": alternatives,
            "coverage": self.coverage,
            "mains": [main.to_dict() for main in self.mains],
            "corrections": [correction.to_dict() for correction in self.corrections],
            "derivatives": slopes,
            "derivative_units": {}
            if table is None
            else dict(zip(table.move.values.tolist(), table.unit.values.tolist(), strict=True)),
        }


def brillianteer(
    blocked: Stone,
    dome: DomeLike,
    choices: Sequence[LastFacets] = (LastFacets(),),
    *,
    view: View | None = None,
    diameter_mm: float | None = None,
    uncertainty: Uncertainty | None = None,
    coverage: float = COVERAGE,
    resolution: int = 256,
    settings: TraceSettings | None = None,
    progress: bool | Progress = False,
) -> Preview:
    """Finish a blocked stone with alternative last facets, placed on its measured mains.

    Parameters
    ----------
    blocked : a stone with table, mains and optionally girdle and culet, without stars and halves.
    choices : parameters of the last facets; 1 to 6 alternatives.
    view : parallel; face-up by default.
    diameter_mm : final girdle diameter of a round stone; needed without a measured girdle or before it has its final size.
    uncertainty, coverage : uncertainty of the measured planes, and coverage factor of a listed deviation.
    resolution : pixels along each side of the maps.
    settings : settings of the traces: one wavelength, an exact engine; by default `viewing.TIGHT`, a precision of 2e-4.
    progress : True for a bar, or a function that is called with the finished and the total amount of work.

    Raises
    ------
    InputError : a stone that is not blocked, too many choices, a setting out of range.
    StoneError : an impossible choice, such as facets that vanish or a girdle without thickness; the message names them.
    """
    if not 1 <= len(choices) <= MOST_ALTERNATIVES:
        raise InputError("wrong number of choices", key="choices", value=len(choices), expected=f"1 to {MOST_ALTERNATIVES}")
    coverage_factor(coverage)
    base = blocked_stone(blocked, diameter_mm)
    scene = seen(base.stone, dome, view, settings, resolution)
    stones = tuple(finished(base, choice) for choice in choices)  # before the work starts: any may be impossible
    mains = mains_off(base, uncertainty, coverage)
    off = [main for main in mains if main.off]
    steps = len(stones) + 10 * len(off)  # about what each takes
    results, corrections, derivatives = [], [], None
    with reporter(progress, "tracing", counted=False) as update:
        for k, stone in enumerate(stones):
            results.append(trace_scene(replace(scene, stone=stone), by_facet=False))
            update(k + 1, steps)
        corrections = [correct(base, choices[0], main, results[0].scene) for main in off]
        if off:
            start = (len(stones) + len(off)) / steps
            rest = part_of(update, start, 1.0 - start)
            derivatives = main_gradient(base, choices[0], scene, [main.facet for main in off], rest)
    return Preview(base, scene, tuple(choices), stones, tuple(results), mains, coverage, tuple(corrections), derivatives)
