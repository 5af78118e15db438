"""A design: a round brilliant, its light and its view as one flat set of named values; and its exact statistics.

A design is a dict. Its keys (`KEYS`) are the proportions of `round_brilliant`, what the stone is made of, the dome, the
view's tilt and the wavelength: whatever a sweep may vary, a gradient derive by, or a search choose. `trace_designs` gives each
a row of numbers (`COLUMNS`). A combination that is no stone gets a reason (`REASONS`) instead of numbers, so that one
impossible corner doesn't end a sweep of thousands.
"""

from __future__ import annotations

import inspect
from collections.abc import Iterable, Mapping
from dataclasses import fields, replace
from typing import Any

import numpy as np

from ..errors import InputError, StoneError, UnsupportedScene, nearest
from ..lighting.dome import Dome
from ..lighting.dome_file import load_dome
from ..optics.materials import get_material
from ..results.statistics import STATISTICS
from ..results.summary import exact_record
from ..scene.scene import Scene
from ..scene.settings import TraceSettings
from ..scene.view import View
from ..stone.cuts.round_brilliant import round_brilliant
from ..stone.finish import get_finish
from ..stone.stone import Stone
from ..units import SODIUM_D_NM, number_in

Design = Mapping[str, Any]

STONE_KEYS = {
    "table_pct": ("table size", "%"),
    "crown_angle_deg": ("crown angle", "degree"),
    "crown_height_pct": ("crown height", "%"),
    "pavilion_angle_deg": ("pavilion angle", "degree"),
    "pavilion_depth_pct": ("pavilion depth", "%"),
    "star_pct": ("star length", "%"),
    "lower_half_pct": ("lower-half length", "%"),
    "girdle_pct": ("girdle thickness at the mains", "%"),
    "culet_pct": ("culet size", "%"),
    "girdle_facets": ("girdle facets", "1"),
    "girdle_finish": ("girdle finish", ""),
    "diameter_mm": ("girdle diameter", "mm"),
    "weight_ct": ("weight", "ct"),
    "material": ("material", ""),
    "absorption_per_mm": ("absorption coefficient", "1/mm"),
}
LIGHT_KEYS = {
    "dome": ("dome", ""),
    "tilt_deg": ("tilt", "degree"),
    "tilt_azimuth_deg": ("azimuth of the tilt", "degree"),
    "turn_deg": ("turn about the axis", "degree"),
    "wavelength_nm": ("wavelength in air", "nm"),
}
KEYS: dict[str, tuple[str, str]] = {**STONE_KEYS, **LIGHT_KEYS}
"""Everything a design says: long name and unit; percentages are of the girdle diameter. A name has no unit."""

ONE_OF = (
    ("crown_angle_deg", "crown_height_pct"),
    ("pavilion_angle_deg", "pavilion_depth_pct"),
    ("diameter_mm", "weight_ct"),
)
"""Keys that say the same thing in two ways."""

GEOMETRY: dict[str, tuple[str, str]] = {
    "weight_ct": ("weight", "ct"),
    "diameter_mm": ("girdle diameter", "mm"),
    "depth_pct": ("total depth, percent of the girdle diameter", "%"),
    "spread_mm2_per_ct": ("face-up outline area per carat", "mm^2/ct"),
    "area_mm2": ("area of the outline as seen", "mm^2"),
}

REASONS: tuple[tuple[str, str], ...] = (
    ("traced", "a stone, traced"),
    ("out_of_range", "a number outside the range that raylab takes"),
    ("stars_cross_table", "the stars would cross the table"),
    ("lower_halves_past_culet", "the lower halves would run past the culet"),
    ("girdle_vanishes", "the girdle vanishes in the valleys between the halves"),
    ("no_closed_stone", "the planes enclose no stone of which each is a facet"),
    ("index_not_known", "the material's index is not known at the wavelength"),
)
"""Why a design has no numbers, by code: name and meaning. 0 means that it has."""

TRACED, OUT_OF_RANGE, NO_CLOSED_STONE, INDEX_NOT_KNOWN = 0, 1, 5, 6
_REASON_OF_KEY = {"star_pct": 2, "lower_half_pct": 3, "girdle_pct": 4, "girdle_facets": OUT_OF_RANGE}

PARTS = ("", "_low", "_high")
COLUMNS = (*(name + part for name in STATISTICS for part in PARTS), *GEOMETRY, "reason")
"""A design's row of numbers: each statistic with its bracket, the geometry, the reason code."""


