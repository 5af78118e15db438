"""`Scene`: checked when made, and its hash follows what decides the result and nothing else."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest

from raylab.errors import InputError
from raylab.lighting.dome import Dome, Lamp, Zone
from raylab.optics.materials import Material, get_material
from raylab.scene.scene import Scene
from raylab.scene.settings import TraceSettings
from raylab.scene.view import View
from raylab.stone.cuts.round_brilliant import round_brilliant

PROPORTIONS = {"table_pct": 57, "crown_angle_deg": 34.5, "pavilion_angle_deg": 40.75, "girdle_facets": 32}
STONE = round_brilliant(**PROPORTIONS)
SCENE = Scene(STONE, Dome())


@pytest.mark.parametrize(
    ("settings", "says"),
    [
        ({"samples": 8}, "samples = 8: not a square number"),
        ({"samples": 0}, "samples = 0: out of range"),
        ({"seed": -1}, "seed = -1: out of range"),
        ({"max_bounces": 0}, "max_bounces = 0: out of range"),
        ({"max_bounces": 200.5}, "max_bounces = 200.5: not a whole number"),
        ({"min_weight": -1e-9}, "min_weight = -1e-09: out of range"),
        ({"min_weight": math.nan}, "min_weight = nan: out of range"),
        ({"precision": 0.0}, "precision = 0.0: out of range"),
        ({"polarized": 1}, "polarized = 1: wrong type; expected True or False"),
        ({"engine": "magic"}, "engine = 'magic': unknown engine; expected one of beams, gpu, gpu-single, rays"),
        ({"engine": "beam"}, "engine = 'beam': unknown engine; did you mean 'beams'?"),
        ({"wavelengths_nm": ()}, "wavelengths_nm = .*: empty or repeated"),
        ({"wavelengths_nm": (500, 500)}, "wavelengths_nm = .*empty or repeated"),
        ({"wavelengths_nm": "589"}, "wavelengths_nm = '589': not a number"),
    ],
)
def test_settings_out_of_range_are_refused_by_name(settings, says):
    with pytest.raises(InputError, match=says):
        TraceSettings(**settings)


@pytest.mark.parametrize(
    ("parts", "says"),
    [
        ({"resolution": 0}, "resolution = 0: out of range; expected a whole number from 1 to 16384"),
        ({"resolution": 512.0}, "resolution = 512.0: not a whole number"),
        ({"resolution": True}, "resolution = True: out of range"),
        (
            {"settings": TraceSettings(200)},
            "wavelengths_nm = 200.0: the refractive index of diamond is unknown at this wavelength; expected 226 to",
        ),
        ({"view": View(distance_mm=1.0)}, "view.distance_mm = 1.0: the eye is inside or behind the stone"),
        ({"view": None}, "view: wrong type; expected a View"),
        ({"dome": 3}, "dome = 3: wrong type; expected a Dome"),
        ({"settings": {"precision": 0.1}}, "settings = .*: wrong type; expected a TraceSettings"),
    ],
)
def test_parts_that_make_no_scene_are_refused_by_name(parts, says):
    with pytest.raises(InputError, match=says):
        Scene(**{"stone": STONE, "dome": Dome(), **parts})


def test_settings_settle_to_plain_numbers():
    settings = TraceSettings(np.array([500.0, 600.0]), samples=np.int64(9), max_bounces=np.int32(50))
    assert settings == TraceSettings((500.0, 600.0), samples=9, max_bounces=50)
    assert (type(settings.samples), type(settings.max_bounces)) == (int, int)
    assert (settings.all_nm, settings.middle_nm) == ((500.0, 600.0), 600.0)
    assert (TraceSettings(500).all_nm, TraceSettings((500,)).wavelength_nm) == ((500.0,), 500.0)
    with pytest.raises(InputError, match="more than one wavelength"):
        _ = settings.wavelength_nm
    assert type(Scene(STONE, Dome(), resolution=np.int64(64)).resolution) is int


def test_the_hash_is_the_same_for_the_same_scene():
    again = Scene(round_brilliant(**PROPORTIONS), Dome(), resolution=np.int32(512))
    assert again.hash() == SCENE.hash()
    assert len(SCENE.hash()) == 64
    named = dataclasses.replace(SCENE, name="x", title="y", dome=Dome(name="z", description="w"))
    assert named.hash() == SCENE.hash()


LAMP = Lamp(40)
CHANGES = {
    "stone": {"stone": round_brilliant(**{**PROPORTIONS, "table_pct": 57.0001})},
    "size": {"stone": STONE.scaled(1.001)},
    "absorbing": {"stone": round_brilliant(**PROPORTIONS, girdle_finish="absorbing")},
    "material": {"stone": round_brilliant(**PROPORTIONS, material="moissanite")},
    "index": {"stone": round_brilliant(**PROPORTIONS, material=Material.constant(2.4, name="diamond"))},
    "tint": {"stone": round_brilliant(**PROPORTIONS, material=get_material("diamond").tinted(0.01))},
    "sky": {"dome": Dome(sky="overcast")},
    "zone": {"dome": Dome(zones=(Zone((0, 10)),))},
    "other zone": {"dome": Dome(zones=(Zone((0, 10), (0, 180)),))},
    "lamp": {"dome": Dome(lamps=(LAMP,))},
    "head": {"dome": Dome(head_half_angle_deg=10)},
    "tray": {"dome": Dome(tray_radiance=0.5)},
    "absolute": {"dome": Dome(sky_radiance=2.0, absolute=True)},
    "image": {"dome": Dome(sky="image", image=np.ones((2, 2)))},
    "tilt": {"view": View(tilt_deg=1)},
    "turn": {"view": View(turn_deg=1)},
    "eye": {"view": View(distance_mm=250)},
    "resolution": {"resolution": 511},
    "wavelength": {"settings": TraceSettings(589.4)},
    "spectral axis": {"settings": TraceSettings((589.3,))},
    "engine": {"settings": TraceSettings(engine="rays")},
    "samples": {"settings": TraceSettings(samples=25)},
    "polarized": {"settings": TraceSettings(polarized=False)},
    "min_weight": {"settings": TraceSettings(min_weight=2e-4)},
    "max_bounces": {"settings": TraceSettings(max_bounces=65)},
    "seed": {"settings": TraceSettings(seed=1)},
    "precision": {"settings": TraceSettings(precision=1e-3)},
}


def test_the_hash_follows_everything_that_decides_the_result():
    hashes = {name: dataclasses.replace(SCENE, **change).hash() for name, change in CHANGES.items()}
    assert len({SCENE.hash(), *hashes.values()}) == len(CHANGES) + 1
