"""The emerald cut: a rectangle with cut corners, in steps."""

from __future__ import annotations

from ...optics.materials import Material
from ..finish import Finish
from ..stone import Stone
from ..symmetry_group import SymmetryGroup
from .cut import Cut, Facets
from .long_measured import END_TO_END
from .outline_parameters import WIDTH
from .outline_parameters import length_ratio as ratio
from .outlines import rectangle
from .parameter import Values
from .step_parameters import STEP_MEASURED, corner, step_parameters
from .steps import REASONS, TIERS, corner_rates, facets_on


def emerald_cut(
    *,
    table_pct: float,
    crown_angle_deg: float = 42.0,
    crown_step_deg: float = 7.0,
    crown_steps: int = 3,
    pavilion_angle_deg: float = 52.0,
    pavilion_step_deg: float = 7.0,
    pavilion_steps: int = 3,
    girdle_pct: float = 3.5,
    girdle_finish: str | Finish = "polished",
    corner_pct: float = 15.0,
    length_ratio: float = 1.4,
    width_mm: float | None = None,
    weight_ct: float | None = None,
    material: str | Material = "diamond",
    name: str = "emerald cut",
) -> Stone:
    """An emerald cut: a rectangle with cut corners, in steps.

    Parameters
    ----------
    table_pct : width of the table, percent of the width.
    crown_angle_deg, pavilion_angle_deg : slopes of the steps at the girdle, along the sides.
    crown_step_deg, pavilion_step_deg : by how much each step is flatter than the one nearer to the girdle, degrees.
    crown_steps, pavilion_steps : numbers of steps, 1 to 5.
    girdle_pct : girdle thickness, percent of the width.
    girdle_finish : finish of the girdle facets, see `Finish`.
    corner_pct : how far each corner is cut back along both sides, percent of the width, 1 to 49.
    length_ratio : length over width, 1 to 3.
    width_mm or weight_ct : size; at most one, 5 mm wide if neither.
    material : name or `Material`.

    Raises
    ------
    InputError : a proportion out of range, a missing one, or two alternatives together.
    StoneError : proportions without a valid stone; the message names the key and the bound.
    """
    return EMERALD_CUT.stone(
        table_pct=table_pct,
        crown_angle_deg=crown_angle_deg,
        crown_step_deg=crown_step_deg,
        crown_steps=crown_steps,
        pavilion_angle_deg=pavilion_angle_deg,
        pavilion_step_deg=pavilion_step_deg,
        pavilion_steps=pavilion_steps,
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
    corner = values["corner_pct"] / 100.0
    return facets_on(rectangle(values["length_ratio"], 1.0, corner), values, corner_rates(corner))


EMERALD_CUT = Cut(
    name="emerald cut",
    description="steps on a rectangle with cut corners",
    parameters=step_parameters(corner(15.0), ratio(1.0, 3.0, 1.4)),
    size=WIDTH.key,
    tiers=TIERS,
    symmetry=SymmetryGroup(2, 0.0),
    outline=None,
    planes=_planes,
    reasons=REASONS,
    measured=(*STEP_MEASURED, END_TO_END),
)
