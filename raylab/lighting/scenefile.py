"""Scenes, domes and stones from files.

A scene file joins one stone, one dome, one view and the output settings:

    schema = 1
    title = "..."

    [stone]                       # kind and proportions; or file = "..." for a stone in a file of its own (with unit = "mm"
                                  # and material = "..." for a mesh)
    kind = "round brilliant"
    table_pct = 57
    crown_angle_deg = 34.5
    pavilion_angle_deg = 40.75
    material = "diamond"
    absorption_per_mm = 0.02      # optional body colour; or pairs [[wavelength_nm, 1/mm], ...]; or instead
                                  # tint = "faint-yellowish", a shipped tint or a .csv beside the scene (`optics.absorption`)

    [dome]                        # name = a shipped dome, or file = "x.toml", or the keys of a dome file
    name = "head-shadow"

    [view]
    tilt_deg = 10

    [output]
    resolution = 512

The keys of a section are the parameters of what it makes: `round_brilliant`, `Dome`, `View`, `Scene`. Paths in a file are
relative to it. To add a cut, add a row to `_CUTS`; to read stones from another kind of file, add a row to `STONE_READERS`.
"""

from __future__ import annotations

from collections.abc import Callable
from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import Any, Literal

from ..errors import InputError, nearest
from ..optics.absorption import read_absorption, tint
from ..optics.materials import get_material
from ..stone.brilliant import round_brilliant
from ..stone.facet_table import read_facet_table
from ..stone.planes import Stone
from ..stone.scanning import mesh_file
from .dome import Dome, Lamp, Zone
from .scene import Scene
from .sky_image import read_sky_image
from .toml_tables import NumberOrPairs, build, checked, read_toml, schema, schema_of, shown
from .view import View

_CUTS: dict[str, Callable[..., Stone]] = {"round brilliant": round_brilliant}

_TEXTS: dict[str, Any] = {"title": (str, ""), "description": (str, "")}
_SCENE = schema(**_TEXTS, stone=(dict, ...), dome=(dict, ...), view=(dict, {}), output=(dict, {}))
_STONE_FILE = schema(**_TEXTS, stone=(dict, ...))
_STONE_IN_FILE = schema(file=(str, ...), unit=(str, None), material=(str, None))
_STONE = {
    cut: schema_of(constructor, kind=(Literal[cut], ...), absorption_per_mm=(NumberOrPairs, 0.0), tint=(str, None))
    for cut, constructor in _CUTS.items()
}
_DOME = schema_of(
    Dome,
    omit=("name", "zones", "lamps", "image"),
    image=(str, None),
    zone=(list[dict[str, Any]], []),
    lamp=(list[dict[str, Any]], []),
)
_ZONE, _LAMP, _VIEW = schema_of(Zone), schema_of(Lamp), schema_of(View)
_OUTPUT = schema_of(Scene, omit=("stone", "dome", "view", "name", "title"))


def load_scene(path: str | Path) -> Scene:
    """The scene in a TOML file. Raises InputError, one line, for anything that can't be used as it stands."""
    path, file = Path(path), str(path)
    top = checked(read_toml(path, file), _SCENE, file=file)
    stone = _stone_section(top["stone"], path)
    dome = _dome_section(top["dome"], path)
    view = build(View, checked(top.get("view", {}), _VIEW, file=file, section="view"), file=file, section="view")
    output = checked(top.get("output", {}), _OUTPUT, file=file, section="output")
    given = {"stone": stone, "dome": dome, "view": view, "name": path.stem, "title": top.get("title", ""), **output}
    try:
        return Scene(**given)
    except InputError as error:
        own = error.key in _OUTPUT.model_fields
        raise error.within(file=file, section="output" if own else None) from error


def load_dome(name_or_path: str | Path) -> Dome:
    """A shipped dome by its name, or the dome in a TOML file (a path that ends in .toml or has a folder in it)."""
    given = Path(name_or_path)
    if isinstance(name_or_path, Path) or given.suffix.lower() == ".toml" or given.name != name_or_path:
        return _dome_file(given, str(given), given.stem, given.parent)
    if name_or_path not in dome_names():
        raise InputError(
            "no dome of this name is shipped", key="dome", value=name_or_path, expected=nearest(str(name_or_path), dome_names())
        )
    return _dome_file(_shipped() / f"{name_or_path}.toml", f"{name_or_path}.toml", name_or_path, None)


def dome_names() -> tuple[str, ...]:
    """Names of the domes that raylab ships, sorted."""
    return tuple(sorted(entry.name[:-5] for entry in _shipped().iterdir() if entry.name.endswith(".toml")))


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
    return _stone_section(_stone_table(path), path)


def _mesh(path: Path, **options: Any) -> Stone:
    """The stone in a mesh, without the report."""
    from ..stone.scan import load_scan  # half a second to import: only when used

    return load_scan(path, **options).stone


