"""Units at the doors: mm, degrees, percent of the girdle diameter, nm, carat. One place for each factor."""

from __future__ import annotations

import math
import operator
import re
from typing import Any

import numpy as np

from .errors import InputError

CARAT_PER_GRAM = 5.0
"""1 ct = 0.2 g (metric carat, 4th General Conference on Weights and Measures, 1907)."""

SODIUM_D_NM = 589.3
"""The mean of the two sodium D lines (588.995 and 589.592 nm in air, from memory), at which gem tables quote an index."""


def carat(volume_mm3: float, density_g_cm3: float) -> float:
    """Weight in carat of a volume.

    >>> round(carat(1.0, 3.515), 6)
    0.017575
    """
    return volume_mm3 * density_g_cm3 * 1e-3 * CARAT_PER_GRAM


def direction(elevation_deg: float, azimuth_deg: float) -> np.ndarray:
    """Unit vector (3,) from elevation above the horizontal and azimuth counter-clockwise from +x.

    >>> direction(90.0, 0.0).round(12).tolist()
    [0.0, 0.0, 1.0]
    """
    el, az = math.radians(elevation_deg), math.radians(azimuth_deg)
    return np.array([math.cos(el) * math.cos(az), math.cos(el) * math.sin(az), math.sin(el)])


def number_in(key: str, value: float, low: float, high: float, unit: str = "", *, open_ends: bool = False) -> float:
    """`value` as a finite float within [low, high] (or strictly inside it), or an `InputError` that names the key."""
    span = f"{low:g} to {high:g}{' ' + unit if unit else ''}" + (", ends excluded" if open_ends else "")
    if isinstance(value, bool) or not isinstance(value, (int, float, np.number)):
        raise InputError("not a number", key=key, value=value, expected=span)
    try:
        number = float(value)
    except OverflowError:  # a whole number of hundreds of digits
        number = math.inf
    inside = low < number < high if open_ends else low <= number <= high
    if not (math.isfinite(number) and inside):
        raise InputError("out of range", key=key, value=value, expected=span)
    return number


def whole_in(key: str, value: Any, low: int, high: int) -> int:
    """`value` as an int within [low, high], or an `InputError` that names the key; 512.0 is no whole number, NumPy's 512 is."""
    expected = f"a whole number from {low} to {high}"
    try:
        number = operator.index(value)
    except TypeError:
        raise InputError("not a whole number", key=key, value=value, expected=expected) from None
    if isinstance(value, bool) or not low <= number <= high:
        raise InputError("out of range", key=key, value=value, expected=expected)
    return number


_SIGN_OF_ZERO = re.compile(r"(?<![^\s(\[,:;=])[-+](?=0+(?:\.0+)?(?![\d.]))")
_HYPHEN_AS_MINUS = re.compile(r"(?<![^\s(\[,:;=])-(?=\.?\d)")


def with_minus_signs(text: str) -> str:
    """Text for readers, with a true minus sign (U+2212) before each negative number and no sign before a zero.

    >>> with_minus_signs("offer-2: -0.5 [-1, -0.00] of 2-4, a - b")
    'offer-2: −0.5 [−1, 0.00] of 2-4, a - b'
    """
    return _HYPHEN_AS_MINUS.sub("\N{MINUS SIGN}", _SIGN_OF_ZERO.sub("", text))
