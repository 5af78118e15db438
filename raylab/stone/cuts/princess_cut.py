"""The princess cut: a square or a rectangle with pointed corners, whose pavilion has chevrons.

The facets are triangles between the corners of the girdle, the corners of the table, and points over the middles of the sides.
On the pavilion these points run from the girdle's edge to the culet, each nearer to the axis than the one before and under a
flatter line; a chevron is the pair of triangles between two of them and the two corners of its side, so that all chevrons of
a side meet in its corners. A rectangle is a square that was stretched.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from ...optics.materials import Material
from ..finish import Finish
from ..measuring import long_stone as of
from ..measuring.callipers import Callipers, Quantity, quantity
from ..planes import UP, planes_through
from ..stone import Stone
from ..symmetry_group import SymmetryGroup
from ..tier import GIRDLE, TABLE, Tier
from .cut import Cut, Facets, Measured, Reason
from .long_measured import END_TO_END, long_measured
from .outline_parameters import WEIGHT_OR_WIDTH, WIDTH
from .outline_parameters import length_ratio as ratio
from .outlines import rectangle
from .parameter import Parameter, Slider, Values
from .round_brilliant import like_round
from .shared import GIRDLE_FINISH
from .steps import flattening

MOST_CHEVRONS = 4
_WORDS = ("first", "second", "third", "fourth")
CROWN_SIDE = Tier("crown side", "crown", mates=(GIRDLE.name,))
CORNER = Tier("corner facet", "crown", mates=(GIRDLE.name, TABLE.name))
SIDE_STAR = Tier("side star", "crown", mates=(TABLE.name,))
PAVILION_SIDE = Tier("pavilion side", "pavilion", mates=(GIRDLE.name,))
CHEVRONS = tuple(Tier(f"{word} chevron", "pavilion", mates=(PAVILION_SIDE.name,)) for word in _WORDS)
TIERS = (TABLE, SIDE_STAR, CORNER, CROWN_SIDE, GIRDLE, PAVILION_SIDE, *CHEVRONS)

STARS_TOO_STEEP = Reason("stars_too_steep", "star_angle_deg", "the stars are no flatter than the crown sides")
STARS_TOO_FLAT = Reason("stars_too_flat", "star_angle_deg", "the corner facets would meet in a groove")
CHEVRONS_IN_A_GROOVE = Reason("chevrons_in_a_groove", "chevron_step_deg", "the chevrons of two sides would meet in a groove")
CHEVRONS_TOO_FLAT = Reason("chevrons_too_flat", "chevron_step_deg", "the last chevron would be level or rise")


def princess_cut(
    *,
    table_pct: float,
    crown_angle_deg: float = 38.0,
    star_angle_deg: float = 24.0,
    star_pct: float = 50.0,
    pavilion_angle_deg: float = 60.0,
    chevron_step_deg: float = 7.0,
    chevrons: int = 3,
    girdle_pct: float = 4.0,
    girdle_finish: str | Finish = "polished",
    length_ratio: float = 1.0,
    width_mm: float | None = None,
    weight_ct: float | None = None,
    material: str | Material = "diamond",
    name: str = "princess cut",
) -> Stone:
    """A princess cut: a square or a rectangle with pointed corners and chevrons below.

    Parameters
    ----------
    table_pct : width of the table, percent of the width.
    crown_angle_deg, star_angle_deg : slopes of the crown's sides and of the stars, across the width.
    star_pct : where stars and sides meet, percent of the way from the table to the girdle.
    pavilion_angle_deg : slope of the pavilion's sides at the girdle, across the width.
    chevron_step_deg : by how much the line under the middle of a side gets flatter from one chevron to the next, degrees.
    chevrons : number of chevrons on each side, 2 to 4.
    girdle_pct : girdle thickness, percent of the width.
    girdle_finish : finish of the girdle facets, see `Finish`.
    length_ratio : length over width, 1 to 2.
    width_mm or weight_ct : size; at most one, 5 mm wide if neither.
    material : name or `Material`.

    Raises
    ------
    InputError : a proportion out of range, a missing one, or two alternatives together.
    StoneError : proportions without a valid stone; the message names the key and the bound.
    """
    return PRINCESS_CUT.stone(
        table_pct=table_pct,
        crown_angle_deg=crown_angle_deg,
        star_angle_deg=star_angle_deg,
        star_pct=star_pct,
        pavilion_angle_deg=pavilion_angle_deg,
        chevron_step_deg=chevron_step_deg,
        chevrons=chevrons,
        girdle_pct=girdle_pct,
        girdle_finish=girdle_finish,
        length_ratio=length_ratio,
        width_mm=width_mm,
        weight_ct=weight_ct,
        material=material,
        name=name,
    )


def _planes(values: Values) -> list[Facets]:
    """The facets of a stone of width 1: those of a square, stretched."""
    stretch, rim, table = values["length_ratio"], values["girdle_pct"] / 200.0, values["table_pct"] / 200.0
    crown, star = (math.tan(math.radians(values[key])) for key in ("crown_angle_deg", "star_angle_deg"))
    if not star < crown:
        raise STARS_TOO_STEEP.error(values["star_angle_deg"])
    middle = table + values["star_pct"] / 100.0 * (0.5 - table)  # how far from the axis the stars' points lie
    over = rim + crown * (0.5 - middle)
    top = over + star * (middle - table)
    if not crown * (0.5 - middle) < (top - rim) * (1.0 - middle) / (1.0 - 2.0 * table):
        raise STARS_TOO_FLAT.error(values["star_angle_deg"])
    point, corner, inner = (0.0, middle, over), (0.5, 0.5, rim), (table, table, top)
    under, profile = (0.5, 0.5, -rim), profile_of(values, rim)
    half = (corner, inner, point)
    facets = [
        Facets(TABLE, np.array([[0.0, 0.0, UP]]), top),
        ring_of(SIDE_STAR, [(inner, across(inner), point)], stretch),
        ring_of(CORNER, [half, mirrored(half)], stretch),
        ring_of(CROWN_SIDE, [(corner, across(corner), point)], stretch),
        Facets(GIRDLE, *rectangle(stretch, 1.0).flats()),
        ring_of(PAVILION_SIDE, [(under, across(under), profile[1])], stretch),
    ]
    for tier, above, below in zip(CHEVRONS, profile[1:], profile[2:], strict=False):
        half = (under, above, below)
        facets.append(ring_of(tier, [half, mirrored(half)], stretch))
    return facets


Point = tuple[float, float, float]
Triangle = tuple[Point, Point, Point]


def profile_of(values: Values, rim: float) -> list[Point]:
    """The points under the middle of a side, from the girdle to the culet: equal steps in plan, each flatter than the last."""
    less, count = values["chevron_step_deg"], values["chevrons"] + 1
    slopes = flattening(values["pavilion_angle_deg"], less, count, CHEVRONS_TOO_FLAT)
    if not slopes[-1] > sum(slopes) / (2.0 * count):
        raise CHEVRONS_IN_A_GROOVE.error(less)
    points, depth = [(0.0, 0.5, -rim)], rim
    for k, slope in enumerate(slopes):
        depth += slope * 0.5 / count
        points.append((0.0, 0.5 * (1.0 - (k + 1) / count), -depth))
    return points


def across(point: Point) -> Point:
    """A point's mirror image in the middle of the side."""
    return -point[0], point[1], point[2]


