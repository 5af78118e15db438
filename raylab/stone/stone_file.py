"""Stones from files: a [stone] table of a TOML file, a table of facets, a mesh.

    [stone]                       # a cut and its parameters, see `raylab cuts`; or file = "..." for a stone in its own file
                                  # (with unit = "mm" and material = "..." for a mesh)
    cut = "round brilliant"
    table_pct = 57
    crown_angle_deg = 34.5
    pavilion_angle_deg = 40.75
    material = "diamond"
    absorption_per_mm = 0.02      # optional body colour; or pairs [[wavelength_nm, 1/mm], ...]; or instead
                                  # tint = "faint-yellowish", a shipped tint or a .csv beside the scene (`optics.absorption`)

    edge_radius_um = 5            # optional: rounded edges, of edge_steps planes each, see `rounding`; of a scan's mesh also
                                  # "scanned", the radius that its own edges show

    [stone.finishes]              # optional: tiers, or single facets, that are not polished
    girdle = "lambertian 0.8"
    "star 3" = "absorbing"

In place of a cut and its parameters a recipe may stand: outline, girdle and tiers, see `recipes.recipe_table`. Any of them may
have `inclusions`, see `inclusions.inclusion_file`.

To read stones from another kind of file, add a row to `STONE_READERS`.
"""

from __future__ import annotations

import functools
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal, TypeVar

from pydantic import BaseModel

from ..demo import own_or_demo
from ..errors import InputError
from ..optics.absorption import read_absorption, tint
from ..optics.materials import Material, get_material
from ..reading import reader
from ..toml_tables import NumberOrPairs, Table, read_toml, schema
from .cuts.cut import Cut
from .cuts.parameter import Parameter
from .facet_table import read_facet_table
from .inclusions.inclusion_file import with_inclusions_of
from .known_cuts import check_own, cuts, get_cut
from .recipes.recipe_table import is_recipe, recipe_from
from .rounding import STEPS, rounded
from .scanning import mesh_file
from .stone import Stone

if TYPE_CHECKING:
    from .scanning.scan import Scan

_TEXTS: dict[str, Any] = {"title": (str, ""), "description": (str, "")}
Made = TypeVar("Made")
_STONE_FILE = schema(**_TEXTS, stone=(dict, ...))
SCENE_FILE = schema(**_TEXTS, stone=(dict, ...), dome=(dict, ...), view=(dict, {}), output=(dict, {}))
"""The sections of a scene file, whose stone can be read alone."""
FINISHES_KEY, INCLUSIONS_KEY, RADIUS_KEY, STEPS_KEY = "finishes", "inclusions", "edge_radius_um", "edge_steps"
FILLINGS = {FINISHES_KEY, INCLUSIONS_KEY, RADIUS_KEY, STEPS_KEY}
"""Keys of a [stone] table that any kind of stone may have."""
SCANNED = "scanned"
"""In place of a radius: that which the edges of the scan show."""
_STONE_IN_FILE = schema(file=(str, ...), unit=(str, None), material=(str, None))


def cut_schema(cut: Cut, **extra: Any) -> type[BaseModel]:
    """The schema of a table that states a stone of a cut: its parameters, name, material and body colour, and `extra` keys.

    Which parameters are required, and which values are allowed, the cut itself says.
    """
    parameters: dict[str, Any] = {one.key: (_written_as(one), None) for one in cut.parameters}
    common: dict[str, Any] = {"name": (str, None), "material": (str, None), "absorption_per_mm": (NumberOrPairs, 0.0)}
    return schema(cut=(Literal[cut.name], ...), **parameters, **common, **extra)


def _written_as(one: Parameter) -> Any:
    """The type of a parameter's value in a table. TOML has no value for "unset", but the page's JSON has."""
    kind: Any = one.kind if one.choices else int if one.multiple else float
    return kind | None if one.optional else kind


@functools.cache
def _stone_schema(name: str) -> type[BaseModel]:
    """The schema of a [stone] table that states a cut by its name."""
    return cut_schema(get_cut(name), file=(str, None), tint=(str, None))


