"""What a user installs: the wheel holds the package with its data, the licence, and nothing else."""

from __future__ import annotations

import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

import raylab as rl
from raylab.demo import demo_files

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "raylab"


@pytest.fixture(scope="module")
def wheel(tmp_path_factory) -> Path:
    """Built by the build backend itself, which needs no network."""
    folder = tmp_path_factory.mktemp("wheel")
    words = [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(folder)]
    subprocess.run(words, cwd=ROOT, check=True, capture_output=True, timeout=120)
    (built,) = folder.iterdir()
    return built


def test_the_wheel_holds_the_package_whole_and_nothing_else(wheel):
    names = zipfile.ZipFile(wheel).namelist()
    assert {name.split("/")[0] for name in names} == {"raylab", f"raylab-{rl.__version__}.dist-info"}
    source = {path.relative_to(ROOT).as_posix() for path in PACKAGE.rglob("*") if path.is_file()}
    source |= {f"raylab/demo/{file.as_posix()}" for file in demo_files()}
    assert {name for name in names if name.startswith("raylab/")} == {name for name in source if "__pycache__" not in name}


@pytest.mark.parametrize(
    "pattern",
    [
        "raylab/py.typed",
        "raylab/lighting/domes/*.toml",
        "raylab/optics/data/*.csv",
        "raylab/optics/data/*.toml",
        "raylab/report/page.html.j2",
        "raylab/workbench/static/index.html",
        "raylab/workbench/static/*.js",
        "raylab/workbench/static/*.css",
    ],
)
def test_the_wheel_holds_each_kind_of_data(wheel, pattern):
    here = sorted(path.relative_to(ROOT).as_posix() for path in ROOT.glob(pattern))
    assert here
    assert set(here) <= set(zipfile.ZipFile(wheel).namelist())


def test_away_from_the_repository_the_demo_is_at_hand(wheel, tmp_path):
    """The unpacked wheel, in a working directory that knows nothing of the repository."""
    with zipfile.ZipFile(wheel) as held:
        held.extractall(tmp_path / "site")
    code = """
from raylab.cli import main
assert main(["scenes"]) == 0
assert main(["measure", "blocked"]) == 0
assert main(["scenes", "--copy", "mine"]) == 0
import raylab
print(raylab.__file__, raylab.load_scene("evening-counter").dome.sky)
"""
    (tmp_path / "work").mkdir()
    env = {**os.environ, "PYTHONPATH": str(tmp_path / "site")}
    words = [sys.executable, "-c", code]
    done = subprocess.run(words, cwd=tmp_path / "work", env=env, capture_output=True, text=True, check=False, timeout=120)
    assert (done.returncode, done.stderr) == (0, "")
    assert "not usable" not in done.stdout
    assert done.stdout.splitlines()[-1] == f"{tmp_path / 'site' / 'raylab' / '__init__.py'} image"
    assert (tmp_path / "work" / "mine" / "well-proportioned.toml").exists()


def test_the_wheel_states_licence_and_version(wheel):
    with zipfile.ZipFile(wheel) as held:
        info = f"raylab-{rl.__version__}.dist-info"
        assert held.read(f"{info}/licenses/LICENSE") == (ROOT / "LICENSE").read_bytes()
        stated = held.read(f"{info}/METADATA").decode().splitlines()
    assert {f"Version: {rl.__version__}", "License-Expression: MIT", "License-File: LICENSE"} <= set(stated)


def test_the_citation_file_gives_the_same_version():
    assert f"version: {rl.__version__}" in (ROOT / "CITATION.cff").read_text(encoding="utf-8").splitlines()
