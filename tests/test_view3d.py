"""The stone in 3D: real pictures off screen, and a clear word where a machine can't draw."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import imageio.v3 as iio
import numpy as np
import pytest
from small_scenes import scene_text

import raylab as rl
from raylab.cli import main
from raylab.pictures import drawing3d
from raylab.pictures.label_columns import COLUMN

STONE = rl.round_brilliant(table_pct=57, crown_angle_deg=34.5, pavilion_angle_deg=40.75, girdle_facets=32)
DOME = rl.load_dome("head-shadow")
WAIT_S = 240  # the first picture of a process loads VTK twice; on a busy machine that takes long
PAPER = (0xF4, 0xF3, 0xEF)


@pytest.fixture(scope="module")
def driver() -> None:
    """An OpenGL driver; what has to be drawn is skipped without one, for the reason that raylab gives."""
    try:
        drawing3d._window(on_screen=False)
    except rl.InputError as error:
        pytest.skip(f"pictures in 3D are not checked: {error}")


def drawn(tmp_path, **how) -> np.ndarray:
    path = tmp_path / f"{len(list(tmp_path.iterdir()))}.png"
    rl.view3d(STONE, file=path, size=(400, 300), **how)
    return iio.imread(path)[..., :3].astype(int)


@pytest.mark.usefixtures("driver")
def test_the_picture_from_above_shows_the_outline_to_scale(tmp_path):
    picture = drawn(tmp_path, elevation_deg=90, azimuth_deg=0, labels=False)
    assert picture.shape == (300, 400, 3)
    inside = np.abs(picture - PAPER).max(axis=2) > 2
    rows, columns = np.flatnonzero(inside.any(axis=1)), np.flatnonzero(inside.any(axis=0))
    pixels_per_mm = 300 / 2 / (1.05 * STONE.size_mm.max() / 2)
    for found, size in ((columns, STONE.size_mm[0]), (rows, STONE.size_mm[1])):
        assert np.ptp(found) + 1 == pytest.approx(size * pixels_per_mm, abs=3), "the line's width and a pixel"
    assert inside.sum() == pytest.approx(STONE.outline_area_mm2 * pixels_per_mm**2, rel=0.02)
    middle = picture[120:180, 170:230].reshape(-1, 3)
    assert len(np.unique(middle, axis=0)) > 3, "facets differ, and edges are drawn"


@pytest.mark.usefixtures("driver")
def test_every_tier_has_a_tone_and_a_name(tmp_path):
    plain = drawn(tmp_path, labels=False)
    named = drawn(tmp_path)
    columns = round(COLUMN * 400)
    assert not (plain[:, :columns] == PAPER).all(), "without labels the stone fills the picture"
    assert not (named[:, :columns] == PAPER).all(), "labels stand in both columns"
    assert not (named[:, -columns:] == PAPER).all()
    below = drawn(tmp_path, elevation_deg=-90, labels=False)
    tones = np.unique(below.reshape(-1, 3), axis=0, return_counts=True)[1]
    assert (tones > 200).sum() >= 5


@pytest.mark.usefixtures("driver")
def test_rays_are_drawn_with_what_leaves(tmp_path):
    path = rl.ray_path(rl.Scene(STONE, DOME), 1.2, 0.55)
    missed = rl.ray_path(rl.Scene(STONE, DOME), 9.0, 0.0)
    with_ray = drawn(tmp_path, paths=[path], labels=False)
    labeled = drawn(tmp_path, paths=[path])
    beside = drawn(tmp_path, paths=[missed], labels=False)
    arrows = (with_ray[..., 2] > with_ray[..., 0] + 40) & (with_ray.max(axis=2) < 140)
    assert arrows.sum() > 30
    assert not ((beside[..., 2] > beside[..., 0] + 40) & (beside.max(axis=2) < 140)).any()
    assert (labeled != with_ray).any(axis=2).mean() > 0.005


def test_a_file_in_the_way_is_refused_before_anything_is_drawn(tmp_path, monkeypatch):
    (tmp_path / "x.png").write_bytes(b"mine")
    monkeypatch.setattr(drawing3d, "plotter_of", lambda *_, **__: pytest.fail("drawn"))
    with pytest.raises(rl.InputError, match=r"x\.png: exists already"):
        rl.view3d(STONE, file=tmp_path / "x.png")
    assert (tmp_path / "x.png").read_bytes() == b"mine"


@pytest.mark.parametrize(("key", "value"), [("elevation_deg", 91), ("azimuth_deg", float("nan")), ("size", (8, 100))])
def test_a_number_out_of_range_is_reported(tmp_path, key, value):
    with pytest.raises(rl.InputError, match=key):
        rl.view3d(STONE, file=tmp_path / "x.png", **{key: value})
    assert not list(tmp_path.iterdir())


# --- a window --------------------------------------------------------------------------------------------------------


@pytest.fixture
def display() -> Iterator[dict[str, str]]:
    """The environment of a screen of its own, without hardware."""
    if missing := [program for program in ("Xvfb", "xdotool") if shutil.which(program) is None]:
        pytest.skip(f"the window in 3D is not checked: no {' and no '.join(missing)} on PATH")
    heard, facts = os.pipe()
    command = ["Xvfb", "-displayfd", str(facts), "-screen", "0", "640x480x24", "-nolisten", "tcp"]
    screen = subprocess.Popen(command, pass_fds=[facts], stderr=subprocess.DEVNULL)
    os.close(facts)
    with os.fdopen(heard) as lines:
        number = lines.readline().strip()
    assert number, "Xvfb gives the number of its screen when it is ready"
    elsewhere = {key: value for key, value in os.environ.items() if key not in ("WAYLAND_DISPLAY", "VTK_DEFAULT_OPENGL_WINDOW")}
    yield {**elsewhere, "DISPLAY": f":{number}"}
    screen.terminate()
    screen.wait()


@pytest.mark.usefixtures("driver")
def test_a_window_opens_and_stays_until_it_is_closed(display):
    """In a process of its own, with a real key from outside."""
    code = """import raylab as rl
