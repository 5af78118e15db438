"""What decides a product changes its key, and nothing else does."""

from __future__ import annotations

import ast
import json
import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

import raylab as rl
from raylab.code_id import LIBRARIES, NEUTRAL, code_id, fingerprint
from raylab.package_files import PACKAGE, closure, data_files, source_files

DESIGN = """
import raylab as rl
from raylab.designs.design import trace_designs
from raylab.designs.keys import complete
given = {"table_pct": 57.0, "crown_angle_deg": 34.5, "pavilion_angle_deg": 40.75, "dome": "head-shadow"}
BEGIN
trace_designs([complete(given)], rl.TraceSettings(precision=0.1))
"""
STILL = """
import tempfile
from pathlib import Path
import raylab as rl
from raylab.pictures.stills import still
from raylab.scene.pixel_grid import PixelGrid
stone = rl.round_brilliant(table_pct=57, crown_angle_deg=34.5, pavilion_angle_deg=40.75)
scene = rl.Scene(stone, rl.load_dome("small-lamps"), rl.View(tilt_deg=3.0), rl.TraceSettings(precision=0.1))
grid = PixelGrid(-4.0, -4.0, 1.0, 8)
BEGIN
with tempfile.TemporaryDirectory() as folder:
    still(scene, grid, rl.wavelength_set(2), "D65", 1.0, 0.03, Path(folder))
"""
PRODUCTS = {"designs.design": DESIGN, "pictures.stills": STILL}

WATCHED = """
import json, sys
opened = set()
sys.addaudithook(lambda event, args: opened.add(str(args[0])) if event == "open" else None)
{given}
before = set(sys.modules)
opened.clear()
{work}
print(json.dumps([sorted(name for name in set(sys.modules) - before if name.startswith("raylab.")), sorted(opened)]))
"""

NEUTRAL_LIBRARIES = {"pydantic", "xarray", "imageio", "tifffile", "OpenEXR", "trimesh"}
"""Libraries that deciding modules import and that decide no number: checks of input, labelled arrays, lossless files. (The
pixels of a sky image and the planes of a scanned stone are part of a scene's hash.)"""


@pytest.fixture(scope="module")
def copy(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("copy") / "raylab"
    shutil.copytree(PACKAGE, folder, ignore=shutil.ignore_patterns("__pycache__"))
    return folder


def deciding(module: str, package: Path = PACKAGE) -> set[Path]:
    names = set(closure(module, package)) - set(NEUTRAL)
    return {source_files(package)[name] for name in names} | {file for name in names for file in data_files(name, package)}


@contextmanager
def one_byte_more(files: list[Path]) -> Iterator[None]:
    """Each file ends with one line more, for as long as this lasts."""
    before = {file: file.read_bytes() for file in files}
    for file, text in before.items():
        file.write_bytes(text + b"\n")
    try:
        yield
    finally:
        for file, text in before.items():
            file.write_bytes(text)


@pytest.mark.parametrize("module", PRODUCTS)
def test_a_byte_in_any_deciding_file_changes_the_key_and_elsewhere_does_not(copy, module):
    key = fingerprint(module, copy)
    assert key == code_id(module)
    changing = deciding(module, copy)
    assert len(changing) > 30
    for file in changing:
        with one_byte_more([file]):
            assert fingerprint(module, copy) != key, file
    with one_byte_more([path for path in copy.rglob("*") if path.is_file() and path not in changing]):
        assert fingerprint(module, copy) == key
    assert fingerprint(module, copy) == key


@pytest.mark.parametrize("module", PRODUCTS)
def test_all_that_is_imported_and_read_while_it_is_made_counts(module):
    """In a process of its own, as Python sees it. Imports that it never comes to count too, so the key may be too careful."""
    environment = {**os.environ, "PYTHONPATH": str(PACKAGE.parent)}
    given, work = PRODUCTS[module].split("BEGIN")
    command = [sys.executable, "-c", WATCHED.format(given=given, work=work)]
    done = subprocess.run(command, env=environment, capture_output=True, text=True, check=True)
    imported, opened = json.loads(done.stdout)
    counted = set(closure(module))
    assert {name.removeprefix("raylab.") for name in imported} <= counted
    inside = {Path(file) for file in opened if file.startswith(str(PACKAGE)) and "__pycache__" not in file}
    data = {file for file in inside if file.is_file() and file.suffix != ".py"}
    assert data
    assert data <= deciding(module)


@pytest.mark.parametrize(
    ("module", "counts", "does_not"),
    [
        ("designs.design", "tracers/exact/beam_kernel.py", "comparison/comparing.py"),
        ("designs.design", "lighting/domes/head-shadow.toml", "sweeps/optimizing.py"),
        ("designs.design", "optics/data/indices.toml", "optics/data/illuminants.csv"),
        ("pictures.stills", "color/picture.py", "pictures/video.py"),
        ("pictures.stills", "tracing.py", "sweeps/store.py"),
        ("pictures.stills", "optics/data/observer_cie_1931_2deg.csv", "motion/view_paths.py"),
    ],
)
def test_what_counts_and_what_does_not(module, counts, does_not):
    assert PACKAGE / counts in deciding(module)
    assert (PACKAGE / does_not).exists()
    assert PACKAGE / does_not not in deciding(module)


@pytest.mark.parametrize("module", PRODUCTS)
def test_every_library_that_a_deciding_module_imports_is_known(module):
    names = set()
    for file in deciding(module):
        if file.suffix == ".py":
            for node in ast.walk(ast.parse(file.read_text())):
                if isinstance(node, ast.ImportFrom) and node.level == 0:
                    names.add(str(node.module).split(".")[0])
                elif isinstance(node, ast.Import):
                    names |= {alias.name.split(".")[0] for alias in node.names}
    assert names - set(sys.stdlib_module_names) <= {*LIBRARIES, *NEUTRAL_LIBRARIES}


def test_shipped_files_are_opened_by_one_function():
    """Any other way to a file of the package would not be seen."""
    allowed = {"package_files"}
    for name, file in source_files().items():
        if name not in allowed:
            text = file.read_text()
            assert "__file__" not in text, name
            assert "importlib.resources" not in text, name
    assert rl.load_dome("even-sky")
