"""What the page calls a design: plain JSON that says which stone is meant, and the ways from it and to it.

Two kinds stand by themselves. Proportions are the parameters of `round_brilliant`, with a body colour:

    {"kind": "round brilliant", "table_pct": 57, "crown_angle_deg": 34.5, ..., "absorption_per_mm": 0}

A table of measured facets, one row each: tier, number, slope (angle of the outward normal from straight up), azimuth,
distance, finish:

    {"kind": "facets", "name": "W-1", "material": "diamond", "symmetry": {"order": 8, "mirror_deg": 0},
     "facets": [["table", 0, 0, 0, 1.05, "polished"], ...]}

Two more kinds take material away from one of these, see `reworked`.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable
from typing import Any, Literal

import numpy as np

from ..errors import InputError, StoneError, nearest
from ..optics.materials import Material, get_material
from ..stone.cuts.round_brilliant import round_brilliant
from ..stone.finish import get_finish
from ..stone.proportions import measure
from ..stone.stone import Stone
from ..stone.symmetry_group import SymmetryGroup
from ..toml_tables import NumberOrPairs, Table, schema, schema_of
from ..units import number_in
from . import derived_designs as reworked

PROPORTIONS, FACETS = "round brilliant", "facets"
MAX_FACETS = 2000

_BRILLIANT = schema_of(round_brilliant, kind=(Literal[PROPORTIONS], ...), absorption_per_mm=(NumberOrPairs, 0.0))
_TABLE = schema(
    kind=(Literal[FACETS], ...),
    facets=(list[list[Any]], ...),
    name=(str, "stone"),
    material=(str, "diamond"),
    symmetry=(dict, {}),
    absorption_per_mm=(NumberOrPairs, 0.0),
)
_SYMMETRY = schema_of(SymmetryGroup)
_SCHEMAS = {PROPORTIONS: _BRILLIANT, FACETS: _TABLE}

Design = dict[str, Any]

DEMO: Design = {
    "kind": PROPORTIONS,
    "name": "W-1 (invented)",
    "table_pct": 57.0,
    "crown_angle_deg": 34.5,
    "pavilion_angle_deg": 40.75,
    "star_pct": 50.0,
    "lower_half_pct": 77.0,
    "girdle_pct": 3.5,
    "culet_pct": 0.0,
    "diameter_mm": 6.5,
    "girdle_facets": 96,
    "girdle_finish": "polished",
    "material": "diamond",
    "absorption_per_mm": 0.0,
}
"""What the workbench opens with when no stone is named; proportions of common trade practice, an invented stone."""


def stone_of(design: Any) -> Stone:
    """The stone that a design means. Raises InputError, one line that names the key, where it means none."""
    return stones_of(design)[1]


def stones_of(design: Any) -> tuple[Stone | None, Stone]:
    """The stone that a design takes material away from, None where it takes none, and the one that it means."""
    kind = _kind(design, (*_SCHEMAS, *reworked.KINDS))
    if kind in reworked.KINDS:
        expected, rework = reworked.KINDS[kind]
        values = Table("", "", design).checked(expected).values
        del values["kind"]
        _kind(values["of"], _SCHEMAS)
        return rework(stone_of(values.pop("of")), **values)
    values = Table("", "", design).checked(_SCHEMAS[kind]).values
    del values["kind"]
    values["material"] = _material(values)
    return None, (round_brilliant if kind == PROPORTIONS else _from_rows)(**values)


def _kind(design: Any, known: Iterable[str]) -> str:
    kind = design.get("kind") if isinstance(design, dict) else None
    if not isinstance(kind, str) or kind not in known:
        raise InputError("unknown kind of design", key="kind", value=kind, expected=nearest(str(kind), known))
    return kind


def _material(values: dict[str, Any]) -> Material:
    """The material with its body colour, taken out of `values`."""
    absorption, material = values.pop("absorption_per_mm", 0.0), get_material(values.pop("material", "diamond"))
    return material.tinted(absorption) if np.ndim(absorption) or absorption else material


def _from_rows(
    facets: Any, name: str = "stone", symmetry: dict[str, Any] | None = None, material: Material | str = "diamond"
) -> Stone:
    """A stone from the rows of a facet table."""
    if not 4 <= len(facets) <= MAX_FACETS:
        raise StoneError("not a usable number of facets", key="facets", value=len(facets), expected=f"4 to {MAX_FACETS}")
    stated = Table("", "symmetry", symmetry or {}).checked(_SYMMETRY)
    group = stated.build(SymmetryGroup, **stated.values)
    rows = [_row(row) for row in facets]
    tiers, numbers, slopes, azimuths, distances, finishes = (list(column) for column in zip(*rows, strict=True))
    return Stone.from_planes(
        _normals(np.array(slopes), np.array(azimuths)),
        np.array(distances),
        tiers=tiers,
        indices=numbers,
        material=material,
        finishes=finishes,
        symmetry=group,
        name=name,
    )


def _row(row: Any) -> tuple[str, int, float, float, float, str]:
    """One facet's row, checked; the message names the facet."""
    wanted = "tier, number, slope_deg, azimuth_deg, distance_mm, finish"
    if not isinstance(row, list | tuple) or len(row) != 6:
        raise StoneError("not the row of a facet", key="facets", expected=wanted)
    tier, number, slope, azimuth, distance, finish = row
    if not isinstance(tier, str) or not 0 < len(tier) <= 40 or not isinstance(number, int) or not isinstance(finish, str):
        raise StoneError("not the row of a facet", key="facets", value=str(row[:2])[:60], expected=wanted)
    of = f"of {tier} {number}"
    slope = number_in(f"slope_deg {of}", slope, 0.0, 180.0, "degrees")
    azimuth = number_in(f"azimuth_deg {of}", azimuth, -360.0, 360.0, "degrees")
    distance = number_in(f"distance_mm {of}", distance, -1000.0, 1000.0, "mm")
    return tier, number, slope, azimuth, distance, get_finish(finish, f"finish {of}").kind