def mirrored(triangle: Triangle) -> Triangle:
    a, b, c = map(across, triangle)
    return a, b, c


def ring_of(tier: Tier, triangles: Sequence[Triangle], stretch: float) -> Facets:
    """The planes through triangles and their images under quarter turns, stretched along x."""
    corners = np.array(triangles)  # (T, 3 corners, 3)
    quarters = [np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]]) for c, s in ((1, 0), (0, 1), (-1, 0), (0, -1))]
    placed = np.concatenate([corners @ quarter.T for quarter in quarters]) * [stretch, 1.0, 1.0]
    return Facets(tier, *planes_through(placed))


STAR_ANGLE = Parameter(
    "star_angle_deg", "star angle", "degree", 0.0, 89.0, "slope of the stars across the width", "crown", default=24.0,
    open_ends=True, slider=Slider(5.0, 35.0, 0.1),
)  # fmt: skip
CHEVRON_STEP = Parameter(
    "chevron_step_deg", "each chevron flatter by", "degree", 0.1, 40.0,
    "by how much the line under the middle of a side gets flatter", "pavilion", default=7.0,
    slider=Slider(2.0, 16.0, 0.1),
)  # fmt: skip
CHEVRON_COUNT = Parameter(
    "chevrons", "chevrons", "1", 2, MOST_CHEVRONS, "chevrons on each side", "pavilion", default=3, multiple=1,
    slider=Slider(2.0, MOST_CHEVRONS, 1.0),
)  # fmt: skip


