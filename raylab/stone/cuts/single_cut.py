"""The single cut: a round stone with eight mains above and eight below, and nothing between them."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from ...optics.materials import Material
from ..finish import Finish
from ..planes import DOWN, UP, Position, Slant, ring
from ..stone import Stone
from ..tier import CULET, GIRDLE, TABLE
from .brilliant import CROWN_MAIN, PAVILION_MAIN
from .brilliant_measured import brilliant_measured
from .cut import Facets
from .outline import Circle
from .parameter import Values
from .round_brilliant import MAINS, PARAMETERS, ROUND_BRILLIANT

_CIRCLE = Circle(0.5)


def single_cut(
    *,
    table_pct: float,
    crown_angle_deg: float,
    pavilion_angle_deg: float,
    girdle_pct: float = 3.5,
    culet_pct: float = 0.0,
    girdle_facets: int = 96,
    girdle_finish: str | Finish = "polished",
    diameter_mm: float | None = None,
    weight_ct: float | None = None,
    material: str | Material = "diamond",
    name: str = "single cut",
) -> Stone:
    """A single cut: a table, eight mains above and eight below.

    Parameters
    ----------
    table_pct : distance between opposite corners of the table, percent of the girdle diameter.
    crown_angle_deg, pavilion_angle_deg : slopes of the mains.
    girdle_pct, culet_pct : as for `round_brilliant`.
    girdle_facets : number of girdle facets, a multiple of 16 from 16 to 192.
    girdle_finish : finish of the girdle facets, see `Finish`.
    diameter_mm or weight_ct : size; at most one, 6.5 mm if neither.
    material : name or `Material`.

    Raises
    ------
    InputError : a proportion out of range, a missing one, or two alternatives together.
    StoneError : proportions without a valid stone; the message names the key and the bound.
    """
    return SINGLE_CUT.stone(
        table_pct=table_pct,
        crown_angle_deg=crown_angle_deg,
        pavilion_angle_deg=pavilion_angle_deg,
        girdle_pct=girdle_pct,
        culet_pct=culet_pct,
        girdle_facets=girdle_facets,
        girdle_finish=girdle_finish,
        diameter_mm=diameter_mm,
        weight_ct=weight_ct,
        material=material,
        name=name,
    )


def _planes(values: Values) -> list[Facets]:
    """The facets of a stone of girdle diameter 1: each main through the girdle circle at its own azimuth."""
    rim = values["girdle_pct"] / 200.0
    crown, pavilion = (math.tan(math.radians(values[key])) for key in ("crown_angle_deg", "pavilion_angle_deg"))
    foot = Position(_CIRCLE.radius, 0.0, 0.0)
    table = values["table_pct"] / 200.0 * math.cos(math.pi / MAINS)  # how far its sides are from the axis
    facets = [
        Facets(TABLE, np.array([[0.0, 0.0, UP]]), rim + (0.5 - table) * crown),
        Facets(CROWN_MAIN, *ring(MAINS, Slant(0.0, crown, foot), UP, rim)),
        Facets(GIRDLE, *_CIRCLE.flats(values["girdle_facets"])),
        Facets(PAVILION_MAIN, *ring(MAINS, Slant(0.0, pavilion, foot), DOWN, rim)),
    ]
    if values["culet_pct"] > 0.0:
        level = rim + (0.5 - values["culet_pct"] / 200.0) * pavilion
        facets.append(Facets(CULET, np.array([[0.0, 0.0, DOWN]]), level))
    return facets


_LACKS = ("star_pct", "lower_half_pct", "crown_height_pct", "pavilion_depth_pct", "upper_painting_deg", "lower_painting_deg")
_MEASURED = (
    "table_pct", "crown_angle_deg", "pavilion_angle_deg", "crown_height_pct", "pavilion_depth_pct", "girdle_pct",
    "girdle_joint_pct", "culet_pct", "out_of_round_pct", "table_offcentre_pct", "culet_offcentre_pct", "table_tilt_deg",
    "twist_deg",
)  # fmt: skip

SINGLE_CUT = replace(
    ROUND_BRILLIANT,
    name="single cut",
    description="17 facets and a girdle, order 8: table, mains above and mains below",
    parameters=tuple(one for one in PARAMETERS if one.key not in _LACKS),
    tiers=(TABLE, CROWN_MAIN, GIRDLE, PAVILION_MAIN, CULET),
    planes=_planes,
    reasons=(),
    measured=tuple(one for one in brilliant_measured(PARAMETERS) if one.key in _MEASURED),
)