def complete(given: Design, varied: Iterable[str] = (), wavelength_nm: float = SODIUM_D_NM) -> dict[str, Any]:
    """What `given` and the defaults say about all that is not `varied`; names become domes and materials.

    `wavelength_nm` holds where neither says another. Raises InputError for an unknown key, both of two alternatives or neither,
    an unknown name.
    """
    varied = tuple(varied)
    for key in (*given, *varied):
        if key not in KEYS:
            raise unknown_key(key)
    stated = [*varied, *(key for key, value in given.items() if value is not None)]
    for key in stated:
        if stated.count(key) > 1:
            raise InputError("both an axis and a fixed value", key=key, expected="one of the two")
    for pair in ONE_OF:
        if set(pair) <= set(stated):
            raise InputError(f"{pair[0]} and {pair[1]} are alternatives; give only one", key=pair[1])
    full = {key: value for key, value in _defaults(stated, wavelength_nm).items() if key not in stated}
    full.update({key: resolved(key, value) for key, value in given.items() if value is not None})
    for needed in (("table_pct",), *ONE_OF[:2], ("dome",)):
        if not set(needed) & {*full, *varied}:
            raise InputError("missing", key=" or ".join(needed), expected="an axis or a fixed value")
    return {key: full[key] for key in KEYS if key in full}


def unknown_key(key: str) -> InputError:
    """The refusal of a key that no design has; of a setting, with the place where settings are given."""
    if key in {one.name for one in fields(TraceSettings)}:
        return InputError("no design key but a setting", key=key, expected=f"settings=TraceSettings({key}=...)")
    return InputError("unknown design key", key=key, expected=nearest(key, KEYS))


def _defaults(stated: Iterable[str], wavelength_nm: float) -> dict[str, Any]:
    """The defaults of `round_brilliant` and `View`, one size, one wavelength."""
    size = {} if set(ONE_OF[2]) & set(stated) else {"diameter_mm": 6.5}
    known: dict[str, Any] = {"wavelength_nm": wavelength_nm, "material": get_material("diamond"), **size}
    for constructor in (round_brilliant, View):
        for key, parameter in inspect.signature(constructor).parameters.items():
            if key in KEYS and key not in known and parameter.default not in (None, inspect.Parameter.empty):
                known[key] = parameter.default
    return known


def resolved(key: str, value: Any) -> Any:
    """A dome or material for its name, a plain number for a number. Raises InputError for anything else."""
    if key == "dome":
        return value if isinstance(value, Dome) else load_dome(value)
    if key == "material":
        return get_material(value)
    if key == "girdle_finish":
        return get_finish(value, key).kind
    number = number_in(key, value, -1e9, 1e9)
    return int(number) if key == "girdle_facets" and number == int(number) else number


def stone_of(design: Design) -> Stone:
    """The stone of a design. Raises StoneError where its proportions are no brilliant."""
    proportions = {key: design[key] for key in STONE_KEYS if key in design}
    absorption = proportions.pop("absorption_per_mm", None)
    if absorption is not None:
        proportions["material"] = get_material(proportions.get("material", "diamond")).tinted(absorption)
    return round_brilliant(**proportions)


def view_of(design: Design) -> View:
    """The view of a design."""
    return View(**{key: design[key] for key in ("tilt_deg", "tilt_azimuth_deg", "turn_deg") if key in design})


def reason_for(error: InputError) -> int:
    """The code of an error that a design raised; see `REASONS`."""
    if isinstance(error, StoneError):
        return _REASON_OF_KEY.get(str(error.key), NO_CLOSED_STONE)
    return INDEX_NOT_KNOWN if error.key == "wavelengths_nm" else OUT_OF_RANGE


def trace_designs(designs: Iterable[Design], settings: TraceSettings) -> np.ndarray:
    """(K, len(COLUMNS)) one row for each design; those that are no stone are NaN but for the reason.

    Designs that follow each other and differ in light or view alone share their stone.

    Raises UnsupportedScene where no exact engine can trace them.
    """
    rows, last, stone = [], None, None
    for design in designs:
        try:
            proportions = {key: design[key] for key in STONE_KEYS if key in design}
            if stone is None or proportions != last:
                stone = None
                stone = stone_of(design)
                last = proportions
            rows.append(_row(scene_of(stone, design, settings)))
        except UnsupportedScene:  # no fault of the one design
            raise
        except InputError as error:
            rows.append(np.full(len(COLUMNS), np.nan))
            rows[-1][-1] = reason_for(error)
    return np.array(rows).reshape(-1, len(COLUMNS))


def scene_of(stone: Stone, design: Design, settings: TraceSettings) -> Scene:
    """A design whose stone is built, under its light, at its wavelength."""
    return Scene(stone, design["dome"], view_of(design), replace(settings, wavelengths_nm=design["wavelength_nm"]))


def _row(scene: Scene) -> np.ndarray:
    found = exact_record(scene, threads=1)
    numbers = [number for one in found.statistics.values() for number in (one.value, one.low, one.high)]
    return np.array([*numbers, *geometry_of(scene.stone).values(), found.area_mm2, TRACED])


def geometry_of(stone: Stone) -> dict[str, float]:
    """A round brilliant's numbers that need no light: `GEOMETRY` without the outline as seen."""
    diameter_mm, _, height_mm = stone.size_mm  # a girdle corner lies on +x and one on -x
    return {
        "weight_ct": stone.weight_ct,
        "diameter_mm": float(diameter_mm),
        "depth_pct": float(100.0 * height_mm / diameter_mm),
        "spread_mm2_per_ct": stone.spread_mm2_per_ct,
    }
