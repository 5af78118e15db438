"""The numbers of a sweep slab by slab, so that memory doesn't grow with the number of designs."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING

import numpy as np

from ..errors import InputError, nearest

if TYPE_CHECKING:
    import xarray as xr

MOST = 1 << 20
"""Designs in a slab: eight megabytes of each variable."""


def slabs(found: xr.Dataset, names: Iterable[str], most: int = MOST) -> Iterator[tuple[int, dict[str, np.ndarray]]]:
    """The number of the first design of each slab, and (K,) values of each name, axes repeated as they apply.

    Designs are numbered in the order of the dimensions of `shape_of`. What lies in pieces on the disk is read slab by slab.
    """
    import xarray as xr

    listed = list(names)
    sizes = shape_of(found, listed)
    first, *rest = sizes or {"": 1}
    each = math.prod(sizes[dim] for dim in rest)
    step = max(1, most // max(1, each))
    chosen = found[listed].reset_coords()
    for start in range(0, sizes.get(first, 1), step):
        part = chosen.isel({first: slice(start, start + step)}) if sizes else chosen
        every = xr.broadcast(*(part[name] for name in listed))
        yield start * each, {name: one.transpose(*sizes).values.ravel() for name, one in zip(listed, every, strict=True)}


def shape_of(found: xr.Dataset, names: Iterable[str]) -> dict[str, int]:
    """The dimensions of several variables together, in their order, and their sizes."""
    return {str(dim): found.sizes[dim] for name in names for dim in found[name].dims}


def numbers_in(found: xr.Dataset, name: str, key: str) -> xr.DataArray:
    """The variable of a name. Raises InputError, which names the argument `key`, where there is none, or none of numbers."""
    if name not in found.variables:
        raise InputError("unknown variable", key=key, value=name, expected=nearest(str(name), map(str, found.variables)))
    if found[name].dtype.kind not in "fiu":
        raise InputError("not a number", key=key, value=name, expected="a variable of numbers")
    return found[name]


def axes_of(found: xr.Dataset, statistic: str) -> list[str]:
    """The axes of the sweep: coordinates that are not one for all designs."""
    dims = set(found[statistic].dims)
    return [str(key) for key, one in found.coords.items() if one.ndim and set(one.dims) <= dims]