def _chevrons(tier: Tier) -> of.Measure:
    """What measures the slopes of a chevron on the two long sides: the facets that face across more than along."""

    def slopes(c: Callipers) -> Quantity | None:
        along, across = c.extent(c.outline)
        facing = np.radians(c.stone.azimuth_deg() - c.length_deg)
        facets = [f for f in c.tier(tier) if abs(math.sin(facing[f])) * across > abs(math.cos(facing[f])) * along]
        return quantity(c.stone.slope_deg()[facets], "deg", [c.stone.facet_name(f) for f in facets])

    return slopes


CHEVRONS_MEASURED = (
    Measured(
        "star_angle_deg", "star angle", "deg", "slopes of the side stars that face across the length (our definition)",
        lambda c: of.slopes(c, of.Row(SIDE_STAR), "sides"), uneven=True,
    ),
    *(
        Measured(
            f"{tier.name.replace(' ', '_')}_deg", f"slope of the {tier.name}", "deg",
            "slopes of the facets of this tier on the sides across the length (our definition)",
            _chevrons(tier), uneven=True,
        )
        for tier in CHEVRONS
    ),
)  # fmt: skip

CHEVRONED = (
    like_round("table_pct", description="width of the table", default=None, slider=Slider(50.0, 85.0, 0.5)),
    like_round(
        "crown_angle_deg", description="slope of the crown's sides across the width", default=38.0,
        slider=Slider(20.0, 50.0, 0.1),
    ),
    STAR_ANGLE,
    like_round("star_pct", description="where stars and sides meet, share of the way from the table to the girdle"),
    like_round(
        "pavilion_angle_deg", description="slope of the pavilion's sides across the width", default=60.0,
        slider=Slider(45.0, 75.0, 0.1),
    ),
    CHEVRON_STEP,
    CHEVRON_COUNT,
    like_round("girdle_pct", description="thickness all around", default=4.0),
)  # fmt: skip
"""Parameters of cuts with chevrons below, up to the girdle."""

PRINCESS_CUT = Cut(
    name="princess cut",
    description="a square or rectangle with pointed corners: stars and corner facets above, two to four chevrons a side below",
    parameters=(
        *CHEVRONED,
        GIRDLE_FINISH,
        ratio(1.0, 2.0, 1.0),
        WIDTH,
        WEIGHT_OR_WIDTH,
    ),
    size=WIDTH.key,
    tiers=TIERS,
    symmetry=SymmetryGroup(2, 0.0),
    outline=None,
    planes=_planes,
    reasons=(STARS_TOO_STEEP, STARS_TOO_FLAT, CHEVRONS_IN_A_GROOVE, CHEVRONS_TOO_FLAT),
    measured=(
        *long_measured(CROWN_SIDE, PAVILION_SIDE, cornered=True),
        END_TO_END,
        *CHEVRONS_MEASURED,
    ),
)  # fmt: skip
