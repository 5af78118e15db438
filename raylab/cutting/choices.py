"""A grid of choices for the last facets, traced exactly, and the best few of it under an objective."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from ..errors import InputError, StoneError, nearest
from ..lighting.dome_file import DomeLike
from ..progress import Progress, reporter
from ..results.statistics import PARTS, STATISTICS, columns, numbers_of
from ..results.summary import exact_record
from ..scene.settings import TraceSettings
from ..scene.view import View
from ..stone.cuts.parameter import UNITS
from ..stone.stone import Stone
from .blocked import blocked_stone
from .last_facets import CHOICES, LastFacets, finished
from .objective import Objective, read_objective
from .viewing import lost_points, seen

if TYPE_CHECKING:
    import xarray as xr

MOST_CHOICES = 10_000

WEIGHTS = {"weight_ct": "ct", "lost_points": "0.01 ct"}
"""Weight after a choice and removed weight, with their units."""


def brillianteering_grid(
    blocked: Stone,
    dome: DomeLike,
    axes: Mapping[str, Sequence[float]],
    *,
    choice: LastFacets | None = None,
    view: View | None = None,
    diameter_mm: float | None = None,
    settings: TraceSettings | None = None,
    progress: bool | Progress = False,
) -> xr.Dataset:
    """Exact statistics with brackets, final weight and removed weight of every choice of a grid.

    Parameters
    ----------
    blocked, diameter_mm : see `brillianteer`.
    axes : values by key of `LastFacets`; all combinations are traced.
    choice : the parameters that are not on an axis. view : parallel; face-up by default.
    settings : settings of the traces: one wavelength, an exact engine; by default `viewing.TIGHT`, a precision of 2e-4.
    progress : True for a bar, or a function that is called with the finished and the total amount of work.

    Returns
    -------
    xarray.Dataset on the axes: `STATISTICS` with ``_low``, ``_high`` and ``_error``, `weight_ct`, `lost_points`, all NaN for an
    impossible choice, and `reason`, empty for a possible choice.

    Raises
    ------
    InputError : a stone that is not blocked, an unknown axis, a number out of range.
    """
    import xarray as xr

    start, base = blocked_stone(blocked, diameter_mm), choice or LastFacets()
    scene = seen(start.stone, dome, view, settings)
    values = {key: _values(key, given) for key, given in axes.items()}
    sizes = tuple(len(each) for each in values.values())
    if not values or int(np.prod(sizes)) > MOST_CHOICES:
        raise InputError(
            "wrong number of combinations",
            key="grid",
            value=dict(zip(values, sizes, strict=True)),
            expected=f"1 to {MOST_CHOICES} choices",
        )
    names = [*columns(), *WEIGHTS]
    table, reasons = np.full((*sizes, len(names)), np.nan), np.full(sizes, "", dtype=object)
    with reporter(progress, "choices") as update:
        for done, at in enumerate(np.ndindex(*sizes), start=1):
            chosen = {key: each[k] for (key, each), k in zip(values.items(), at, strict=True)}
            try:
                stone = finished(start, LastFacets(**{**vars(base), **chosen}))
            except StoneError as error:
                reasons[at] = error.problem
            else:
                found = exact_record(replace(scene, stone=stone)).statistics
                table[at] = [*numbers_of(found), stone.weight_ct, lost_points(start.stone, stone)]
            update(done, reasons.size)
    units = {**{key + part: one.unit for key, one in STATISTICS.items() for part in PARTS}, **WEIGHTS}
    variables: dict[str, Any] = {name: (tuple(values), table[..., k], {"units": units[name]}) for k, name in enumerate(names)}
    about = {
        "stone": blocked.name,
        "dome": scene.dome.name,
        "weight_now_ct": start.stone.weight_ct,
        "precision": scene.settings.precision,
    }
    fixed = {key: value for key, value in vars(base).items() if key not in values and value is not None}
    known = {one.key: one for one in CHOICES}
    coordinates = {key: (key, each, {"units": UNITS[known[key].unit]}) for key, each in values.items()}
    return xr.Dataset({**variables, "reason": (tuple(values), reasons.astype(str))}, coordinates, {**about, **fixed})


def _values(key: str, given: Sequence[float]) -> np.ndarray:
    """(K,) the values along an axis, rising, each allowed."""
    known = [one.key for one in CHOICES]
    if key not in known:
        raise InputError("unknown parameter of the last facets", key=key, expected=nearest(key, known))
    values = np.unique(np.array([getattr(LastFacets(**{key: value}), key) for value in given], dtype=float))
    if not len(values) or len(values) != len(given):
        raise InputError("empty or repeated", key=key, value=list(given), expected="different numbers")
    return values


@dataclass(frozen=True)
class Best:
    """One of the best choices of a grid.

    Attributes
    ----------
    choice : what to cut. numbers : its statistics and weights by name.
    tied : True if its bracket overlaps that of the first choice.
    """

    choice: LastFacets
    numbers: dict[str, float]
    tied: bool


def best_brillianteering(grid: xr.Dataset, objective: str | Objective, count: int = 3) -> tuple[Best, ...]:
    """The best choices of a grid under an objective, best first; empty if no choice meets the limits.

    A choice meets a limit if its whole bracket does.

    Raises InputError for an invalid objective.

    >>> import raylab as rl
    >>> from raylab.cutting.objective import read_objective
    >>> read_objective("most brightness with weight_ct >= 1.00", ["brightness", "weight_ct"]).limits[0].bound
    1.0
    """
    names = (*STATISTICS, *WEIGHTS)
    wanted = read_objective(objective, names) if isinstance(objective, str) else objective
    fits = (grid.reason == "").values
    for limit in wanted.limits:
        values = grid[limit.name + ("_low" if limit.at_least else "_high") if limit.name in STATISTICS else limit.name].values
        fits &= values >= limit.bound if limit.at_least else values <= limit.bound
    sign = -1.0 if wanted.most else 1.0
    order = [tuple(at) for at in np.argwhere(fits)]
    order.sort(key=lambda at: sign * float(grid[wanted.name].values[at]))
    return tuple(_best(grid, wanted, at, order[0]) for at in order[:count])


def _best(grid: xr.Dataset, objective: Objective, at: tuple[int, ...], first: tuple[int, ...]) -> Best:
    settings = {str(dim): float(grid[dim].values[k]) for dim, k in zip(grid.reason.dims, at, strict=True)}
    fixed = {key: float(grid.attrs[key]) for key in (one.key for one in CHOICES) if key in grid.attrs}
    tied = False
    if at != first and objective.name in STATISTICS:
        low, high = (grid[objective.name + part].values for part in ("_low", "_high"))
        tied = bool(low[at] <= high[first] and low[first] <= high[at])
    numbers = {name: float(grid[name].values[at]) for name in (*STATISTICS, *WEIGHTS)}
    return Best(LastFacets(**{**fixed, **settings}), numbers, tied)
