"""The square emerald cut: a square with cut corners, in steps."""

from __future__ import annotations

from ...optics.materials import Material
from ..finish import Finish
from ..stone import Stone
from ..symmetry_group import SymmetryGroup
from .cut import Cut, Facets
from .long_measured import END_TO_END
from .outline_parameters import WIDTH
from .outlines import rectangle
from .parameter import Values
from .step_parameters import STEP_MEASURED, corner, step_parameters
from .steps import REASONS, TIERS, corner_rates, facets_on


def square_emerald_cut(
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
    corner_pct: float = 20.0,
    width_mm: float | None = None,
    weight_ct: float | None = None,
    material: str | Material = "diamond",
    name: str = "square emerald cut",
) -> Stone:
    """A square emerald cut: a square with cut corners, in steps.

    Parameters
    ----------
    table_pct : width of the table, percent of the width.
    crown_angle_deg, pavilion_angle_deg : slopes of the steps at the girdle, along the sides.
    crown_step_deg, pavilion_step_deg : by how much each step is flatter than the one nearer to the girdle, degrees.
    crown_steps, pavilion_steps : numbers of steps, 1 to 5.
    girdle_pct : girdle thickness, percent of the width.
    girdle_finish : finish of the girdle facets, see `Finish`.
    corner_pct : how far each corner is cut back along both sides, percent of the width, 1 to 49.
    width_mm or weight_ct : size; at most one, 5 mm wide if neither.
    material : name or `Material`.

    Raises
    ------
    InputError : a proportion out of range, a missing one, or two alternatives together.
    StoneError : proportions without a valid stone; the message names the key and the bound.
    """
    return SQUARE_EMERALD_CUT.stone(
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
        width_mm=width_mm,
        weight_ct=weight_ct,
        material=material,
        name=name,
    )


def _planes(values: Values) -> list[Facets]:
    corner = values["corner_pct"] / 100.0
    return facets_on(rectangle(1.0, 1.0, corner), values, corner_rates(corner))


SQUARE_EMERALD_CUT = Cut(
    name="square emerald cut",
    description="steps on a square with cut corners",
    parameters=step_parameters(corner(20.0)),
    size=WIDTH.key,
    tiers=TIERS,
    symmetry=SymmetryGroup(4, 0.0),
    outline=None,
    planes=_planes,
    reasons=REASONS,
    measured=(*STEP_MEASURED, END_TO_END),
)