STONE_READERS: dict[str, Callable[..., Stone]] = {
    ".toml": _stone_toml,
    ".csv": read_facet_table,
    **dict.fromkeys(mesh_file.SUFFIXES, _mesh),
}
"""What reads a stone, by the file's suffix in lower case; readers of meshes take options."""


def _stone_table(path: Path) -> dict[str, Any]:
    """The [stone] table of a stone file or a scene file."""
    tables = read_toml(path, str(path))
    return checked(tables, _SCENE if "dome" in tables else _STONE_FILE, file=str(path))["stone"]


def _stone_section(table: dict[str, Any], home: Path) -> Stone:
    """A stone from a [stone] table: its proportions, or the file it names. One step only, so that no chain can close."""
    if "file" not in table:
        return _cut(table, str(home))
    options = checked(table, _STONE_IN_FILE, file=str(home), section="stone")
    target = _beside(home, options.pop("file"), "stone.file")
    nested = target.suffix.lower() == ".toml" and not options
    if nested:
        return _cut(_stone_table(target), str(target))
    try:
        return load_stone(target, **options)
    except InputError as error:
        stated_here = error.key in ("unit", "material")
        raise (error.within(file=str(home), section="stone") if stated_here else error) from error


def _cut(table: dict[str, Any], file: str) -> Stone:
    """A stone from the proportions of a [stone] table."""
    kind = table.get("kind")
    if not isinstance(kind, str) or kind not in _CUTS:
        hint = nearest(kind, _CUTS) if isinstance(kind, str) else "one of " + ", ".join(_CUTS)
        problem = "missing" if kind is None else "unknown kind of stone"
        raise InputError(problem, file=file, key="stone.kind", value=shown(kind), expected=hint)
    values = checked(table, _STONE[kind], file=file, section="stone", also=("file",))
    del values["kind"]
    absorption = values.pop("absorption_per_mm", None)
    if "tint" in values:
        if absorption is not None:
            raise InputError("given twice", file=file, key="stone.tint", expected="either tint or absorption_per_mm")
        absorption = _tint(values.pop("tint"), file)
    if absorption is not None:
        material = build(get_material, {"name": values.get("material", "diamond")}, file=file, section="stone")
        values["material"] = build(material.tinted, {"absorption": absorption}, file=file, section="stone")
    return build(_CUTS[kind], values, file=file, section="stone")


def _tint(name: str, file: str) -> tuple[tuple[float, float], ...]:
    """A shipped absorption spectrum, or the one in a CSV file beside the stone's file."""
    if name.lower().endswith(".csv"):
        return read_absorption(_beside(Path(file), name, "stone.tint")).pairs
    return build(tint, {"name": name}, file=file, section="stone").pairs


def _dome_section(table: dict[str, Any], scene: Path) -> Dome:
    file = str(scene)
    if "name" in table:
        name = checked(table, schema(name=(str, ...)), file=file, section="dome")["name"]
        if name not in dome_names():
            raise InputError(
                "no dome of this name is shipped", file=file, key="dome.name", value=name, expected=nearest(name, dome_names())
            )
        return load_dome(name)
    if "file" in table:
        alone = checked(table, schema(file=(str, ...)), file=file, section="dome")
        return load_dome(_beside(scene, alone["file"], "dome.file"))
    return _dome(table, file=file, section="dome", name="the scene's own", folder=scene.parent)


def _dome_file(source: Path | Traversable, file: str, name: str, folder: Path | None) -> Dome:
    return _dome(read_toml(source, file), file=file, section="", name=name, folder=folder)


def _dome(table: dict[str, Any], *, file: str, section: str, name: str, folder: Path | None) -> Dome:
    """A dome from its keys; a shipped one (no folder) has no picture."""
    values = checked(table, _DOME, file=file, section=section, also=("name", "file") if section else ("schema",))
    for key, expected, constructor in (("zone", _ZONE, Zone), ("lamp", _LAMP, Lamp)):
        patches = []
        for number, patch in enumerate(values.pop(key, ()), start=1):
            where = ".".join(filter(None, (section, f"{key}#{number}")))
            patches.append(build(constructor, checked(patch, expected, file=file, section=where), file=file, section=where))
        values[f"{key}s"] = tuple(patches)
    if folder is not None and "image" in values:
        values["image"] = build(read_sky_image, {"path": folder / values["image"]}, file=file, section=section or None)
    return build(Dome, {**values, "name": name}, file=file, section=section or None)


def _beside(scene: Path, name: str, key: str) -> Path:
    """The path that a scene file names, told as the scene's fault where nothing is there."""
    path = scene.parent / name
    if not path.is_file():
        raise InputError("no such file", file=str(scene), key=key, value=name, expected=f"a file at {path}")
    return path


def _shipped() -> Traversable:
    return files(__package__) / "domes"
