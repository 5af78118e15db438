"""Parameters common to cuts whose outline is no circle. Percentages are of the width, along y."""

from __future__ import annotations

from dataclasses import replace

from .cut import WIDTH_KEY
from .parameter import Parameter, Slider
from .round_brilliant import like_round
from .shared import GIRDLE_AND_SIZE, GIRDLE_FINISH, WEIGHT

WIDTH = Parameter(
    WIDTH_KEY, "width", "mm", 0.1, 1000.0, "extent across the length; 5 mm if neither width nor weight is given",
    GIRDLE_AND_SIZE, default=5.0, slider=Slider(2.0, 15.0, 0.01),
)  # fmt: skip
WEIGHT_OR_WIDTH = replace(WEIGHT, instead_of=WIDTH.key)


PAVILION_MAINS = Parameter(
    "pavilion_mains", "pavilion mains", "1", 4, 8, "four at ends and sides, or eight", "pavilion", default=8, multiple=4,
    slider=Slider(4.0, 8.0, 4.0),
)  # fmt: skip


def length_ratio(low: float, high: float, default: float) -> Parameter:
    """Length over width, in the range that a cut allows."""
    slider = Slider(low, min(high, 2.5), 0.01)
    return Parameter(
        "length_ratio", "length to width", "1", low, high, "length over width", GIRDLE_AND_SIZE, default=default, slider=slider
    )


def brilliant_parameters(*outline: Parameter, crown: float = 34.5, pavilion: float = 40.75) -> tuple[Parameter, ...]:
    """The parameters of a brilliant on an outline that is no circle; `outline` are those that shape the outline."""

    def ends(side: str, slider: Slider) -> Parameter:
        return like_round(
            f"{side}_angle_deg", key=f"{side}_end_angle_deg", label=f"{side} angle at the ends", optional=True,
            description=f"slope of the {side} mains at the ends of the length",
            unset=f"all {side} mains meet in one point on the axis", slider=slider,
        )  # fmt: skip

    return (
        like_round("table_pct", description="distance between the opposite corners across the width"),
        like_round("crown_angle_deg", description="slope of the crown mains across the width", default=crown),
        ends("crown", Slider(15.0, 45.0, 0.05)),
        like_round("pavilion_angle_deg", description="slope of the pavilion mains across the width", default=pavilion),
        ends("pavilion", Slider(28.0, 46.0, 0.05)),
        PAVILION_MAINS,
        like_round("star_pct"),
        like_round("lower_half_pct"),
        like_round("girdle_pct"),
        like_round("culet_pct", description="distance between opposite sides across the width; 0 is a point (common practice)"),
        like_round("girdle_facets", description="number of girdle facets, about; their corners lie on the outline"),
        GIRDLE_FINISH,
        *outline,
        WIDTH,
        WEIGHT_OR_WIDTH,
    )
