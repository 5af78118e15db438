"""Imports point down: reads the imports of every module and fails on a wrong arrow."""

from __future__ import annotations

import ast
import functools
from collections.abc import Iterator
from pathlib import Path

import pytest

import raylab

ROOT = Path(raylab.__file__).parent

GROUND = {
    "version": (),
    "engine_table": (),
    "displays": (),
    "errors": (),
    "units": ("errors",),
    "compiling": (),
    "convex_hulls": (),
    "plane_geometry": ("convex_hulls",),
    "progress": (),
    "stopping": (),
    "threads": ("stopping",),
    "package_files": (),
    "demo": ("errors", "package_files"),
    "jit": ("compiling", "errors", "package_files"),
    "code_id": ("package_files",),
    "foreign": ("package_files",),
    "toml_tables": ("errors", "reading", "units"),
    "netcdf": (),
    "memory": (),
    "reading": ("errors",),
    "room": ("errors", "progress"),
    "locks": (),
    "staging": ("locks",),
    "whole_files": ("errors", "locks", "staging"),
}
"""What knows nothing of stones and light, and what each may import of its kind."""

LAYERS = (
    tuple(GROUND),
    ("optics",),
    ("stone",),
    ("lighting",),
    ("scene",),
    ("tracers",),
    ("results",),
    ("tracing", "pattern_symmetry", "single_ray", "darkness", "inclusions", "fields", "color"),
    ("designs", "motion"),
    ("sweeps", "comparison", "cutting"),
    ("files", "voxel_files", "pictures"),
    ("live",),
    ("report",),
    ("cli", "workbench", "notebook", "__main__"),
)
"""From the bottom up: modules and packages of `raylab`. A new one is given its place here."""

ENGINES = ("tracers.reference", "tracers.exact", "tracers.sampled", "tracers.gpu")
"""Tracers that must not know each other, or their agreement would prove nothing."""

MODULES = sorted(path for path in ROOT.rglob("*.py") if path != ROOT / "__init__.py")


def name_of(path: Path) -> str:
    """``"stone.stone"`` for raylab/stone/stone.py, ``"stone"`` for raylab/stone/__init__.py."""
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(part for part in parts if part != "__init__")


def layer_of(module: str) -> int | None:
    """Number of the layer a module lies in, from 0; None where the table has no place for it."""
    top = module.split(".")[0]
    return next((number for number, names in enumerate(LAYERS) if top in names), None)


@functools.cache  # most files are asked five times
def imported(path: Path) -> tuple[str, ...]:
    """Names of the modules that a file imports, anywhere in it, whether at once or when used."""
    return tuple(_imported(path))


def _imported(path: Path) -> Iterator[str]:
    package = ("raylab", *path.relative_to(ROOT).parent.parts)
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom):
            base = ".".join([*package[: len(package) - node.level + 1], *([node.module] if node.module else [])])
            base = (node.module or "") if node.level == 0 else base
            for alias in node.names:
                full = f"{base}.{alias.name}"
                yield full if is_module(full) or base == "raylab" else base
        elif isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)


def is_module(dotted: str) -> bool:
    """Whether ``"raylab.x.y"`` is a file or a package of ours."""
    place = ROOT.joinpath(*dotted.split(".")[1:])
    return dotted.split(".")[0] == "raylab" and (place.with_suffix(".py").exists() or (place / "__init__.py").exists())


def own_imports(path: Path) -> list[str]:
    """The same without what is not ours, and without the leading ``raylab.``."""
    return [found.removeprefix("raylab.") for found in imported(path) if found.startswith("raylab.")]


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_imports_point_down(path):
    here = layer_of(name_of(path))
    assert here is not None, f"{name_of(path)} has no place in LAYERS"
    assert here == len(LAYERS) - 1 or "raylab" not in set(imported(path)), "the public door is for users and the command line"
    strangers = {found for found in own_imports(path) if layer_of(found) is None}
    assert strangers == set(), "names of the public door, or modules without a place in LAYERS"
    wrong = [found for found in own_imports(path) if layer_of(found) > here]
    assert wrong == []


@pytest.mark.parametrize("module", GROUND)
def test_the_ground_stands_on_the_ground(module):
    assert set(own_imports(ROOT / f"{module}.py")) <= set(GROUND[module])
    assert set(GROUND[module]) <= set(GROUND)


def ring(arrows: dict[str, set[str]]) -> list[str]:
    """Names that import each other in a ring; empty where there is none."""
    while arrows:
        free = [name for name, targets in arrows.items() if not targets & arrows.keys()]
        if not free:
            return sorted(arrows)
        arrows = {name: targets for name, targets in arrows.items() if name not in free}
    return []


def test_no_module_imports_itself_by_a_detour():
    assert ring({name_of(path): set(own_imports(path)) - {name_of(path)} for path in MODULES}) == []


@pytest.mark.parametrize("parent", ["", "stone", "tracers"])
def test_no_package_imports_itself_by_a_detour(parent):
    """Neither the packages of `raylab`, nor the packages inside one of them."""
    above = parent.split(".") if parent else []

    def package(module: str) -> str | None:
        """The package below `parent` that a module lies in, or is; None for modules that lie elsewhere or beside packages."""
        parts = module.split(".")
        inside = parts[: len(above)] == above and len(parts) > len(above)
        name = parts[len(above)] if inside else ""
        return name if inside and (not above or ROOT.joinpath(*above, name).is_dir()) else None

    arrows: dict[str, set[str]] = {}
    for path in MODULES:
        if (mine := package(name_of(path))) is not None:
            targets = {package(found) for found in own_imports(path)} - {mine, None}
            arrows.setdefault(mine, set()).update(targets)
    assert len(arrows) > 1
    assert ring(arrows) == []


@pytest.mark.parametrize("path", [p for p in MODULES if name_of(p).startswith(ENGINES)], ids=name_of)
def test_tracers_do_not_know_each_other(path):
    mine = next(engine for engine in ENGINES if name_of(path).startswith(engine))
    others = tuple(engine for engine in ENGINES if engine != mine)
    assert [found for found in own_imports(path) if found.startswith(others)] == []


def test_the_oracle_shares_only_stone_dome_and_ledger():
    allowed = {"lighting.dome", "stone.finish", "stone.stone", "stone.inclusions.shapes", "tracers.ledger"}
    found = {one for path in (ROOT / "tracers").glob("reference*.py") for one in own_imports(path)}
    assert found <= {*allowed, "tracers.reference_crossings", "tracers.reference_scattering"}


def test_a_wrong_arrow_would_be_seen(tmp_path, monkeypatch):
    """The reader itself: relative, absolute and late imports all count."""
    monkeypatch.setattr("test_layers.ROOT", tmp_path)
    (tmp_path / "stone").mkdir()
    (tmp_path / "tracing.py").touch()
    (tmp_path / "lighting").mkdir()
    (tmp_path / "lighting" / "dome.py").touch()
    low = tmp_path / "stone" / "low.py"
    low.write_text("from .. import tracing\ndef late():\n    from ..lighting.dome import Dome\n    import raylab.tracing\n")
    assert sorted(own_imports(low)) == ["lighting.dome", "tracing", "tracing"]
    assert layer_of("tracing") > layer_of("stone.low")
