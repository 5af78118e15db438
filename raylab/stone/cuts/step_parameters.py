"""Parameters and measured quantities common to step cuts. Percentages are of the width, along y."""

from __future__ import annotations

from .cut import Measured
from .long_measured import long_measured, rows_measured
from .outline_parameters import WEIGHT_OR_WIDTH, WIDTH
from .parameter import Parameter, Slider
from .round_brilliant import like_round
from .shared import GIRDLE_AND_SIZE, GIRDLE_FINISH
from .steps import CROWN_STEPS, MOST_STEPS, PAVILION_STEPS


def corner(default: float) -> Parameter:
    """How far corners are cut."""
    return Parameter(
        "corner_pct", "cut of the corners", "%", 1.0, 49.0, "how far each corner is cut back along both sides", GIRDLE_AND_SIZE,
        default=default, slider=Slider(5.0, 30.0, 0.5),
    )  # fmt: skip


def _steps(side: str, angle: float, slider: Slider) -> tuple[Parameter, ...]:
    """The slope of a side's first step, by how much each step is flatter than the one before, and the number of steps."""
    return (
        like_round(f"{side}_angle_deg", description=f"slope of the {side} step at the girdle", default=angle, slider=slider),
        Parameter(
            f"{side}_step_deg", f"each {side} step flatter by", "degree", 0.1, 40.0,
            "by how much each step is flatter than the one nearer to the girdle", side, default=7.0,
            slider=Slider(1.0, 15.0, 0.1),
        ),
        Parameter(
            f"{side}_steps", f"{side} steps", "1", 1, MOST_STEPS, f"rows of facets on the {side}", side, default=3, multiple=1,
            slider=Slider(1.0, MOST_STEPS, 1.0),
        ),
    )  # fmt: skip


def step_parameters(*outline: Parameter) -> tuple[Parameter, ...]:
    """The parameters of a step cut; `outline` are those that shape its outline."""
    return (
        like_round("table_pct", description="width of the table"),
        *_steps("crown", 42.0, Slider(25.0, 60.0, 0.1)),
        *_steps("pavilion", 52.0, Slider(35.0, 65.0, 0.1)),
        like_round("girdle_pct", description="thickness all around"),
        GIRDLE_FINISH,
        *outline,
        WIDTH,
        WEIGHT_OR_WIDTH,
    )


STEP_MEASURED: tuple[Measured, ...] = (
    *long_measured(CROWN_STEPS[0], PAVILION_STEPS[0], cornered=True),
    *rows_measured((*CROWN_STEPS, *PAVILION_STEPS)),
)
"""Size, proportions, and the slope of every step."""
