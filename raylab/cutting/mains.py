"""Which measured main is off, by more than its measurement may be, and what correcting it alone would change.

A tier's **pattern** has the median slope of its mains, equal steps of azimuth and the median height; medians, so that one main
that is off doesn't make the others look so. A main counts as off in

* slope, degrees; * azimuth, degrees; * height, um: of its facet's middle above (positive) or below the pattern's plane,

where it differs by more than `COVERAGE` standard uncertainties. The uncertainty of the difference is taken as that of the one
main: what a median of eight adds and what both share nearly cancel.

**Correcting** a main gives it its pattern's direction. Material can't be put back, so the new plane must take the whole old
facet with it: it lies at the pattern's height, or deeper where the facet is too deep already.

The **derivative** is that of the finished stone's numbers by one main, halves and stars following: along the paths that
light takes now, see `designs.stepping`. Over a whole correction jumps come in, which `Correction.change` counts.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import asdict, dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from ..designs.stepping import light_derivative, solid_derivative
from ..errors import StoneError
from ..progress import Progress, reporter
from ..results.statistics import STATISTICS
from ..scene.scene import Scene
from ..stone.measuring.plane_uncertainty import Uncertainty
from ..stone.offsets import Offset, moved_plane
from ..stone.planes import normal_of
from ..stone.stone import Stone
from ..tracers.exact.beams import Beams, trace_beams
from .blocked import Blocked
from .last_facets import LastFacets, finished
from .viewing import POINTS_PER_CT, Change, change

if TYPE_CHECKING:
    import xarray as xr

COVERAGE = 3.0
"""Standard uncertainties that a main must be off by to be flagged. Three, since some 48 numbers are looked at together: by
chance alone one stone in eight or so has a flag (normal errors)."""

MOVES = {"slope_deg": ("degree", 1.0), "azimuth_deg": ("degree", 1.0), "depth_mm": ("0.01 mm", 0.01)}
"""How a main is stepped (see `stone.offsets.Offset`): unit of the derivative, and its size."""


@dataclass(frozen=True)
class MainOff:
    """One main against its tier's pattern; `off` names what is off, empty if nothing is."""

    name: str
    facet: int
    slope_deg: float
    slope_uncertainty_deg: float
    azimuth_deg: float
    azimuth_uncertainty_deg: float
    height_um: float
    height_uncertainty_um: float
    off: tuple[str, ...]

    def to_dict(self) -> dict[str, Any]:
        """Plain numbers, ready for JSON."""
        return {**asdict(self), "off": list(self.off)}


@dataclass(frozen=True)
class Correction:
    """What correcting one main alone would do to the finished stone.

    Attributes
    ----------
    deeper_um : how much deeper than its pattern the corrected main must lie, since material can't be put back.
    change : of the finished stone; None where the stone can't be finished then, and `reason` says why.
    """

    name: str
    deeper_um: float
    change: Change | None
    reason: str = ""

    def to_dict(self) -> dict[str, Any]:
        """Plain numbers, ready for JSON."""
        change = None if self.change is None else self.change.to_dict()
        return {"name": self.name, "deeper_um": self.deeper_um, "change": change, "reason": self.reason}


@dataclass(frozen=True)
class _Pattern:
    """The pattern of one tier: normals by facet, and the common distance, mm."""

    normals: dict[int, np.ndarray]
    distance_mm: float


def mains_off(blocked: Blocked, uncertainty: Uncertainty | None = None, coverage: float = COVERAGE) -> tuple[MainOff, ...]:
    """Every main against its tier's pattern.

    Raises InputError where an uncertainty is given per facet and not for each facet of the blocked stone.
    """
    stone, stated = blocked.stone, uncertainty or Uncertainty()
    angles, heights = stated.per_facet(stone)
    slopes, azimuths, middles = stone.slope_deg(), stone.azimuth_deg(), stone.polyhedron.centroids
    found = []
    for tier in (blocked.crown, blocked.pavilion):
        pattern = _pattern(blocked, tier)
        for f in tier:
            even = pattern.normals[f]
            nominal = math.degrees(math.atan2(even[1], even[0]))
            differences = {
                "slope": (slopes[f] - math.degrees(math.acos(abs(even[2]))), angles[f]),
                "azimuth": (math.remainder(azimuths[f] - nominal, 360.0), angles[f] / math.sin(math.radians(slopes[f]))),
                "height": (1e3 * (even @ middles[f] - pattern.distance_mm), heights[f]),
            }
            off = tuple(key for key, (difference, error) in differences.items() if abs(difference) > coverage * error)
            slope, azimuth, height = (tuple(map(float, pair)) for pair in differences.values())
            found.append(MainOff(stone.facet_name(f), f, slope[0], slope[1], azimuth[0], azimuth[1], height[0], height[1], off))
    return tuple(found)


