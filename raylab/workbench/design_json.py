"""Designs of the page: plain JSON that defines a stone, and the conversions from it and to it.

Two kinds stand by themselves. Proportions are the parameters of a cut, with a body colour:

    {"kind": "proportions", "cut": "round brilliant", "table_pct": 57, "crown_angle_deg": 34.5, ..., "absorption_per_mm": 0}

A table of facets, `measured` or derived from proportions, one row each: tier, number, side it faces, slope (to the girdle
plane), azimuth, distance, finish:

    {"kind": "facets", "name": "W-1", "cut": "round brilliant", "material": "diamond",
     "symmetry": {"order": 8, "mirror_deg": 0}, "measured": true,
     "facets": [["table", 0, "up", 0, 0, 1.05, "polished"], ...]}

A table that came from a scan has what is known of it as `scan` (`scan_facts`). Either may have `inclusions`, tables as in a
stone file (`stone.inclusions.inclusion_file`); one that is plotted through a facet moves with it. Two more kinds remove
material from such a design, see `derived_designs`.
"""

from __future__ import annotations

import functools
import json
import re
from collections.abc import Iterable
from typing import Any, Literal

import numpy as np
from pydantic import BaseModel

from ..errors import InputError, StoneError, nearest
from ..optics.materials import Material, get_material
from ..stone.cuts.cut import Cut
from ..stone.finish import get_finish
from ..stone.inclusions.inclusion_file import inclusion_tables, with_inclusions_of
from ..stone.known_cuts import get_cut
from ..stone.planes import SIDES, facing_deg, normal_of_deg
from ..stone.stone import Stone
from ..stone.stone_file import cut_schema
from ..stone.symmetry_group import SymmetryGroup
from ..toml_tables import NumberOrPairs, Table, schema, schema_of
from ..units import number_in
from . import derived_designs as reworked

PROPORTIONS, FACETS = "proportions", "facets"
MAX_FACETS = 2000
INCLUSIONS = "inclusions"
_INSIDE: dict[str, Any] = {INCLUSIONS: (list[dict[str, Any]], [])}

_TABLE = schema(
    kind=(Literal[FACETS], ...),
    facets=(list[list[Any]], ...),
    name=(str, "stone"),
    cut=(str | None, None),
    material=(str, "diamond"),
    symmetry=(dict, {}),
    measured=(bool, True),
    absorption_per_mm=(NumberOrPairs, 0.0),
    scan=(dict | None, None),
    **_INSIDE,
)
_SYMMETRY = schema_of(SymmetryGroup)

Design = dict[str, Any]


def usual_design(cut: Cut, name: str, **given: Any) -> Design:
    """A design by proportions, complete but for what has no default and is not given."""
    defaults = {one.key: one.default for one in cut.parameters if one.default is not None}
    made = {"kind": PROPORTIONS, "cut": cut.name, "name": name, **defaults, "material": "diamond", "absorption_per_mm": 0.0}
    return {**made, **given}


DEMO: Design = usual_design(
    get_cut("round brilliant"), "W-1 (invented)", table_pct=57.0, crown_angle_deg=34.5, pavilion_angle_deg=40.75
)
"""The design that the workbench opens by default: an invented stone with proportions of common trade practice."""


def stone_of(design: Any) -> Stone:
    """The stone that a design means. Raises InputError, one line that names the key, where it means none."""
    return stones_of(design)[1]


def stones_of(design: Any) -> tuple[Stone | None, Stone]:
    """The stone that a design takes material away from, None where it takes none, and the one that it means."""
    kind = _kind(design, (PROPORTIONS, FACETS, *reworked.KINDS))
    if kind in reworked.KINDS:
        expected, rework = reworked.KINDS[kind]
        values = Table("", "", design).checked(expected).values
        del values["kind"]
        _kind(values["of"], (PROPORTIONS, FACETS))
        return rework(stone_of(values.pop("of")), **values)
    cut = get_cut(design.get("cut")) if kind == PROPORTIONS else None
    values = Table("", "", design).checked(_TABLE if cut is None else _proportions(cut.name)).values
    del values["kind"]
    values["material"] = _material(values)
    inside = list(values.pop(INCLUSIONS, []))
    values.pop("scan", None)  # says how well the facets are known, not where they are
    if cut is not None:
        del values["cut"]
    stone = _from_rows(**values) if cut is None else cut.stone(**values)
    return None, with_inclusions_of(Table("", "", {INCLUSIONS: inside}), stone) if inside else stone


@functools.cache
def _proportions(name: str) -> type[BaseModel]:
    """The schema of a design by the proportions of a cut, by its name."""
    return cut_schema(get_cut(name), kind=(Literal[PROPORTIONS], ...), **_INSIDE)


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
    facets: Any,
    name: str = "stone",
    cut: str | None = None,
    symmetry: dict[str, Any] | None = None,
    material: Material | str = "diamond",
    measured: bool = True,
) -> Stone:
    """A stone from the rows of a facet table."""
    if not 4 <= len(facets) <= MAX_FACETS:
        raise StoneError("wrong number of facets", key="facets", value=len(facets), expected=f"4 to {MAX_FACETS}")
    stated = Table("", "symmetry", symmetry or {}).checked(_SYMMETRY)
    group = stated.build(SymmetryGroup, **stated.values)
    tiers, numbers, normals, distances, finishes = zip(*map(_row, facets), strict=True)
    return Stone.from_planes(
        np.array(normals),
        np.array(distances),
        tiers=tiers,
        indices=numbers,
        material=material,
        finishes=finishes,
        symmetry=group,
        cut=get_cut(cut).name if cut else cut,
        name=name,
        measured=measured,
    )


