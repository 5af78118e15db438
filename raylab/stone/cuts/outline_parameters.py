"""Parameters and measured quantities common to cuts whose outline is no circle. Percentages are of the width, along y."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from ..measuring.callipers import Callipers, Quantity, quantity
from ..tier import TABLE, Tier
from .cut import Measured
from .parameter import Parameter, Slider
from .round_brilliant import like_round
from .shared import GIRDLE_AND_SIZE, GIRDLE_FINISH, WEIGHT

WIDTH = Parameter(
    "width_mm", "width", "mm", 0.1, 1000.0, "extent across the length; 5 mm if neither width nor weight is given",
    GIRDLE_AND_SIZE, default=5.0, slider=Slider(2.0, 15.0, 0.01),
)  # fmt: skip
WEIGHT_OR_WIDTH = replace(WEIGHT, instead_of=WIDTH.key)


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
            unset=f"all {side} mains fall towards one point on the axis", slider=slider,
        )  # fmt: skip

    return (
        like_round("table_pct", description="distance between the opposite corners across the width"),
        like_round("crown_angle_deg", description="slope of the crown mains across the width", default=crown),
        ends("crown", Slider(15.0, 45.0, 0.05)),
        like_round("pavilion_angle_deg", description="slope of the pavilion mains across the width", default=pavilion),
        ends("pavilion", Slider(28.0, 46.0, 0.05)),
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


def _of_width(callipers: Callipers, lengths_mm: np.ndarray, at: list[str]) -> Quantity | None:
    return quantity(100.0 * lengths_mm / np.ptp(callipers.outline[:, 1]), "%", at)


def _width(callipers: Callipers) -> Quantity | None:
    return quantity([np.ptp(callipers.outline[:, 1])], "mm", ["whole stone"])


def _ratio(callipers: Callipers) -> Quantity | None:
    length, width = np.ptp(callipers.outline, axis=0)
    return quantity([length / width], "1", ["whole stone"])


def _table(callipers: Callipers) -> Quantity | None:
    table = callipers.tier(TABLE)
    return _of_width(callipers, np.array([np.ptp(callipers.loops[f][:, 1]) for f in table]), ["across the width"][: len(table)])


def _across(callipers: Callipers, tier: Tier) -> Quantity | None:
    """The slopes of the facets of a tier that face along the width."""
    facets = [f for f in callipers.tier(tier) if abs(math.cos(math.radians(callipers.stone.azimuth_deg()[f]))) < 1e-6]
    return quantity(callipers.stone.slope_deg()[facets], "deg", [callipers.stone.facet_name(f) for f in facets])


SIZE_MEASURED = (
    Measured(WIDTH.key, WIDTH.label, "mm", "extent of the outline along y (our definition)", _width),
    Measured("length_ratio", "length to width", "1", "extent along x over extent along y (common practice)", _ratio),
    Measured(
        "table_width_pct", "table width", "%", "extent of the table along y, percent of the width (our definition)", _table
    ),
)
"""Length and width of a stone that lies along x."""


def slopes_measured(crown: Tier, pavilion: Tier) -> tuple[Measured, ...]:
    """Slopes across the width."""
    return (
        Measured(
            "crown_across_deg", "crown angle across the width", "deg", "slopes of the crown facets that face along y",
            lambda c: _across(c, crown), uneven=True,
        ),
        Measured(
            "pavilion_across_deg", "pavilion angle across the width", "deg", "slopes of the pavilion facets that face along y",
            lambda c: _across(c, pavilion), uneven=True,
        ),
    )  # fmt: skip