def _pattern(blocked: Blocked, tier: tuple[int, ...]) -> _Pattern:
    stone, step = blocked.stone, 360.0 / len(tier)
    side = math.copysign(1.0, stone.normals[tier[0], 2])
    slope = math.radians(float(np.median(stone.slope_deg()[list(tier)])))
    first = stone.azimuth_deg()[tier[0]]
    shifts = [math.remainder(stone.azimuth_deg()[f] - first - k * step, 360.0) for k, f in enumerate(tier)]
    start = first + float(np.median(shifts))
    normals = {}
    for k, f in enumerate(tier):
        azimuth = math.radians(start + k * step)
        normals[f] = normal_of(slope, azimuth, side)
    return _Pattern(normals, float(np.median([normals[f] @ stone.polyhedron.centroids[f] for f in tier])))


def correct(blocked: Blocked, choice: LastFacets, main: MainOff, before: Scene) -> Correction:
    """What correcting one main alone would do; `before` holds the stone as finished without, under its light."""
    tier = blocked.crown if main.facet in blocked.crown else blocked.pavilion
    pattern = _pattern(blocked, tier)
    normal = pattern.normals[main.facet]
    corners = blocked.stone.vertices_mm[blocked.stone.polyhedron.loops[main.facet]]
    distance = min(pattern.distance_mm, float((corners @ normal).min()))
    deeper = 1e3 * (pattern.distance_mm - distance)
    try:
        after = finished(blocked.with_plane(main.facet, normal, distance), choice)
    except StoneError as error:
        return Correction(main.name, deeper, None, error.problem)
    return Correction(main.name, deeper, change(before, after))


def main_gradient(
    blocked: Blocked,
    choice: LastFacets,
    scene: Scene,
    facets: Iterable[int] | None = None,
    progress: bool | Progress = False,
) -> xr.Dataset:
    """Derivatives of the finished stone's statistics and weight by each main's slope, azimuth and depth.

    Parameters
    ----------
    scene : the blocked stone under its light. facets : numbers of the mains to derive by; all by default.
    progress : True for a bar, or a function that is called with the finished and the total amount of work.

    Returns
    -------
    xarray.Dataset on (statistic, main, move): `derivative` per `unit` of the move, NaN where no step was small enough, and
    `derivative_error`, its numerical error as estimated from two steps. `weight_points` is a statistic here.
    """
    import xarray as xr

    chosen = list(blocked.mains if facets is None else facets)
    values = np.empty((2, len(STATISTICS) + 1, len(chosen), len(MOVES)))
    with reporter(progress, "derivatives") as update:
        for i, f in enumerate(chosen):
            for j, (move, (_, unit)) in enumerate(MOVES.items()):
                values[:, :, i, j] = np.array(_derivative(blocked, choice, scene, f, move)) * unit
                update(i * len(MOVES) + j + 1, len(chosen) * len(MOVES))
    grid = ("statistic", "main", "move")
    return xr.Dataset(
        {"derivative": (grid, values[0]), "derivative_error": (grid, values[1])},
        {
            "statistic": [*STATISTICS, "weight_points"],
            "main": [blocked.stone.facet_name(f) for f in chosen],
            "move": list(MOVES),
            "unit": ("move", [unit for unit, _ in MOVES.values()]),
        },
        {"definition": "change of the finished stone per unit displacement of the main, with halves and stars adjusted"},
    )


def _derivative(blocked: Blocked, choice: LastFacets, scene: Scene, facet: int, move: str) -> tuple[np.ndarray, np.ndarray]:
    """Derivatives and their errors: of the statistics, and of the weight in points."""
    stone = blocked.stone
    plane = stone.normals[facet], float(stone.distances_mm[facet])

    def stone_at(step: float) -> Stone:
        moved = moved_plane(*plane, stone.polyhedron.centroids[facet], Offset(**{move: step}))
        return finished(blocked.with_plane(facet, *moved), choice)

    def virtual_facets(stone: Stone) -> Beams:
        return trace_beams(replace(scene, stone=stone), scene.settings.wavelength_nm)

    seen = light_derivative(stone_at, virtual_facets, scene.dome.peak_radiance)
    weight = solid_derivative(lambda step: np.array([POINTS_PER_CT * stone_at(step).weight_ct]))
    return np.append(seen.values, weight.values), np.append(seen.errors, weight.errors)
