"""`optimize`: the best design within bounds and limits, and its tolerance bands.

Statistics jump wherever the light of a virtual facet crosses an edge of the dome, so slopes mislead a search. The search has
two steps instead: points that fill the box evenly (Sobol'), then Nelder and Mead's simplex (scipy.optimize) from the best of
them. Designs that break a limit rank below all that keep it, by how much they break it; designs without a stone rank last.

A cutter also needs to know how flat the optimum is. Each proportion is therefore varied alone to both sides until the statistic
has lost more than a stated amount, or until a limit, the bounds or the validity of the stone ends the range: the **tolerance
band**. Since statistics jump, the accuracy of a band depends on the spacing of its scan; the scan is part of the result.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy.optimize import minimize

from ..designs.design import COLUMNS, trace_designs
from ..designs.keys import GEOMETRY, REASONS, complete
from ..errors import InputError, nearest
from ..progress import Progress
from ..results.statistics import STATISTICS, Statistic
from ..scene.settings import TraceSettings
from ..tracers.engines import exact_only
from ..units import number_in
from .axes import between
from .directions import sign_of
from .sweeping import sweep

if TYPE_CHECKING:
    import xarray as xr

NO_STONE, BROKEN = 1e6, 1e3
"""Scores beyond those of all statistics: of a design without a stone, and of a design that breaks a limit."""
REFINE = 5
"""Bisections of a band's end between two points of the scan."""


@dataclass(frozen=True)
class Band:
    """Range of one proportion varied alone: `low` to `high`, and the reason for each end.

    `low_end`, `high_end`: ``"loss"``, ``"bounds"``, ``"limit"`` or the name of the reason for an invalid stone.
    """

    low: float
    high: float
    low_end: str
    high_end: str


@dataclass(frozen=True)
class Optimum:
    """The result of a search.

    Attributes
    ----------
    design : the searched keys of the best design.
    statistic, goal : the objective. value : the statistic of the best design, with its bracket.
    geometry : weight, depth and so on of that design.
    bands : tolerance band of each key for `loss`. scan : the designs from which the bands follow, one key varied at a time
        (coordinate `moved`).
    ends : the end of each search, best first, as (design, value); inf if a limit is broken.
    evaluations : number of traced designs.
    """

    design: dict[str, float]
    statistic: str
    goal: str
    value: Statistic
    geometry: dict[str, float]
    loss: float
    bands: dict[str, Band]
    scan: xr.Dataset = field(repr=False)
    ends: tuple[tuple[dict[str, float], float], ...] = ()
    evaluations: int = 0

    def __str__(self) -> str:
        value = self.value
        lines = [f"{self.goal} {self.statistic}: {value.low:.4f} to {value.high:.4f}; {self.evaluations} designs traced"]
        for key, band in self.bands.items():
            span = f"{band.low:.3f} ({band.low_end}) to {band.high:.3f} ({band.high_end})"
            lines.append(f"  {key} = {self.design[key]:.3f}; changed alone, it costs at most {self.loss:g} from {span}")
        return "\n".join(lines)


class _Aim:
    """The objective and the score of a design: lower is better."""

    def __init__(
        self,
        bounds: Mapping[str, tuple[float, float]],
        rest: dict[str, Any],
        statistic: str,
        goal: str,
        limits: Any,
        settings: TraceSettings,
    ) -> None:
        self.keys, self.rest, self.settings = tuple(bounds), rest, settings
        self.low = np.array([bounds[key][0] for key in self.keys])
        self.high = np.array([bounds[key][1] for key in self.keys])
        self.column, self.sign = COLUMNS.index(statistic), -sign_of(goal, "goal")
        self.limits = [(COLUMNS.index(name), *ends) for name, ends in limits.items()]
        self.count = 0

    def design(self, point: np.ndarray) -> dict[str, float]:
        """The design at a point of the unit box."""
        return {key: float(value) for key, value in zip(self.keys, self.low + point * (self.high - self.low), strict=True)}

    def row(self, design: dict[str, float]) -> np.ndarray:
        self.count += 1
        return trace_designs([{**self.rest, **design}], self.settings)[0]

    def broken(self, row: np.ndarray) -> float:
        """By how much a design breaks its limits, as a share of each; 0 if it keeps them."""
        by = 0.0
        for column, least, most in self.limits:
            scale = max(abs(least) if math.isfinite(least) else 0.0, abs(most) if math.isfinite(most) else 0.0, 1e-9)
            by += max(0.0, least - row[column], row[column] - most) / scale
        return by

    def score(self, row: np.ndarray) -> float:
        if row[-1] != 0.0:
            return NO_STONE
        by = self.broken(row)
        return BROKEN + by if by > 0.0 else self.sign * float(row[self.column])


