"""The rose cut: a flat base and a dome of 24 triangles, six at the top.

The top's six triangles meet in a point over the axis and stand on a ring of six points; a triangle points from each side of
the ring down to the girdle, and two more stand on the girdle beside each point of the ring.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from ...optics.materials import Material
from ..finish import Finish
from ..measuring.alignment import out_of_round
from ..measuring.long_stone import Row, girdle
from ..planes import DOWN, planes_through
from ..stone import Stone
from ..symmetry_group import SymmetryGroup
from ..tier import GIRDLE, Tier
from .cut import Cut, Facets, Measured, Reason
from .girdle_edge import thinnest
from .outline import Circle
from .parameter import Parameter, Slider, Values
from .round_brilliant import GIRDLE_VANISHES, ROUND_BRILLIANT, like_round
from .shared import DIAMETER, GIRDLE_FINISH, WEIGHT

ORDER = 6
ROSE_STAR = Tier("rose star", "crown")
ROSE_SIDE = Tier("rose side", "crown", mates=(ROSE_STAR.name, GIRDLE.name))
ROSE_HALF = Tier("rose half", "crown", mates=(ROSE_SIDE.name, GIRDLE.name))
BASE = Tier("base", "pavilion")
TIERS = (ROSE_STAR, ROSE_SIDE, ROSE_HALF, GIRDLE, BASE)
TOP_TOO_STEEP = Reason("rose_stars_too_steep", "star_angle_deg", "the stars are no flatter than the sides below them")
_CIRCLE = Circle(0.5)


def rose_cut(
    *,
    crown_angle_deg: float = 50.0,
    star_angle_deg: float = 25.0,
    star_pct: float = 55.0,
    girdle_pct: float = 8.0,
    girdle_facets: int = 96,
    girdle_finish: str | Finish = "polished",
    diameter_mm: float | None = None,
    weight_ct: float | None = None,
    material: str | Material = "diamond",
    name: str = "rose cut",
) -> Stone:
    """A rose cut: a flat base and a dome of 24 facets.

    Parameters
    ----------
    crown_angle_deg : slope of the sides, the triangles that point down to the girdle.
    star_angle_deg : slope of the six stars at the top.
    star_pct : how far the stars reach, percent of the way from the axis to the girdle.
    girdle_pct : thickness where the sides' points meet the girdle, percent of the girdle diameter.
    girdle_facets : number of girdle facets, a multiple of 16 from 16 to 192.
    girdle_finish : finish of the girdle facets, see `Finish`.
    diameter_mm or weight_ct : size; at most one, 6.5 mm if neither.
    material : name or `Material`.

    Raises
    ------
    InputError : a proportion out of range, a missing one, or two alternatives together.
    StoneError : proportions without a valid stone; the message names the key and the bound.
    """
    return ROSE_CUT.stone(
        crown_angle_deg=crown_angle_deg,
        star_angle_deg=star_angle_deg,
        star_pct=star_pct,
        girdle_pct=girdle_pct,
        girdle_facets=girdle_facets,
        girdle_finish=girdle_finish,
        diameter_mm=diameter_mm,
        weight_ct=weight_ct,
        material=material,
        name=name,
    )


def _planes(values: Values) -> list[Facets]:
    """The facets of a stone of girdle diameter 1; the base lies half the girdle's thickness under z = 0."""
    R, rim, reach = _CIRCLE.radius, values["girdle_pct"] / 200.0, values["star_pct"] / 200.0
    side, star = (math.tan(math.radians(values[key])) for key in ("crown_angle_deg", "star_angle_deg"))
    if not star < side:
        raise TOP_TOO_STEEP.error(values["star_angle_deg"])
    half = math.pi / ORDER
    ring = rim + side * (R - reach * math.cos(half))
    top = ring + star * reach * math.cos(half)
    left, right = _at(reach, -half, ring), _at(reach, half, ring)
    point, foot = _at(R, 0.0, rim), _at(R, half, rim)
    halves = _ring(ROSE_HALF, [(point, foot, right), (_at(R, -half, rim), point, left)])
    flats = _CIRCLE.flats(values["girdle_facets"])
    base = Facets(BASE, np.array([[0.0, 0.0, DOWN]]), rim)
    if not thinnest(flats, [halves], [base]) > 0.0:
        raise GIRDLE_VANISHES.error(values["girdle_pct"])
    return [
        _ring(ROSE_STAR, [(left, right, (0.0, 0.0, top))]),
        _ring(ROSE_SIDE, [(left, point, right)]),
        halves,
        Facets(GIRDLE, *flats),
        base,
    ]


Point = tuple[float, float, float]


def _at(radius: float, azimuth: float, height: float) -> Point:
    return radius * math.cos(azimuth), radius * math.sin(azimuth), height


def _ring(tier: Tier, triangles: Sequence[tuple[Point, Point, Point]]) -> Facets:
    """The planes through triangles, and their images under sixth turns."""
    corners = np.array(triangles)
    placed = []
    for k in range(ORDER):
        c, s = math.cos(2.0 * math.pi * k / ORDER), math.sin(2.0 * math.pi * k / ORDER)
        placed.append(corners @ np.array([[c, s, 0.0], [-s, c, 0.0], [0.0, 0.0, 1.0]]))
    return Facets(tier, *planes_through(np.concatenate(placed)))


ROSE_CUT = Cut(
    name="rose cut",
    description="a flat base and a dome of 24 facets, order 6",
    parameters=(
        like_round(
            "crown_angle_deg", description="slope of the sides, which point down to the girdle", default=50.0,
            slider=Slider(30.0, 65.0, 0.1),
        ),
        Parameter(
            "star_angle_deg", "star angle", "degree", 0.0, 89.0, "slope of the stars", "crown", default=25.0, open_ends=True,
            slider=Slider(5.0, 35.0, 0.1),
        ),
        like_round(
            "star_pct", description="how far the stars reach, share of the way from axis to girdle", default=55.0
        ),
        like_round(
            "girdle_pct", default=8.0,
            description="thickness where the sides' points meet the girdle",
        ),
        ROUND_BRILLIANT.keys["girdle_facets"],
        GIRDLE_FINISH,
        DIAMETER,
        WEIGHT,
    ),
    size=DIAMETER.key,
    tiers=TIERS,
    symmetry=SymmetryGroup(ORDER, 0.0),
    outline=_CIRCLE,
    planes=_planes,
    reasons=(TOP_TOO_STEEP, GIRDLE_VANISHES),
    measured=(
        Measured(
            "star_angle_deg", "star angle", "deg", "slope of each star (our definition)", lambda c: c.slopes(ROSE_STAR),
            uneven=True,
        ),
        Measured(
            "crown_angle_deg", "crown angle", "deg", "slope of each side (our definition)", lambda c: c.slopes(ROSE_SIDE),
            uneven=True,
        ),
        Measured(
            "rose_half_deg", "slope of the rose halves", "deg", "slope of each half (our definition)",
            lambda c: c.slopes(ROSE_HALF), uneven=True,
        ),
        Measured(
            "girdle_pct", "girdle thickness", "%",
            "thickness where the sides' points meet the girdle (our definition)",
            lambda c: girdle(c, Row(ROSE_SIDE, ORDER), "ends"), uneven=True,
        ),
        Measured("out_of_round_pct", "out of round", "%", "largest minus smallest diameter; Geurts et al.", out_of_round),
    ),
)  # fmt: skip