def _normals(slope_deg: np.ndarray, azimuth_deg: np.ndarray) -> np.ndarray:
    """(F, 3) outward unit normals; straight up, straight down and level are exact."""
    level = np.sin(np.radians(90.0 - slope_deg))  # the cosine of the slope, without its error at 90 degrees
    reach = np.where((slope_deg == 0.0) | (slope_deg == 180.0), 0.0, np.sin(np.radians(slope_deg)))
    azimuth = np.radians(azimuth_deg)
    return np.column_stack([reach * np.cos(azimuth), reach * np.sin(azimuth), level])


def rows_of(stone: Stone) -> list[list[Any]]:
    """A stone's facets as the rows of a facet table."""
    slopes = np.degrees(np.arctan2(np.hypot(stone.normals[:, 0], stone.normals[:, 1]), stone.normals[:, 2]))
    columns = (slopes.tolist(), stone.azimuth_deg().tolist(), stone.distances_mm.tolist(), (f.kind for f in stone.finishes))
    return [list(row) for row in zip(stone.tiers, stone.indices, *columns, strict=True)]


def facet_design(stone: Stone) -> Design:
    """A stone as a table of measured facets."""
    return {
        "kind": FACETS,
        "name": stone.name,
        "material": stone.material.name,
        "absorption_per_mm": _absorption(stone.material),
        "symmetry": vars(stone.symmetry),
        "facets": rows_of(stone),
    }


def proportion_design(table: dict[str, Any], stone: Stone) -> Design:
    """The [stone] table of a TOML file, which made `stone`, with every proportion that the page has a control for.

    Heights become the angles they stand for, a weight the diameter it gives, a tint's name its spectrum.
    """
    given = dict(table)
    table_pct, culet_pct = given["table_pct"], given.get("culet_pct", 0.0)
    for length, angle, run_pct in (
        ("crown_height_pct", "crown_angle_deg", (100.0 - table_pct) / 2.0),
        ("pavilion_depth_pct", "pavilion_angle_deg", (100.0 - culet_pct) / 2.0),
    ):
        if length in given:
            given[angle] = math.degrees(math.atan2(given.pop(length), run_pct))
    if given.pop("tint", None) is not None:
        given["absorption_per_mm"] = _absorption(stone.material)
    if given.pop("weight_ct", None) is not None:
        given["diameter_mm"] = measure(stone).diameter_mm.mean
    return {**DEMO, "name": stone.name, **given}


def _absorption(material: Material) -> Any:
    """A material's body colour as a design tells it."""
    if len(material.absorption) <= 1:
        return material.absorption[0][1] if material.absorption else 0.0
    return [list(pair) for pair in material.absorption]


def stone_toml(design: Design, title: str, dome: str | None, view: dict[str, float]) -> str:
    """A scene file of a design by proportions, or a stone file where the dome has no name that a file could state.

    Raises InputError for a table of facets, which a CSV file holds.
    """
    if design.get("kind") != PROPORTIONS:
        raise InputError("a stone of measured facets has no proportions to write", expected="to be saved as CSV or STL")
    stone_of(design)
    parts: dict[str, dict[str, Any]] = {"stone": {k: v for k, v in design.items() if v is not None}}
    if dome is not None:
        parts |= {"dome": {"name": dome}, "view": view}
    lines = ["schema = 1", f"title = {_toml(title)}"]
    for section, values in parts.items():
        lines += ["", f"[{section}]", *(f"{key} = {_toml(value)}" for key, value in values.items())]
    return "\n".join(lines) + "\n"


def _toml(value: Any) -> str:
    """A value as TOML writes it: JSON's form, but for the one control character that JSON lets stand."""
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