cut = {"table_pct": 57, "crown_angle_deg": 34.5, "pavilion_angle_deg": 40.75, "girdle_facets": 32}
stone = rl.round_brilliant(**cut, name="W-1 in a window")
rl.view3d(stone, size=(400, 300))
print("closed")"""
    root = Path(rl.__file__).parents[1]
    shown = subprocess.Popen([sys.executable, "-c", code], env=display, cwd=root, stdout=subprocess.PIPE, text=True)

    def hand(*words: str) -> str:
        return subprocess.run(
            ["xdotool", *words], env=display, capture_output=True, text=True, check=True, timeout=WAIT_S
        ).stdout

    window = hand("search", "--sync", "--onlyvisible", "--name", "W-1 in a window").split()[0]
    assert "Geometry: 400x300" in hand("getwindowgeometry", window)
    assert shown.poll() is None, "it stays open"
    hand("key", "--window", window, "q")
    assert shown.communicate(timeout=WAIT_S)[0] == "closed\n"
    assert shown.returncode == 0


@pytest.mark.usefixtures("driver")
def test_a_screen_that_does_not_answer_is_reported_without_a_crash():
    code = """import raylab as rl
rl.view3d(rl.round_brilliant(table_pct=57, crown_angle_deg=34.5, pavilion_angle_deg=40.75))"""
    env = {**os.environ, "DISPLAY": ":4321"}
    root = Path(rl.__file__).parents[1]
    found = subprocess.run([sys.executable, "-c", code], env=env, cwd=root, capture_output=True, text=True, timeout=WAIT_S)
    assert found.returncode == 1, "an exception, and no signal"
    line = found.stderr.strip().splitlines()[-1]
    assert "InputError: no 3D drawing on this machine (the display: no answer" in line


# --- machines that can't draw ----------------------------------------------------------------------------------------


@pytest.fixture
def fresh():
    """The ways of drawing are tried anew before and after."""
    drawing3d._window.cache_clear()
    yield
    drawing3d._window.cache_clear()


def test_no_display_is_reported_instead_of_opening_a_window(monkeypatch):
    monkeypatch.delenv("DISPLAY", raising=False)
    monkeypatch.delenv("WAYLAND_DISPLAY", raising=False)
    monkeypatch.setattr(sys, "platform", "linux")
    with pytest.raises(rl.InputError, match="no display; expected a PNG"):
        rl.view3d(STONE)


@pytest.mark.parametrize(
    ("end", "words"),
    [
        ("import os, signal; os.kill(os.getpid(), signal.SIGSEGV)", "ended by signal 11"),
        ("raise SystemExit(3)", "an empty picture"),
        ("raise RuntimeError('bad X server connection')", "ended with code 1"),
    ],
)
def test_a_driver_that_ends_the_process_ends_only_the_trial(tmp_path, monkeypatch, fresh, end, words):
    monkeypatch.setattr(drawing3d, "_PROBE", end)
    with pytest.raises(rl.InputError) as facts:
        rl.view3d(STONE, file=tmp_path / "x.png")
    assert words in str(facts.value)
    assert "apt-get install" in str(facts.value)
    assert "\n" not in str(facts.value)
    assert not list(tmp_path.iterdir())


def test_a_way_without_its_library_is_seen_by_its_empty_picture(tmp_path, monkeypatch, fresh):
    """VTK's Mesa window, without Mesa's off-screen library, draws nothing and says so only in passing."""
    found = subprocess.run(["ldconfig", "-p"], capture_output=True, text=True, check=True).stdout
    assert "libOSMesa" not in found, "this machine has the library; the check needs one that hasn't"
    monkeypatch.setattr(drawing3d, "WINDOWS", ("", "vtkOSOpenGLRenderWindow"))
    monkeypatch.delenv("DISPLAY", raising=False)
    monkeypatch.delenv("WAYLAND_DISPLAY", raising=False)
    with pytest.raises(rl.InputError, match="vtkOSOpenGLRenderWindow: "):
        rl.view3d(STONE, file=tmp_path / "x.png")


def test_nothing_of_it_is_imported_before_it_is_used():
    code = "import sys, raylab as rl; rl.view3d; print(sorted({'pyvista', 'vtkmodules', 'matplotlib'} & set(sys.modules)))"
    root = Path(rl.__file__).parents[1]
    found = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=root)
    assert found.stdout.strip() == "[]"


# --- the command -----------------------------------------------------------------------------------------------------

SCENE = scene_text(24)


@pytest.mark.usefixtures("driver")
def test_render_draws_the_stone_with_chosen_rays(tmp_path, capsys):
    (tmp_path / "s.toml").write_text(SCENE)
    scene, out = str(tmp_path / "s.toml"), tmp_path / "out"
    assert main(["render", scene, "--out", str(out), "--3d", "--ray", "1.2", "0.5", "--ray", "-0.3", "-1"]) == 0
    assert iio.imread(out / "stone-3d.png").std() > 5
    assert f"{len(list(out.iterdir()))} files in {out}" in capsys.readouterr().out
    assert main(["render", scene, "--out", str(tmp_path / "two"), "--3d", "--ray", "9", "0"]) == 2
    assert "outside the stone" in capsys.readouterr().err
    assert main(["render", scene, "--out", str(tmp_path / "two"), "--ray", "0", "0"]) == 2
    assert "--3d" in capsys.readouterr().err
    assert not (tmp_path / "two").exists()


def test_without_3d_drawing_the_rest_of_a_render_is_written(tmp_path, monkeypatch, capsys):
    def none(*, on_screen):
        raise rl.InputError("no 3D drawing on this machine", expected="an OpenGL driver")

    monkeypatch.setattr(drawing3d, "_window", none)
    scene = str(Path(__file__).parent.parent / "scenes" / "well-proportioned.toml")
    assert main(["render", scene, "--out", str(tmp_path / "out"), "--resolution", "16", "--precision", "0.1", "--3d"]) == 0
    assert "stone-3d.png: not written; no 3D drawing on this machine" in capsys.readouterr().out
    assert (tmp_path / "out" / "summary.json").exists()
    assert not (tmp_path / "out" / "stone-3d.png").exists()
