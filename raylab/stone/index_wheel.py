"""Azimuths as numbers of an index wheel, which holds a stone at as many angles as it has teeth.

The number is azimuth / 360 times the teeth: 0 at azimuth 0, counter-clockwise seen from above, for crown and pavilion alike.
The last tooth is 0 again. Sizes of wheels and the way of counting are common practice, without a source; where a machine counts
the other way or from another tooth, its numbers differ by that alone.
"""

from __future__ import annotations

import math

from ..units import whole_in

WHEELS = (32, 64, 72, 80, 96, 120)
"""Teeth of common wheels (common practice)."""

MOST_TEETH = 3600
WHOLE = 1e-6
"""A number this near to a tooth is the tooth; rounding moves an azimuth by far less."""

BETWEEN = "*"
"""What marks a number between two teeth."""


def checked_wheel(teeth: int, key: str = "wheel") -> int:
    """The teeth of a wheel. Raises InputError for fewer than 3 and more than `MOST_TEETH`."""
    return whole_in(key, teeth, 3, MOST_TEETH)


def index_of(azimuth_deg: float, teeth: int) -> float:
    """The number of an azimuth on a wheel, from 0 to less than its teeth; whole where it is within `WHOLE` of a tooth.

    >>> index_of(45.0, 96), index_of(-3.75, 96), index_of(11.25, 64)
    (12.0, 95.0, 2.0)
    """
    index = azimuth_deg / 360.0 * teeth
    tooth = round(index)
    return float(tooth % teeth) if abs(index - tooth) <= WHOLE else index % teeth


def index_words(index: float) -> str:
    """A number of a wheel as tables show it: a tooth as a whole number, else two decimals and a mark.

    >>> index_words(12.0), index_words(12.345)
    ('12', '12.35*')
    """
    return f"{index:.0f}" if index == round(index) else f"{math.floor(100.0 * index + 0.5) / 100.0:.2f}{BETWEEN}"
