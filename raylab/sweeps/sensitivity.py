"""Which axes a number depends on: shares of its variance by designs that were traced, and Sobol' indices by a function.

The first-order share (or index) of an axis is the variance of the mean over all other axes, V(E(y | x)), over the variance
V(y): what would go if that axis were known. The total-order index adds all that the axis does together with others. Sobol',
Math. Comput. Simul. 55 (2001) 271-280; scipy's estimators: Saltelli et al., Comput. Phys. Commun. 181 (2010) 259-270.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING

import numpy as np

from ..errors import InputError
from ..units import number_in, whole_in
from .axes import Between
from .slabs import axes_of, numbers_in, slabs

if TYPE_CHECKING:
    import xarray as xr

RESAMPLES = 999
"""Of the bootstrap that gives intervals."""


def variance_shares(found: xr.Dataset, statistic: str, *, classes: int = 20) -> xr.DataArray:
    """Which share of a statistic's variance among the designs of a sweep each axis accounts for alone.

    >>> import numpy as np, xarray as xr
    >>> axes = {"a": [0.0, 1.0], "b": [0.0, 1.0]}
    >>> found = xr.Dataset({"y": (("a", "b"), [[0.0, 1.0], [3.0, 4.0]])}, axes)   # 3 a + b
    >>> variance_shares(found, "y").values.round(6).tolist()
    [0.9, 0.1]

    Parameters
    ----------
    found : the result of a sweep. statistic : a variable of it.
    classes : into how many parts of equal width an axis is divided whose values are a number for each design; the share is then
        corrected for what so many classes would take of pure chance (epsilon squared, Kelley, PNAS 21 (1935) 554-559).

    Returns
    -------
    xarray.DataArray : the share of each axis, on `axis`. Designs without a number are left out: where they leave holes, axes
        depend on each other, and the share of one is partly that of another.

    Raises
    ------
    InputError : no such variable, no axis, fewer than two different values.
    """
    import xarray as xr

    whole_in("classes", classes, 2, 10_000)
    numbers_in(found, statistic, "statistic")
    axes = axes_of(found, statistic)
    grouping = {key: _classes(found, key, classes) for key in axes}
    sums = {key: np.zeros((count, 2)) for key, (count, _) in grouping.items()}
    total, pivot = np.zeros(3), np.nan
    for _, columns in slabs(found, [statistic, *axes]):
        known = np.isfinite(columns[statistic])
        if not known.any():
            continue
        pivot = columns[statistic][known][0] if np.isnan(pivot) else pivot
        values = columns[statistic][known] - pivot  # keeps digits where numbers differ little
        total += len(values), values.sum(), (values**2).sum()
        for key, (count, class_of) in grouping.items():
            of = class_of(columns[key][known])
            sums[key] += np.stack([np.bincount(of, minlength=count), np.bincount(of, values, count)], axis=-1)
    count, mean, spread = total[0], total[1] / max(1.0, total[0]), total[2]
    spread -= count * mean**2
    if not axes or count < 2 or not spread > 0.0:
        raise InputError("no axis, or no two different values", key=statistic, expected="designs with different numbers")
    shares = [_share(sums[key], mean, spread, corrected=key not in found[statistic].dims) for key in axes]
    about = {"long_name": f"share of the variance of {statistic.replace('_', ' ')}", "units": "1", "designs": int(count)}
    return xr.DataArray(shares, {"axis": axes}, attrs=about, name="variance_share")


def _classes(found: xr.Dataset, key: str, classes: int) -> tuple[int, Callable[[np.ndarray], np.ndarray]]:
    """How many classes an axis has, and the class of each of its values: a value of its own, or one of equal parts."""
    if key in found[key].dims or found[key].dtype.kind not in "fiu":
        known = np.unique(found[key].values)
        return len(known), lambda values: np.searchsorted(known, values)
    ends = [(columns[key].min(), columns[key].max()) for _, columns in slabs(found, [key])]
    low, high = min(low for low, _ in ends), max(high for _, high in ends)
    scale = classes / (high - low) if high > low else 0.0
    return classes, lambda values: np.minimum(((values - low) * scale).astype(int), classes - 1)


def _share(sums: np.ndarray, mean: float, spread: float, corrected: bool) -> float:
    """Variance between classes over variance; `sums` (K, 2) holds count and sum of each class."""
    full = sums[sums[:, 0] > 0]
    between = float((full[:, 0] * (full[:, 1] / full[:, 0] - mean) ** 2).sum()) / spread
    count = full[:, 0].sum()
    return 1.0 - (count - 1.0) / (count - len(full)) * (1.0 - between) if corrected and count > len(full) else between


def sobol_indices(
    function: Callable[[Mapping[str, np.ndarray]], np.ndarray],
    axes: Mapping[str, Between],
    *,
    number: int = 1024,
    seed: int = 0,
    coverage: float = 0.95,
) -> xr.Dataset:
    """Sobol' indices of a function of several axes, each even over its range; with intervals by the bootstrap.

    >>> from raylab import between
    >>> found = sobol_indices(lambda at: 3 * at["a"] + at["b"], {"a": between(0, 1), "b": between(0, 1)})
    >>> found.first_order.values.round(2).tolist()
    [0.9, 0.1]

    Parameters
    ----------
    function : of a mapping of each axis to (N,) values, gives (N,) numbers: a `Surrogate`, or one that traces, as in
        ``lambda at: rl.sweep(at, dome, layout="paired", **others).brightness.values``.
    axes : key to `between`. number : a power of two; the function is asked for (len(axes) + 2) times as many designs.
    seed : key of the points and of the bootstrap. coverage : of the intervals.

    Returns
    -------
    xarray.Dataset : `first_order` and `total_order` on `axis`, each with ``_low`` and ``_high``.

    Raises
    ------
    InputError : no axis, an empty range, a number that is no power of two, a function whose numbers are not finite.
    """
    import xarray as xr
    from scipy import stats

    if not isinstance(axes, Mapping) or not axes or not all(isinstance(one, Between) for one in axes.values()):
        raise InputError("not axes", key="axes", expected="a mapping of keys to between(low, high)")
    if not all(one.low < one.high for one in axes.values()):
        raise InputError("empty range", key="axes", expected="low before high")
    if whole_in("number", number, 2, 2**20) & (number - 1):
        raise InputError("not a power of two", key="number", value=number, expected="2, 4, 8, ...")
    number_in("coverage", coverage, 0.01, 0.9999)

    def asked(points: np.ndarray) -> np.ndarray:
        found = np.asarray(function(dict(zip(axes, points, strict=True))), dtype=float)
        if found.shape != points.shape[1:] or not np.isfinite(found).all():
            missing = int(np.count_nonzero(~np.isfinite(found)))
            problem = f"the function gave {found.size} numbers for {points.shape[1]} designs, {missing} of them not finite"
            raise InputError(problem, key="function", expected="a finite number for each design")
        return found

    dists = [stats.uniform(one.low, one.high - one.low) for one in axes.values()]
    rng = np.random.default_rng(whole_in("seed", seed, 0, 2**63 - 1))
    indices = stats.sobol_indices(func=asked, n=number, dists=dists, rng=rng)
    ends = indices.bootstrap(confidence_level=coverage, n_resamples=RESAMPLES)
    found = {}
    for order, words in (("first_order", "alone"), ("total_order", "alone and with others")):
        interval = getattr(ends, order).confidence_interval
        parts = {"": getattr(indices, order), "_low": interval.low, "_high": interval.high}
        about = {"long_name": f"share of the variance by the axis {words}", "units": "1"}
        found.update({order + part: ("axis", np.ravel(values), about) for part, values in parts.items()})
    return xr.Dataset(found, {"axis": list(axes)}, {"number": number, "seed": seed, "coverage": coverage})
