"""The old European cut: the round brilliant's facets with a small table, a high crown, short lower halves and a wide culet.

The default proportions are common practice, without a source.
"""

from __future__ import annotations

from dataclasses import replace

from ...optics.materials import Material
from ..finish import Finish
from ..stone import Stone
from .round_brilliant import ROUND_BRILLIANT


def old_european_cut(
    *,
    table_pct: float = 48.0,
    crown_angle_deg: float | None = None,
    pavilion_angle_deg: float | None = None,
    crown_height_pct: float | None = None,
    pavilion_depth_pct: float | None = None,
    star_pct: float = 45.0,
    lower_half_pct: float = 55.0,
    upper_painting_deg: float = 0.0,
    lower_painting_deg: float = 0.0,
    girdle_pct: float = 3.5,
    culet_pct: float = 8.0,
    girdle_facets: int = 96,
    girdle_finish: str | Finish = "polished",
    diameter_mm: float | None = None,
    weight_ct: float | None = None,
    material: str | Material = "diamond",
    name: str = "old European cut",
) -> Stone:
    """An old European cut: a round brilliant with a small table, a high crown, short lower halves and a wide culet.

    Parameters
    ----------
    table_pct, star_pct, lower_half_pct, upper_painting_deg, lower_painting_deg, girdle_pct, culet_pct : as for
        `round_brilliant`; the defaults are common practice.
    crown_angle_deg or crown_height_pct : slope of the crown mains, or the crown height; exactly one.
    pavilion_angle_deg or pavilion_depth_pct : slope of the pavilion mains, or the pavilion depth; exactly one.
    girdle_facets : number of girdle facets, a multiple of 16 from 16 to 192.
    girdle_finish : finish of the girdle facets, see `Finish`.
    diameter_mm or weight_ct : size; at most one, 6.5 mm if neither.
    material : name or `Material`.

    Raises
    ------
    InputError : a proportion out of range, a missing one, or two alternatives together.
    StoneError : proportions without a valid stone; the message names the key and the bound.
    """
    return OLD_EUROPEAN_CUT.stone(
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


_DEFAULTS = {"table_pct": 48.0, "star_pct": 45.0, "lower_half_pct": 55.0, "culet_pct": 8.0}

OLD_EUROPEAN_CUT = replace(
    ROUND_BRILLIANT,
    name="old European cut",
    description="the round brilliant's facets with a small table, a high crown, short lower halves and a wide culet",
    parameters=tuple(replace(one, default=_DEFAULTS.get(one.key, one.default)) for one in ROUND_BRILLIANT.parameters),
)
