"""`surrogate`: a smooth function through some designs of a sweep, that answers at once and says how far it is off.

Thin-plate splines in the axes, each stretched to the unit interval (scipy.interpolate.RBFInterpolator). How much they are
smoothed is chosen by cross-validation, and the error that is told is measured so: each fifth of the designs is foretold by the
other four. Statistics jump where the light of a virtual facet crosses an edge of the dome, so that error isn't small with few
designs, and a surrogate is for looking around: what it points to is to be traced.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from ..errors import InputError, nearest
from ..units import whole_in
from .axes import Between
from .slabs import axes_of, numbers_in, slabs

if TYPE_CHECKING:
    import xarray as xr

FOLDS = 5
SMOOTHINGS = (1e-4, 1e-3, 1e-2, 1e-1)
"""What is tried; the spline passes through its points at 0, and is a plane at infinity."""
MOST_ASKED = 1 << 24
"""Most points of a grid."""


class Terms(NamedTuple):
    """A surrogate as the sum that it is: ``constant + slopes @ u + sum(weights * r**2 * log(r))`` at a point u of the unit box,
    r its distances from the surrogate's `points`.

    Attributes
    ----------
    weights : (N,). constant : float. slopes : (K,).
    """

    weights: np.ndarray
    constant: float
    slopes: np.ndarray


@dataclass(frozen=True)
class Surrogate:
    """A smooth function of the axes of a sweep that stands for one of its statistics. See `surrogate`.

    Attributes
    ----------
    statistic : what it stands for. axes : the range of each axis.
    designs : how many it was made from. smoothing : that was chosen.
    rmse : root of the mean squared error at designs that it was not made from. spread : standard deviation of the statistic
        among the designs; a surrogate whose `rmse` is as large says nothing.
    points : (N, K) the designs in the unit box that their axes stretch over. values : (N,) the statistic there.
    """

    statistic: str
    axes: dict[str, Between]
    designs: int
    smoothing: float
    rmse: float
    spread: float
    points: np.ndarray = field(repr=False, compare=False)
    values: np.ndarray = field(repr=False, compare=False)
    _spline: Any = field(repr=False, compare=False)
    _about: dict[str, dict[str, Any]] = field(repr=False, compare=False)

    def __call__(self, at: Mapping[str, Any]) -> np.ndarray:
        """The statistic at designs: numbers or arrays of one shape for each axis, which is the shape of what is returned.

        Raises InputError for an axis that is missing, unknown, or left beyond its range.
        """
        for key in (*at, *self.axes):
            if key not in self.axes or key not in at:
                problem = "missing" if key in self.axes else "no axis of the surrogate"
                raise InputError(problem, key=key, expected=nearest(key, self.axes))
        columns = np.broadcast_arrays(*(np.asarray(at[key], dtype=float) for key in self.axes))
        unit = []
        for (key, ends), column in zip(self.axes.items(), columns, strict=True):
            point = (column.ravel() - ends.low) / (ends.high - ends.low)
            if (beyond := column.ravel()[~((point >= -1e-9) & (point <= 1.0 + 1e-9))]).size:
                expected = f"{ends.low:g} to {ends.high:g}"
                raise InputError("beyond the designs of the sweep", key=key, value=float(beyond[0]), expected=expected)
            unit.append(point)
        values: np.ndarray = self._spline(np.stack(unit, axis=-1)).reshape(columns[0].shape)
        return values

    def terms(self) -> Terms:
        """What others need to compute the same values: a page in a browser does.

        A smoothing spline f through values y with weights w obeys (K + smoothing) w + P b = y with f = K w + P b at its points
        (Wahba, Spline Models for Observational Data, SIAM 1990), so the weights are what it misses over the smoothing.
        """
        at = self._spline(self.points)
        weights = (self.values - at) / self.smoothing
        squares = ((self.points[:, None, :] - self.points[None, :, :]) ** 2).sum(axis=-1)
        curved = (0.5 * squares * np.log(np.where(squares > 0.0, squares, 1.0))) @ weights
        plane = np.column_stack([np.ones(len(at)), self.points])
        constant, *slopes = np.linalg.lstsq(plane, at - curved, rcond=None)[0].tolist()
        return Terms(weights, constant, np.array(slopes))

    def grid(self, axes: Mapping[str, Any], **held: float) -> xr.Dataset:
        """The statistic on a grid, as `sweep` would return it: drawn by `sweep_figure`, reduced by `profile`.

        Parameters
        ----------
        axes : key to (N,) values. **held : the value of each other axis.

        Raises
        ------
        InputError : an axis that is missing, unknown, or left beyond its range; more than 16 million points.
        """
        import xarray as xr

        values = {key: np.asarray(one, dtype=float).ravel() for key, one in axes.items()}
        shape = tuple(len(one) for one in values.values())
        if math.prod(shape) > MOST_ASKED:
            raise InputError("too many points", key="axes", value=math.prod(shape), expected=f"at most {MOST_ASKED}")
        at = dict(zip(values, np.meshgrid(*values.values(), indexing="ij"), strict=True))
        found = self({**at, **held})
        coords: dict[str, Any] = {key: ((key,), one, self._about[key]) for key, one in values.items()}
        coords |= {key: ((), one, self._about[key]) for key, one in held.items()}
        about = self._about[self.statistic]
        error = {**about, "long_name": "error of the surrogate by cross-validation"}
        variables = {
            self.statistic: (tuple(values), found, about),
            f"{self.statistic}_error": (tuple(values), np.full(shape, self.rmse), error),
        }
        return xr.Dataset(variables, coords, {"title": "surrogate of a raylab sweep", "standard_error": self.rmse})


def surrogate(found: xr.Dataset, statistic: str, *, most: int = 1000, seed: int = 0) -> Surrogate:
    """A smooth function that stands for a statistic between the designs of a sweep; its error is shown by cross-validation.

    Parameters
    ----------
    found : the result of a sweep whose axes are numbers. statistic : a variable of it.
    most : designs to take, at random where there are more; time grows as its cube. seed : key of what is random.

    Raises
    ------
    InputError : no such variable, an axis of names, too few designs with numbers.
    """
    return surrogates(found, [statistic], most=most, seed=seed)[statistic]


def surrogates(found: xr.Dataset, statistics: Sequence[str], *, most: int = 1000, seed: int = 0) -> dict[str, Surrogate]:
    """The surrogates of several statistics of the same dimensions through the same designs, those that have all their numbers.

    See `surrogate` for the parameters and what is raised.
    """
    for statistic in statistics:
        numbers_in(found, statistic, "statistic")
    whole_in("most", most, 20, 10_000)
    axes = axes_of(found, statistics[0])
    for key in axes:
        numbers_in(found, key, "axes")
    rng = np.random.default_rng(whole_in("seed", seed, 0, 2**63 - 1))
    table, ends = _drawn(found, [*axes, *statistics], most, rng)
    if not axes or len(table) < 4 * (len(axes) + 2):
        problem = f"{len(table)} designs have numbers"
        raise InputError(problem, key=statistics[0], expected=f"an axis, and at least {4 * (len(axes) + 2)} designs")
    low, high = ends[:, : len(axes)]
    if not np.all(low < high):
        raise InputError("an axis of one value", key=axes[int(np.argmin(low < high))], expected="different values")
    points, values = (table[:, : len(axes)] - low) / (high - low), table[:, len(axes) :]
    errors = np.array([_rmse(points, values, smoothing) for smoothing in SMOOTHINGS])
    chosen = errors.argmin(axis=0)
    about = {name: dict(found[name].attrs) for name in (*axes, *statistics)}
    between = {key: Between(float(low[k]), float(high[k])) for k, key in enumerate(axes)}
    return {
        statistic: Surrogate(
            statistic,
            between,
            len(table),
            SMOOTHINGS[chosen[k]],
            float(errors[chosen[k], k]),
            float(values[:, k].std()),
            points,
            values[:, k],
            _spline(points, values[:, k], SMOOTHINGS[chosen[k]]),
            about,
        )
        for k, statistic in enumerate(statistics)
    }


def _drawn(found: xr.Dataset, names: list[str], most: int, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """(N, C) rows of `most` designs drawn from those that have all numbers, in random order, and (2, C) the ends of all.

    Each design gets a random number, and those with the smallest are kept, so that one reading is enough.
    """
    kept, keys = np.empty((0, len(names))), np.empty(0)
    ends = np.array([np.full(len(names), np.inf), np.full(len(names), -np.inf)])
    for _, columns in slabs(found, names):
        table = np.stack([columns[name].astype(float) for name in names], axis=-1)
        table = table[np.isfinite(table).all(axis=1)]
        if len(table):
            ends = np.array([np.minimum(ends[0], table.min(axis=0)), np.maximum(ends[1], table.max(axis=0))])
        kept, keys = np.concatenate([kept, table]), np.concatenate([keys, rng.random(len(table))])
        order = np.argsort(keys, kind="stable")[:most]
        kept, keys = kept[order], keys[order]
    return kept, ends


def _spline(points: np.ndarray, values: np.ndarray, smoothing: float) -> Any:
    from scipy.interpolate import RBFInterpolator

    return RBFInterpolator(points, values, kernel="thin_plate_spline", smoothing=smoothing, degree=1)


def _rmse(points: np.ndarray, values: np.ndarray, smoothing: float) -> np.ndarray:
    """(M,) of (N, M) values the root of the mean squared error where each fold, a fifth, is foretold by the other four."""
    fold = np.arange(len(values)) % FOLDS
    squares = [
        (_spline(points[fold != k], values[fold != k], smoothing)(points[fold == k]) - values[fold == k]) ** 2
        for k in range(FOLDS)
    ]
    return np.asarray(np.sqrt(np.concatenate(squares).mean(axis=0)))
