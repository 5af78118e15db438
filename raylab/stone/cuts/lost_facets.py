"""Which parameter to change, and how far, where planes of a cut would have no facet.

Every cut refuses what its own rules rule out (`Reason`). What is left are planes that others cut off whole at the ends of the
ranges, or facets too small for the arithmetic. No rule says which number is to blame. So each is led from its value towards its
usual one, all others kept, until every plane has a facet; the one that has to change least, as a share of its slider, is named.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple

from ...errors import StoneError
from .parameter import UNITS, Parameter, Values

STEPS = 30
"""Bisections: the bound is found to a billionth of the way."""

NAMED = 3
"""Facets that are named; more are counted."""


class _Change(NamedTuple):
    """A parameter that alone can give every plane a facet: its `bound`, nearest to its value, and by what share of its slider
    that is off; `whole` where nothing short of its usual value does."""

    share: float
    parameter: Parameter
    bound: float
    whole: bool


def no_facet(
    parameters: Sequence[Parameter], values: Values, lost: Sequence[str], closes: Callable[[Values], bool]
) -> StoneError:
    """The error for values that leave planes without a facet.

    Parameters
    ----------
    parameters, values : those of the cut. lost : names of the facets. closes : whether values give every plane a facet.

    Where no number can be changed alone, the facets are named without a key.
    """
    more = f" and {len(lost) - NAMED} more" if len(lost) > NAMED else ""
    words = f"nothing would be left of {', '.join(lost[:NAMED])}{more}"
    changes = [change for one in parameters if (change := _change(one, values, closes)) is not None]
    if not changes:
        return StoneError(words, expected="proportions nearer to the usual ones")
    least = min(changes, key=lambda change: change.share)
    key, unit = least.parameter.key, UNITS[least.parameter.unit]
    side = "" if least.whole else "more than " if least.bound > values[key] else "less than "
    return StoneError(words, key=key, value=values[key], expected=f"{side}{least.bound:.4g}{' ' + unit if unit else ''}")


def _change(parameter: Parameter, values: Values, closes: Callable[[Values], bool]) -> _Change | None:
    """How far a parameter must be led towards its usual value; None where it can't, or where that isn't enough."""
    key, slider = parameter.key, parameter.slider
    if slider is None or not parameter.continuous or values.get(key) is None:
        return None
    usual = float((slider.low + slider.high) / 2.0 if parameter.default is None else parameter.default)
    lost, kept = float(values[key]), usual
    if not closes({**values, key: kept}):
        return None
    for _ in range(STEPS):
        middle = (lost + kept) / 2.0
        lost, kept = (lost, middle) if closes({**values, key: middle}) else (middle, kept)
    return _Change(abs(kept - values[key]) / (slider.high - slider.low), parameter, kept, kept == usual)
