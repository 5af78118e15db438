"""Files in and out: a stone from a file of the user or of the page, and a design as a file."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING, Any

from ..errors import InputError
from ..files import save_stone
from ..lighting.dome import Dome
from ..optics.absorption import tints
from ..scene.scene_file import scene_and_scan
from ..stone.recipes.recipe_table import is_recipe
from ..stone.scanning.mesh_file import SUFFIXES, UNIT_UNSAID, UNITS_MM
from ..stone.stone import Stone
from ..stone.stone_file import FILLINGS, load_stone, stone_and_scan, stone_section
from ..toml_tables import read_toml
from ..whole_files import temporary_folder
from .design_json import DEMO, INCLUSIONS, Design, facet_design, file_stem, proportion_design, stone_of, stone_toml
from .own_domes import OwnDome, dome_in_file
from .scan_facts import SCAN, scan_facts

if TYPE_CHECKING:
    from ..stone.scanning.scan import Scan

MAX_BYTES = 64 * 1024 * 1024
"""Largest file that the page may send."""

UNITS = ("mm", *(unit for unit in UNITS_MM if unit != "mm"))
"""Units of length that a mesh file's numbers may be in, the commonest first."""

SAVED = {"toml": "application/toml", "csv": "text/csv", "stl": "model/stl"}
"""Kinds of file that a design can be saved as, with their media types."""


@dataclass(frozen=True)
class Opened:
    """A stone as the page takes it up: its `design`, and the `dome` and tilt of a scene file (None, 0 where there is none).

    `surrogate`, if any, is that of a finished sweep that the page's heat map begins with, see `surrogate_maps`.
    """

    design: Design
    title: str = ""
    dome: Dome | None = None
    tilt_deg: float = 0.0
    tilt_azimuth_deg: float = 0.0
    surrogate: dict[str, Any] | None = None


def open_demo() -> Opened:
    """The invented stone that the workbench opens with."""
    return Opened(dict(DEMO), "Lantern Quay (invented), stone W-1")


def open_path(path: Path, unit: str | None = None, noise_um: float | None = None) -> Opened:
    """The stone, or the scene, in a file of the user's; `unit` and `noise_um` of a mesh, see `load_scan`.

    A TOML file that names a mesh states its unit; its noise is known as the mesh's own.

    Raises InputError, one line that names the file.
    """
    suffix = path.suffix.lower()
    if suffix in SUFFIXES:
        return _opened_scan(path, unit if suffix in UNIT_UNSAID else None, noise_um)
    if suffix != ".toml":
        if noise_um is not None:
            problem = "applies to scans only"
            raise InputError(problem, file=str(path), key="noise_um", value=noise_um, expected="no value for this file")
        stone = load_stone(path)
        return Opened(facet_design(stone), stone.name)
    tables = read_toml(path, str(path)).values
    if "dome" not in tables:
        stone, scan = stone_and_scan(stone_section(path), noise_um)
        return Opened(_toml_design(tables, stone, scan), str(tables.get("title") or path.stem))
    scene, scan = scene_and_scan(path, noise_um)
    design = _toml_design(tables, scene.stone, scan)
    return Opened(design, scene.title or path.stem, scene.dome, scene.view.tilt_deg, scene.view.tilt_azimuth_deg)


def _opened_scan(path: Path, unit: str | None, noise_um: float | None) -> Opened:
    """The stone in a mesh, with what is known of its scan."""
    from ..stone.scanning.scan import load_scan  # half a second to import: only when used

    scan = load_scan(path, unit=unit, noise_um=noise_um)
    return Opened({**facet_design(scan.stone), SCAN: scan_facts(path.name, scan.report)}, scan.stone.name)


def open_bytes(name: str, data: bytes, unit: str | None = None) -> Opened:
    """The stone in a file that the page sent; errors call it by its `name` there.

    It is read in a folder of its own, and what it names beside itself is not followed: a page may send files, not fetch them.
    """
    with _received(name, data) as (path, plain):
        return _opened(path, plain, unit)


