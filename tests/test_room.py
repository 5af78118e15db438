"""Work says what it takes before it starts, and what can't be is refused before anything is written."""

from __future__ import annotations

from pathlib import Path

import pytest

import raylab as rl
from raylab import room
from raylab.cli import main
from raylab.motion.view_paths import circling
from raylab.pictures.video import save_video
from raylab.room import Need
from raylab.sweeps import sweeping

STONE = rl.round_brilliant(table_pct=57, crown_angle_deg=34.5, pavilion_angle_deg=40.75)
GIVEN = {"table_pct": 57.0, "crown_angle_deg": 34.5}


def test_a_need_is_said_and_checked(monkeypatch, tmp_path, capsys):
    monkeypatch.setattr(room, "free_memory", lambda: 2_000_000_000)
    monkeypatch.setattr(room, "free_disk", lambda place: 5_000_000_000)
    small = Need("7 designs", 2e9, 5e9, tmp_path, 3600.0)
    small.check("axes", "fewer")
    small.say()
    assert capsys.readouterr().err == "7 designs take 2.0 GB of memory, 5.0 GB on the disk, about 1 h 0 min\n"
    Need("1 design", 1e6, seconds=9.0).say()
    assert capsys.readouterr().err == ""
    for need, says in (
        (Need("8 designs", 2.1e9), "axes: 8 designs take 2.1 GB of memory; 2.0 GB of memory are free; expected fewer"),
        (Need("8 designs", 1e6, 5.1e9, tmp_path), "5.1 GB on the disk; 5.0 GB are free on the disk; expected fewer"),
        (Need("8 designs", 1e6, seconds=4e7), "about 463 days, longer than a year; expected fewer"),
    ):
        with pytest.raises(rl.InputError) as caught:
            need.check("axes", "fewer")
        assert says in str(caught.value)


def test_what_is_free_is_known(tmp_path, monkeypatch):
    assert room.free_memory() > 1 << 20
    assert room.free_disk(tmp_path / "deep" / "er") == pytest.approx(room.free_disk(tmp_path), rel=0.1)
    assert room.free_disk(tmp_path / ("x" * 300)) == pytest.approx(room.free_disk(tmp_path), rel=0.1)
    (tmp_path / "limit").write_text("12345\n")
    monkeypatch.setattr(room, "_LIMITS", (str(tmp_path / "absent"), str(tmp_path / "limit")))
    assert room.free_memory() == 12345


def test_a_sweep_that_no_machine_can_hold_is_refused(tmp_path, capsys):
    """1.6e9 designs."""
    axis = "{ start = %d, stop = %d, number = 40000 }"
    axes = f"pavilion_angle_deg = {axis % (38, 43)}\ncrown_angle_deg = {axis % (30, 38)}\n"
    (tmp_path / "s.toml").write_text(f"schema = 1\n[axes]\n{axes}[fixed]\ntable_pct = 57\ndome = 'head-shadow'\n")
    assert main(["sweep", str(tmp_path / "s.toml"), "--out", str(tmp_path / "out")]) == 2
    line = capsys.readouterr().err
    assert line.startswith("raylab: axes: 1600000000 designs take 1,760.0 GB of memory, 1,280.0 GB on the disk; ")
    assert not (tmp_path / "out").exists()


def test_a_sweep_in_pieces_needs_no_more_memory_but_disk(tmp_path, capsys, monkeypatch):
    """The same 1.6e9 designs: a disk that doesn't hold them is refused before anything is traced."""
    monkeypatch.setattr(sweeping, "cost_s", None)
    axis = "{ start = %d, stop = %d, number = 40000 }"
    axes = f"pavilion_angle_deg = {axis % (38, 43)}\ncrown_angle_deg = {axis % (30, 38)}\n"
    (tmp_path / "s.toml").write_text(f"schema = 1\n[axes]\n{axes}[fixed]\ntable_pct = 57\ndome = 'head-shadow'\n")
    monkeypatch.setattr(room, "free_disk", lambda place: 703 * 10**9)
    assert main(["sweep", str(tmp_path / "s.toml"), "--out", str(tmp_path / "out"), "--zarr"]) == 2
    line = capsys.readouterr().err
    words = "raylab: axes: 1600000000 designs take 0.4 GB of memory, 704.0 GB on the disk; 703.0 GB are free on the disk"
    assert line.startswith(words)
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize("axis", [rl.steps(38.0, 43.0, 1_600_000_000), [40.0] * (2**20 + 1)])
def test_an_axis_of_too_many_values_is_refused_before_they_are_made(axis):
    with pytest.raises(rl.InputError, match="1 to 1048576"):
        rl.sweep({"pavilion_angle_deg": axis}, "head-shadow", **GIVEN)


@pytest.mark.parametrize("axis", [[[1.0, 2.0], [3.0]], [{"a": 1}], [None], ["40"], [[40.0]]])
def test_values_of_another_kind_are_one_line(axis):
    with pytest.raises(rl.InputError, match="pavilion_angle_deg"):
        rl.sweep({"pavilion_angle_deg": axis}, "head-shadow", **GIVEN)


def test_a_sweep_that_would_take_years_is_refused_and_leaves_nothing(tmp_path, monkeypatch):
    monkeypatch.setattr(sweeping, "cost_s", lambda *_: 1e8)
    for out in (None, tmp_path / "out"):
        with pytest.raises(rl.InputError, match=r"axes: 3 designs take .* about 3,472 days, longer than a year"):
            rl.sweep({"pavilion_angle_deg": rl.steps(40, 41, 3)}, "head-shadow", **GIVEN, processes=1, out=out)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("kind", ["gif", "webp", "mp4"])
def test_a_film_of_too_many_stills_is_not_begun(kind, tmp_path, monkeypatch):
    monkeypatch.setattr(room, "free_memory", lambda: 10**9)
    monkeypatch.setattr(room, "free_disk", lambda place: 10**9)
    views = circling(100_000)
    with pytest.raises(rl.InputError, match=r"frames: 100000 stills take .* are free"):
        save_video(STONE, rl.load_dome("head-shadow"), tmp_path / f"film.{kind}", views, size=400)
    assert list(tmp_path.iterdir()) == []


def test_maps_that_no_memory_holds_are_refused(monkeypatch):
    monkeypatch.setattr(room, "free_memory", lambda: 10**6)
    with pytest.raises(rl.InputError, match="resolution: maps of 100 x 100 pixels at 2 wavelengths take 5 MB of memory"):
        rl.trace(STONE, rl.load_dome("head-shadow"), resolution=100, wavelengths_nm=(500.0, 600.0), precision=0.1)
    rl.trace(STONE, rl.load_dome("head-shadow"), resolution=40, precision=0.1)


def test_a_mesh_that_no_memory_holds_is_refused(tmp_path, monkeypatch):
    rl.save_stone(STONE, path := Path(tmp_path / "s.stl"))
    size = path.stat().st_size
    monkeypatch.setattr(room, "free_memory", lambda: 10 * size - 1)
    with pytest.raises(rl.InputError, match=rf"s\.stl: a mesh of {size} bytes take"):
        rl.load_stone(path, unit="mm")
    monkeypatch.setattr(room, "free_memory", lambda: 10 * size)
    rl.load_stone(path, unit="mm")
