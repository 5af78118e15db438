"""Designs that an engine builds itself: as lots of one cut under one light, and their rows all at once."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from typing import Any

import numpy as np

from ..errors import InputError
from ..lighting.dome import Dome
from ..optics.materials import Material
from ..results.statistics import numbers_of
from ..results.statistics.goals import goal_within
from ..results.statistics.limits import Limits, limits_under
from ..results.summary import record
from ..scene.settings import TraceSettings
from ..stone.cuts import USUAL
from ..stone.cuts.cut import Cut
from ..stone.finish import Finish
from ..stone.known_cuts import get_cut
from ..tracers.engine import BuildingEngine, Built, Lot
from ..tracers.randomizations import totals_from
from .columns import Columns, Picked
from .deviations import deviation
from .keys import CUT, OUT_OF_RANGE, PARAMETERS, STONE, TRACED, needed, reason_of
from .making import dome_in, material_of, view_of

AT_A_TIME = 4096
"""Designs whose covariances are in memory at a time: 14 megabytes."""


def built_rows(engine: BuildingEngine, run: Columns, settings: TraceSettings, rows: np.ndarray) -> np.ndarray:
    """Fill the rows (K, C) of the designs that an engine builds, and of those out of range.

    Returns (K,) which ones are left: not built by it, their stone or their reason has to come from the cut.
    """
    left = np.ones(len(run), dtype=bool)
    for members, lot in _lots(run, settings, rows, left):
        if engine.builds(lot.cut, frozenset({*lot.values, *lot.stated})):
            built = engine.built(lot)
            here = built.fault >= 0
            rows[members[here]] = _rows(lot, built, rows.shape[1])[here]
            left[members[here]] = False
    return left


def builds_all(engine: BuildingEngine, cuts: Iterable[str], keys: Iterable[str]) -> bool:
    """Whether an engine builds all designs that have these keys, of any of these cuts."""
    keys = tuple(keys)
    if STONE in keys or any(deviation(key) is not None for key in keys):
        return False
    for cut in map(get_cut, cuts):
        stated = {key for key in keys if key in cut.keys}
        stated |= set(cut.defaults(dict.fromkeys(stated)))
        converted = {one.key: one.instead_of for one in cut.parameters if one.converted is not None}
        if not engine.builds(cut.name, frozenset(converted.get(key) or key for key in stated)):
            return False
    return True


def _lots(run: Columns, settings: TraceSettings, rows: np.ndarray, left: np.ndarray) -> Iterator[tuple[np.ndarray, Lot]]:
    """Numbers of designs and what they are as a lot; those out of range get their rows, and are left no more."""
    if STONE in run.keys or any(deviation(key) is not None for key in run.keys):
        return
    for members in _alike(run):
        design = run.first(members)
        try:
            cut, dome, material = get_cut(design.get(CUT, USUAL)), dome_in(design), material_of(design)
            one = replace(settings, wavelengths_nm=design["wavelength_nm"])
            material.n(one.wavelength_nm)
            material.absorption_per_mm(one.wavelength_nm)
            some = run.at(members)
            values, stated, allowed = _settled(cut, some, design)
            goal = goal_within(_limits(dome, material, one, stated), one)
            lot = Lot(cut.name, values, stated, material, dome, view_of(design), one, goal)
        except InputError:  # whichever of its reasons comes first, the design itself tells
            continue
        outside = members[~allowed]
        rows[outside, -1] = OUT_OF_RANGE
        left[outside] = False
        if allowed.any():
            yield members[allowed], lot


def _alike(run: Columns) -> list[np.ndarray]:
    """Numbers of the designs that differ in nothing but numbers of their cut, each kind in order."""
    kinds = np.zeros(len(run), dtype=np.int64)
    for key, column in run.varied.items():
        if key in PARAMETERS and not PARAMETERS[key].choices:
            continue
        if isinstance(column, Picked):
            same: dict[Any, int] = {}
            codes = np.array([same.setdefault(_identity(value), len(same)) for value in column.values])[column.at]
        else:
            _, codes = np.unique(column, return_inverse=True)
        _, kinds = np.unique(kinds * (int(codes.max(initial=0)) + 1) + codes, return_inverse=True)
    order = np.argsort(kinds, kind="stable")
    return np.split(order, np.flatnonzero(np.diff(kinds[order])) + 1) if len(run) else []


def _identity(value: Any) -> Any:
    """What tells values of a key apart: for a dome what it does to light, for a material itself."""
    if isinstance(value, Dome):
        return value.digest
    return value if isinstance(value, str | int | float) else id(value)


def _settled(cut: Cut, run: Columns, design: Mapping[str, Any]) -> tuple[dict[str, np.ndarray], dict[str, Any], np.ndarray]:
    """`Cut.settled` of many: the numbers of those designs that are allowed, what all state by choice, and which these are.

    Raises InputError for a choice that is not allowed, and where a parameter is missing.
    """
    keys = {key for key in run.keys if key in cut.keys}
    for choices in needed(cut):
        if not keys & set(choices):
            raise InputError("missing", key=" or ".join(choices), expected="an axis or a fixed value")
    usual = cut.defaults(dict.fromkeys(keys))
    full: dict[str, np.ndarray] = {}
    stated: dict[str, Any] = {}
    allowed = np.ones(len(run), dtype=bool)
    for one in cut.parameters:
        if one.key not in keys and one.key not in usual:
            continue
        if one.choices:
            stated[one.key] = one.checked(design.get(one.key, usual.get(one.key)))
        else:
            full[one.key] = run.numbers(one.key) if one.key in keys else np.broadcast_to(float(usual[one.key]), (len(run),))
            allowed &= one.allows(full[one.key])
    values = {key: numbers if allowed.all() else numbers[allowed] for key, numbers in full.items()}
    for one in cut.parameters:
        if one.instead_of is not None and one.converted is not None and one.key in values:
            given = values.pop(one.key).tolist()
            others = (
                dict(zip(values, each, strict=True)) for each in zip(*(part.tolist() for part in values.values()), strict=True)
            )
            values[one.instead_of] = np.array([one.converted(*pair) for pair in zip(given, others, strict=True)])
    return values, stated, allowed


def _limits(dome: Dome, material: Material, settings: TraceSettings, stated: Mapping[str, Any]) -> Limits:
    """The limits of the designs of a lot; `stated` as in `Lot`."""
    finishes = [one for one in stated.values() if isinstance(one, Finish)]
    return limits_under(dome, material, settings.wavelength_nm, finishes)


def _rows(lot: Lot, built: Built, columns: int) -> np.ndarray:
    """(D, columns) the rows of a lot; those of designs that weren't built mean nothing."""
    codes = np.array([TRACED, *(reason_of(reason) for reason in get_cut(lot.cut).reasons)], dtype=float)
    rows = np.full((len(built.fault), columns), np.nan)
    rows[:, -1] = codes[built.fault]
    limits = _limits(lot.dome, lot.material, lot.settings, lot.stated)
    traced = np.flatnonzero(built.fault == 0)
    for some in (traced[start : start + AT_A_TIME] for start in range(0, len(traced), AT_A_TIME)):
        plain = totals_from(built.means[some], built.points[some], built.area_mm2[some], limits)
        totals = plain.with_errors(built.factor[some])
        found = numbers_of(record(lot.settings.wavelength_nm, totals, limits).statistics)
        others = [*built.geometry[some].T, built.area_mm2[some]]
        rows[some, :-1] = np.stack([*found, *others], axis=-1)
    return rows
