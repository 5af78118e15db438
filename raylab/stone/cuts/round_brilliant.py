"""The round brilliant from its proportions.

All lengths are shares of the girdle diameter. The girdle is a regular polygon whose corners lie on the girdle circle, so
the circle's diameter is the stone's largest. Mains stand at azimuths 0, 45, 90, ... on crown and pavilion, each through the
girdle circle at its own azimuth, half the girdle thickness above or below z = 0. Stars and halves follow from them by the
rules of `brilliant`.

So the girdle of unpainted halves is thickest at the mains and at the joints between halves, and thinnest in the valleys.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np

from ...optics.materials import Material
from ..finish import Finish
from ..planes import DOWN, UP, Position, Slant, ring
from ..stone import Stone
from ..symmetry_group import SymmetryGroup
from ..tier import CULET, GIRDLE, TABLE, Tier
from .brilliant import CROWN_MAIN, LOWER_HALF, PAVILION_MAIN, STAR, TIERS, UPPER_HALF, Joint, quarters
from .brilliant_measured import brilliant_measured
from .cut import Cut, Facets, Reason
from .outline import Circle
from .parameter import Parameter, Slider, Values
from .shared import DIAMETER, GIRDLE_AND_SIZE, GIRDLE_FINISH, WEIGHT

MAINS = 8
_JOINT = math.radians(22.5)
_NEXT = math.radians(45.0)
_CIRCLE = Circle(0.5)


def round_brilliant(
    *,
    table_pct: float,
    crown_angle_deg: float | None = None,
    pavilion_angle_deg: float | None = None,
    crown_height_pct: float | None = None,
    pavilion_depth_pct: float | None = None,
    star_pct: float = 50.0,
    lower_half_pct: float = 77.0,
    upper_painting_deg: float = 0.0,
    lower_painting_deg: float = 0.0,
    girdle_pct: float = 3.5,
    culet_pct: float = 0.0,
    girdle_facets: int = 96,
    girdle_finish: str | Finish = "polished",
    diameter_mm: float | None = None,
    weight_ct: float | None = None,
    material: str | Material = "diamond",
    name: str = "round brilliant",
) -> Stone:
    """A round brilliant; its halves are unpainted by default.

    Parameters
    ----------
    table_pct : table size between opposite corners (ISO 24016:2020, 8.3.3), percent of the girdle diameter.
    crown_angle_deg or crown_height_pct : slope of the crown mains, or the crown height; exactly one.
    pavilion_angle_deg or pavilion_depth_pct : slope of the pavilion mains, or the pavilion depth; exactly one.
    star_pct : star length, percent of the distance from table edge to girdle, in plan view.
    lower_half_pct : lower-half length, percent of the distance from girdle to culet centre, in plan view.
    upper_painting_deg, lower_painting_deg : angle by which the azimuth of each half turns towards its main, degrees; negative
        values mean digging. The halves turn about the line from the main's foot to their tip, so lengths stay as they are.
    girdle_pct : girdle thickness at the mains, percent.
    culet_pct : distance between opposite sides of the culet facet, percent; 0 is a point (common practice).
    girdle_facets : number of girdle facets, a multiple of 16 from 16 to 192.
    girdle_finish : finish of the girdle facets, ``"polished"`` or ``"absorbing"`` (a bruted girdle); see `Finish`.
    diameter_mm or weight_ct : size; at most one, 6.5 mm if neither.
    material : name or `Material`.

    Raises
    ------
    InputError : a proportion out of range, a missing one, or two alternatives together.
    StoneError : proportions without a valid stone; the message names the key and the bound.
    """
    return ROUND_BRILLIANT.stone(
        table_pct=table_pct,
        crown_angle_deg=crown_angle_deg,
        pavilion_angle_deg=pavilion_angle_deg,
        crown_height_pct=crown_height_pct,
        pavilion_depth_pct=pavilion_depth_pct,
        star_pct=star_pct,
        lower_half_pct=lower_half_pct,
        upper_painting_deg=upper_painting_deg,
        lower_painting_deg=lower_painting_deg,
        girdle_pct=girdle_pct,
        culet_pct=culet_pct,
        girdle_facets=girdle_facets,
        girdle_finish=girdle_finish,
        diameter_mm=diameter_mm,
        weight_ct=weight_ct,
        material=material,
        name=name,
    )


STARS_CROSS_TABLE = Reason("stars_cross_table", "star_pct", "the stars cross the table")
HALVES_PAST_CULET = Reason("lower_halves_past_culet", "lower_half_pct", "the lower halves extend past the culet")
NOT_SO_FAR = {
    "upper_painting_deg": Reason("upper_halves_too_far", "upper_painting_deg", "the upper halves can't be turned so far"),
    "lower_painting_deg": Reason("lower_halves_too_far", "lower_painting_deg", "the lower halves can't be turned so far"),
}
GIRDLE_VANISHES = Reason("girdle_vanishes", "girdle_pct", "the girdle vanishes in the valleys between the halves")


def _planes(values: Values) -> list[Facets]:
    """The facets of a brilliant of girdle diameter 1. Heights are counted from the girdle's edge, up or down."""
    R = _CIRCLE.radius
    rim = values["girdle_pct"] / 200.0  # half the girdle, at the mains
    table = values["table_pct"] / 200.0  # radius of the table's corners
    culet = values["culet_pct"] / 200.0  # distance of the culet's sides
    crown, pavilion = (math.tan(math.radians(values[key])) for key in ("crown_angle_deg", "pavilion_angle_deg"))
    crown_height = (R - table) * crown
    corners = Position(table, 0.0, crown_height), Position(table, _NEXT, crown_height)
    above = _joint(crown, table * math.cos(_JOINT))
    tip = above.from_inside(values["star_pct"])
    if tip.height >= crown_height:
        raise STARS_CROSS_TABLE.error(values["star_pct"])
    star = above.star(corners, tip)
    upper = _half(above, tip, "upper_painting_deg", values)
    below = _joint(pavilion, 0.0)
    tip = below.from_girdle(values["lower_half_pct"])
    if tip.radius <= culet / math.cos(_JOINT):
        raise HALVES_PAST_CULET.error(values["lower_half_pct"])
    lower = _half(below, tip, "lower_painting_deg", values)
    if not 2.0 * rim > R * _sag(upper, lower):
        raise GIRDLE_VANISHES.error(values["girdle_pct"])
    foot = Position(R, 0.0, 0.0)
    facets = [
        Facets(TABLE, np.array([[0.0, 0.0, UP]]), rim + crown_height),
        Facets(STAR, *ring(MAINS, star, UP, rim)),
        Facets(CROWN_MAIN, *ring(MAINS, Slant(0.0, crown, foot), UP, rim)),
        _halves(UPPER_HALF, upper, values["upper_painting_deg"], UP, rim),
        Facets(GIRDLE, *_CIRCLE.flats(values["girdle_facets"])),
        _halves(LOWER_HALF, lower, values["lower_painting_deg"], DOWN, rim),
        Facets(PAVILION_MAIN, *ring(MAINS, Slant(0.0, pavilion, foot), DOWN, rim)),
    ]
    if culet > 0.0:
        facets.append(Facets(CULET, np.array([[0.0, 0.0, DOWN]]), rim + (R - culet) * pavilion))
    return facets


