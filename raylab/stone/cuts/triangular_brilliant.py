"""The triangular brilliant: three bowed sides that meet in points, mains at the middles of sides and at the points."""

from __future__ import annotations

from dataclasses import replace

from ...optics.materials import Material
from ..finish import Finish
from ..stone import Stone
from ..symmetry_group import SymmetryGroup
from .brilliant import CROWN_MAIN, PAVILION_MAIN, TIERS
from .cut import Cut, Facets
from .long_measured import long_measured
from .outline_brilliant import REASONS, facets_on
from .outline_parameters import WIDTH, brilliant_parameters
from .outlines import bowed_triangle
from .parameter import Parameter, Slider, Values

MAINS = 6


def triangular_brilliant(
    *,
    table_pct: float,
    crown_angle_deg: float = 36.0,
    pavilion_angle_deg: float = 41.0,
    star_pct: float = 50.0,
    lower_half_pct: float = 77.0,
    girdle_pct: float = 5.0,
    culet_pct: float = 0.0,
    girdle_facets: int = 96,
    girdle_finish: str | Finish = "polished",
    side_radius_pct: float = 130.0,
    width_mm: float | None = None,
    weight_ct: float | None = None,
    material: str | Material = "diamond",
    name: str = "triangular brilliant",
) -> Stone:
    """A triangular brilliant: three bowed sides that meet in points, one of them on +x.

    Parameters
    ----------
    table_pct : size of the table, as a share of the outline's, percent.
    crown_angle_deg, pavilion_angle_deg : slopes of the mains at the middles of the sides.
    star_pct, lower_half_pct : lengths as for `round_brilliant`.
    girdle_pct, culet_pct : as for `round_brilliant`, percent of the width.
    girdle_facets : number of girdle facets, about; a multiple of 16.
    girdle_finish : finish of the girdle facets, see `Finish`.
    side_radius_pct : radius of the sides' bow, percent of the width.
    width_mm or weight_ct : size; at most one, 5 mm from point to point if neither.
    material : name or `Material`.

    Raises
    ------
    InputError : a proportion out of range, a missing one, or two alternatives together.
    StoneError : proportions without a valid stone; the message names the key and the bound.
    """
    return TRIANGULAR_BRILLIANT.stone(
        table_pct=table_pct,
        crown_angle_deg=crown_angle_deg,
        pavilion_angle_deg=pavilion_angle_deg,
        star_pct=star_pct,
        lower_half_pct=lower_half_pct,
        girdle_pct=girdle_pct,
        culet_pct=culet_pct,
        girdle_facets=girdle_facets,
        girdle_finish=girdle_finish,
        side_radius_pct=side_radius_pct,
        width_mm=width_mm,
        weight_ct=weight_ct,
        material=material,
        name=name,
    )


def _planes(values: Values) -> list[Facets]:
    return facets_on(bowed_triangle(1.0, values["side_radius_pct"] / 100.0), values, MAINS, stretch=1.0)


SIDE_RADIUS = Parameter(
    "side_radius_pct", "radius of the sides", "%", 90.0, 1000.0, "radius of the bow of each side", "girdle and size",
    default=130.0, slider=Slider(100.0, 300.0, 1.0),
)  # fmt: skip
_OTHERS = ("crown_end_angle_deg", "pavilion_end_angle_deg", "pavilion_mains")
_DESCRIPTIONS = {
    "table_pct": "size of the table, as a share of the outline's",
    "crown_angle_deg": "slope of the crown mains at the middles of the sides",
    "pavilion_angle_deg": "slope of the pavilion mains at the middles of the sides",
    "culet_pct": "size of the culet, as a share of the outline's; 0 is a point (common practice)",
    "width_mm": "from point to point; 5 mm if neither width nor weight is given",
}

TRIANGULAR_BRILLIANT = Cut(
    name="triangular brilliant",
    description="a brilliant on three bowed sides that meet in points, with mains at the middles of sides and at the points",
    parameters=tuple(
        replace(
            one,
            description=_DESCRIPTIONS.get(one.key, one.description),
            default=5.0 if one.key == "girdle_pct" else one.default,
        )
        for one in brilliant_parameters(SIDE_RADIUS, crown=36.0, pavilion=41.0)
        if one.key not in _OTHERS
    ),
    size=WIDTH.key,
    tiers=TIERS,
    symmetry=SymmetryGroup(3, 0.0),
    outline=None,
    planes=_planes,
    reasons=REASONS,
    measured=long_measured(CROWN_MAIN, PAVILION_MAIN, points=3, cornered=True),
)
