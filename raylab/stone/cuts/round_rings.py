"""The rings of facets of a round brilliant as plain numbers: for kernels that build many stones at once.

The rules are those of `round_brilliant` and `brilliant`, for a girdle of diameter 1. A test compares the planes.
"""

from __future__ import annotations

import math

from ...jit import njit

STARS_CROSS_TABLE, HALVES_PAST_CULET, UPPER_TOO_FAR, LOWER_TOO_FAR, GIRDLE_VANISHES = range(1, 6)
"""Faults, in the order of the cut's `reasons`."""
ARGUMENTS = (
    "table_pct", "crown_angle_deg", "pavilion_angle_deg", "star_pct", "lower_half_pct", "upper_painting_deg",
    "lower_painting_deg", "girdle_pct", "culet_pct",
)  # fmt: skip
"""Keys of the parameters that `round_rings` takes, in its order."""
RADIUS = 0.5
_JOINT, _QUARTER = math.pi / 8.0, math.pi / 16.0
_DEGREE = math.pi / 180.0


@njit(inline="always")
def _half(azimuth, radius, height):
    """Tangent of the slope of a half that faces `azimuth`, from its main's foot to a tip at (radius, height) on the joint.

    Below 0 where it can't be turned so far.
    """
    here, there = math.cos(azimuth), math.cos(azimuth - _JOINT)
    run = RADIUS * here - radius * there
    if abs(run) < 1e-9 * (RADIUS + radius) or height * run < 0.0:
        return -1.0
    return height / run


@njit()
def round_rings(
    table_pct, crown_deg, pavilion_deg, star_pct, lower_half_pct, upper_painting_deg, lower_painting_deg, girdle_pct, culet_pct
):
    """The rings of a round brilliant.

    Returns
    -------
    fault : 0, or one of the faults above.
    rim, table, depth : half the girdle's thickness at the mains; heights of table and of culet or point below z = 0.
    star, crown, upper, lower, pavilion : each the tangent of its slope, and the distance of its planes times the root of 1 plus
        the tangent squared.
    upper_azimuth, lower_azimuth : radians, that the first half of each side faces.
    """
    rim, corner, flat = girdle_pct / 200.0, table_pct / 200.0, culet_pct / 200.0
    crown, pavilion = math.tan(crown_deg * _DEGREE), math.tan(pavilion_deg * _DEGREE)
    joint = math.cos(_JOINT)
    height = (RADIUS - corner) * crown
    fault = 0
    tip = corner * joint + star_pct / 100.0 * (RADIUS - corner * joint)
    rise = (RADIUS - tip * joint) * crown
    if rise >= height:
        fault = STARS_CROSS_TABLE
    star = (rise - height) / (corner * joint - tip)
    star_distance = star * corner * joint + rim + height
    upper_azimuth = _QUARTER - upper_painting_deg * _DEGREE
    upper = _half(upper_azimuth, tip, rise)
    if fault == 0 and upper < 0.0:
        fault = UPPER_TOO_FAR
    tip = RADIUS * (1.0 - lower_half_pct / 100.0)
    fall = (RADIUS - tip * joint) * pavilion
    if fault == 0 and tip <= flat / joint:
        fault = HALVES_PAST_CULET
    lower_azimuth = _QUARTER - lower_painting_deg * _DEGREE
    lower = _half(lower_azimuth, tip, fall)
    if fault == 0 and lower < 0.0:
        fault = LOWER_TOO_FAR
    x = upper * math.cos(upper_azimuth) + lower * math.cos(lower_azimuth)
    y = upper * math.sin(upper_azimuth) + lower * math.sin(lower_azimuth)
    if fault == 0 and 2.0 * rim - RADIUS * (math.sqrt(x * x + y * y) - x) <= 0.0:
        fault = GIRDLE_VANISHES
    return (
        fault,
        rim,
        rim + height,
        rim + (RADIUS - flat) * pavilion,
        (star, star_distance),
        (crown, crown * RADIUS + rim),
        (upper, upper * RADIUS * math.cos(upper_azimuth) + rim),
        (lower, lower * RADIUS * math.cos(lower_azimuth) + rim),
        (pavilion, pavilion * RADIUS + rim),
        upper_azimuth,
        lower_azimuth,
    )