def _joint(main: float, inner: float) -> Joint:
    """The joint between the mains at 0 and 45 degrees, their slope given by its tangent."""
    R = _CIRCLE.radius

    def at(radius: float) -> Position:
        return Position(radius, _JOINT, (R - radius * math.cos(_JOINT)) * main)

    return Joint((0.0, _NEXT), quarters(0.0, _NEXT), (Position(R, 0.0, 0.0), Position(R, _NEXT, 0.0)), inner, R, at)


def _half(joint: Joint, tip: Position, painting: str, values: Values) -> Slant:
    """The half on the joint's first main, turned by the painting under that key."""
    half, _ = joint.halves(tip, math.radians(values[painting]))
    if math.isnan(half.tangent):
        raise NOT_SO_FAR[painting].error(values[painting])
    return half


def _halves(tier: Tier, first: Slant, painting_deg: float, side: float, rim: float) -> Facets:
    """All halves of a side: the first one, its image about the joint, and so on around the axis. Painting turns every other one
    the other way."""
    normals, distance = ring(2 * MAINS, first, side, rim)
    turned = first._replace(azimuth=first.azimuth + 2.0 * math.radians(painting_deg))
    normals[1::2] = ring(2 * MAINS, turned, side, rim)[0][1::2]
    return Facets(tier, normals, distance)


def _sag(upper: Slant, lower: Slant) -> float:
    """How much thinner than at the mains the girdle is in its valleys, where both halves reach deepest; in girdle radii.

    Along the girdle circle each half's height is a cosine about the azimuth that it faces, and so is their sum: its amplitude
    is that of the two as vectors.
    """
    x, y = (sum(half.tangent * turn(half.azimuth) for half in (upper, lower)) for turn in (math.cos, math.sin))
    return math.hypot(x, y) - x


