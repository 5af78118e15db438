"""Conditions between the keys of a design: which designs of a sweep are traced.

A condition is a `LinearBound`, which a file can state too, or any function that is called with a design and answers whether
to trace it. A design that a condition excludes keeps its place among the others and has the reason ``excluded`` in place of
numbers; all designs are asked before a sweep begins, so that it can say how many are left.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from ..designs.columns import Columns
from ..designs.keys import NAMED
from ..errors import InputError
from ..units import number_in

Condition = Callable[[Mapping[str, Any]], Any]

ROUNDING = 1e-9
"""What a sum may miss its bound by, as a share of its terms: 0.1 + 0.2 is 0.3."""


@dataclass(frozen=True)
class LinearBound:
    """A condition on a sum of keys, each times a factor; a sum that equals its bound meets it.

    >>> flat = LinearBound({"crown_angle_deg": 1, "pavilion_angle_deg": 1}, at_most=76)
    >>> flat({"crown_angle_deg": 34, "pavilion_angle_deg": 41}), flat({"crown_angle_deg": 36, "pavilion_angle_deg": 41})
    (True, False)
    >>> print(flat)
    crown_angle_deg + pavilion_angle_deg at most 76

    Parameters
    ----------
    sum : key of the design to factor. at_least, at_most : bounds on the sum, one or both.

    Raises
    ------
    InputError : no key, no bound, a factor or bound that is no number, a key whose values are names.
    """

    sum: Mapping[str, float]
    at_least: float | None = None
    at_most: float | None = None

    def __post_init__(self) -> None:
        if not isinstance(self.sum, Mapping) or not self.sum:
            raise InputError("not a sum of keys", key="sum", expected="such as {crown_angle_deg = 1, pavilion_angle_deg = 1}")
        for key, factor in self.sum.items():
            if key in NAMED:
                raise InputError("has names, not numbers", key=str(key), expected="keys of numbers in a condition")
            number_in(f"sum: {key}", factor, -1e9, 1e9)
        bounds = {"at_least": self.at_least, "at_most": self.at_most}
        stated = [number_in(key, value, -1e12, 1e12) for key, value in bounds.items() if value is not None]
        if not stated:
            raise InputError("missing", key="at_least or at_most", expected="a bound of the sum")
        if len(stated) == 2 and stated[0] > stated[1]:
            raise InputError("empty range", key="at_least", value=self.at_least, expected="at most at_most")

    def __call__(self, design: Mapping[str, Any]) -> bool:
        return bool(self._met(design.__getitem__))

    def met(self, run: Columns) -> np.ndarray:
        """(N,) which of the designs of a run meet it."""
        return np.asarray(self._met(run.numbers))

    def _met(self, value_of: Callable[[str], Any]) -> Any:
        """Whether a number, or each of many, meets it."""
        terms = [factor * value_of(key) for key, factor in self.sum.items()]
        total, slack = sum(terms), ROUNDING * sum(map(abs, terms))
        low = -math.inf if self.at_least is None else self.at_least
        high = math.inf if self.at_most is None else self.at_most
        return (total >= low - slack) & (total <= high + slack)

    def __str__(self) -> str:
        words = ""
        for key, factor in self.sum.items():
            size = "" if abs(factor) == 1 else f"{abs(factor):g} "
            words += f"{' - ' if factor < 0 else ' + '}{size}{key}"
        words = words.removeprefix(" + ").strip()
        bounds = [
            f"at {word} {value:g}" for word, value in (("least", self.at_least), ("most", self.at_most)) if value is not None
        ]
        return f"{words} {' and '.join(bounds)}"


def checked(conditions: Iterable[Condition], keys: Iterable[str]) -> tuple[Condition, ...]:
    """The conditions of designs that have these keys. Raises InputError for one that can't be asked."""
    if not isinstance(conditions, Iterable):
        raise InputError("not a list", key="conditions", value=conditions, expected="a list of conditions, also of one")
    found, known = tuple(conditions), set(keys)
    for one in found:
        if not callable(one):
            raise InputError(
                "not a condition", key="conditions", value=one, expected="a LinearBound, or a function of a design"
            )
        for key in one.sum if isinstance(one, LinearBound) else ():
            if key not in known:
                raise InputError(
                    "no key of every design", key=str(key), expected="an axis, or a key with a fixed value or default"
                )
    return found


def name_of(condition: Condition) -> str:
    """A condition in words: a bound as it is stated, a function by its name."""
    return str(condition) if isinstance(condition, LinearBound) else getattr(condition, "__name__", type(condition).__name__)


def answers(conditions: Sequence[Condition], run: Columns) -> np.ndarray:
    """(C, N) whether each design meets each condition. Raises InputError where a condition fails on a design.

    A bound is asked of all designs at once; a function gets them one by one.
    """
    listed = list(run) if any(not isinstance(one, LinearBound) for one in conditions) else []
    met = np.empty((len(conditions), len(run)), dtype=bool)
    for row, one in zip(met, conditions, strict=True):
        if isinstance(one, LinearBound):
            row[:] = one.met(run)
            continue
        try:
            row[:] = [_answer(one, design) for design in listed]
        except InputError:
            raise
        except Exception as error:  # the user's function: whatever it raises is told with its name
            words = f"{type(error).__name__}: {error}".splitlines()[0]
            raise InputError(f"the condition {name_of(one)} failed on a design: {words}", key="conditions") from error
    return met


def _answer(condition: Condition, design: Mapping[str, Any]) -> bool:
    """What a function says of a design. Raises InputError where it says nothing: a ``return`` that was forgotten."""
    found = condition(design)
    if found is None:
        raise InputError(
            f"the condition {name_of(condition)} gave None for a design", key="conditions", expected="True or False"
        )
    return bool(found)
