"""What a sweep is, as plain values: equal for the same sweep, and said in words where two differ."""

from __future__ import annotations

import hashlib
import json
from typing import Any

import numpy as np

from ..lighting.dome import Dome
from ..optics.materials import Material
from ..stone.stone import Stone
from .axes import Plan


def facts_of(plan: Plan, settings: dict[str, Any], code: str) -> dict[str, Any]:
    """All that decides a sweep's numbers, as plain values: equal for the same sweep."""
    waves = [float(w) for w in plan.columns.get("wavelength_nm", (plan.fixed.get("wavelength_nm"),))]
    return {
        "raylab_sweep": 1,
        "code": code,
        "settings": {key: list(value) if isinstance(value, tuple) else value for key, value in settings.items()},
        "layout": plan.layout,
        "axes": {key: [_plain(value, waves) for value in values] for key, values in plan.columns.items()},
        "order": list(plan.columns),
        "fixed": {key: _plain(value, waves) for key, value in plan.fixed.items()},
    }


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


def designs_in(facts: dict[str, Any]) -> int:
    """How many designs a sweep has."""
    sizes = [len(values) for values in facts["axes"].values()]
    return int(np.prod(sizes, dtype=np.int64)) if facts["layout"] == "grid" else sizes[0]


def difference(found: dict[str, Any], wanted: dict[str, Any]) -> str:
    """In words, the first thing in which two sweeps differ."""
    words = {"code": "it was computed by another version of the code", "order": "its axes have another order"}
    for key in ("raylab_sweep", "code", "layout", "settings", "fixed", "axes", "order"):
        one, other = found.get(key), wanted[key]
        if one == other:
            continue
        if isinstance(other, dict) and isinstance(one, dict):
            missing = object()
            name = next(name for name in [*other, *one] if one.get(name, missing) != other.get(name, missing))
            return f"{key}.{name} differs"
        return words.get(key, f"its {key} differs")
    return "it has more keys"