def _slope_of(run: Callable[[Values], float]) -> Callable[[float, Values], float]:
    """From a height in percent to the slope in degrees that gives it over a run in plan."""
    return lambda height, values: math.degrees(math.atan2(height, run(values)))


PARAMETERS = (
    Parameter(
        "table_pct", "table size", "%", 1.0, 99.0, "distance between opposite corners (ISO 24016:2020, 8.3.3)", "crown",
        slider=Slider(40.0, 80.0, 0.5),
    ),
    Parameter(
        "crown_angle_deg", "crown angle", "degree", 0.0, 89.0, "slope of the crown mains", "crown",
        open_ends=True, slider=Slider(20.0, 45.0, 0.05),
    ),
    Parameter(
        "crown_height_pct", "crown height", "%", 0.0, 200.0, "height from the upper girdle edge to the table", "crown",
        open_ends=True, instead_of="crown_angle_deg",
        converted=_slope_of(lambda values: (100.0 - values["table_pct"]) / 2.0),
    ),
    Parameter(
        "pavilion_angle_deg", "pavilion angle", "degree", 0.0, 89.0, "slope of the pavilion mains", "pavilion",
        open_ends=True, slider=Slider(36.0, 46.0, 0.05),
    ),
    Parameter(
        "pavilion_depth_pct", "pavilion depth", "%", 0.0, 200.0, "depth from the lower girdle edge to the culet", "pavilion",
        open_ends=True, instead_of="pavilion_angle_deg",
        converted=_slope_of(lambda values: (100.0 - values["culet_pct"]) / 2.0),
    ),
    Parameter(
        "star_pct", "star length", "%", 0.0, 100.0, "share of the distance from table edge to girdle, in plan view", "crown",
        default=50.0, open_ends=True, slider=Slider(30.0, 75.0, 0.5),
    ),
    Parameter(
        "lower_half_pct", "lower-half length", "%", 0.0, 100.0,
        "share of the distance from girdle to culet centre, in plan view", "pavilion",
        default=77.0, open_ends=True, slider=Slider(50.0, 95.0, 0.5),
    ),
    Parameter(
        "upper_painting_deg", "painting of the upper halves", "degree", -10.0, 10.0,
        "angle towards the adjacent mains; negative values mean digging", "crown",
        default=0.0, slider=Slider(-3.0, 3.0, 0.05),
    ),
    Parameter(
        "lower_painting_deg", "painting of the lower halves", "degree", -10.0, 10.0,
        "angle towards the adjacent mains; negative values mean digging", "pavilion",
        default=0.0, slider=Slider(-3.0, 3.0, 0.05),
    ),
    Parameter(
        "girdle_pct", "girdle thickness", "%", 0.0, 50.0, "thickness where the mains meet the girdle",
        GIRDLE_AND_SIZE, default=3.5, slider=Slider(1.0, 10.0, 0.1),
    ),
    Parameter(
        "culet_pct", "culet size", "%", 0.0, 50.0, "distance between opposite sides; 0 is a point (common practice)",
        "pavilion", default=0.0, slider=Slider(0.0, 10.0, 0.1),
    ),
    Parameter(
        "girdle_facets", "girdle facets", "1", 16, 192, "number of girdle facets; their corners lie on a circle",
        GIRDLE_AND_SIZE, default=96, multiple=16,
    ),
    GIRDLE_FINISH,
    DIAMETER,
    WEIGHT,
)  # fmt: skip
"""Percentages refer to the girdle diameter unless stated otherwise."""

ROUND_BRILLIANT = Cut(
    name="round brilliant",
    description="57 facets and a girdle, order 8: table, stars, mains and halves above; mains and halves below",
    parameters=PARAMETERS,
    size=DIAMETER.key,
    tiers=TIERS,
    symmetry=SymmetryGroup(MAINS, 0.0),
    outline=_CIRCLE,
    planes=_planes,
    reasons=(STARS_CROSS_TABLE, HALVES_PAST_CULET, *NOT_SO_FAR.values(), GIRDLE_VANISHES),
    measured=brilliant_measured(PARAMETERS),
)


def like_round(key: str, /, **changes: Any) -> Parameter:
    """A parameter of the round brilliant as another cut has it: with another description, default or slider."""
    return replace(ROUND_BRILLIANT.keys[key], **changes)
