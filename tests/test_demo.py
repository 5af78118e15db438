"""The demo files: a name stands for a file anywhere, a file of the user's goes first, and nothing is overwritten by a copy."""

from __future__ import annotations

import json
import os
import shutil
from pathlib import Path

import pytest

import raylab as rl
from raylab import demo
from raylab.cli import main
from raylab.stone.extent import extent_of

SCENES = Path(__file__).parents[1] / "scenes"


@pytest.fixture(autouse=True)
def elsewhere(tmp_path, monkeypatch):
    """A working directory of its own, away from the repository."""
    monkeypatch.chdir(tmp_path)


def test_every_demo_file_has_a_name_of_its_own_that_finds_it():
    assert {file.suffix for file in demo.demo_files()} == {".toml", ".csv", ".ply", ".tiff"}
    files = demo.named_files()
    names = [demo.demo_name(file) for file in files]
    assert len(set(names)) == len(files)
    for name, file in zip(names, files, strict=True):
        assert demo.own_or_demo(name) == SCENES / file


def test_a_name_stands_for_a_file_in_the_library():
    assert rl.load_scene("tilted-by-the-window").view.tilt_deg == 12
    assert rl.load_scene("north-workroom").dome.sky == "image", "a path in a scene is relative to it"
    assert rl.load_stone("blocked").name == rl.load_stone(SCENES / "stones" / "blocked.csv").name
    assert rl.load_stone("shallow-fish-eye").name == "F-2 (invented)"


def test_a_file_of_the_users_goes_first():
    text = (SCENES / "well-proportioned.toml").read_text(encoding="utf-8").replace("W-1 (invented)", "mine")
    Path("well-proportioned").write_text(text, encoding="utf-8")
    assert rl.load_scene("well-proportioned").stone.name == "mine"
    assert rl.load_scene("well-proportioned.toml").stone.name == "W-1 (invented)"


@pytest.mark.parametrize(
    ("name", "says"),
    [
        ("offer-a", "offer-a: several shipped files have this name; expected offer-a.csv or offer-a.ply"),
        ("well-proportionned", "well-proportionned: no such file; did you mean 'well-proportioned'?"),
        ("zzz", "zzz: no such file; expected a file, or a name that `raylab scenes` lists"),
        ("zzz.csv", "zzz.csv: no such file; expected a table of facets"),
    ],
)
def test_another_word_is_refused_in_one_line(name, says, capsys):
    assert main(["measure", name]) == 2
    assert capsys.readouterr().err == f"raylab: {says}\n"


def test_the_list_holds_scenes_stones_and_sweeps(capsys):
    assert main(["scenes", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert {one["kind"] for one in found} == {"scene", "stone", "sweep"}
    assert all(one.get("fault") is None for one in found)
    assert {"well-proportioned", "offer-a.csv", "blocked", "pavilion-by-dome"} <= {one["name"] for one in found}
    assert main(["scenes"]) == 0
    record = capsys.readouterr().out
    assert "well-proportioned" in record
    assert "stones: blocked-cushion, blocked, cushion, emerald, offer-a.csv" in record
    assert "are in millimetres: `raylab measure oval --unit mm`" in record


@pytest.mark.parametrize(
    ("name", "cut"),
    [
        ("pear", "pear brilliant"),
        ("cushion", "cushion brilliant"),
        ("princess", "princess cut"),
        ("blocked-cushion", "cushion brilliant"),
    ],
)
def test_stones_of_other_cuts_are_shipped_as_measured(name, cut):
    stone = rl.load_stone(name)
    assert (stone.cut, stone.measured) == (cut, True)
    assert "(invented)" in stone.name
    assert "# Invented" in (SCENES / "stones" / f"{name}.csv").read_text(encoding="utf-8")
    assert extent_of(stone).azimuth_deg == pytest.approx(0.0, abs=0.5)  # uneven by chance


def test_the_scan_of_an_emerald_cut_has_its_facets():
    """Two steps of eight facets above and below, eight sides and a table. The stone that was scanned weighs 1.2011 ct."""
    found = rl.load_scan(SCENES / "stones" / "emerald.ply", unit="mm").stone
    assert len(found) == 1 + 2 * 8 + 8 + 2 * 8
    assert found.weight_ct == pytest.approx(1.2011, abs=2e-4)


def test_a_copy_can_be_edited_and_overwrites_nothing(capsys):
    assert main(["scenes", "--copy", "mine"]) == 0
    copied = sorted(path.relative_to("mine") for path in Path("mine").rglob("*") if path.is_file())
    assert copied == sorted(demo.demo_files())
    assert rl.load_scene("mine/north-workroom.toml").hash() == rl.load_scene("north-workroom").hash()
    edited = Path("mine", "stones", "blocked.csv")
    edited.write_text("mine", encoding="utf-8")
    os.remove("mine/well-proportioned.toml")
    shutil.rmtree("mine/sweeps")
    assert main(["scenes", "--copy", "mine"]) == 2
    assert "exists already" in capsys.readouterr().err
    assert (edited.read_text(encoding="utf-8"), Path("mine/sweeps").exists()) == ("mine", False)
    assert main(["scenes", "--copy", "mine", "--force"]) == 0
    assert edited.read_bytes() == (SCENES / "stones" / "blocked.csv").read_bytes()
    assert main(["scenes", "mine", "--copy", "other"]) == 2


def test_a_shipped_dome_under_another_key_is_refused_with_the_right_line():
    text = (SCENES / "well-proportioned.toml").read_text(encoding="utf-8")
    Path("s.toml").write_text(text.replace('name = "head-shadow"', 'use = "head-shadow"'), encoding="utf-8")
    with pytest.raises(rl.InputError) as facts:
        rl.load_scene("s.toml")
    expected = "s.toml: dome.use = 'head-shadow': a shipped dome under another key; expected name = \"head-shadow\""
    assert str(facts.value) == expected


def test_a_first_render_needs_no_scene_and_says_what_it_drew(capsys):
    assert main(["render", "--out", "out", "--resolution", "16", "--precision", "0.1"]) == 0
    record = capsys.readouterr().out
    assert record.startswith("the demo scene well-proportioned, shipped with raylab; `raylab scenes` lists more\n")
    facts = json.loads(Path("out/summary.json").read_text(encoding="utf-8"))
    assert facts["scene"]["name"] == "well-proportioned"
