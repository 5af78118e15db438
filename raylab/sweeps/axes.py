"""The axes of a sweep, their combination, and the numbering of designs.

* ``grid``: every value of each axis with every value of the others; the last axis changes fastest.
* ``paired``: the first values together, the second values together, and so on.
* ``sobol``, ``halton``, ``latin``: points that fill the box between each axis's ends evenly, and ``random``: points at random;
  the same for the same seed, see `points`.

An axis is a sequence of values (a list, a tuple, an array), or `steps` for evenly spaced ones; to be filled it is `between`, or
a sequence of values.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from ..designs.columns import Column, Columns, Picked, column_of
from ..designs.keys import STONE, complete, resolved
from ..errors import InputError, nearest
from ..units import SODIUM_D_NM, number_in, whole_in
from .conditions import Condition, LinearBound, answers, checked
from .points import MOST_POINTS, Filled, Points

SAMPLERS = tuple(MOST_POINTS)
LAYOUTS = ("grid", "paired", *SAMPLERS)
MOST = 2**31
"""Most designs of one sweep; how many this machine can hold is another matter, see `room`."""
MOST_VALUES = 2**20
"""Most values of one axis."""


@dataclass(frozen=True)
class Steps:
    """Evenly spaced values with both ends: `number` of them from `start` to `stop`. See `steps`."""

    start: float
    stop: float
    number: int


@dataclass(frozen=True)
class Between:
    """The range from `low` to `high`, to be filled by the layout. See `between`."""

    low: float
    high: float


def steps(start: float, stop: float, number: int) -> Steps:
    """An axis of evenly spaced values with both ends, for layouts of given values.

    >>> steps(40, 42, 5)
    Steps(start=40, stop=42, number=5)
    """
    return Steps(start, stop, number)


def between(low: float, high: float) -> Between:
    """An axis of which only the ends are given, for layouts that fill a box.

    >>> between(52, 62)
    Between(low=52, high=62)
    """
    return Between(low, high)


@dataclass(frozen=True)
class Plan:
    """The designs of a sweep, numbered from 0.

    Attributes
    ----------
    layout : one of `LAYOUTS`.
    columns : for each axis its values; in a grid one per step, otherwise one per design.
    fixed : what all designs share, see `design.complete`.
    conditions : which of the designs are traced: those that meet all, see `conditions`.
    """

    layout: str
    columns: dict[str, Sequence[Any]]
    fixed: dict[str, Any]
    conditions: tuple[Condition, ...] = ()

    @property
    def dims(self) -> tuple[str, ...]:
        """Names of the result's dimensions."""
        return tuple(self.columns) if self.layout == "grid" else ("design",)

    @property
    def shape(self) -> tuple[int, ...]:
        """Sizes of the result's dimensions."""
        sizes = tuple(len(values) for values in self.columns.values())
        return sizes if self.layout == "grid" else sizes[:1]

    def __len__(self) -> int:
        return math.prod(self.shape)

    @property
    def anywhere(self) -> bool:
        """Whether the conditions can be asked in any process: bounds, no functions of the user."""
        return all(isinstance(one, LinearBound) for one in self.conditions)

    def stated(self, key: str) -> Sequence[Any]:
        """What is stated of an axis: its values, or what fills it."""
        values = self.columns[key]
        return values.values if isinstance(values, Filled) else values

    def run(self, start: int, stop: int) -> Columns:
        """Designs start to stop, the latter excluded, as columns."""
        stop = min(stop, len(self))
        varied: dict[str, Column] = {}
        along = np.unravel_index(np.arange(start, stop), self.shape)
        for number, (key, values) in enumerate(self.columns.items()):
            if self.layout == "grid":
                varied[key] = column_of(values, along[number])
            elif isinstance(values, Filled):
                varied[key] = values.run(start, stop)
            else:
                varied[key] = column_of(values[start:stop], np.arange(stop - start))
        return Columns(stop - start, varied, self.fixed)

    def designs(self, start: int, stop: int) -> Iterator[dict[str, Any]]:
        """Designs start to stop, the latter excluded."""
        return iter(self.run(start, stop))

    def met(self, start: int, stop: int) -> np.ndarray:
        """(C, N) which of the conditions each of the designs start to stop meets."""
        return answers(self.conditions, self.run(start, stop))

    def kept(self, start: int, stop: int) -> np.ndarray:
        """(N,) which of the designs start to stop meet all conditions."""
        if not self.conditions:
            return np.ones(min(stop, len(self)) - start, dtype=bool)
        return np.asarray(self.met(start, stop).all(axis=0))

    def coordinate(self, key: str, start: int = 0, stop: int | None = None) -> np.ndarray:
        """The values of an axis as labels, all or from start to stop: stones, domes and materials by name."""
        values = self.columns[key]
        if isinstance(values, Filled):
            column = values.run(start, len(values) if stop is None else stop)
            return np.array([label_of(value) for value in column.values])[column.at] if isinstance(column, Picked) else column
        return np.array([label_of(value) for value in values[start:stop]])


