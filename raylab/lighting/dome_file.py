"""Domes from TOML files, built-in or of the user."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from ..errors import InputError, nearest
from ..package_files import shipped
from ..reading import reader
from ..toml_tables import Table, read_toml, schema_of
from .dome import Dome, Lamp, Zone
from .sky_image import read_sky_image

DomeLike = Dome | str | Path
"""A dome, or the name or file of one."""

_KEYS: dict[str, Any] = {"image": (str, None), "zone": (list[dict[str, Any]], []), "lamp": (list[dict[str, Any]], [])}
_DOME = schema_of(Dome, omit=("name", "zones", "lamps", "image"), **_KEYS)
_SECTION = schema_of(Dome, omit=("name", "zones", "lamps", "image"), name=(str, None), file=(str, None), **_KEYS)
_SHIPPED = shipped("lighting/domes")
_ZONE, _LAMP = schema_of(Zone), schema_of(Lamp)


def load_dome(name_or_path: str | Path) -> Dome:
    """A built-in dome by name, or the dome in a TOML file (a path that ends in .toml or contains a folder)."""
    given = Path(name_or_path)
    if isinstance(name_or_path, Path) or given.suffix.lower() == ".toml" or given.name != name_or_path:
        return _dome_file(given, str(given), given.stem, given.parent)
    if name_or_path not in dome_names():
        raise InputError("unknown dome", key="dome", value=name_or_path, expected=nearest(str(name_or_path), dome_names()))
    return _dome_file(_SHIPPED / f"{name_or_path}.toml", f"{name_or_path}.toml", name_or_path, None)


def dome_of(dome: DomeLike) -> Dome:
    """A dome itself, or the one of a name or file, see `load_dome`."""
    if isinstance(dome, str | Path):
        return load_dome(dome)
    if not isinstance(dome, Dome):
        raise InputError("wrong type", key="dome", value=dome, expected="a Dome, or the name or file of one")
    return dome


def dome_names() -> tuple[str, ...]:
    """Names of the built-in domes, sorted."""
    return tuple(sorted(entry.name[:-5] for entry in _SHIPPED.iterdir() if entry.name.endswith(".toml")))


@reader
def _dome_file(source: str | Path, file: str, name: str, folder: Path | None) -> Dome:
    return dome_from(read_toml(Path(source), file), name=name, folder=folder)


def dome_from(table: Table, *, name: str, folder: Path | None) -> Dome:
    """A dome from its keys, a file's or a scene's section; pictures lie in `folder`, a shipped dome has none."""
    table = table.checked(_SECTION if table.section else _DOME)
    values = {key: value for key, value in table.values.items() if key not in ("zone", "lamp")}
    for key, expected, constructor in (("zone", _ZONE, Zone), ("lamp", _LAMP, Lamp)):
        patches = [patch.checked(expected) for patch in table.parts(key)]
        values[f"{key}s"] = tuple(patch.build(constructor, **patch.values) for patch in patches)
    if folder is not None and "image" in values:
        values["image"] = table.build(read_sky_image, path=folder / values["image"])
    return table.build(Dome, **{**values, "name": name})
