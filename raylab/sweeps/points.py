"""Points that fill a box evenly or at random, made run by run: a point is the same whatever was asked for before.

Sobol' and Halton sequences (scrambled) and the Latin hypercube are scipy.stats.qmc's; points at random come from numpy's PCG64.
A sweep of ten million designs holds no list of them: the sequences are taken up wherever they are wanted. Only a Latin
hypercube has to be made at once, because its points share out the layers of the box among them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from ..designs.columns import Column, column_of

BLOCK = 4096
"""Points made at a time: a power of two, for which Sobol' sequences are balanced."""
MOST_KEPT = 17
"""Blocks of points that are kept: those of a block of a result in pieces, see `dealing`."""
MOST_POINTS = {"sobol": 2**30, "halton": 2**30, "random": 2**30, "latin": 2**20}
"""Layouts that fill a box, and the most designs of each; scipy's Sobol' numbers have 30 bits."""


@dataclass(frozen=True)
class Points:
    """Points in the unit box.

    Attributes
    ----------
    layout : a key of `MOST_POINTS`. number : how many points. dims : numbers of each.
    seed : what sets one set apart from another.
    """

    layout: str
    number: int
    dims: int
    seed: int
    _made: dict[int, np.ndarray] = field(default_factory=dict, compare=False, repr=False)
    _going: list[Any] = field(default_factory=list, compare=False, repr=False)

    def __reduce__(self) -> tuple[Any, ...]:
        """To another process go no points: it makes its own."""
        return Points, (self.layout, self.number, self.dims, self.seed)

    def rows(self, start: int, stop: int) -> np.ndarray:
        """(stop - start, dims) points start to stop, the latter excluded, in [0, 1)."""
        blocks = range(start // BLOCK, -(-stop // BLOCK))
        if not blocks:
            return np.empty((0, self.dims))
        joined = np.concatenate([self._block(number) for number in blocks])
        return joined[start - BLOCK * blocks[0] : stop - BLOCK * blocks[0]]

    def _block(self, number: int) -> np.ndarray:
        """(BLOCK, dims) the points of a block; the last ones made are kept, since each axis asks for its column of them."""
        if self.layout == "latin":
            if 0 not in self._made:
                self._made[0] = self._sampler().random(self.number)
            return self._made[0][number * BLOCK : (number + 1) * BLOCK]
        found = self._made.get(number)
        if found is None:
            found = self._fresh(number)
            while len(self._made) >= MOST_KEPT:
                del self._made[next(iter(self._made))]
            self._made[number] = found
        return found

    def _fresh(self, number: int) -> np.ndarray:
        if self.layout == "random":
            numbers = np.random.PCG64(self.seed).advance(number * BLOCK * self.dims)  # one step for each number in [0, 1)
            return np.random.Generator(numbers).random((BLOCK, self.dims))
        if not self._going or self._going[1] > number:
            self._going[:] = self._sampler(), 0
        sampler, reached = self._going
        if number > reached:  # it takes each point on the way
            sampler.fast_forward((number - reached) * BLOCK)
        self._going[1] = number + 1
        return np.asarray(sampler.random(BLOCK))

    def _sampler(self) -> Any:
        from scipy.stats import qmc

        makers = {"sobol": qmc.Sobol, "halton": qmc.Halton, "latin": qmc.LatinHypercube}
        return makers[self.layout](d=self.dims, rng=np.random.default_rng(self.seed))


@dataclass(frozen=True)
class Filled(Sequence[Any]):
    """An axis of a layout that fills a box: a value for each design, made when it is asked for.

    Attributes
    ----------
    points, column : the points, and which of their numbers is this axis's.
    values : what the unit interval is spread over: the two ends of a range, or a list of which each value has an equal part.
    between : whether `values` are the ends of a range.
    """

    points: Points
    column: int
    values: tuple[Any, ...]
    between: bool

    def __len__(self) -> int:
        return self.points.number

    def __getitem__(self, at: Any) -> Any:
        numbers = range(len(self))[at]
        if isinstance(numbers, int):
            return self.run(numbers, numbers + 1).tolist()[0]
        if not numbers:
            return ()
        first, last = sorted((numbers[0], numbers[-1]))
        run = self.run(first, last + 1).tolist()
        return tuple(run[number - first] for number in numbers)

    def run(self, start: int, stop: int) -> Column:
        """The values of designs start to stop, the latter excluded."""
        points = self.points.rows(start, stop)[:, self.column]
        if not self.between:
            return column_of(self.values, (points * len(self.values)).astype(np.int64))
        low, high = self.values
        return np.asarray(low + points * (high - low))
