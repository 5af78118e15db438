"""The marquise brilliant: an outline of two arcs, with a main at each point, see `outline_brilliant`."""

from __future__ import annotations

from ...optics.materials import Material
from ..finish import Finish
from ..stone import Stone
from ..symmetry_group import SymmetryGroup
from .brilliant import CROWN_MAIN, PAVILION_MAIN, TIERS
from .cut import Cut, Facets
from .long_measured import END_TO_END, long_measured
from .outline_brilliant import REASONS, facets_on
from .outline_parameters import WIDTH, brilliant_parameters
from .outline_parameters import length_ratio as ratio
from .outlines import marquise
from .parameter import Values


def marquise_brilliant(
    *,
    table_pct: float,
    crown_angle_deg: float = 34.5,
    crown_end_angle_deg: float | None = None,
    pavilion_angle_deg: float = 40.75,
    pavilion_end_angle_deg: float | None = None,
    pavilion_mains: int = 8,
    star_pct: float = 50.0,
    lower_half_pct: float = 77.0,
    girdle_pct: float = 3.5,
    culet_pct: float = 0.0,
    girdle_facets: int = 96,
    girdle_finish: str | Finish = "polished",
    length_ratio: float = 2.0,
    width_mm: float | None = None,
    weight_ct: float | None = None,
    material: str | Material = "diamond",
    name: str = "marquise brilliant",
) -> Stone:
    """A marquise brilliant: two arcs that meet in points, mains at the points.

    Parameters
    ----------
    table_pct : distance between the table's opposite corners across the width, percent of the width.
    crown_angle_deg, pavilion_angle_deg : slopes of the mains across the width.
    crown_end_angle_deg, pavilion_end_angle_deg : slopes of the mains at the ends of the length. None: all mains of the side
        fall towards one point on the axis.
    pavilion_mains : 8, or 4 at ends and sides alone, see `outline_brilliant`.
    star_pct, lower_half_pct : lengths as for `round_brilliant`.
    girdle_pct, culet_pct : as for `round_brilliant`, percent of the width.
    girdle_facets : number of girdle facets, about; a multiple of 16.
    girdle_finish : finish of the girdle facets, see `Finish`.
    length_ratio : length over width, 1.2 to 3.5.
    width_mm or weight_ct : size; at most one, 5 mm wide if neither.
    material : name or `Material`.

    Raises
    ------
    InputError : a proportion out of range, a missing one, or two alternatives together.
    StoneError : proportions without a valid stone; the message names the key and the bound.
    """
    return MARQUISE_BRILLIANT.stone(
        table_pct=table_pct,
        crown_angle_deg=crown_angle_deg,
        crown_end_angle_deg=crown_end_angle_deg,
        pavilion_angle_deg=pavilion_angle_deg,
        pavilion_end_angle_deg=pavilion_end_angle_deg,
        pavilion_mains=pavilion_mains,
        star_pct=star_pct,
        lower_half_pct=lower_half_pct,
        girdle_pct=girdle_pct,
        culet_pct=culet_pct,
        girdle_facets=girdle_facets,
        girdle_finish=girdle_finish,
        length_ratio=length_ratio,
        width_mm=width_mm,
        weight_ct=weight_ct,
        material=material,
        name=name,
    )


def _planes(values: Values) -> list[Facets]:
    return facets_on(marquise(values["length_ratio"], 1.0), values)


MARQUISE_BRILLIANT = Cut(
    name="marquise brilliant",
    description="a brilliant on two arcs that meet in points, with a main at each point",
    parameters=brilliant_parameters(ratio(1.2, 3.5, 2.0)),
    size=WIDTH.key,
    tiers=TIERS,
    symmetry=SymmetryGroup(2, 0.0),
    outline=None,
    planes=_planes,
    reasons=REASONS,
    measured=(*long_measured(CROWN_MAIN, PAVILION_MAIN, cornered=True), END_TO_END),
)
