"""Mains that deviate from their tier by more than the measurement uncertainty, and the effect of correcting one alone.

The **pattern** of a tier on a round stone has the median slope of its mains, equal steps of azimuth and the median height.
The median is not changed by one deviating main. On another cut only the mains that are turned or mirrored images of each other
are alike: four corners, two sides or two ends of an oval. The pattern then has a median for each such kind. Of two mains that
differ neither is known to be the one that is off, and both are. A main counts as off in

* slope, degrees; * azimuth, degrees; * height, um: of its facet's middle above (positive) or below the pattern's plane,

if it differs by more than `COVERAGE` standard uncertainties. The uncertainty of the difference is taken as that of the main
alone: the uncertainty of a median of eight and the common errors nearly cancel.

**Correcting** a main gives it the direction of the pattern. Material can't be put back, so the new plane must remove the whole
old facet: it lies at the height of the pattern, or deeper if the facet is too deep already.

The **derivative** is that of the numbers of the finished stone by one main, with halves and stars adjusted, along fixed light
paths (see `designs.stepping`). A whole correction also has jumps, which `Correction.change` includes.
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
from ..stone.extent import extent_of
from ..stone.known_cuts import cut_of
from ..stone.measuring.plane_uncertainty import Uncertainty
from ..stone.offsets import Offset, moved_plane
from ..stone.planes import normal_of
from ..stone.stone import Stone
from ..stone.symmetry_group import SymmetryGroup
from ..tracers.exact.beams import Beams
from ..tracers.exact.tracer import trace_beams
from ..units import number_in
from .blocked import Blocked
from .last_facets import LastFacets, finished
from .viewing import POINTS_PER_CT, Change, change

if TYPE_CHECKING:
    import xarray as xr

COVERAGE = 3.0
"""Coverage factor of a listed deviation. Three, because about 48 numbers are tested together: by chance alone one stone in
eight has a listed main (normal errors)."""

MOVES = {"slope_deg": ("degree", 1.0), "azimuth_deg": ("degree", 1.0), "depth_mm": ("0.01 mm", 0.01)}
"""How a main is stepped (see `stone.offsets.Offset`): unit of the derivative, and its size."""


@dataclass(frozen=True)
class MainOff:
    """Deviation of one main from its tier; `off` names the significant ones."""

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
    """The effect of correcting one main alone on the finished stone.

    Attributes
    ----------
    deeper_um : depth of the corrected main below its pattern, since material can't be put back.
    change : change of the finished stone; None if the stone is then impossible, with the `reason`.
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
    """The pattern of one tier: normal and distance, mm, by facet."""

    normals: dict[int, np.ndarray]
    distances_mm: dict[int, float]


def coverage_factor(given: float) -> float:
    """A coverage factor of a listed deviation, or an InputError."""
    return number_in("coverage", given, 0.1, 100.0)


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
                "height": (1e3 * (even @ middles[f] - pattern.distances_mm[f]), heights[f]),
            }
            off = tuple(key for key, (difference, error) in differences.items() if abs(difference) > coverage * error)
            slope, azimuth, height = (tuple(map(float, pair)) for pair in differences.values())
            found.append(MainOff(stone.facet_name(f), f, slope[0], slope[1], azimuth[0], azimuth[1], height[0], height[1], off))
    return tuple(found)


def _pattern(blocked: Blocked, tier: tuple[int, ...]) -> _Pattern:
    stone, count = blocked.stone, len(tier)
    lie = extent_of(stone).azimuth_deg
    slopes, azimuths, side = stone.slope_deg(), stone.azimuth_deg(), math.copysign(1.0, stone.normals[tier[0], 2])
    around = sorted(tier, key=lambda f: (azimuths[f] - lie + 180.0 / count) % 360.0)
    nominal: dict[int, tuple[float, float]] = {}  # slope and azimuth
    kinds = _kinds(count, _group(blocked, count))
    for images in kinds:
        slope = float(np.median([slopes[around[k]] for k in images]))
        # each azimuth, from the stone's lie, as that of the first of its kind: turned back, and mirrored back
        first = azimuths[around[min(images)]] - lie
        back = [(azimuths[around[k]] - lie - turn) * sign for k, found in images.items() for turn, sign in found]
        own = first + float(np.median([math.remainder(one - first, 360.0) for one in back]))
        for k, ((turn, sign), *_) in images.items():
            nominal[around[k]] = slope, lie + turn + sign * own
    shift = float(np.median([math.remainder(azimuths[f] - azimuth, 360.0) for f, (_, azimuth) in nominal.items()]))
    normals = {
        f: normal_of(math.radians(slope), math.radians(azimuth + shift), side) for f, (slope, azimuth) in nominal.items()
    }
    distances: dict[int, float] = {}
    for images in kinds:
        facets = [around[k] for k in images]
        height = float(np.median([normals[f] @ stone.polyhedron.centroids[f] for f in facets]))
        distances |= dict.fromkeys(facets, height)
    return _Pattern(normals, distances)


def _group(blocked: Blocked, count: int) -> SymmetryGroup:
    """The turns and mirror images that take mains of a tier of so many to mains that are meant to be alike."""
    cut = cut_of(blocked.stone)
    if blocked.round or cut is None:
        return SymmetryGroup(count, 0.0)
    return cut.symmetry if count % cut.symmetry.order == 0 else SymmetryGroup()


Images = dict[int, list[tuple[float, float]]]


def _kinds(count: int, group: SymmetryGroup) -> list[Images]:
    """The kinds of mains of a tier, which are counted from the one at the stone's length: for each main of a kind, every turn,
    degrees, and sign of the azimuth that take the first of its kind to it."""
    kinds: list[Images] = []
    left = set(range(count))
    for first in range(count):
        if first in left:
            images: Images = {}
            for k in range(group.order):
                turn = 360.0 * k / group.order
                for sign in (1.0, -1.0)[: 1 if group.mirror_deg is None else 2]:
                    image = (round(sign) * first + k * count // group.order) % count
                    images.setdefault(image, []).append((turn, sign))
            kinds.append(images)
            left -= images.keys()
    return kinds


def correct(blocked: Blocked, choice: LastFacets, main: MainOff, before: Scene) -> Correction:
    """What correcting one main alone would do; `before` holds the stone as finished without, under its light."""
    tier = blocked.crown if main.facet in blocked.crown else blocked.pavilion
    pattern = _pattern(blocked, tier)
    normal = pattern.normals[main.facet]
    corners = blocked.stone.vertices_mm[blocked.stone.polyhedron.loops[main.facet]]
    wanted = pattern.distances_mm[main.facet]
    distance = min(wanted, float((corners @ normal).min()))
    deeper = 1e3 * (wanted - distance)
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
