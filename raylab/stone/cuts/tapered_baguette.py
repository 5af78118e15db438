"""The tapered baguette: a long outline with one end narrower, in steps."""

from __future__ import annotations

from ...optics.materials import Material
from ..finish import Finish
from ..stone import Stone
from ..symmetry_group import SymmetryGroup
from .cut import Cut, Facets
from .outline_parameters import WIDTH
from .outline_parameters import length_ratio as ratio
from .outlines import tapered
from .parameter import Parameter, Slider, Values
from .step_parameters import STEP_MEASURED, step_parameters
from .steps import REASONS, TIERS, facets_on


def tapered_baguette(
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
    narrow_pct: float = 70.0,
    length_ratio: float = 2.0,
    width_mm: float | None = None,
    weight_ct: float | None = None,
    material: str | Material = "diamond",
    name: str = "tapered baguette",
) -> Stone:
    """A tapered baguette: a long outline with sharp corners, narrower at the end on +x, in steps.

    Parameters
    ----------
    table_pct : width of the table, percent of the width.
    crown_angle_deg, pavilion_angle_deg : slopes of the steps at the girdle, along the sides.
    crown_step_deg, pavilion_step_deg : by how much each step is flatter than the one nearer to the girdle, degrees.
    crown_steps, pavilion_steps : numbers of steps, 1 to 5.
    girdle_pct : girdle thickness, percent of the width.
    girdle_finish : finish of the girdle facets, see `Finish`.
    narrow_pct : width of the narrow end, percent of the width, 20 to 99.
    length_ratio : length over width, 1 to 5.
    width_mm or weight_ct : size; at most one, 5 mm wide if neither.
    material : name or `Material`.

    Raises
    ------
    InputError : a proportion out of range, a missing one, or two alternatives together.
    StoneError : proportions without a valid stone; the message names the key and the bound.
    """
    return TAPERED_BAGUETTE.stone(
        table_pct=table_pct,
        crown_angle_deg=crown_angle_deg,
        crown_step_deg=crown_step_deg,
        crown_steps=crown_steps,
        pavilion_angle_deg=pavilion_angle_deg,
        pavilion_step_deg=pavilion_step_deg,
        pavilion_steps=pavilion_steps,
        girdle_pct=girdle_pct,
        girdle_finish=girdle_finish,
        narrow_pct=narrow_pct,
        length_ratio=length_ratio,
        width_mm=width_mm,
        weight_ct=weight_ct,
        material=material,
        name=name,
    )


def _planes(values: Values) -> list[Facets]:
    return facets_on(tapered(values["length_ratio"], 1.0, values["narrow_pct"] / 100.0), values)


NARROW = Parameter(
    "narrow_pct", "width of the narrow end", "%", 20.0, 99.0, "width at the end on +x", "girdle and size",
    default=70.0, slider=Slider(40.0, 99.0, 0.5),
)  # fmt: skip

TAPERED_BAGUETTE = Cut(
    name="tapered baguette",
    description="steps on a long outline with one end narrower",
    parameters=step_parameters(NARROW, ratio(1.0, 5.0, 2.0)),
    size=WIDTH.key,
    tiers=TIERS,
    symmetry=SymmetryGroup(1, 0.0),
    outline=None,
    planes=_planes,
    reasons=REASONS,
    measured=STEP_MEASURED,
)
