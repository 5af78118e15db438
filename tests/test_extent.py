"""How stones of every cut lie, and their length and width: against the outline's own numbers, however the stone is turned."""

from __future__ import annotations

import math

import numpy as np
import pytest
from polyhedra import random_polyhedron

import raylab as rl
from raylab.comparison.alignment import pose_of
from raylab.designs.making import geometry_of
from raylab.plane_geometry import rotation_about_z
from raylab.scene.view import View
from raylab.stone.extent import extent_of

ASKED = {"table_pct": 58.0, "crown_angle_deg": 34.5, "pavilion_angle_deg": 40.75}
STONES = [
    cut.stone(**{key: value for key, value in ASKED.items() if key in cut.keys and cut.keys[key].default is None})
    for cut in rl.cuts()
]
SIZES = {
    "round brilliant": (6.5, 6.5),
    "single cut": (6.5, 6.5),
    "old European cut": (6.5, 6.5),
    "oval brilliant": (7.0, 5.0),
    "pear brilliant": (7.5, 5.0),
    "marquise brilliant": (10.0, 5.0),
    "cushion brilliant": (5.5, 5.0),
    "triangular brilliant": (None, 5.0),
    "princess cut": (5.0, 5.0),
    "cut-cornered brilliant": (5.0, 5.0),
    "emerald cut": (7.0, 5.0),
    "square emerald cut": (5.0, 5.0),
    "baguette": (12.5, 5.0),
    "tapered baguette": (10.0, 5.0),
    "hexagonal step cut": (6.5, 5.0),
    "rose cut": (6.5, 6.5),
}
"""Length and width of each cut's default proportions: a width of 5 mm (a round one's diameter of 6.5 mm) times its ratio."""


def turned(stone: rl.Stone, turn_deg: float) -> rl.Stone:
    return stone.moved(View(turn_deg=turn_deg).rotation(), np.array([0.3, -0.2, 0.1]))


def test_a_turned_stone_has_the_length_of_measure_in_sweeps_too():
    stone = rl.oval_brilliant(table_pct=57.0, length_ratio=1.5, width_mm=5.0)
    turned = stone.moved(rotation_about_z(0.5), np.zeros(3))
    found, measured = geometry_of(turned), rl.measure(turned)
    assert found == pytest.approx(geometry_of(stone), rel=1e-12)
    assert (found["length_mm"], found["width_mm"]) == (measured["length_mm"].mean, measured["width_mm"].mean)


@pytest.mark.parametrize("stone", STONES, ids=lambda stone: stone.name)
@pytest.mark.parametrize("turn_deg", [0.0, 37.0, -121.0])
def test_a_turned_stone_lies_as_it_was_turned(stone, turn_deg):
    found = extent_of(turned(stone, turn_deg))
    length, width = SIZES[stone.name]
    assert found.width_mm == pytest.approx(width, rel=1e-3 if stone.name == "pear brilliant" else 1e-9)
    if length is not None:
        assert found.length_mm == pytest.approx(length, rel=1e-9)
    if stone.name == "rose cut":  # no mains and a round outline: nothing tells how it lies
        assert found.azimuth_deg == 0.0
        return
    square = stone.name in ("princess cut", "cut-cornered brilliant")  # its own image at 90 degrees
    step = 90.0 if square else 360.0 / stone.symmetry.order
    assert math.remainder(found.azimuth_deg - turn_deg, step) == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize("stone", STONES, ids=lambda stone: stone.name)
def test_turned_copies_are_laid_alike_with_their_symmetry(stone):
    """The planes of a turned copy, laid, are those of the stone laid; and the mirrors that it claims are its own."""
    if stone.name == "rose cut":
        return
    here, there = (pose_of(one).lay(one) for one in (stone, turned(stone, 37.0)))
    for one in (here, there):
        for image in one.symmetry.matrices():
            flat = one.normals.copy()
            flat[:, :2] = flat[:, :2] @ image.T
            apart = np.abs(flat[:, None] - one.normals).max(axis=2).min(axis=1)
            assert apart.max() < 1e-6, one.symmetry
    apart = np.abs(here.normals[:, None] - there.normals).max(axis=2).min(axis=1)
    assert apart.max() < 1e-6