def open_any(name: str, data: bytes, unit: str | None, noise_um: float | None, known: Mapping[str, Dome]) -> Opened | OwnDome:
    """The same, or the dome where the file is a dome's; `known` domes by name."""
    with _received(name, data) as (path, plain):
        dome = dome_in_file(path, plain, known) if path.suffix == ".toml" else None
        return _opened(path, plain, unit, noise_um) if dome is None else dome


def _opened(path: Path, name: str, unit: str | None, noise_um: float | None = None) -> Opened:
    if path.suffix == ".toml":
        _refuse_links(read_toml(path, name).values)
    return open_path(path, unit, noise_um)


@contextmanager
def _received(name: str, data: bytes) -> Iterator[tuple[Path, str]]:
    """A file of the page for as long as it is read, and its plain name; errors call it by that, with the line where they do."""
    plain = PurePosixPath(name.replace("\\", "/")).name[:120] or "file"
    suffix = re.sub(r"[^.a-z0-9]", "", Path(plain).suffix.lower())[:20]
    if len(data) > MAX_BYTES:
        raise InputError(f"file too large ({len(data)} bytes)", file=plain, expected=f"at most {MAX_BYTES} bytes")
    if not data:
        raise InputError("empty file", file=plain)
    with temporary_folder() as folder:
        stem = re.sub(r"[^\w. ()-]", "", Path(plain).stem)[:50].strip(". ") or "stone"
        path = folder / f"{stem}{suffix}"
        path.write_bytes(data)
        try:
            yield path, plain
        except InputError as error:
            line = re.fullmatch(re.escape(str(path)) + r"(:\d+)", error.file or "")
            file = plain + (line[1] if line else "")
            raise error.but(file=file, expected=_plain(error.expected, path, plain)) from error


def _plain(text: str | None, path: Path, name: str) -> str | None:
    """A message's words without the folder that only we know of."""
    return None if text is None else text.replace(str(path), name).replace(str(path.parent), ".")


def _refuse_links(tables: dict[str, Any]) -> None:
    stone = tables.get("stone")
    inner = {"stone.outline": stone.get("outline")} if isinstance(stone, dict) else {}
    for section, key in (
        ("stone", "file"), ("stone", "tint"), ("stone", "inclusions"), ("stone.outline", "file"),
        ("dome", "file"), ("dome", "image"),
    ):  # fmt: skip
        table = {**tables, **inner}.get(section)
        if not isinstance(table, dict) or key not in table:
            continue
        stated_here = (key == "tint" and table[key] in tints()) or (key == "inclusions" and not isinstance(table[key], str))
        if not stated_here:
            raise InputError(
                "the file refers to another file, which the page did not send",
                key=f"{section}.{key}",
                value=str(table[key])[:60],
                expected="the command raylab workbench FILE",
            )


def _toml_design(tables: dict[str, Any], stone: Stone, scan: Scan | None) -> Design:
    """The design of a checked TOML file's stone: proportions where it states them and no more, else the stone's facets, with
    what is known of its scan if it has one."""
    table = tables["stone"]
    if scan is not None:
        return {**facet_design(stone), SCAN: scan_facts(Path(table["file"]).name, scan.report)}
    plain = "cut" in table and not is_recipe(table) and not (FILLINGS - {INCLUSIONS}) & table.keys()
    return proportion_design(table, stone) if plain else facet_design(stone)


def saved(design: Design, kind: str, title: str, dome: dict[str, Any] | None, view: dict[str, float]) -> tuple[str, bytes]:
    """A design as a file: its name and its content. Inclusions are in a TOML file alone.

    `dome` is the [dome] section of a scene, None where a file can't state it. Raises InputError for an unknown kind, a design
    that is no stone, or one that this kind can't hold.
    """
    if kind not in SAVED:
        raise InputError("unknown kind of file", key="kind", value=kind, expected="one of " + ", ".join(SAVED))
    stone = stone_of(design)
    name = file_stem(stone)
    if kind == "toml":
        return f"{name}.toml", stone_toml(design, title or stone.name, dome, view).encode()
    with temporary_folder() as folder:
        path = folder / f"{name}.{kind}"
        save_stone(stone.with_inclusions(()), path)
        return path.name, path.read_bytes()
