"""The shipped rooms: what the script makes is what lies there, and lamps stand where geometry puts them."""

from __future__ import annotations

import importlib.util
import math
import sys
from pathlib import Path

import numpy as np
import pytest

import raylab as rl
from raylab.lighting.sky_image import read_sky_image
from raylab.units import direction

SCENES = Path(__file__).parents[1] / "scenes"
NAMES = ("evening-counter", "north-workroom")


@pytest.fixture(scope="module")
def maker():
    spec = importlib.util.spec_from_file_location("make_rooms", SCENES / "rooms" / "make_rooms.py")
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module  # dataclasses look their module up there
    spec.loader.exec_module(module)
    return module


@pytest.mark.parametrize("name", NAMES)
def test_the_files_are_what_the_script_makes(maker, name):
    assert np.allclose(read_sky_image(SCENES / "rooms" / f"{name}.tiff"), maker.picture(maker.ROOMS[name]), rtol=1e-5)


@pytest.mark.parametrize("name", NAMES)
def test_the_brightest_of_a_room_is_where_its_lights_are(maker, name):
    """Through the dome's own convention of azimuth and elevation, at the middle of a light on its wall."""
    room, dome = maker.ROOMS[name], rl.load_scene(SCENES / f"{name}.toml").dome
    light = room.lights[0]
    if light.axis == 0:
        point = np.array([room.half_x_m, np.mean(light.first_m), np.mean(light.second_m)])
    else:
        point = np.array([np.mean(light.first_m), np.mean(light.second_m), room.ceiling_m])
    unit = point / np.linalg.norm(point)
    assert float(dome.radiance(unit)) > 0.5  # the pixels blur a small lamp's rim
    assert float(dome.radiance(unit * [-1.0, 1.0, 1.0] if light.axis == 0 else -unit)) < 0.2
    assert float(dome.radiance(direction(-80.0, 10.0))) < 0.1


@pytest.mark.parametrize("name", NAMES)
def test_a_stone_in_a_room_closes_its_ledger(name):
    scene = rl.load_scene(SCENES / f"{name}.toml")
    summary = rl.trace(scene.stone, scene.dome, resolution=16, precision=0.05).summary
    assert math.isclose(sum(entry.value for entry in summary.ledger.values()), 1.0, rel_tol=1e-9)
    assert 0.0 < summary.brightness.value < 0.5