def test_a_body_without_a_direction_keeps_its_azimuth():
    count = 24
    around = 2.0 * np.pi * np.arange(count) / count
    normals = np.column_stack([np.cos(around), np.sin(around), np.zeros(count)])
    drum = rl.Stone.from_planes(np.vstack([normals, [[0, 0, 1], [0, 0, -1]]]), np.r_[np.full(count, 2.0), 1.0, 1.0])
    assert extent_of(drum).azimuth_deg == 0.0
    assert not extent_of(drum).round
    assert extent_of(random_polyhedron(3)).length_mm > 0.0


def test_the_outlines_moments_are_those_of_an_ellipse():
    """Second moments pi a^3 b / 4 and pi a b^3 / 4 of an ellipse, of which a finely ground girdle is off by its flats."""
    from raylab.stone.measuring.length import _wave

    stone = rl.oval_brilliant(table_pct=57, width_mm=4.0, length_ratio=1.5, girdle_facets=192)
    wave = _wave(stone.outline_mm, 2)
    assert wave.real == pytest.approx(math.pi * 3.0 * 2.0 * (3.0**2 - 2.0**2) / 4.0, rel=1e-3)
    assert wave.imag == pytest.approx(0.0, abs=1e-9)


def leaning(stone: rl.Stone, about: str, turn_deg: float = 0.0) -> np.ndarray:
    """(3,) where the axis that a tilt by 30 degrees leaves in place lies in the stone."""
    view = View(30.0, rl.azimuth_about(stone, about, turn_deg), turn_deg)
    untilted = View(turn_deg=turn_deg).rotation()
    values, vectors = np.linalg.eig(view.rotation() @ untilted.T)
    kept = np.real(vectors[:, np.argmin(np.abs(values - 1.0))])
    return np.asarray(untilted.T @ kept)


@pytest.mark.parametrize("turn_deg", [0.0, 25.0])
def test_a_tilt_about_the_length_leaves_the_length_in_place(turn_deg):
    """Of a pear that lies 37 degrees from +x, seen turned or not; the axis of a rotation is its eigenvector of 1."""
    stone = turned(rl.pear_brilliant(table_pct=58), 37.0)
    along = np.array([math.cos(math.radians(37.0)), math.sin(math.radians(37.0)), 0.0])
    assert abs(leaning(stone, "length", turn_deg) @ along) == pytest.approx(1.0, abs=1e-9)
    assert abs(leaning(stone, "width", turn_deg) @ along) == pytest.approx(0.0, abs=1e-9)
    view = View(30.0, rl.azimuth_about(stone, "width", turn_deg), turn_deg)
    point = view.rotation() @ along
    assert point[2] < 0.0  # the table leans towards the point, which sinks
    with pytest.raises(rl.InputError, match="about = 'depth': unknown axis; expected 'length' or 'width'"):
        rl.azimuth_about(stone, "depth")  # type: ignore[arg-type]


def test_scene_files_and_commands_take_the_word(tmp_path, capsys):
    from raylab.cli import main

    scene = tmp_path / "pear.toml"
    text = '[stone]\ncut = "pear brilliant"\ntable_pct = 58\n[dome]\nname = "even-sky"\n[view]\ntilt_deg = 10\nturn_deg = 5\n'
    scene.write_text("schema = 1\n" + text + 'about = "length"\n')
    assert rl.load_scene(scene).view == View(10.0, 95.0, 5.0)
    scene.write_text("schema = 1\n" + text + 'about = "length"\ntilt_azimuth_deg = 3\n')
    with pytest.raises(rl.InputError, match=r"view\.about = 'length': about and tilt_azimuth_deg are alternatives"):
        rl.load_scene(scene)
    scene.write_text("schema = 1\n" + text)
    from raylab.cli.options import Sight, Subject

    assert Subject().scene(scene, Sight(about="width")).view == View(10.0, 5.0, 5.0)
    for command in ("render", "tilt", "compare"):
        azimuth = "--azimuth-deg" if command == "tilt" else "--tilt-azimuth-deg"
        others = [str(scene)] if command == "compare" else []
        given = [command, str(scene), *others, "--out", str(tmp_path / "out"), "--about", "length", azimuth, "3"]
        assert main(given) == 2, command
        assert "--about = 'length': stands for an azimuth; expected no azimuth beside it" in capsys.readouterr().err
