"""Parts common to several cuts: parameters of girdle and size, and quantities measured on any stone."""

from __future__ import annotations

from ..finish import FINISHES, get_finish
from ..measuring.callipers import Callipers, Quantity, whole_depth
from .cut import GIRDLE_FINISH_KEY, WEIGHT_KEY, Measured
from .parameter import Parameter, Slider

GIRDLE_AND_SIZE = "girdle and size"

DIAMETER = Parameter(
    "diameter_mm",
    "girdle diameter",
    "mm",
    0.1,
    1000.0,
    "diameter of the girdle circle; 6.5 mm if neither diameter nor weight is given",
    GIRDLE_AND_SIZE,
    default=6.5,
    slider=Slider(2.0, 15.0, 0.01),
)
WEIGHT = Parameter(
    WEIGHT_KEY,
    "weight",
    "ct",
    1e-4,
    1e4,
    "weight of the finished stone, from its volume and the density of the material",
    GIRDLE_AND_SIZE,
    instead_of=DIAMETER.key,
)
GIRDLE_FINISH = Parameter(
    GIRDLE_FINISH_KEY,
    "girdle finish",
    "",
    description="; ".join(f"{name}: {meaning}" for name, meaning in FINISHES.items()),
    group=GIRDLE_AND_SIZE,
    default="polished",
    choices=("polished", "absorbing", *(f"lambertian {a}" for a in (0.2, 0.5, 0.8)), *(f"rough {a}" for a in (0.05, 0.2, 0.5))),
    read=lambda given: get_finish(given, GIRDLE_FINISH_KEY),
)


def _diameter(callipers: Callipers) -> Quantity:
    return callipers.diameter


OF_ANY_STONE = (
    Measured(
        DIAMETER.key, DIAMETER.label, "mm",
        "width of the outline along the direction from its centre to each corner (common practice); see `callipers`",
        _diameter,
    ),
    Measured(
        "depth_pct", "total depth", "%",
        "height along z, percent of the mean girdle diameter; of a cut with length and width, or of no known cut, of the width"
        " (common practice)",
        whole_depth,
    ),
)  # fmt: skip
"""Quantities measured on a stone of any cut."""
