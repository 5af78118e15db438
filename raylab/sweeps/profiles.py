"""`profile`: a statistic over two axes of a grid, the other axes held or wherever it is highest.

As in a profile likelihood, an axis that is not shown isn't averaged over: each point shows the highest (or lowest) value that
any design there has, and which design that is.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from ..errors import InputError, nearest
from ..results.statistics import PARTS
from .directions import sign_of
from .slabs import numbers_in, shape_of, slabs

if TYPE_CHECKING:
    import xarray as xr


def profile(found: xr.Dataset, statistic: str, axes: Sequence[str], *, goal: str = "highest", **held: Any) -> xr.Dataset:
    """A statistic over some axes of a grid, the others held at a value or wherever the statistic is highest.

    >>> import xarray as xr
    >>> axes = {"crown_angle_deg": [33.0, 34.0], "star_pct": [45.0, 50.0, 55.0]}
    >>> found = xr.Dataset({"brightness": (tuple(axes), [[0.5, 0.7, 0.6], [0.8, 0.4, 0.3]])}, axes)
    >>> over = profile(found, "brightness", ["crown_angle_deg"])
    >>> over.brightness.values.tolist(), over.star_pct.values.tolist()
    ([0.7, 0.8], [50.0, 45.0])
    >>> profile(found, "brightness", ["crown_angle_deg"], star_pct=55).brightness.values.tolist()
    [0.6, 0.3]

    Parameters
    ----------
    found : the result of a sweep over a grid. statistic : a variable of it. axes : what the result is to be over.
    goal : ``"highest"`` or ``"lowest"``. **held : axes and the one value of each that counts.

    Returns
    -------
    xarray.Dataset : the statistic over `axes`, what else is known of its value (``brightness_low`` and so on), and for each
        axis that is neither shown nor held, its value there. Where no design has a number, NaN. `sweep_figure` draws it.

    Raises
    ------
    InputError : no such variable, axis or value; designs that are no grid.
    """
    sign = sign_of(goal, "goal")
    dims = [str(dim) for dim in numbers_in(found, statistic, "statistic").dims]
    shown = [axes] if isinstance(axes, str) else list(axes)
    if not shown:
        raise InputError("no axis", key="axes", expected="at least one axis of the grid")
    for key in (*shown, *held):
        if key not in dims or key not in found.coords:
            grid = [dim for dim in dims if dim in found.coords]
            expected = nearest(str(key), grid) if grid else "a sweep over a grid; a surrogate gives one"
            raise InputError("no axis of the grid", key="axes" if key in shown else key, value=key, expected=expected)
    parts = [statistic + part for part in PARTS if statistic + part in found]
    chosen = _held(found[parts], held)
    sizes = shape_of(chosen, [statistic])
    number = _best(chosen, statistic, [list(sizes).index(key) for key in shown], sign)
    where = dict(zip(sizes, np.unravel_index(np.maximum(number, 0), tuple(sizes.values())), strict=True))
    return _at(chosen, statistic, shown, where, number >= 0, goal)


def _held(found: xr.Dataset, held: dict[str, Any]) -> xr.Dataset:
    for key, value in held.items():
        values = found[key].values
        at = np.flatnonzero(values == value)
        if not len(at):
            raise InputError("not a value of this axis", key=key, value=value, expected=", ".join(map(str, values[:8])))
        found = found.isel({key: int(at[0])})
    return found


def _best(found: xr.Dataset, statistic: str, shown: list[int], sign: float) -> np.ndarray:
    """For each place on the shown axes, the number of the design whose value is extreme; -1 where no design has one."""
    shape = tuple(shape_of(found, [statistic]).values())
    extent = tuple(shape[at] for at in shown)
    best, number = np.full(extent, -np.inf).ravel(), np.full(extent, -1).ravel()
    for first, columns in slabs(found, [statistic]):
        values = sign * columns[statistic]
        at = np.flatnonzero(np.isfinite(values))
        places = np.unravel_index(first + at, shape)
        cell = np.ravel_multi_index(tuple(places[k] for k in shown), extent)
        order = np.lexsort((-at, values[at], cell))  # within a cell the largest last, and of equal ones the first design
        last = order[np.flatnonzero(np.diff(cell[order], append=-1))]
        better = values[at[last]] > best[cell[last]]
        best[cell[last[better]]] = values[at[last[better]]]
        number[cell[last[better]]] = first + at[last[better]]
    return number.reshape(extent)


def _at(
    found: xr.Dataset, statistic: str, shown: list[str], where: dict[str, np.ndarray], known: np.ndarray, goal: str
) -> xr.Dataset:
    """The chosen designs' numbers, and where they lie on the axes that aren't shown."""
    import xarray as xr

    pointwise = {dim: xr.DataArray(at, dims=shown) for dim, at in where.items()}
    picked = found.drop_vars([dim for dim in where if dim in found.coords]).isel(pointwise)
    over = xr.Dataset(picked.data_vars, {**picked.coords, **{key: found[key] for key in shown}}, found.attrs).where(known)
    others = [dim for dim in where if dim not in shown]
    for dim in others:
        values = found[dim].values[where[dim]]
        over[dim] = (shown, values if values.dtype.kind == "U" else np.where(known, values, np.nan), found[dim].attrs)
    if others:
        names = ", ".join(str(found[dim].attrs.get("long_name", dim)) for dim in others)
        over.attrs["profile"] = f"{names} where {statistic.replace('_', ' ')} is {goal}"
    return over
