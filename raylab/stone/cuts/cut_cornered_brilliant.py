"""The cut-cornered brilliant: the square or rectangular modified brilliant with cut corners, whose pavilion has chevrons.

Where the princess cut has a point in each corner there is an edge: facets that run into the point run into the edge's nearer
end. A corner facet above lies between the edge of the girdle and that of the table, one below between the edge of the girdle
and the culet. A rectangle is a square that was stretched.
"""

from __future__ import annotations

import math

import numpy as np

from ...optics.materials import Material
from ..finish import Finish
from ..planes import UP
from ..stone import Stone
from ..symmetry_group import SymmetryGroup
from ..tier import GIRDLE, TABLE, Tier
from .cut import Cut, Facets, Reason
from .long_measured import END_TO_END, long_measured
from .outline_parameters import WEIGHT_OR_WIDTH, WIDTH
from .outline_parameters import length_ratio as ratio
from .outlines import rectangle
from .parameter import Values
from .princess_cut import (
    CHEVRONED,
    CHEVRONS,
    CHEVRONS_MEASURED,
    CHEVRONS_TOO_FLAT,
    CROWN_SIDE,
    PAVILION_SIDE,
    SIDE_STAR,
    STARS_TOO_STEEP,
    Point,
    across,
    mirrored,
    profile_of,
    ring_of,
)
from .shared import GIRDLE_FINISH
from .step_parameters import corner

CROWN_CORNER = Tier("crown corner", "crown", mates=(GIRDLE.name, TABLE.name))
CROWN_BREAK = Tier("crown break", "crown", mates=(GIRDLE.name, TABLE.name))
PAVILION_CORNER = Tier("pavilion corner", "pavilion", mates=(GIRDLE.name,))
TIERS = (TABLE, SIDE_STAR, CROWN_CORNER, CROWN_BREAK, CROWN_SIDE, GIRDLE, PAVILION_SIDE, PAVILION_CORNER, *CHEVRONS)

BREAKS_IN_A_GROOVE = Reason(
    "breaks_in_a_groove", "star_angle_deg", "the crown's corners would meet their neighbours in a groove"
)
CORNERS_IN_A_GROOVE = Reason(
    "corners_in_a_groove", "chevron_step_deg", "the pavilion's corners would meet the chevrons in a groove"
)


def cut_cornered_brilliant(
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
    corner_pct: float = 12.0,
    length_ratio: float = 1.0,
    width_mm: float | None = None,
    weight_ct: float | None = None,
    material: str | Material = "diamond",
    name: str = "cut-cornered brilliant",
) -> Stone:
    """A cut-cornered square or rectangular modified brilliant: cut corners, and chevrons below.

    Parameters
    ----------
    table_pct : width of the table, percent of the width; its corners are cut in proportion.
    crown_angle_deg, star_angle_deg : slopes of the crown's sides and of the stars, across the width.
    star_pct : where stars and sides meet, percent of the way from the table to the girdle.
    pavilion_angle_deg : slope of the pavilion's sides at the girdle, across the width.
    chevron_step_deg : by how much the line under the middle of a side gets flatter from one chevron to the next, degrees.
    chevrons : number of chevrons on each side, 2 to 4.
    girdle_pct : girdle thickness, percent of the width.
    girdle_finish : finish of the girdle facets, see `Finish`.
    corner_pct : how far each corner of a square is cut back along both sides, percent of the width, 1 to 49.
    length_ratio : length over width, 1 to 2; it stretches the corners, too.
    width_mm or weight_ct : size; at most one, 5 mm wide if neither.
    material : name or `Material`.

    Raises
    ------
    InputError : a proportion out of range, a missing one, or two alternatives together.
    StoneError : proportions without a valid stone; the message names the key and the bound.
    """
    return CUT_CORNERED_BRILLIANT.stone(
        table_pct=table_pct,
        crown_angle_deg=crown_angle_deg,
        star_angle_deg=star_angle_deg,
        star_pct=star_pct,
        pavilion_angle_deg=pavilion_angle_deg,
        chevron_step_deg=chevron_step_deg,
        chevrons=chevrons,
        girdle_pct=girdle_pct,
        girdle_finish=girdle_finish,
        corner_pct=corner_pct,
        length_ratio=length_ratio,
        width_mm=width_mm,
        weight_ct=weight_ct,
        material=material,
        name=name,
    )