def optimize(
    bounds: Mapping[str, tuple[float, float]],
    dome: Any = None,
    *,
    statistic: str = "brightness",
    goal: str = "highest",
    limits: Mapping[str, tuple[float | None, float | None]] | None = None,
    loss: float = 0.01,
    starts: int = 4,
    number: int = 64,
    seed: int = 0,
    scan: int = 41,
    processes: int | None = None,
    settings: TraceSettings | None = None,
    progress: bool | Progress = False,
    **fixed: Any,
) -> Optimum:
    """The best design within bounds and limits; a round brilliant unless another ``cut`` is given.

    >>> import raylab as rl
    >>> coarse, rest = rl.TraceSettings(precision=0.2), {"table_pct": 57, "crown_angle_deg": 34.5}
    >>> best = rl.optimize({"pavilion_angle_deg": (40.0, 42.0)}, "even-sky", statistic="weight_ct", number=4, starts=1,
    ...                    limits={"depth_pct": (None, 61.5)}, settings=coarse, **rest)
    >>> best.bands["pavilion_angle_deg"].high_end
    'limit'

    Parameters
    ----------
    bounds : key to (low, high), see `sweep` for the keys. dome, **fixed : as in `sweep`.
    statistic, goal : objective: a statistic or geometry of `sweep`, and ``"highest"`` or ``"lowest"``.
    limits : a statistic or geometry to (at least, at most), None for no limit: ``{"weight_ct": (1.0, None)}``.
    loss : largest loss of the statistic within a tolerance band, in its own unit.
    starts, number, seed : searches from the best `starts` of `number` points that fill the box (a power of two).
    scan : number of points across each bound for the tolerance bands. processes, progress : see `sweep`.
    settings : settings of the traces, see `sweep`.

    Returns
    -------
    Optimum : the best design found; it is not proven to be the global optimum. Differences below the bracket of `value`
        are not certain.

    Raises
    ------
    InputError : invalid bounds, names or limits; no traced design meets the limits.
    """
    limits = _checked(bounds, statistic, goal, limits or {})
    number_in("loss", loss, 0.0, math.inf)
    number_in("starts", starts, 1, number)
    number_in("scan", scan, 3, 10_000)
    settings = exact_only(settings or TraceSettings())
    given = fixed if dome is None else {**fixed, "dome": dome}
    rest = complete(given, bounds, settings.wavelength_nm)
    aim = _Aim(bounds, rest, statistic, goal, limits, settings)
    common = {"settings": settings, "processes": processes, **given}
    box = {key: between(*ends) for key, ends in bounds.items()}
    cloud = sweep(box, layout="sobol", number=number, seed=seed, progress=progress, **common)
    aim.count += number
    points, ends = _searched(aim, cloud, starts)
    design = aim.design(points[0])
    row = aim.row(design)
    if aim.score(row) >= BROKEN:
        raise InputError("no traced design meets the limits", key="limits", expected="wider bounds or limits")
    columns = _columns(aim, design, scan)
    scanned = sweep(columns, layout="paired", progress=progress, **common)
    aim.count += len(next(iter(columns.values())))
    scanned = scanned.assign_coords(moved=("design", np.repeat(list(bounds), scan), {"long_name": "varied key"}))
    bands = {key: _band(aim, design, key, float(row[aim.column]), loss, scanned) for key in bounds}
    found = dict(zip(COLUMNS, row.tolist(), strict=True))
    low, high = (found.get(statistic + part, found[statistic]) for part in ("_low", "_high"))
    return Optimum(
        design,
        statistic,
        goal,
        Statistic(found[statistic], low, high),
        {name: found[name] for name in GEOMETRY},
        loss,
        bands,
        scanned,
        ends,
        aim.count,
    )


