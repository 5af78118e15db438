"""Stones from files: a [stone] table of a TOML file, a table of facets, a mesh.

    [stone]                       # kind and proportions; or file = "..." for a stone in a file of its own (with unit = "mm"
                                  # and material = "..." for a mesh)
    kind = "round brilliant"
    table_pct = 57
    crown_angle_deg = 34.5
    pavilion_angle_deg = 40.75
    material = "diamond"
    absorption_per_mm = 0.02      # optional body colour; or pairs [[wavelength_nm, 1/mm], ...]; or instead
                                  # tint = "faint-yellowish", a shipped tint or a .csv beside the scene (`optics.absorption`)

To add a cut, add a row to `_CUTS`; to read stones from another kind of file, add a row to `STONE_READERS`.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any, Literal

from ..errors import InputError, nearest
from ..optics.absorption import read_absorption, tint
from ..optics.materials import get_material
from ..toml_tables import NumberOrPairs, Table, read_toml, schema, schema_of
from .cuts.round_brilliant import round_brilliant
from .facet_table import read_facet_table
from .scanning import mesh_file
from .stone import Stone

_CUTS: dict[str, Callable[..., Stone]] = {"round brilliant": round_brilliant}

_TEXTS: dict[str, Any] = {"title": (str, ""), "description": (str, "")}
_STONE_FILE = schema(**_TEXTS, stone=(dict, ...))
SCENE_FILE = schema(**_TEXTS, stone=(dict, ...), dome=(dict, ...), view=(dict, {}), output=(dict, {}))
"""The sections of a scene file, whose stone can be read alone."""
_STONE_IN_FILE = schema(file=(str, ...), unit=(str, None), material=(str, None))
_STONE = {
    cut: schema_of(
        constructor, kind=(Literal[cut], ...), file=(str, None), absorption_per_mm=(NumberOrPairs, 0.0), tint=(str, None)
    )
    for cut, constructor in _CUTS.items()
}


def load_stone(path: str | Path, *, unit: str | None = None, material: str | None = None) -> Stone:
    """The stone in a file, read by the file's suffix: a stone or scene file, a table of facets, or a mesh.

    Parameters
    ----------
    path : a file that ends in one of `STONE_READERS`.
    unit : the unit of length of a mesh, "um", "mm", "cm", "m" or "in"; .stl, .obj and .ply state none, and none is guessed.
    material : what a mesh is made of; diamond by default. Files of other kinds state both themselves.

    Raises
    ------
    InputError : one line that names the file. `load_scan` reads the same meshes with more to choose, and a report.
    """
    path = Path(path)
    suffix = path.suffix.lower()
    reader = STONE_READERS.get(suffix)
    if reader is None:
        raise InputError(
            f"no stone can be read from a file of this kind ({path.suffix or 'no suffix'})",
            file=str(path),
            expected="a file that ends in " + ", ".join(STONE_READERS),
        )
    options = {key: value for key, value in (("unit", unit), ("material", material)) if value is not None}
    if options and suffix not in mesh_file.SUFFIXES:
        key, value = next(iter(options.items()))
        raise InputError(
            f"a {suffix} file states this itself", file=str(path), key=key, value=value, expected="none for this file"
        )
    return reader(path, **options)


def _stone_toml(path: Path) -> Stone:
    """A stone's own file (schema, [stone]), or the stone of a scene file."""
    return stone_from(_stone_section(path))


def _mesh(path: Path, **options: Any) -> Stone:
    """The stone in a mesh, without the report."""
    from .scanning.scan import load_scan  # half a second to import: only when used

    return load_scan(path, **options).stone


STONE_READERS: dict[str, Callable[..., Stone]] = {
    ".toml": _stone_toml,
    ".csv": read_facet_table,
    **dict.fromkeys(mesh_file.SUFFIXES, _mesh),
}
"""What reads a stone, by the file's suffix in lower case; readers of meshes take options."""


def _stone_section(path: Path) -> Table:
    """The [stone] table of a stone file or a scene file."""
    top = read_toml(path, str(path))
    return top.checked(SCENE_FILE if "dome" in top.values else _STONE_FILE).part("stone")


def stone_from(table: Table) -> Stone:
    """A stone from a [stone] table: its proportions, or the file it names. One step only, so that no chain can close."""
    if "file" not in table.values:
        return _cut(table)
    table = table.checked(_STONE_IN_FILE)
    target, options = table.path("file"), {key: value for key, value in table.values.items() if key != "file"}
    if target.suffix.lower() == ".toml" and not options:
        return _cut(_stone_section(target))
    try:
        return load_stone(target, **options)
    except InputError as error:
        stated_here = error.key in ("unit", "material")
        raise (error.within(file=table.file, section=table.section) if stated_here else error) from error


def _cut(table: Table) -> Stone:
    """A stone from the proportions of a [stone] table."""
    kind = table.values.get("kind")
    if not isinstance(kind, str) or kind not in _CUTS:
        hint = nearest(kind, _CUTS) if isinstance(kind, str) else "one of " + ", ".join(_CUTS)
        raise table.fault("missing" if kind is None else "unknown kind of stone", "kind", kind, hint)
    table = table.checked(_STONE[kind])
    values = {key: value for key, value in table.values.items() if key not in ("kind", "absorption_per_mm", "tint")}
    absorption = _absorption(table)
    if absorption is not None:
        material = table.build(get_material, name=values.get("material", "diamond"))
        values["material"] = table.build(material.tinted, absorption=absorption)
    return table.build(_CUTS[kind], **values)


def _absorption(table: Table) -> Any:
    """The body colour that a [stone] table states: absorption, or a tint, shipped or in a CSV file; None for none."""
    if "tint" not in table.values:
        return table.values.get("absorption_per_mm")
    if "absorption_per_mm" in table.values:
        raise table.fault("tint and absorption_per_mm are alternatives; give only one", "tint")
    name = table.values["tint"]
    return (read_absorption(table.path("tint")) if name.lower().endswith(".csv") else table.build(tint, name=name)).pairs
