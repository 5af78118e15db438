"""What a sweep is, as plain values: equal for the same sweep, and said in words where two differ."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from typing import Any

import numpy as np

from ..lighting.dome import Dome
from ..optics.materials import Material
from ..stone.stone import Stone
from .axes import Plan
from .points import BLOCK, Filled, Points

WAVES = 65
"""Wavelengths of a range at which materials are told apart."""


def facts_of(plan: Plan, settings: dict[str, Any], code: str, excluded: str = "", pieces: bool = False) -> dict[str, Any]:
    """All that decides a sweep's numbers, and the kind of its result, as plain values: equal for the same sweep.

    Parameters
    ----------
    code : see `code_id`. excluded : what tells the designs that the conditions exclude, see `counting.Count`.
    pieces : whether the result is a Zarr folder.
    """
    waves = _waves(plan.columns.get("wavelength_nm", (plan.fixed.get("wavelength_nm"),)))
    points = next((values.points for values in plan.columns.values() if isinstance(values, Filled)), None)
    return {
        "raylab_sweep": 2,
        "code": code,
        "result": "zarr" if pieces else "netcdf",
        "settings": {key: list(value) if isinstance(value, tuple) else value for key, value in settings.items()},
        "layout": plan.layout,
        "points": None if points is None else {"number": points.number, "seed": points.seed, "digest": _points_digest(points)},
        "axes": {key: [_plain(value, waves) for value in plan.stated(key)] for key in plan.columns},
        "order": list(plan.columns),
        "fixed": {key: _plain(value, waves) for key, value in plan.fixed.items()},
        "excluded": excluded,
    }


def _waves(values: Sequence[Any]) -> list[float]:
    """Wavelengths of a sweep, nm; of a range, some."""
    if isinstance(values, Filled) and values.between:
        return [float(one) for one in np.linspace(values.values[0], values.values[1], WAVES)]
    return [float(one) for one in (values.values if isinstance(values, Filled) else values)]


def _points_digest(points: Points) -> str:
    """SHA-256 (hexadecimal) of the last points, so that another release of their maker isn't taken for the same."""
    return hashlib.sha256(points.rows(max(0, points.number - BLOCK), points.number).tobytes()).hexdigest()


def _plain(value: Any, waves_nm: list[float]) -> Any:
    """A design's value in JSON's kinds; stones, domes and materials by name and by a hash of what they do to light."""
    if isinstance(value, Stone):
        return f"{value.name} {_digest(value, waves_nm)[:16]}"
    if isinstance(value, Dome):
        return f"{value.name} {value.digest[:16]}"
    if isinstance(value, Material):
        return f"{value.name} {value.digest(waves_nm)[:16]}"
    return value


def _digest(stone: Stone, waves_nm: list[float]) -> str:
    """SHA-256 (hexadecimal) of a stone: planes, names, finishes, symmetry, material and cut."""
    words = [*stone.facts(), stone.cut, stone.material.digest(waves_nm)]
    return hashlib.sha256(json.dumps(words).encode() + stone.plane_bytes()).hexdigest()


def shape_in(facts: dict[str, Any]) -> tuple[int, ...]:
    """Sizes of the dimensions of a sweep's result."""
    sizes = tuple(len(values) for values in facts["axes"].values())
    if facts["layout"] == "grid":
        return sizes
    return sizes[:1] if facts.get("points") is None else (int(facts["points"]["number"]),)


def difference(found: dict[str, Any], wanted: dict[str, Any]) -> str:
    """In words, the first thing in which two sweeps differ."""
    words = {
        "code": "it was computed by another version of the code",
        "order": "its axes have another order",
        "result": "its result is of the other kind (sweep.nc or sweep.zarr)",
        "excluded": "its conditions exclude other designs",
    }
    for key in ("raylab_sweep", "code", "layout", "result", "settings", "fixed", "axes", "points", "order", "excluded"):
        one, other = found.get(key), wanted.get(key)
        if one == other:
            continue
        if isinstance(other, dict) and isinstance(one, dict):
            missing = object()
            name = next(name for name in [*other, *one] if one.get(name, missing) != other.get(name, missing))
            return f"{key}.{name} differs"
        return words.get(key, f"its {key} differs")
    return "it has more keys"
