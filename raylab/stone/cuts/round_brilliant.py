"""The round brilliant from its proportions.

All lengths are shares of the girdle diameter. The girdle is a regular polygon whose corners lie on the girdle circle, so
the circle's diameter is the stone's largest. Mains stand at azimuths 0, 45, 90, ... on crown and pavilion.

How the planes follow (R = girdle radius, all in plan view):

* crown main: through the girdle circle at its own azimuth, half the girdle thickness above z = 0;
* star: through two neighbouring table corners and the star tip, which lies on the edge between two mains, at the
  given share of the way from the table's edge to the girdle (course glossaries; trade practice);
* upper half: through the star tip and the foot of its main on the girdle; its normal lies halfway (11.25 degrees)
  between main and joint, which is what "unpainted" means;
* lower half: the same on the pavilion, its tip at the given share of the way from the girdle to the culet's centre.

So the girdle is thickest at the mains and at the joints between halves, and thinnest in the valleys between.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from ...errors import StoneError
from ...optics.materials import Material
from ...units import carat, number_in
from ..finish import POLISHED, Finish, get_finish
from ..stone import Stone
from ..symmetry_group import SymmetryGroup

MAINS = 8
_HALF = math.radians(11.25)
_JOINT = math.radians(22.5)


@dataclass(frozen=True)
class BrilliantProportions:
    """Proportions of a round brilliant, as `round_brilliant` takes them; angles already settled.

    >>> p = BrilliantProportions(table_pct=57, crown_angle_deg=34.0, pavilion_angle_deg=40.7, girdle_pct=2.5)
    >>> round(p.crown_height_pct, 4), round(p.pavilion_depth_pct, 4), round(p.depth_pct, 4)
    (14.5019, 43.0068, 60.0087)
    """

    table_pct: float
    crown_angle_deg: float
    pavilion_angle_deg: float
    star_pct: float = 50.0
    lower_half_pct: float = 77.0
    girdle_pct: float = 3.5
    culet_pct: float = 0.0

    @property
    def crown_height_pct(self) -> float:
        """Crown height, percent: (100 - table)/2 tan(crown angle)."""
        return (100.0 - self.table_pct) / 2.0 * math.tan(math.radians(self.crown_angle_deg))

    @property
    def pavilion_depth_pct(self) -> float:
        """Pavilion depth down to the culet facet, percent: (100 - culet)/2 tan(pavilion angle)."""
        return (100.0 - self.culet_pct) / 2.0 * math.tan(math.radians(self.pavilion_angle_deg))

    @property
    def depth_pct(self) -> float:
        """Total depth, percent: crown height + girdle at the mains + pavilion depth."""
        return self.crown_height_pct + self.girdle_pct + self.pavilion_depth_pct


def round_brilliant(
    *,
    table_pct: float,
    crown_angle_deg: float | None = None,
    pavilion_angle_deg: float | None = None,
    crown_height_pct: float | None = None,
    pavilion_depth_pct: float | None = None,
    star_pct: float = 50.0,
    lower_half_pct: float = 77.0,
    girdle_pct: float = 3.5,
    culet_pct: float = 0.0,
    girdle_facets: int = 96,
    girdle_finish: str | Finish = "polished",
    diameter_mm: float | None = None,
    weight_ct: float | None = None,
    material: str | Material = "diamond",
    name: str = "round brilliant",
) -> Stone:
    """A round brilliant with unpainted halves.

    Parameters
    ----------
    table_pct : table size between opposite corners (ISO 24016:2020, 8.3.3), percent of the girdle diameter.
    crown_angle_deg or crown_height_pct : slope of the crown mains, or the height they give; exactly one.
    pavilion_angle_deg or pavilion_depth_pct : the same below; exactly one.
    star_pct : star length, percent of the way from the table's edge to the girdle, in plan.
    lower_half_pct : lower-half length, percent of the way from the girdle to the culet's centre, in plan.
    girdle_pct : girdle thickness at the mains, percent.
    culet_pct : distance between opposite sides of the culet facet, percent; 0 is a point (common practice).
    girdle_facets : number of girdle facets, a multiple of 16 from 16 to 192.
    girdle_finish : finish of the girdle facets, ``"polished"`` or ``"absorbing"`` (a bruted girdle); see `Finish`.
    diameter_mm or weight_ct : size; at most one, 6.5 mm if neither.
    material : name or `Material`.

    Raises
    ------
    StoneError : a proportion out of range, or a combination that is no brilliant; the message names which.
    """
    p = BrilliantProportions(
        table_pct=number_in("table_pct", table_pct, 1.0, 99.0, "%"),
        crown_angle_deg=_angle("crown", crown_angle_deg, "crown_height_pct", crown_height_pct, (100.0 - table_pct) / 2.0),
        pavilion_angle_deg=_angle(
            "pavilion", pavilion_angle_deg, "pavilion_depth_pct", pavilion_depth_pct, (100.0 - culet_pct) / 2.0
        ),
        star_pct=number_in("star_pct", star_pct, 0.0, 100.0, "%", open_ends=True),
        lower_half_pct=number_in("lower_half_pct", lower_half_pct, 0.0, 100.0, "%", open_ends=True),
        girdle_pct=number_in("girdle_pct", girdle_pct, 0.0, 50.0, "%"),
        culet_pct=number_in("culet_pct", culet_pct, 0.0, 50.0, "%"),
    )
    if isinstance(girdle_facets, bool) or girdle_facets not in range(16, 193, 16):
        raise StoneError(
            "not a girdle that mirrors the facets above it",
            key="girdle_facets",
            value=girdle_facets,
            expected="a multiple of 16 from 16 to 192",
        )
    if diameter_mm is not None and weight_ct is not None:
        raise StoneError(
            "the size is given twice", key="weight_ct", value=weight_ct, expected="diameter_mm or weight_ct, not both"
        )
    girdle = get_finish(girdle_finish, "girdle_finish")
    rings = _rings(p, girdle_facets)
    tiers = [tier for tier, normals, _ in rings for _ in normals]
    stone = Stone.from_planes(
        np.concatenate([normals for _, normals, _ in rings]),
        np.repeat([distance for *_, distance in rings], [len(normals) for _, normals, _ in rings]),
        tiers=tiers,
        indices=[k for _, normals, _ in rings for k in range(len(normals))],
        material=material,
        finishes=[girdle if tier == "girdle" else POLISHED for tier in tiers],
        symmetry=SymmetryGroup(MAINS, 0.0),
        name=name,
    )
    if weight_ct is not None:
        number_in("weight_ct", weight_ct, 1e-4, 1e4, "ct")
        return stone.scaled((weight_ct / carat(stone.volume_mm3, stone.material.density_g_cm3)) ** (1.0 / 3.0))
    return stone.scaled(number_in("diameter_mm", 6.5 if diameter_mm is None else diameter_mm, 0.1, 1000.0, "mm"))


def _angle(part: str, angle_deg: Any, other: str, length_pct: Any, run_pct: float) -> float:
    """The slope in degrees, given itself or as a height over its run in plan."""
    key = f"{part}_angle_deg"
    if (angle_deg is None) == (length_pct is None):
        given = "neither" if angle_deg is None else "both"
        raise StoneError(f"{given} of {key} and {other} given", key=key, expected="exactly one of the two")
    if angle_deg is not None:
        return number_in(key, angle_deg, 0.0, 89.0, "degrees", open_ends=True)
    return math.degrees(math.atan2(number_in(other, length_pct, 0.0, 200.0, "%", open_ends=True), run_pct))


def _rings(p: BrilliantProportions, girdle_facets: int) -> list[tuple[str, np.ndarray, float]]:
    """Planes of a brilliant of girdle diameter 1, tier by tier: tier, normals (K, 3), their common distance."""
    R = 0.5
    half_girdle = p.girdle_pct / 200.0
    table = p.table_pct / 200.0  # radius of the table's corners
    culet = p.culet_pct / 200.0  # distance of the culet's sides
    crown, pavilion = math.tan(math.radians(p.crown_angle_deg)), math.tan(math.radians(p.pavilion_angle_deg))
    crown_height = (R - table) * crown

    edge = table * math.cos(_JOINT)  # the table's edge at the joint
    star_tip = edge + p.star_pct / 100.0 * (R - edge)
    star_drop = crown_height - (R - star_tip * math.cos(_JOINT)) * crown
    if star_drop <= 0.0:
        least = (table / math.cos(_JOINT) - edge) / (R - edge) * 100.0
        raise StoneError(
            "the stars would cross the table", key="star_pct", value=p.star_pct, expected=f"more than {least:.1f} %"
        )
    star = star_drop / (star_tip - edge)
    upper = _half_slope(R, star_tip, crown)

    half_tip = R * (1.0 - p.lower_half_pct / 100.0)
    if half_tip <= culet / math.cos(_JOINT):
        most = (1.0 - culet / math.cos(_JOINT) / R) * 100.0
        raise StoneError(
            "the lower halves would run past the culet",
            key="lower_half_pct",
            value=p.lower_half_pct,
            expected=f"less than {most:.1f} % with culet_pct = {p.culet_pct:g}",
        )
    lower = _half_slope(R, half_tip, pavilion)

    valley = 2.0 * half_girdle - R * (upper + lower) * (1.0 - math.cos(_HALF))
    valley *= 100.0
    if valley <= 0.0:
        raise StoneError(
            "the girdle vanishes in the valleys between the halves",
            key="girdle_pct",
            value=p.girdle_pct,
            expected=f"more than {p.girdle_pct - valley:.2f} % at the mains",
        )

    def ring(tier: str, count: int, start: float, slope: float, radius: float, height: float) -> tuple[str, np.ndarray, float]:
        """`count` planes around the axis that fall outward by `slope`, through height `height` at plan radius `radius`."""
        normals = _around(count, start, slope, math.copysign(1.0, height)) / math.hypot(slope, 1.0)
        return tier, normals, (slope * radius + abs(height)) / math.hypot(slope, 1.0)

    foot = R * math.cos(_HALF)  # where a half's plane, along its own azimuth, meets the girdle's rim at the mains
    rings = [
        ("table", np.array([[0.0, 0.0, 1.0]]), half_girdle + crown_height),
        ring("star", MAINS, _JOINT, star, edge, half_girdle + crown_height),
        ring("crown main", MAINS, 0.0, crown, R, half_girdle),
        ring("upper half", 2 * MAINS, _HALF, upper, foot, half_girdle),
        ("girdle", _around(girdle_facets, math.pi / girdle_facets, 1.0, 0.0), R * math.cos(math.pi / girdle_facets)),
        ring("lower half", 2 * MAINS, _HALF, lower, foot, -half_girdle),
        ring("pavilion main", MAINS, 0.0, pavilion, R, -half_girdle),
    ]
    if culet > 0.0:
        rings.append(("culet", np.array([[0.0, 0.0, -1.0]]), half_girdle + (R - culet) * pavilion))
    return rings


def _around(count: int, start: float, out: float, up: float) -> np.ndarray:
    """(count, 3) vectors spread evenly in azimuth from `start`, with `out` in plan and `up` along the axis."""
    azimuths = [start + 2.0 * math.pi * k / count for k in range(count)]
    return np.array([[out * math.cos(azimuth), out * math.sin(azimuth), up] for azimuth in azimuths])


def _half_slope(R: float, tip: float, main: float) -> float:
    """Tangent of a half's slope: from the rim at its main up the edge to the tip on the joint between two mains.

    Along the half's own azimuth the run from rim to tip shrinks by cos 11.25; along the main's, the tip lies at
    tip cos 22.5 from the axis.
    """
    return (R - tip * math.cos(_JOINT)) * main / ((R - tip) * math.cos(_HALF))
