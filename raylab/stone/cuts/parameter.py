"""`Parameter`: one thing that a cut, or a step of cutting, lets the user choose; read by files, sweeps, help and page."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np

from ...errors import InputError
from ...units import number_in

Values = Mapping[str, Any]

UNITS = {"%": "%", "degree": "degrees", "mm": "mm", "ct": "ct", "1": "", "": ""}
"""A unit as it is stated, and as messages say it."""


class Slider(NamedTuple):
    """The range that a slider runs over, and its step."""

    low: float
    high: float
    step: float


@dataclass(frozen=True)
class Parameter:
    """A parameter: a number within a range, a whole number, or one of several choices.

    Attributes
    ----------
    key : as written in code and files, with its unit. label : in words. unit : one of `UNITS`; ``""`` for choices.
    low, high : the allowed range; `open_ends` excludes both ends.
    description : one line.
    group : the part of the stone that it shapes, such as ``"crown"``.
    default : None where it must be stated (or its alternative); see `optional`.
    optional : None is a value too, and leaves the thing as it is; `unset` says in words what then happens.
    multiple : a whole number that is a multiple of this; 0 for other numbers.
    choices : the allowed values of what is no number. read : makes of a choice what stones are built from, where that isn't
        the choice itself; it may allow more values, and the choices are then those that a page offers.
    slider : None where a page shows none.
    instead_of : key of the parameter that says the same in another way; only one of the two is stated.
    converted : the value of `instead_of` that a value of this one stands for, given the other values. None where the stone
        itself tells (a weight).
    """

    key: str
    label: str
    unit: str
    low: float = 0.0
    high: float = 0.0
    description: str = ""
    group: str = ""
    default: Any = None
    optional: bool = False
    unset: str = ""
    open_ends: bool = False
    multiple: int = 0
    choices: tuple[Any, ...] = ()
    read: Callable[[Any], Any] | None = None
    slider: Slider | None = None
    instead_of: str | None = None
    converted: Callable[[float, Values], float] | None = None

    @property
    def continuous(self) -> bool:
        """True for a number that can take every value of its range."""
        return not self.choices and not self.multiple

    @property
    def kind(self) -> type:
        """`float`, `int`, or what the choices are."""
        return type(self.choices[0]) if self.choices else int if self.multiple else float

    @property
    def span(self) -> str:
        """What is allowed, in words."""
        if self.choices:
            return " or ".join(repr(choice) for choice in self.choices)
        if self.multiple:
            step = f"a multiple of {self.multiple}" if self.multiple > 1 else "a whole number"
            return f"{step} from {self.low:g} to {self.high:g}"
        unit = UNITS[self.unit]
        return f"{self.low:g} to {self.high:g}{' ' + unit if unit else ''}" + (", ends excluded" if self.open_ends else "")

    def checked(self, value: Any) -> Any:
        """A value as its plain kind. Raises InputError, with the key, for one that is not allowed."""
        if value is None and self.optional:
            return None
        if self.read is not None:
            return self.read(value)
        if self.continuous:
            return number_in(self.key, value, self.low, self.high, UNITS[self.unit], open_ends=self.open_ends)
        plain = self.plain(value)
        if self.multiple and not (self.low <= plain <= self.high and plain % self.multiple == 0):
            raise InputError("not allowed", key=self.key, value=value, expected=self.span)
        return plain

    def allows(self, numbers: np.ndarray) -> np.ndarray:
        """(K,) which of the numbers `checked` lets pass, of a parameter that is a number."""
        if self.open_ends:
            return np.asarray((numbers > self.low) & (numbers < self.high))
        inside = (numbers >= self.low) & (numbers <= self.high)
        return np.asarray(inside & (numbers % self.multiple == 0) if self.multiple else inside)

    def plain(self, value: Any) -> Any:
        """A value as its plain kind, whether within the range or not. Raises InputError for one of another kind."""
        if not self.choices:
            number = number_in(self.key, value, -1e9, 1e9)
            return int(number) if self.multiple and number == int(number) else number
        value = value.item() if isinstance(value, np.generic) else value
        if self.read is not None:
            self.read(value)  # its own words for a name that it doesn't know; it may know more than the choices
            return value
        if not any(type(value) is type(choice) and value == choice for choice in self.choices):
            raise InputError("not a choice", key=self.key, value=value, expected=self.span)
        return value
