"""A toy cut, invented: a square stone with a table, four sides above and four below that meet in a point.

`test_house_cut` puts this file among raylab's cuts and adds its row to the table; nothing else tells raylab of it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from ..planes import DOWN, UP, Position, Slant, ring
from ..symmetry_group import SymmetryGroup
from ..tier import GIRDLE, TABLE, Tier
from .cut import Cut, Facets, Measured, Reason
from .outline import Outline
from .parameter import Parameter, Slider, Values
from .shared import WEIGHT

SIDES = 4
UPPER = Tier("upper side", "crown", mates=(GIRDLE.name,))
LOWER = Tier("lower side", "pavilion", mates=(GIRDLE.name,))
RIM = 0.02
"""Half the girdle's thickness, a share of the width."""


@dataclass(frozen=True)
class Square(Outline):
    """A square about the axis, its sides facing along x and y."""

    half: float

    def support(self, azimuth: float) -> float:
        return self.half * (abs(math.cos(azimuth)) + abs(math.sin(azimuth)))

    def flats(self, count: int) -> tuple[np.ndarray, np.ndarray]:
        return np.array([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [-1.0, 0.0, 0.0], [0.0, -1.0, 0.0]]), np.full(count, self.half)

    @property
    def area(self) -> float:
        return 4.0 * self.half**2


OUTLINE = Square(0.5)
TOO_FLAT = Reason("sides_miss_each_other", "table_width_pct", "the table would reach beyond the girdle")


def _planes(values: Values) -> list[Facets]:
    slope = math.tan(math.radians(values["side_slope_deg"]))
    inward = 0.5 - values["table_width_pct"] / 200.0
    if inward <= 0.0:
        raise TOO_FLAT.error(values["table_width_pct"])
    foot = Position(0.5, 0.0, 0.0)
    return [
        Facets(TABLE, np.array([[0.0, 0.0, UP]]), RIM + inward),
        Facets(UPPER, *ring(SIDES, Slant(0.0, 1.0, foot), UP, RIM)),
        Facets(GIRDLE, *OUTLINE.flats(SIDES)),
        Facets(LOWER, *ring(SIDES, Slant(0.0, slope, foot), DOWN, RIM)),
    ]


WIDTH = Parameter(
    "width_mm", "width of the square", "mm", 0.1, 1000.0, "between opposite sides", "size", default=5.0,
    slider=Slider(2.0, 15.0, 0.01),
)  # fmt: skip

PYRAMID = Cut(
    name="square pyramid",
    description="a toy: a table, four sides above, four below that meet in a point",
    parameters=(
        Parameter(
            "side_slope_deg", "slope of the lower sides", "degree", 10.0, 80.0, "of all four", "sides",
            slider=Slider(30.0, 60.0, 0.1),
        ),
        Parameter(
            "table_width_pct", "width of the table", "%", 1.0, 150.0, "of the square's width", "sides", default=60.0,
            slider=Slider(20.0, 90.0, 0.5),
        ),
        WIDTH,
        replace(WEIGHT, instead_of=WIDTH.key),
    ),
    size=WIDTH.key,
    tiers=(TABLE, UPPER, GIRDLE, LOWER),
    symmetry=SymmetryGroup(SIDES, 0.0),
    outline=OUTLINE,
    planes=_planes,
    reasons=(TOO_FLAT,),
    measured=(
        Measured("side_slope_deg", "slope of the lower sides", "deg", "of each (toy)", lambda c: c.slopes(LOWER), uneven=True),
    ),
)  # fmt: skip