@reader
def load_stone(path: str | Path, *, unit: str | None = None, material: str | Material | None = None) -> Stone:
    """The stone in a file: a stone or scene file, a facet table, or a mesh, by suffix.

    Parameters
    ----------
    path : a file that ends in one of `STONE_READERS`, or the name of a demo stone or scene.
    unit : unit of length of a mesh, "um", "mm", "cm", "m" or "in"; required for .stl, .obj and .ply.
    material : material of a mesh, or its name; diamond by default. Other files state both unit and material.

    Raises
    ------
    InputError : one line that names the file. `load_scan` reads meshes with more options and a report.
    """
    path = own_or_demo(path)
    suffix = path.suffix.lower()
    read = STONE_READERS.get(suffix)
    if read is None:
        raise InputError(
            f"unknown kind of stone file ({path.suffix or 'no suffix'})",
            file=str(path),
            expected="a file that ends in " + ", ".join(STONE_READERS),
        )
    options = {key: value for key, value in (("unit", unit), ("material", material)) if value is not None}
    if options and suffix not in mesh_file.SUFFIXES:
        key, value = next(iter(options.items()))
        raise InputError(
            f"a {suffix} file states this", file=str(path), key=key, value=value, expected="no value for this file"
        )
    return read(path, **options)


def is_alone(path: Path) -> bool:
    """Does a file hold a stone and nothing of a scene? Raises InputError for a TOML file that can't be read."""
    return path.suffix.lower() != ".toml" or set(read_toml(path, str(path)).values) <= set(_STONE_FILE.model_fields)


def _stone_toml(path: Path) -> Stone:
    """A stone's own file (schema, [stone]), or the stone of a scene file."""
    return stone_from(stone_section(path))


def _mesh(path: Path, **options: Any) -> Stone:
    """The stone in a mesh, without the report."""
    from .scanning.scan import load_scan  # half a second to import: only when used

    return load_scan(path, **options).stone


STONE_READERS: dict[str, Callable[..., Stone]] = {
    ".toml": _stone_toml,
    ".csv": read_facet_table,
    ".tsv": read_facet_table,
    **dict.fromkeys(mesh_file.SUFFIXES, _mesh),
}
"""What reads a stone, by the file's suffix in lower case; readers of meshes take options."""


def stone_section(path: Path) -> Table:
    """The [stone] table of a stone file or a scene file."""
    top = read_toml(path, str(path))
    return top.checked(SCENE_FILE if "dome" in top.values else _STONE_FILE).part("stone")


def stone_from(table: Table) -> Stone:
    """A stone from a [stone] table: its proportions, its recipe, or the file it names; no chain of files can close."""
    return stone_and_scan(table)[0]


def stone_and_scan(table: Table, noise_um: float | None = None) -> tuple[Stone, Scan | None]:
    """The same, and the scan that its planes are those of: None where the table names no mesh, or rounds its edges.

    `noise_um` : noise of the scan, see `load_scan`. Raises InputError where it is stated and no mesh is named.
    """
    if noise_um is not None and not (isinstance(table.values, dict) and _names_mesh(table)):
        problem = "applies to scans only"
        raise InputError(problem, file=table.file, key="noise_um", value=noise_um, expected="no value for this file")
    return _filled(table, lambda plain: _bare(plain, noise_um))


def _filled(table: Table, bare: Callable[[Table], tuple[Stone, Scan | None]]) -> tuple[Stone, Scan | None]:
    """What `bare` makes of a [stone] table, with the rounding, finishes and inclusions that the table states."""
    if not isinstance(table.values, dict) or not FILLINGS & table.values.keys():
        return bare(table)
    plain = replace(table, values={key: value for key, value in table.values.items() if key not in FILLINGS})
    if STEPS_KEY in table.values and RADIUS_KEY not in table.values:
        raise table.fault("missing", RADIUS_KEY, None, f"a radius beside {STEPS_KEY}")
    radius: Any = table.values.get(RADIUS_KEY)
    steps = table.values.get(STEPS_KEY, STEPS)
    if radius == SCANNED and not _names_mesh(plain):
        raise table.fault("only a scan shows the radius of its edges", RADIUS_KEY, SCANNED, "a radius in um, or a mesh as file")
    stone, scan = bare(plain)
    if RADIUS_KEY in table.values:
        try:
            as_scanned = scan if radius == SCANNED else None
            stone = rounded(stone, radius, steps) if as_scanned is None else rounded_as_scanned(as_scanned, steps)
        except InputError as error:  # in the words of the file
            key = {"radius_um": RADIUS_KEY, "steps": STEPS_KEY}.get(error.key or "", error.key or RADIUS_KEY)
            raise table.fault(error.problem, key, error.value, error.expected) from error
        scan = None
    if FINISHES_KEY in table.values:
        finishes = table.part(FINISHES_KEY)
        if not isinstance(finishes.values, dict):
            raise table.fault(
                "not a table", FINISHES_KEY, finishes.values, "tiers or facets and their finish, girdle = 'lambertian 0.8'"
            )
        stone = finishes.build(stone.with_finishes, finishes=finishes.values)
    return with_inclusions_of(table, stone) if INCLUSIONS_KEY in table.values else stone, scan


