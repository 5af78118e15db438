"""What is measured on a brilliant: lengths and angles of its tiers, and how even it is.

Definitions and sources stand beside each quantity. Geurts et al. is Geurts, Reinitz, Blodgett & Gilbertson, Gems & Gemology
47(4) (2011) 286, on the symmetry parameters of round brilliants. Signs: see `measuring.alignment`.
"""

from __future__ import annotations

from collections.abc import Iterable

from ..measuring import alignment
from .brilliant import CROWN_MAIN, LOWER_HALF, PAVILION_MAIN, STAR, UPPER_HALF
from .cut import Measured
from .parameter import Parameter


def brilliant_measured(parameters: Iterable[Parameter]) -> tuple[Measured, ...]:
    """The quantities of a brilliant; those that are one of its parameters bear that one's label."""
    labels = {one.key: one.label for one in parameters}
    return (
        Measured(
            "table_pct", labels["table_pct"], "%", "distance between opposite corners (ISO 24016:2020, 8.3.3)",
            lambda c: c.table_size(), uneven=True,
        ),
        Measured(
            "crown_angle_deg", labels["crown_angle_deg"], "deg", "slope of each crown main; Geurts et al.",
            lambda c: c.slopes(CROWN_MAIN), uneven=True,
        ),
        Measured(
            "pavilion_angle_deg", labels["pavilion_angle_deg"], "deg", "slope of each pavilion main; Geurts et al.",
            lambda c: c.slopes(PAVILION_MAIN), uneven=True,
        ),
        Measured(
            "crown_height_pct", labels["crown_height_pct"], "%",
            "height from the upper girdle edge at each main to the table edge (common practice); Geurts et al.",
            lambda c: c.at_mains(c.crown_heights()) if c.tier(CROWN_MAIN) else None, uneven=True,
        ),
        Measured(
            "pavilion_depth_pct", labels["pavilion_depth_pct"], "%",
            "depth from the lower girdle edge at each main to the lowest point (common practice); Geurts et al.",
            lambda c: c.at_mains(c.pavilion_depths()) if c.tier(PAVILION_MAIN) else None, uneven=True,
        ),
        Measured(
            "girdle_pct", labels["girdle_pct"], "%", "thickness at each main (common practice); Geurts et al.",
            lambda c: c.at_mains(c.girdle_at_mains()), uneven=True,
        ),
        Measured(
            "girdle_joint_pct", "girdle thickness at the joints of halves", "%",
            "thickness halfway between the mains (common practice)", lambda c: c.girdle_joints(),
        ),
        Measured(
            "girdle_valley_pct", "girdle thickness in its valleys", "%",
            "smallest thickness between each main and the adjacent joint (common practice)", lambda c: c.girdle_valleys(),
        ),
        Measured(
            "star_pct", labels["star_pct"], "%",
            "share of the distance from table edge to outline, in plan view (course glossaries of the trade)",
            lambda c: c.stars(STAR),
        ),
        Measured(
            "lower_half_pct", labels["lower_half_pct"], "%",
            "share of the distance from outline to culet centre, in plan view (course glossaries of the trade, from memory)",
            lambda c: c.lower_halves(LOWER_HALF),
        ),
        Measured(
            "culet_pct", labels["culet_pct"], "%", "distance between opposite sides; 0 for a point (common practice)",
            lambda c: c.culet(),
        ),
        Measured(
            "out_of_round_pct", "out of round", "%", "largest minus smallest diameter; Geurts et al.",
            alignment.out_of_round,
        ),
        Measured(
            "table_offcentre_pct", "table off-centre", "%", "offset of table and girdle centre in plan; Geurts et al.",
            alignment.table_off_center,
        ),
        Measured(
            "culet_offcentre_pct", "culet off-centre", "%", "offset of culet and girdle centre in plan; Geurts et al.",
            alignment.culet_off_center,
        ),
        Measured(
            "table_to_culet_pct", "table centre to culet", "%", "plan-view distance between the two centres; Geurts et al.",
            alignment.table_to_culet,
        ),
        Measured(
            "table_tilt_deg", "table tilt", "deg", "angle between table and girdle plane (our definition)",
            alignment.table_tilt,
        ),
        Measured(
            "azimuth_shift_deg", "azimuth shift", "deg", "deviation of each facet from its azimuth (our definition)",
            alignment.azimuth_shifts, uneven=True, signed=True, mean=False,
        ),
        Measured(
            "twist_deg", "twist, crown against pavilion", "deg",
            "azimuth of each crown main minus that of the pavilion main below it (our definition)",
            alignment.twist, signed=True,
        ),
        Measured(
            "upper_painting_deg", "painting of the upper halves", "deg",
            "angle by which each upper half turns towards its main; negative values mean digging (trade practice)",
            lambda c: alignment.painting(c, UPPER_HALF), signed=True,
        ),
        Measured(
            "lower_painting_deg", "painting of the lower halves", "deg",
            "angle by which each lower half turns towards its main; negative values mean digging (trade practice)",
            lambda c: alignment.painting(c, LOWER_HALF), signed=True,
        ),
    )  # fmt: skip