def _planes(values: Values) -> list[Facets]:
    """The facets of a stone of width 1: those of a square, stretched. Points are those about the middle of the side on +y."""
    rim, table, cut = values["girdle_pct"] / 200.0, values["table_pct"] / 200.0, values["corner_pct"] / 100.0
    crown, star = (math.tan(math.radians(values[key])) for key in ("crown_angle_deg", "star_angle_deg"))
    if not star < crown:
        raise STARS_TOO_STEEP.error(values["star_angle_deg"])
    middle = table + values["star_pct"] / 100.0 * (0.5 - table)  # how far from the axis the stars' points lie
    over = rim + crown * (0.5 - middle)
    top = over + star * (middle - table)
    near, far = (0.5 - cut, 0.5, rim), (0.5, 0.5 - cut, rim)  # the ends of a corner's edge, the one at the side first
    inner, beside = (table * (1.0 - 2.0 * cut), table, top), (table, table * (1.0 - 2.0 * cut), top)
    point = (0.0, middle, over)
    if not _below(far, (near, inner, point)):
        raise BREAKS_IN_A_GROOVE.error(values["star_angle_deg"])
    under, past, profile = (*near[:2], -rim), (*far[:2], -rim), profile_of(values, rim)
    *_, above, below = profile
    if not _below(past, (under, above, below)):
        raise CORNERS_IN_A_GROOVE.error(values["chevron_step_deg"])
    stretch, half = values["length_ratio"], (near, inner, point)
    facets = [
        Facets(TABLE, np.array([[0.0, 0.0, UP]]), top),
        ring_of(SIDE_STAR, [(inner, across(inner), point)], stretch),
        ring_of(CROWN_CORNER, [(near, far, beside)], stretch),
        ring_of(CROWN_BREAK, [half, mirrored(half)], stretch),
        ring_of(CROWN_SIDE, [(near, across(near), point)], stretch),
        Facets(GIRDLE, *_girdle(cut, stretch)),
        ring_of(PAVILION_SIDE, [(under, across(under), profile[1])], stretch),
        ring_of(PAVILION_CORNER, [(under, past, profile[-1])], stretch),
    ]
    for tier, above, below in zip(CHEVRONS, profile[1:], profile[2:], strict=False):
        half = (under, above, below)
        facets.append(ring_of(tier, [half, mirrored(half)], stretch))
    return facets


def _girdle(cut: float, stretch: float) -> tuple[np.ndarray, np.ndarray]:
    """The flats of a stretched square with cut corners."""
    normals, far = rectangle(1.0, 1.0, cut).flats()
    normals = normals / [stretch, 1.0, 1.0]
    long = np.linalg.norm(normals, axis=1)
    return normals / long[:, None], far / long


def _below(point: Point, triangle: tuple[Point, Point, Point]) -> bool:
    """Does a point lie on the inner side of the plane through a triangle?"""
    one, other, third = np.array(triangle)
    across_it = np.cross(other - one, third - one)
    return bool((across_it @ one) * (across_it @ (np.array(point) - one)) < 0.0)


CUT_CORNERED_BRILLIANT = Cut(
    name="cut-cornered brilliant",
    description="a square or rectangular modified brilliant with cut corners and two to four chevrons a side below",
    parameters=(
        *CHEVRONED,
        GIRDLE_FINISH,
        corner(12.0),
        ratio(1.0, 2.0, 1.0),
        WIDTH,
        WEIGHT_OR_WIDTH,
    ),
    size=WIDTH.key,
    tiers=TIERS,
    symmetry=SymmetryGroup(2, 0.0),
    outline=None,
    planes=_planes,
    reasons=(STARS_TOO_STEEP, BREAKS_IN_A_GROOVE, CHEVRONS_TOO_FLAT, CORNERS_IN_A_GROOVE),
    measured=(*long_measured(CROWN_SIDE, PAVILION_SIDE), END_TO_END, *CHEVRONS_MEASURED),
)  # fmt: skip