def _row(row: Any) -> tuple[str, int, np.ndarray, float, str]:
    """One facet's row, checked; the message names the facet."""
    wanted = "tier, number, side, slope_deg, azimuth_deg, distance_mm, finish"
    if not isinstance(row, list | tuple) or len(row) != 7:
        raise StoneError("invalid row of a facet", key="facets", expected=wanted)
    tier, number, side, slope, azimuth, distance, finish = row
    named = isinstance(tier, str) and 0 < len(tier) <= 40 and isinstance(number, int)
    if not named or not isinstance(side, str) or side not in SIDES or not isinstance(finish, str):
        raise StoneError("invalid row of a facet", key="facets", value=str(row[:3])[:60], expected=wanted)
    of = f"of {tier} {number}"
    slope = number_in(f"slope_deg {of}", slope, 0.0, 90.0, "degrees")
    azimuth = number_in(f"azimuth_deg {of}", azimuth, -360.0, 360.0, "degrees")
    distance = number_in(f"distance_mm {of}", distance, -1000.0, 1000.0, "mm")
    kind = str(get_finish(finish, f"finish {of}"))
    return tier, number, normal_of_deg(slope, azimuth, SIDES[side]), distance, kind


def rows_of(stone: Stone) -> list[list[Any]]:
    """A stone's facets as the rows of a facet table."""
    sides, slopes, azimuths = facing_deg(stone.normals)
    columns = (sides, slopes.tolist(), azimuths.tolist(), stone.distances_mm.tolist(), (str(f) for f in stone.finishes))
    return [list(row) for row in zip(stone.tiers, stone.indices, *columns, strict=True)]


def facet_design(stone: Stone) -> Design:
    """A stone as a table of facets."""
    return {
        "kind": FACETS,
        "name": stone.name,
        "cut": stone.cut,
        "material": stone.material.name,
        "absorption_per_mm": _absorption(stone.material),
        "symmetry": vars(stone.symmetry),
        "measured": stone.measured,
        "facets": rows_of(stone),
        **_inside(stone),
    }


def proportion_design(table: dict[str, Any], stone: Stone) -> Design:
    """The [stone] table of a TOML file, which made `stone`, with every parameter that the page has a control for.

    What is stated in another way is converted: heights become the angles they stand for, a weight the size it gives, a tint's
    name its spectrum. Inclusions of a file beside it are listed.
    """
    given, cut = dict(table), get_cut(table["cut"])
    if given.pop("tint", None) is not None:
        given["absorption_per_mm"] = _absorption(stone.material)
    if isinstance(given.get(INCLUSIONS), str):
        given |= _inside(stone)
    stated = {key: given.pop(key) for key in list(given) if key in cut.keys}
    return {**usual_design(cut, stone.name), **cut.plainly(stated, stone.volume_mm3), **given}


def _inside(stone: Stone) -> Design:
    """The inclusions of a stone as a design states them, by their coordinates; no key where there are none."""
    return {INCLUSIONS: inclusion_tables(stone.inclusions)} if stone.inclusions else {}


def _absorption(material: Material) -> Any:
    """The body colour of a material as a design states it."""
    if len(material.absorption) <= 1:
        return material.absorption[0][1] if material.absorption else 0.0
    return [list(pair) for pair in material.absorption]


def stone_toml(design: Design, title: str, dome: dict[str, Any] | None, view: dict[str, float]) -> str:
    """A scene file of a design by proportions, with `dome` as its [dome] section; a stone file where that is None.

    That of a stone of measured facets with inclusions names the CSV file that the page saves of its facets, by its usual name.
    Raises InputError for such a stone without inclusions, which the CSV file alone holds.
    """
    stone = stone_of(design)
    if design["kind"] == PROPORTIONS:
        stated = {key: value for key, value in design.items() if value not in (None, []) and key != "kind"}
    elif stone.inclusions:
        stated = {"file": f"{file_stem(stone)}.csv", **_inside(stone)}
    else:
        raise InputError("a stone of measured facets has no proportions", expected="CSV or STL")
    parts: dict[str, dict[str, Any]] = {"stone": stated}
    if dome is not None:
        parts |= {"dome": dome, "view": view}
    lines = ["schema = 1", f"title = {_toml(title)}"]
    for section, values in parts.items():
        lists = {key: value for key, value in values.items() if _is_tables(value)}
        lines += _section(f"[{section}]", {key: value for key, value in values.items() if key not in lists})
        lines += [line for key, tables in lists.items() for table in tables for line in _section(f"[[{section}.{key}]]", table)]
    return "\n".join(lines) + "\n"


def _is_tables(value: Any) -> bool:
    return isinstance(value, list) and bool(value) and all(isinstance(one, dict) for one in value)


def _section(head: str, values: dict[str, Any]) -> list[str]:
    return ["", head, *(f"{key} = {_toml(value)}" for key, value in values.items())]


def file_stem(stone: Stone) -> str:
    """A stone's name as a file's name begins with it."""
    return re.sub(r"[^A-Za-z0-9]+", "-", stone.name).strip("-").lower() or "stone"


def _toml(value: Any) -> str:
    """A value as TOML writes it: JSON's form, but for the one control character that JSON lets stand."""
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
