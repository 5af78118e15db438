"""Films: as many stills as asked, even sizes, the right length; broken-off films go on; nothing is traced twice."""

from __future__ import annotations

import sys
from pathlib import Path

import imageio.v3 as iio
import numpy as np
import pytest
from PIL import Image

import raylab as rl
from raylab.cli import main
from raylab.motion.view_paths import circling, moved
from raylab.pictures import stills
from raylab.pictures.video import save_video

STONE = rl.round_brilliant(table_pct=57.0, crown_angle_deg=34.5, pavilion_angle_deg=40.75)
SMALL = rl.round_brilliant(table_pct=57.0, crown_angle_deg=34.5, pavilion_angle_deg=40.75, diameter_mm=3.25)
DOME = rl.load_dome("head-shadow")
SCENES = Path(__file__).parents[1] / "scenes"
QUICK = {"size": 33, "spectrum": 2, "settings": rl.TraceSettings(precision=0.1)}


@pytest.fixture
def traced(monkeypatch):
    """Every view that is really traced."""
    seen = []

    def counted(scene, *args, **settings):
        seen.append(scene.view)
        return rl.color_picture(scene, *args, **settings)

    monkeypatch.setattr(stills, "color_picture", counted)
    return seen


def test_an_mp4_has_the_requested_stills_at_even_sizes(tmp_path, traced):
    pytest.importorskip("av")
    film = tmp_path / "film.mp4"
    facts = []
    made = save_video([STONE, SMALL], DOME, film, circling(5), fps=10.0, progress=lambda *done: facts.append(done), **QUICK)
    read = iio.imread(film, plugin="pyav")
    assert read.shape == (5, 34, 66, 3)
    assert iio.immeta(film, plugin="pyav")["duration"] == pytest.approx(0.5)
    assert iio.immeta(film, plugin="pyav")["fps"] == 10.0
    assert facts == [(k, 5) for k in range(1, 6)]
    assert len(list(made.folder.glob("*.png"))) == len(traced) == 10
    # half as wide a stone covers a quarter of the area, at one scale; the background is dark, the film only nearly lossless
    big, small = (np.mean(half.max(axis=-1) > 80) for half in (read[:, :33, :33], read[:, :33, 33:]))
    assert big / small == pytest.approx(4.0, rel=0.35)


@pytest.mark.parametrize("suffix", [".gif", ".webp"])
def test_without_a_codec_there_are_animations(tmp_path, suffix):
    film = tmp_path / f"film{suffix}"
    save_video(STONE, DOME, film, circling(3), fps=20.0, **QUICK)
    with Image.open(film) as read:
        assert read.n_frames == 3
        assert read.size == (34, 34)
        read.seek(1)
        read.load()
        assert read.info["duration"] == 50


def test_a_film_that_was_broken_off_goes_on(tmp_path, traced):
    film = tmp_path / "film.gif"

    def stop(done, total):
        if done == 2:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        save_video(STONE, DOME, film, circling(4), progress=stop, **QUICK)
    assert not film.exists()
    assert {path.suffix for path in tmp_path.rglob("*") if path.is_file()} == {".png"}
    kept = len(list(tmp_path.rglob("*.png")))
    assert 2 <= kept <= 4, "some threads were ahead"
    traced.clear()
    folder = save_video(STONE, DOME, film, circling(4), **QUICK).folder
    assert len(traced) == 4 - kept, "what was kept is not traced again"
    traced.clear()
    whole = film.read_bytes()
    next(iter(sorted(folder.glob("*.png")))).unlink()
    save_video(STONE, DOME, film, circling(4), force=True, **QUICK)
    assert len(traced) == 1
    assert film.read_bytes() == whole
    save_video(STONE, DOME, film, circling(4), force=True, **{**QUICK, "size": 34})
    assert len(traced) == 5, "other pixels are other stills"


def test_the_views_go_around_and_close():
    looks = circling(8, 10.0)
    assert [view.tilt_azimuth_deg for view in looks] == [45.0 * k for k in range(8)]
    assert {view.tilt_deg for view in looks} == {10.0}
    assert len(circling()) == 200


