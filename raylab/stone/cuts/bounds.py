"""How far a parameter may go: the bound that a refusal names, found between a value that is none and one that would do."""

from __future__ import annotations

import math
from collections.abc import Callable

TURNS = 40
"""Halvings: to a trillionth of where the search began."""

DECIMALS = 2


def bound(holds: Callable[[float], bool], bad: float, good: float, unit: str) -> str | None:
    """What to expect of a parameter for which `holds` is False at `bad` and turns True once on the way to `good`, in words.

    The number is rounded towards `good`, so that who follows it is inside. None where `holds` isn't True at `good` either.

    >>> bound(lambda x: x < 1.23456, 7.0, 0.0, "degrees"), bound(lambda x: x > 5.0, 1.0, 2.0, "%")
    ('less than 1.23 degrees', None)
    """
    if not holds(good):
        return None
    step, word = (math.floor, "less") if good < bad else (math.ceil, "more")
    for _ in range(TURNS):
        middle = (bad + good) / 2.0
        if holds(middle):
            good = middle
        else:
            bad = middle
    return f"{word} than {step(good * 10**DECIMALS) / 10**DECIMALS:g} {unit}"
