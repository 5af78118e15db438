"""`pareto`: the designs of a sweep that no other design exceeds in everything that is asked for.

A design **dominates** another if it is at least as good in every objective and differs from it in one, where "good" is the
end, highest or lowest, that the user names for each. The front is what no design dominates. So of designs with equal numbers
all are on the front, or none is; and a design without a finite number for an objective is not on it and dominates nothing.

Numbers have errors. With a coverage factor k, a difference counts only as far as it exceeds k standard errors of itself:
a design dominates another if in every objective its lead, less k times the root of the sum of both squared standard errors,
is at least zero, and above zero in one. The front then keeps designs that can't be told from those on it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np

from ..errors import InputError
from ..units import number_in
from .directions import sign_of
from .slabs import numbers_in, shape_of, slabs

if TYPE_CHECKING:
    import xarray as xr

MANY, SOME = 16384, 4096
"""Rows from which on some strike first, and about how many these are."""


def pareto(found: xr.Dataset, objectives: Mapping[str, str], *, coverage: float = 0.0) -> xr.DataArray:
    """Which designs of a sweep are on the Pareto front of several numbers.

    >>> import xarray as xr
    >>> found = xr.Dataset({"brightness": ("design", [0.6, 0.7, 0.5]), "weight_ct": ("design", [1.0, 0.9, 0.9])})
    >>> front = pareto(found, {"brightness": "highest", "weight_ct": "highest"})
    >>> front.values.tolist()
    [True, True, False]

    Parameters
    ----------
    found : the result of `sweep`, or any dataset of numbers.
    objectives : variables or coordinates of it, each with the end that you want: ``"highest"`` or ``"lowest"``.
    coverage : factor on the standard errors (``brightness_error`` and so on, where there are any) that a difference has to
        exceed to count; 0 takes the numbers as they are.

    Returns
    -------
    xarray.DataArray : True on the front. Ties are all on it, designs with a missing number never; see the module.
        ``found.where(front, drop=True)`` keeps the front of a one-dimensional sweep,
        ``found.stack(design=front.dims).isel(design=front.values.ravel())`` that of a grid.

    Raises
    ------
    InputError : no objective, an unknown name or goal, a variable without numbers.

    Notes
    -----
    A slab of the designs at a time is in memory, and of those before it only their front.
    """
    import xarray as xr

    if not isinstance(objectives, Mapping) or not objectives:
        raise InputError("no objective", key="objectives", expected='such as {"brightness": "highest", "weight_ct": "highest"}')
    number_in("coverage", coverage, 0.0, math.inf)
    signs = []
    for name, goal in objectives.items():
        numbers_in(found, name, "objectives")
        signs.append(sign_of(goal, name))
    names = list(objectives)
    errors = {name: f"{name}_error" for name in names if f"{name}_error" in found}
    every = list(dict.fromkeys((*names, *errors.values())))
    numbers, values, doubts = np.empty(0, int), np.empty((0, len(names))), np.empty((0, len(names)))
    for first, columns in slabs(found, every):  # what one slab strikes out is not needed to strike out others
        plain = [columns[name].astype(float) for name in names]
        apart = [
            coverage * columns[errors[name]].astype(float) if name in errors else np.zeros(len(one))
            for name, one in zip(names, plain, strict=True)
        ]
        values = np.concatenate([values, np.stack(plain, axis=-1) * signs])
        doubts = np.concatenate([doubts, np.stack(apart, axis=-1)])
        numbers = np.concatenate([numbers, first + np.arange(len(values) - len(numbers))])
        kept = _front(values, doubts)
        numbers, values, doubts = numbers[kept], values[kept], doubts[kept]
    sizes = shape_of(found, every)
    mask = np.zeros(math.prod(sizes.values()), dtype=bool)
    mask[numbers] = True
    axes = {key: one for key, one in found.coords.items() if set(one.dims) <= set(sizes)}
    front = xr.DataArray(mask.reshape(tuple(sizes.values())), axes, tuple(sizes), name="pareto")
    words = ", ".join(f"{goal} {name}" for name, goal in objectives.items())
    front.attrs = {"long_name": f"on the Pareto front of the {words}", "coverage": coverage}
    return front


def _front(values: np.ndarray, doubts: np.ndarray) -> np.ndarray:
    """(N,) True for the rows of `values` (N, K), larger is wanted, that no row dominates; `doubts` (N, K) see the module.

    One row after the other, the most promising first, strikes out what it dominates. To dominate is transitive, so a row that
    was struck out is not needed to strike out others. Of many rows, the front of some of them strikes first: it lies spread
    over the whole front and leaves few.
    """
    left = np.flatnonzero(np.isfinite(values).all(axis=1) & np.isfinite(doubts).all(axis=1))
    if len(left) > MANY:
        some = left[:: len(left) // SOME]
        for one in some[_front(values[some], doubts[some])]:
            left = left[_stands(values, doubts, one, left)]
    ranks = sum(np.unique(values[left, k], return_inverse=True)[1].ravel() for k in range(values.shape[1]))
    left = left[np.argsort(-np.asarray(ranks), kind="stable")]
    at = 0
    while at < len(left):
        kept = _stands(values, doubts, left[at], left)
        left = left[kept]
        at = int(np.count_nonzero(kept[: at + 1]))
    front = np.zeros(len(values), dtype=bool)
    front[left] = True
    return front


def _stands(values: np.ndarray, doubts: np.ndarray, one: int, left: np.ndarray) -> np.ndarray:
    """Which of the rows `left` the row `one` doesn't dominate."""
    lead = values[one] - values[left] - np.hypot(doubts[one], doubts[left])
    return np.asarray(~((lead >= 0.0).all(axis=1) & (lead > 0.0).any(axis=1)))
