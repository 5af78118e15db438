"""A sweep's numbers as labelled arrays: every variable says what it is, and an axis of names shows them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from ..code_id import code_id
from ..designs.design import COLUMNS
from ..designs.keys import GEOMETRY, MATERIAL, REASONS, STONE, about_key
from ..results.statistics import PARTS, STATISTICS
from ..scene.settings import TraceSettings
from ..version import __version__
from .axes import Plan, label_of
from .conditions import name_of
from .workers import MAKER

if TYPE_CHECKING:
    from .swept import Sweep


def dataset(plan: Plan, settings: TraceSettings, rows: np.ndarray) -> Sweep:
    """Rows (K, len(COLUMNS)) of a plan's designs as labelled arrays."""
    columns = {name: rows[:, column] for column, name in enumerate(COLUMNS)}
    columns["reason"] = columns["reason"].astype(np.int8)
    return _labelled(plan, settings, columns, {key: plan.coordinate(key) for key in plan.columns})


def form(plan: Plan, settings: TraceSettings) -> Sweep:
    """The same with zeros for the numbers, and one value for those of an axis that differ from design to design; whatever the
    number of designs, it takes no memory."""
    one: dict[str, np.ndarray] = {**dict.fromkeys(COLUMNS, np.zeros(1)), "reason": np.zeros(1, np.int8)}
    axes = {}
    for key in plan.columns:
        labels = np.array([label_of(value) for value in plan.stated(key)])
        axes[key] = labels if plan.layout == "grid" else _again(labels[:1], len(plan))
    return _labelled(plan, settings, {name: _again(zero, len(plan)) for name, zero in one.items()}, axes)


def _again(one: np.ndarray, count: int) -> np.ndarray:
    """(count,) one number again and again, in the memory of one."""
    return np.broadcast_to(one, (count,))


def _labelled(plan: Plan, settings: TraceSettings, columns: Mapping[str, np.ndarray], axes: Mapping[str, np.ndarray]) -> Sweep:
    """Columns (K,) of a plan's designs by name, and the values of its axes, as labelled arrays."""
    from .swept import Sweep  # it imports xarray

    coords: dict[str, Any] = {}
    for key, values in axes.items():
        coords[key] = ((key,) if plan.layout == "grid" else plan.dims, values, _about(*about_key(key)))
    for key, value in plan.fixed.items():
        coords[key] = ((), label_of(value), _about(*about_key(key)))
    variables: dict[str, Any] = {}
    for name in COLUMNS[:-1]:
        if name not in coords:
            variables[name] = (plan.dims, columns[name].reshape(plan.shape), _definition(name))
    codes = columns["reason"].reshape(plan.shape)
    variables["reason"] = (plan.dims, codes, {"long_name": "reason for missing numbers", **_flags()})
    about = {
        "title": "raylab sweep: statistics of designs",
        "raylab_version": __version__,
        "code": code_id(MAKER),
        "engine": str(settings.engine),
        "layout": plan.layout,
        "precision": settings.precision,
        "polarized": int(settings.polarized),
        "max_bounces": settings.max_bounces,
    }
    if settings.standard_error is not None:
        about["standard_error"] = settings.standard_error
    if remarks := _on_materials(plan):
        about["materials"] = remarks
    if plan.conditions:
        about["conditions"] = "; ".join(map(name_of, plan.conditions))
    return Sweep(variables, coords, about)


def _on_materials(plan: Plan) -> str:
    """What is left out of the materials' models, and which of their numbers are from memory; empty where there is nothing."""
    key = MATERIAL if MATERIAL in {**plan.columns, **plan.fixed} else STONE
    stated = plan.stated(key) if key in plan.columns else [plan.fixed[key]]
    some = (getattr(one, "material", one) for one in stated)
    return "; ".join(dict.fromkeys(f"{one.name}: {one.remark}" for one in some if one.remark))


def _about(long_name: str, unit: str) -> dict[str, str]:
    return {"long_name": long_name, "units": unit} if unit else {"long_name": long_name}


def _definition(name: str) -> dict[str, str]:
    if name in GEOMETRY:
        return _about(*GEOMETRY[name])
    statistic = next(known for known in STATISTICS if name in {known + part for part in PARTS})
    words = PARTS[name.removeprefix(statistic)][1]
    about = _about(statistic.replace("_", " ") + words, STATISTICS[statistic].unit)
    return {**about, "definition": STATISTICS[statistic].definition}


def _flags() -> dict[str, Any]:
    return {
        "flag_values": np.arange(len(REASONS), dtype=np.int8),
        "flag_meanings": " ".join(name for name, _ in REASONS),
        "definition": "; ".join(f"{code}: {words}" for code, (_, words) in enumerate(REASONS)),
    }