def _bare(table: Table, noise_um: float | None) -> tuple[Stone, Scan | None]:
    """The stone of a [stone] table without the rounding, finishes and inclusions that it states, and its scan if it has one."""
    if "file" not in table.values:
        return _stated(table), None
    table = table.checked(_STONE_IN_FILE)
    target = table.path("file")
    if target.suffix.lower() == ".toml" and table.values.keys() == {"file"}:
        return _filled(stone_section(target), lambda own: (_stated(own), None))
    if not _names_mesh(table):
        return _from_file(table, load_stone), None
    from .scanning.scan import load_scan  # half a second to import: only when used

    scan = _from_file(table, functools.partial(load_scan, noise_um=noise_um))
    return scan.stone, scan


def _from_file(table: Table, load: Callable[..., Made]) -> Made:
    """What `load` makes of the file that a checked [stone] table names, with the table's other keys."""
    try:
        return load(table.path("file"), **{key: value for key, value in table.values.items() if key != "file"})
    except InputError as error:
        stated_here = error.key in ("unit", "material")
        raise (error.within(file=table.file, section=table.section) if stated_here else error) from error


def _names_mesh(table: Table) -> bool:
    """Does a [stone] table name the mesh of a scan?"""
    return Path(str(table.values.get("file", ""))).suffix.lower() in mesh_file.SUFFIXES


def rounded_as_scanned(scan: Scan, steps: int = STEPS) -> Stone:
    """The stone of a scan with edges of the radius that the scan shows; sharp where the scan's are.

    Raises InputError as `rounded` does.
    """
    radius = scan.report.edge_radius_um
    return rounded(scan.stone, radius, steps) if radius else scan.stone


def _stated(table: Table) -> Stone:
    """A stone from the recipe, or from the cut, that a [stone] table states."""
    return recipe_from(table, _material) if is_recipe(table.values) else _cut(table)


def _cut(table: Table) -> Stone:
    """A stone from the cut and the parameters of a [stone] table."""
    name = table.values.get("cut")
    if name is None:
        raise table.fault("missing", "cut", None, "one of " + ", ".join(cut.name for cut in cuts()))
    cut = table.build(get_cut, name=name)
    table.build(check_own, cut=cut, stated=table.values)
    table = table.checked(_stone_schema(name))
    values = {key: value for key, value in table.values.items() if key not in ("cut", "absorption_per_mm", "tint")}
    values["material"] = _material(table)
    return table.build(cut.stone, **values)


def _material(table: Table) -> Material:
    """The material, with its body colour, that a checked [stone] table states."""
    material = table.build(get_material, name=table.values.get("material", "diamond"))
    absorption = _absorption(table)
    return material if absorption is None else table.build(material.tinted, absorption=absorption)


def _absorption(table: Table) -> Any:
    """The body colour that a [stone] table states: absorption, or a tint, shipped or in a CSV file; None for none."""
    if "tint" not in table.values:
        return table.values.get("absorption_per_mm")
    if "absorption_per_mm" in table.values:
        raise table.fault("tint and absorption_per_mm are alternatives; give only one", "tint")
    name = table.values["tint"]
    return (read_absorption(table.path("tint")) if name.lower().endswith(".csv") else table.build(tint, name=name)).pairs