def _checked(bounds: Any, statistic: str, goal: str, limits: Any) -> dict[str, tuple[float, float]]:
    """The limits as numbers; raises InputError for names and bounds that can't be used."""
    known = (*STATISTICS, *GEOMETRY)
    for key, name in (("statistic", statistic), *(("limits", name) for name in limits)):
        if name not in known:
            raise InputError("unknown statistic", key=key, value=name, expected=nearest(str(name), known))
    sign_of(goal, "goal")
    if not isinstance(bounds, Mapping) or not bounds:
        raise InputError("no key to vary", key="bounds", expected="at least one, such as pavilion_angle_deg = (40, 42)")
    for key, ends in bounds.items():
        if not isinstance(ends, tuple) or len(ends) != 2:
            raise InputError("no bounds", key=key, value=ends, expected="(low, high)")
    plain = {}
    for name, (least, most) in limits.items():
        plain[name] = (-math.inf if least is None else float(least), math.inf if most is None else float(most))
        if not plain[name][0] <= plain[name][1]:
            raise InputError("empty limit", key=name, value=(least, most), expected="(at least, at most)")
    return plain


def _rows(found: xr.Dataset) -> np.ndarray:
    """(K, len(COLUMNS)) the rows of a sweep of single designs; a size that was chosen is a coordinate there."""
    columns = [found[name].broadcast_like(found.reason).values.astype(float) for name in COLUMNS]
    return np.column_stack(columns)


def _searched(aim: _Aim, cloud: xr.Dataset, starts: int) -> tuple[np.ndarray, Any]:
    """(starts, K) points where searches from the best of a cloud ended, best first, and what they are."""
    points = (np.column_stack([cloud[key].values for key in aim.keys]) - aim.low) / (aim.high - aim.low)
    order = np.argsort([aim.score(row) for row in _rows(cloud)], kind="stable")[:starts]

    def search(point: np.ndarray) -> tuple[float, np.ndarray]:
        size = len(point)
        aside = point + 0.08 * np.eye(size) * np.where(point < 0.5, 1.0, -1.0)
        options = {
            "initial_simplex": np.vstack([point, aside]),
            "xatol": 1e-3,
            "fatol": aim.settings.precision / 20.0,
            "maxfev": 60 * size,
        }
        box = [(0.0, 1.0)] * size
        found = minimize(lambda x: aim.score(aim.row(aim.design(x))), point, method="Nelder-Mead", bounds=box, options=options)
        return float(found.fun), np.asarray(found.x)

    with ThreadPoolExecutor(min(starts, 8)) as pool:  # the kernel lets other threads run
        found = list(pool.map(search, points[order]))
    found.sort(key=lambda one: one[0])
    ends = tuple((aim.design(point), score * aim.sign if score < BROKEN else math.inf) for score, point in found)
    return np.array([point for _, point in found]), ends


def _columns(aim: _Aim, design: dict[str, float], scan: int) -> dict[str, list[float]]:
    """Designs with one key moved across its bounds at a time, the others at the optimum, as paired axes."""
    columns: dict[str, list[float]] = {key: [] for key in aim.keys}
    for k, moved in enumerate(aim.keys):
        for key in aim.keys:
            values = np.linspace(aim.low[k], aim.high[k], scan).tolist() if key == moved else [design[key]] * scan
            columns[key] += values
    return columns


def _band(aim: _Aim, design: dict[str, float], key: str, best: float, loss: float, scanned: xr.Dataset) -> Band:
    """The tolerance band of one key, read from the scan and refined by bisection."""
    mine = scanned.isel(design=np.flatnonzero(scanned.moved.values == key))

    def ended(row: np.ndarray) -> str:
        """What ends the band at a design; empty where it goes on."""
        if row[-1] != 0.0:
            return REASONS[int(row[-1])][0]
        if aim.broken(row) > 0.0:
            return "limit"
        return "loss" if aim.sign * (float(row[aim.column]) - best) > loss else ""

    steps = [(float(value), ended(row)) for value, row in zip(mine[key].values, _rows(mine), strict=True)]

    def edge(ends: list[tuple[float, str]]) -> tuple[float, str]:
        inside = design[key]
        for outside, why in ends:
            if why:
                for _ in range(REFINE):
                    middle = (inside + outside) / 2.0
                    there = ended(aim.row({**design, key: middle}))
                    inside, outside, why = (inside, middle, there) if there else (middle, outside, why)
                return inside, why
            inside = outside
        return inside, "bounds"

    low, low_end = edge([step for step in reversed(steps) if step[0] < design[key]])
    high, high_end = edge([step for step in steps if step[0] > design[key]])
    return Band(low, high, low_end, high_end)