def label_of(value: Any) -> Any:
    """A value of a design as a plain number, truth value or name."""
    return getattr(value, "name", value)


def plan_of(
    axes: Mapping[str, Any],
    fixed: Mapping[str, Any],
    layout: str = "grid",
    number: Any = None,
    seed: int = 0,
    *,
    wavelength_nm: float = SODIUM_D_NM,
    conditions: Iterable[Condition] = (),
) -> Plan:
    """The checked plan of a sweep.

    Parameters
    ----------
    axes : key to values, see above. fixed : the other keys of the designs. layout : one of `LAYOUTS`.
    number, seed : how many designs fill the space, and the key of the sequence; for those layouts only.
    wavelength_nm : of designs that state none. conditions : see `conditions`.

    Raises
    ------
    InputError : an unknown key or layout, an empty axis or one with a value twice, axes of different lengths, a condition
        that can't be asked.
    """
    if layout not in LAYOUTS:
        raise InputError("unknown layout", key="layout", value=layout, expected=nearest(str(layout), LAYOUTS))
    if not isinstance(axes, Mapping) or not axes:
        raise InputError("no axis to sweep", key="axes", expected="at least one, such as table_pct = [53, 57, 61]")
    given = {key: resolved(key, value) if key == STONE and value is not None else value for key, value in fixed.items()}
    if STONE in axes:
        axes = {**axes, STONE: _values(STONE, axes[STONE])}  # read once, since their facets are asked for
    rest = complete(given, axes, wavelength_nm)
    limits = checked(conditions, (*axes, *rest))
    if layout in SAMPLERS:
        return Plan(layout, _filled(axes, layout, number, seed), rest, limits)
    if number is not None:
        expected = f"it with the layouts {', '.join(SAMPLERS)} alone"
        raise InputError(f"not used by the layout {layout}", key="number", value=number, expected=expected)
    columns: dict[str, Sequence[Any]] = {key: _values(key, given) for key, given in axes.items()}
    lengths = {key: len(values) for key, values in columns.items()}
    if layout == "paired" and len(set(lengths.values())) > 1:
        raise InputError("paired axes have different lengths", key="axes", value=lengths, expected="one length")
    for key, values in columns.items():
        names = [label_of(value) for value in values]
        if len(set(names)) < len(names) and layout == "grid":
            expected = "different names" if isinstance(names[0], str) else "different values"
            raise InputError("repeated value", key=key, value=names, expected=expected)
    plan = Plan(layout, columns, rest, limits)
    if len(plan) > MOST:
        raise InputError("too many designs", key="axes", value=len(plan), expected=f"at most {MOST}")
    return plan


def _values(key: str, given: Any) -> tuple[Any, ...]:
    """An axis's values, each resolved and plain."""
    if isinstance(given, Steps):
        start, stop = number_in(key, given.start, -1e9, 1e9), number_in(key, given.stop, -1e9, 1e9)
        count = whole_in(f"{key}: number", given.number, 1, MOST_VALUES)
        if count == 1 and start != stop:
            raise InputError("too few values", key=key, value=given, expected="a number of at least 2")
        return tuple(resolved(key, float(value)) for value in np.linspace(start, stop, count))
    if isinstance(given, str) or not isinstance(given, Sequence | np.ndarray):
        raise InputError("not an axis", key=key, value=given, expected="steps(start, stop, number), or a list of values")
    if len(given) == 0 or len(given) > MOST_VALUES or (isinstance(given, np.ndarray) and given.ndim > 1):
        raise InputError("not a list of values", key=key, expected=f"1 to {MOST_VALUES} values")
    plain = given.tolist() if isinstance(given, np.ndarray) else given
    return tuple(resolved(key, value) for value in plain)


def _filled(axes: Mapping[str, Any], layout: str, number: Any, seed: int) -> dict[str, Sequence[Any]]:
    """Values per design that fill the box between the axes' ends."""
    count = whole_in("number", number, 1, MOST_POINTS[layout])
    if layout == "sobol" and count & (count - 1):
        raise InputError("not a power of two", key="number", value=count, expected="2, 4, 8, ...")
    points = Points(layout, count, len(axes), whole_in("seed", seed, 0, 2**63 - 1))
    return {key: _stretched(key, given, points, column) for column, (key, given) in enumerate(axes.items())}


def _stretched(key: str, given: Any, points: Points, column: int) -> Filled:
    """Points in [0, 1) spread between an axis's ends, or over the values of a list."""
    if not isinstance(given, Between):
        return Filled(points, column, _values(key, given), between=False)
    low, high = number_in(key, given.low, -1e9, 1e9), number_in(key, given.high, -1e9, 1e9)
    if not low < high:
        raise InputError("empty range", key=key, value=given, expected="low before high")
    resolved(key, low + 0.5 * (high - low))  # a key of names, or of choices, has no range
    return Filled(points, column, (low, high), between=True)
