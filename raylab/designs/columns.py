"""Designs as columns: of each key an array of numbers, or values picked from a list; see `keys` for designs.

A run of ten thousand designs costs its arrays. One design of it is a dict, made when it is asked for.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np


@dataclass(frozen=True)
class Picked:
    """The values of a key that are names, objects or whole numbers.

    Attributes
    ----------
    values : those to pick from. at : (K,) int, which of them each design has.
    """

    values: Sequence[Any]
    at: np.ndarray

    def __len__(self) -> int:
        return len(self.at)

    def __getitem__(self, chosen: np.ndarray) -> Picked:
        return Picked(self.values, self.at[chosen])

    def tolist(self) -> list[Any]:
        """The value of each design."""
        return [self.values[k] for k in self.at.tolist()]

    def trimmed(self) -> Picked:
        """The same without the values that no design has."""
        used, at = np.unique(self.at, return_inverse=True)
        return Picked([self.values[k] for k in used.tolist()], at)


Column = np.ndarray | Picked


def column_of(values: Sequence[Any], at: np.ndarray) -> Column:
    """A column of values that are picked from a list: (K,) numbers where all of them are floats."""
    if all(type(value) is float for value in values):
        return np.array(values)[at]
    return Picked(values, at)


@dataclass(frozen=True)
class Columns:
    """A run of designs that state the same keys.

    Attributes
    ----------
    count : how many. varied : key to its column, of that length. fixed : key to the value that all have.
    """

    count: int
    varied: Mapping[str, Column]
    fixed: Mapping[str, Any]

    def __len__(self) -> int:
        return self.count

    def __iter__(self) -> Iterator[dict[str, Any]]:
        """The designs one by one."""
        for values in zip(*(column.tolist() for column in self.varied.values()), strict=True):
            yield {**self.fixed, **dict(zip(self.varied, values, strict=True))}

    @property
    def keys(self) -> tuple[str, ...]:
        """The keys that each design states."""
        return (*self.fixed, *self.varied)

    def at(self, chosen: np.ndarray) -> Columns:
        """The designs of a mask (count,) or of numbers (K,)."""
        count = int(np.count_nonzero(chosen)) if chosen.dtype == bool else len(chosen)
        return Columns(count, {key: column[chosen] for key, column in self.varied.items()}, self.fixed)

    def first(self, chosen: np.ndarray) -> dict[str, Any]:
        """The first of the designs of numbers (K,)."""
        return next(iter(self.at(chosen[:1])))

    def numbers(self, key: str) -> np.ndarray:
        """(count,) the numbers of a key; of a fixed one they have no stride."""
        if key in self.fixed:
            return np.broadcast_to(np.float64(self.fixed[key]), (self.count,))
        column = self.varied[key]
        return np.array(column.values, dtype=float)[column.at] if isinstance(column, Picked) else column

    def trimmed(self) -> Columns:
        """The same without values that no design has, to be sent elsewhere."""
        less = {key: column.trimmed() if isinstance(column, Picked) else column for key, column in self.varied.items()}
        return Columns(self.count, less, self.fixed)
