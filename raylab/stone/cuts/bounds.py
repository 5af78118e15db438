"""The number that a refusal names: which parameter to change, and how far, so that there is a stone.

A rule of a cut says what is wrong and which parameter it blames (`Reason`). Planes that others cut off whole, or facets too
small for the arithmetic, are blamed on none. For all of them the number is found in one way, by making stones of changed
parameters:

1. the blamed parameter alone, within the range of its slider;
2. else another one alone: the one that has to change least, as a share of its slider;
3. else, where several things are wrong at once, the blamed parameter or another one alone, until this rule is kept;
4. else the blamed one at its usual value, and another one with it, so that there is a stone, or that this rule is kept;
5. else the same once more, within all that the parameters allow instead of the ranges of their sliders.

Where no number of what may be left unstated is enough, it is left unstated.

The number itself is allowed, so that who follows the message has a stone (or, in the third case, meets the next rule).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np

from ...errors import StoneError
from .parameter import UNITS, Parameter, Slider, Values

TURNS = 24
"""Halvings: to a ten-millionth of the way."""

PLACES = 17
"""Places over a slider where a stone is looked for, besides the usual value; the nearest that has one bounds the search."""

NEARER = 12
"""Places between a value and each end of what is allowed, each half as far from that end as the one before it."""

DECIMALS = (2, 4, 6)
"""Of the number that is named: the first that is enough."""

Refusal = Callable[[Values], StoneError | None]
"""Why values make no stone; None where they make one."""

Places = Callable[[Parameter, Slider, float], list[float]]
"""Where a stone is looked for, from a value of a parameter on; the slider is the parameter's."""


class _Change(NamedTuple):
    """A parameter that helps: by what share of its slider it must change, and the words for it, which may name another one."""

    share: float
    key: str
    words: str
    other: str | None = None


def with_bound(refused: StoneError, parameters: Sequence[Parameter], values: Values, refusal: Refusal) -> StoneError:
    """The refusal of a stone with what to expect instead, see the module.

    Parameters
    ----------
    refused : key and value of the parameter that a rule blames, or without both.
    parameters : those that may be changed. values : of all, which make no stone.
    """

    def stands(others: Values) -> bool:
        return refusal(others) is None

    def keeps_its_rule(others: Values) -> bool:
        another = refusal(others)
        return another is None or another.reason != refused.reason

    blamed = [one for one in parameters if one.key == refused.key]
    others = [one for one in parameters if one.key != refused.key]
    found: list[_Change] = []
    for places in (_over_slider, _toward_ends):
        for wanted in (stands, keeps_its_rule):
            for some in (blamed, others):
                found = found or sorted(_changes(some, values, wanted, places))
        for wanted in (stands, keeps_its_rule):
            for one in () if found else blamed:
                first = _usual(one)
                words, both = _words(one, first), sorted(_changes(others, {**values, one.key: first}, wanted, places))
                found = [_Change(more.share, one.key, f"{words}, and {more.key} {more.words}", more.key) for more in both]
    key, value, expected = refused.key, refused.value, refused.expected or "proportions nearer to the usual ones"
    named: str | None = None
    if found:
        _, changed, expected, named = found[0]
        if key is None:
            key, value = changed, values[changed]
        elif changed != key:
            expected, named = f"{changed} {expected}", changed
    return refused.but(key=key, value=value, expected=expected, also=() if named is None else (named,))


def _over_slider(parameter: Parameter, slider: Slider, value: float) -> list[float]:
    """The usual value, and places all over the slider."""
    return [_usual(parameter), *np.linspace(slider.low, slider.high, PLACES).tolist()]


def _toward_ends(parameter: Parameter, slider: Slider, value: float) -> list[float]:
    """Places nearer and nearer to the ends of what is allowed."""
    shares = 0.5 ** np.arange(1.0, NEARER + 1.0)
    return [float(end + (value - end) * share) for end in (parameter.low, parameter.high) for share in shares]


def _changes(parameters: Sequence[Parameter], values: Values, holds: Callable[[Values], bool], places: Places) -> list[_Change]:
    """How far each parameter must be led for values to hold; without those that can't be, or where that isn't enough."""
    found = []
    for one in parameters:
        slider, value = one.slider, values.get(one.key)
        if slider is None or value is None or not one.continuous:
            continue

        def kept(number: float | None, key: str = one.key) -> bool:
            return holds({**values, key: number})

        by_distance = sorted(places(one, slider, value), key=lambda place: abs(place - value))
        good = next((place for place in by_distance if kept(place)), None)
        if good is not None:
            number = bound(kept, float(value), good)
            side = "" if number is None else "at least " if number > value else "at most "
            number = good if number is None else number
            found.append(_Change(abs(number - value) / (slider.high - slider.low), one.key, side + _words(one, number)))
        elif one.optional and kept(None):
            found.append(_Change(1.0, one.key, f"none: {one.unset}"))
    return found


def _usual(parameter: Parameter) -> float:
    """A value that most stones have: the default, else the middle of the slider."""
    slider = parameter.slider
    return float(parameter.default if parameter.default is not None or slider is None else (slider.low + slider.high) / 2.0)


def _words(parameter: Parameter, number: float) -> str:
    """A number with the unit of a parameter."""
    unit = UNITS[parameter.unit]
    return f"{number:.10g}{' ' + unit if unit else ''}"


def bound(holds: Callable[[float], bool], bad: float, good: float) -> float | None:
    """How far a number that doesn't hold at `bad` must be led towards `good`, where it does; it turns once on the way.

    Rounded towards `good`, to as few of `DECIMALS` as hold. None where only `good` does.

    >>> bound(lambda x: x < 1.23456, 7.0, 0.0), bound(lambda x: x > 5.0, 1.0, 9.0), bound(lambda x: x == 2.0, 1.0, 2.0)
    (1.23, 5.01, None)
    """
    first, step = good, math.floor if good < bad else math.ceil
    for _ in range(TURNS):
        middle = (bad + good) / 2.0
        bad, good = (bad, middle) if holds(middle) else (middle, good)
    if good == first:
        return None
    return next((number for one in DECIMALS if holds(number := step(good * 10.0**one) / 10.0**one)), good)