def test_turned_and_rocked_stones_come_back():
    assert [view.turn_deg for view in rl.turning(4)] == [0.0, 90.0, 180.0, 270.0]
    assert {view.tilt_deg for view in rl.turning(4, view=rl.View(7.0, 20.0, 5.0))} == {7.0}
    rocked = rl.rocking(8, 10.0, 30.0)
    assert [round(view.tilt_deg, 9) for view in rocked] == pytest.approx([0, 50**0.5, 10, 50**0.5, 0, 50**0.5, 10, 50**0.5])
    assert [view.tilt_azimuth_deg for view in rocked[1:4] + rocked[5:]] == [30.0] * 3 + [-150.0] * 3
    assert moved(rl.View(3.0, turn_deg=9.0), "circle", 2) == circling(2, 12.0, 9.0)
    with pytest.raises(rl.InputError, match=r"did you mean .circle."):
        moved(rl.View(), "circel", 4)
    with pytest.raises(rl.InputError, match="parallel"):
        moved(rl.View(distance_mm=250.0), "turn", 4)


def test_the_command_films_two_stones_and_goes_on_after_an_interrupt(tmp_path, traced, monkeypatch, capsys):
    words = ["film", str(SCENES / "well-proportioned.toml"), str(SCENES / "deep-nail-head.toml")]
    words += ["--out", str(tmp_path / "film.gif")]
    words += ["--move", "turn", "--angle-deg", "45", "--stills", "3", "--size", "24", "--spectrum", "1"]
    counted = stills.color_picture

    def broken_off(*args, **settings):
        if len(traced) >= 2:
            raise KeyboardInterrupt
        return counted(*args, **settings)

    monkeypatch.setattr(stills, "color_picture", broken_off)
    assert main(words) == 130
    assert capsys.readouterr().err == "raylab: interrupted; the same command goes on with the film\n"
    assert not (tmp_path / "film.gif").exists()
    kept = len(list((tmp_path / "film-stills").glob("*.png")))
    assert 1 <= kept < 6  # what other threads were tracing is given up
    traced.clear()
    monkeypatch.setattr(stills, "color_picture", counted)
    assert main(words) == 0
    assert "3 stills at 20 per second" in capsys.readouterr().out
    with Image.open(tmp_path / "film.gif") as film:
        assert (film.n_frames, film.size) == (3, (48, 24))
    assert len(traced) == 6 - kept
    assert main(words) == 2
    assert "film.gif: exists already; nothing was written" in capsys.readouterr().err


def test_the_command_refuses_before_the_work(tmp_path, traced, capsys):
    scene = str(SCENES / "well-proportioned.toml")
    for words, says in {
        "--out film.avi": "film.avi: unknown kind of film file; expected a name in .mp4, .gif, .webp",
        "--out film.gif --size 4": "--size = 4: out of range",
        "--out film.gif --fps 0": "--fps = 0.0: out of range",
        "--out film.gif --stills 0": "--stills = 0: out of range",
        "--out film.gif --exposure 0": "--exposure = 0.0: out of range",
        "--out film.gif --move rock --angle-deg 190": "--angle-deg = 190.0: out of range",
    }.items():
        assert main(["film", scene, *words.replace("film.", str(tmp_path / "film.")).split()]) == 2
        assert says in capsys.readouterr().err
    assert main(["film", "--out", str(tmp_path / "film.gif")]) == 2
    assert traced == []
    assert list(tmp_path.iterdir()) == []


def test_what_cannot_be_filmed_is_reported_before_the_work(tmp_path, traced, monkeypatch):
    with pytest.raises(rl.InputError, match=r"\.mp4, \.gif, \.webp"):
        save_video(STONE, DOME, tmp_path / "film.avi", **QUICK)
    with pytest.raises(rl.InputError, match="missing"):
        save_video(STONE, DOME, tmp_path / "film.gif", [], **QUICK)
    (tmp_path / "film.gif").write_bytes(b"")
    with pytest.raises(rl.InputError, match="exists already"):
        save_video(STONE, DOME, tmp_path / "film.gif", circling(2), **QUICK)
    monkeypatch.setitem(sys.modules, "av", None)
    with pytest.raises(rl.InputError, match="PyAV"):
        save_video(STONE, DOME, tmp_path / "film.mp4", circling(2), **QUICK)
    assert traced == []
