"""A moving stone: the series is its single traces, flashes are counted where they can be told beforehand."""

from __future__ import annotations

import doctest
import json
import math
from pathlib import Path

import numpy as np
import pytest
import xarray as xr
from polyhedra import box, finishes

import raylab as rl
from raylab.cli import main
from raylab.motion import tilting
from raylab.motion.scintillation import _face, scintillation
from raylab.motion.tilting import USUAL, angle_steps, by_error, tilt
from raylab.optics.materials import Material
from raylab.pictures.tilt_plots import tilt_figure

PROPORTIONS = {"table_pct": 57.0, "crown_angle_deg": 34.5, "pavilion_angle_deg": 40.75}
STONE = rl.round_brilliant(**PROPORTIONS)
SCENE = Path(__file__).parents[1] / "scenes" / "well-proportioned.toml"
ONE = Material.constant(1.5)


def test_docstrings_say_what_is_computed():
    assert doctest.testmod(tilting).failed == 0


def test_a_series_is_its_single_traces_bit_for_bit():
    dome = rl.load_dome("side-window")
    found = tilt(STONE, dome, [-8.0, 0.0, 20.0], [30.0, 0.0, -100.0], 5.0, settings=rl.TraceSettings(precision=0.02))
    assert found.brightness.dims == ("step",)
    assert found.turn_deg.ndim == 0
    for k, view in enumerate((rl.View(8.0, -150.0, 5.0), rl.View(0.0, 0.0, 5.0), rl.View(20.0, -100.0, 5.0))):
        summary = rl.trace(STONE, dome, view, resolution=8, precision=0.02).summary
        for name, one in {**summary.ledger, "brightness": summary.brightness, "contrast_rms": summary.contrast_rms}.items():
            here = tuple(float(found[name + part][k]) for part in ("", "_low", "_high"))
            assert here == pytest.approx((one.value, one.low, one.high), rel=1e-12), name
        assert float(found.area_mm2[k]) == pytest.approx(summary.area_mm2, rel=1e-12)


def test_a_scene_that_asks_for_nothing_is_traced_to_the_usual_error():
    own = (rl.TraceSettings(precision=0.01), rl.TraceSettings(standard_error=1e-3), rl.TraceSettings(precision_of=("leak",)))
    assert [by_error(one) for one in own] == list(own)
    found = tilt(STONE, rl.load_dome("head-shadow"), [9.0], settings=by_error(rl.TraceSettings(max_bounces=150)))
    assert (found.attrs["standard_error"], found.attrs["max_bounces"]) == (USUAL.standard_error, 150)
    assert 0.0 < float(found.contrast_rms_error[0]) <= USUAL.standard_error


def test_leaning_the_other_way_is_the_opposite_azimuth():
    """By the bracket: a rounding of the view may order polygons otherwise, and then other rays are drawn for the value."""
    dome = rl.load_dome("side-window")
    left = tilt(STONE, dome, [-10.0], 40.0, settings=rl.TraceSettings(precision=0.05)).brightness_low.values
    assert left == pytest.approx(
        tilt(STONE, dome, [10.0], 220.0, settings=rl.TraceSettings(precision=0.05)).brightness_low.values, rel=1e-9
    )
    assert left != pytest.approx(
        tilt(STONE, dome, [10.0], 40.0, settings=rl.TraceSettings(precision=0.05)).brightness_low.values, rel=1e-3
    )


def test_turning_has_its_own_axis_and_the_period_of_the_stone():
    """An eightfold stone under a round dome is the same after 45 degrees, to the bracket's rounding."""
    found = tilt(STONE, rl.load_dome("head-shadow"), 0.0, 0.0, [0.0, 45.0, 90.0], settings=rl.TraceSettings(precision=0.05))
    assert found.leak.dims == ("turn_deg",)
    assert np.ptp(found.leak.values) < 1e-9


def test_the_ledger_closes_at_every_angle():
    found = tilt(STONE, rl.load_dome("head-shadow"), angle_steps(0.0, 60.0, 15.0), settings=rl.TraceSettings(precision=0.05))
    total = sum(found[name] for name in ("sky", "head", "leak", "absorbed", "scattered", "untraced"))
    assert np.allclose(total, 1.0, rtol=0, atol=1e-9)


@pytest.mark.parametrize(
    ("path", "says"),
    [
        (([0.0, 1.0], [0.0, 1.0, 2.0]), "different number of angles"),
        (([0.0, 181.0],), "tilt_deg"),
        (([],), "not angles"),
        (([0.0, math.nan],), "tilt_deg"),
    ],
)
def test_angles_that_cannot_be_are_refused(path, says):
    with pytest.raises(rl.InputError, match=says):
        tilt(STONE, rl.Dome(), *path)


def mirror_flat():
    """A flat box with an absorbing floor: of its top the first surface's reflection alone is seen."""
    slab = box(2.0, 0.4, ONE)
    return type(slab).from_planes(slab.normals, slab.distances_mm, material=ONE, finishes=finishes(slab.normals[:, 2] < 0.5))


def test_a_flat_top_flashes_as_a_whole_when_it_mirrors_the_lamp():
    """Tilted by 10 degrees towards +x a level top mirrors what stands 20 degrees from the zenith: law of reflection."""
    lamp = rl.Dome(sky_radiance=0.0, lamps=(rl.Lamp(70.0, 0.0, 3.0),))
    found = scintillation(mirror_flat(), lamp, [0.0, 8.0, 10.0, 12.0, 14.0], resolution=40)
    assert found.share_per_deg.tolist() == pytest.approx([0.0, 0.5, 0.5, 0.0], abs=1e-12)
    assert found.count.tolist() == [0, 1, 1, 0]
    assert found.angle_deg.tolist() == pytest.approx([8.0, 2.0, 2.0, 2.0], rel=1e-9)
    # the spot is the top: 2 x 2 mm, to the grid's step along its rim
    assert found.sizes_mm2[1][0] == pytest.approx(4.0, abs=2 * 8.0 * 2.08 / 40)
    assert found.mean_share_per_deg == pytest.approx(2.0 / 14.0, rel=1e-9)


@pytest.mark.parametrize(("radiance", "flashes"), [(0.30, 1.0), (0.36, 0.0)])
def test_the_threshold_is_half_the_mean(radiance, flashes):
    """A level top mirrors a sky of radiance 1, then a zone of radiance r. Half the mean, (1 + r) / 4, is above r if r < 1/3."""
    dome = rl.Dome(zones=(rl.Zone((60.0, 80.0), radiance=radiance),))
    found = scintillation(mirror_flat(), dome, [0.0, 10.0], resolution=40)
    assert found.share_per_deg.tolist() == pytest.approx([flashes / 10.0], abs=1e-12)
    mirrored = found.threshold / (0.25 * (1.0 + radiance))
    assert 0.0 < mirrored < 0.2, "the reflectance of the top"


def test_what_moves_with_the_stone_does_not_flash():
    """Scattering facets are dark and the rest mirrors an even sky: the pattern moves, no point changes."""
    found = scintillation(mirror_flat(), rl.Dome(), [0.0, 5.0, 10.0], resolution=32)
    assert found.share_per_deg.tolist() == [0.0, 0.0]


def test_points_of_the_face_lie_on_their_facets():
    points, normals, on, pixel_mm = _face(STONE, 64)
    inside = points @ STONE.normals.T - STONE.distances_mm
    assert inside.max() < 1e-12
    assert np.abs(inside.max(axis=1)).max() < 1e-12
    assert normals[:, 2].min() > 0.0
    assert on.sum() * pixel_mm**2 == pytest.approx(math.pi * 3.25**2, rel=0.02)


def test_a_brilliant_flashes_and_a_finer_grid_agrees_within_the_error():
    dome = rl.load_dome("small-lamps")
    coarse, fine = (
        scintillation(STONE, dome, [0.0, 2.0, 4.0], resolution=n, settings=rl.TraceSettings(precision=0.1)) for n in (128, 256)
    )
    assert np.all(coarse.share_per_deg > 0.0)
    assert np.all(np.abs(coarse.share_per_deg - fine.share_per_deg) < 5.0 * (coarse.share_error + fine.share_error) + 1e-4)
    assert all(np.all(np.diff(sizes) <= 0.0) for sizes in fine.sizes_mm2)
    with pytest.raises(rl.InputError, match="needs at least two views"):
        scintillation(STONE, dome, [3.0])
    with pytest.raises(rl.InputError, match="the same"):
        scintillation(STONE, dome, [3.0, 3.0])


def test_the_command_writes_curves_and_numbers(tmp_path):
    request = ["--to-deg", "6", "--step-deg", "3", "--flashes"]
    assert main(["tilt", str(SCENE), "--out", str(tmp_path), *request]) == 0
    found = xr.load_dataset(tmp_path / "tilt.nc", engine="h5netcdf")
    facts = json.loads((tmp_path / "tilt.json").read_text())
    assert found.tilt_deg.values.tolist() == facts["tilt_deg"] == [0.0, 3.0, 6.0]
    scene = rl.load_scene(SCENE)
    assert np.allclose(found.leak.values, tilt(scene.stone, scene.dome, [0, 3, 6]).leak.values, rtol=1e-12)
    assert len(facts["flashes"]["count"]) == 2
    assert (tmp_path / "tilt.png").read_bytes().startswith(b"\x89PNG")
    assert main(["tilt", str(SCENE), "--out", str(tmp_path)]) == 2  # files in the way
    assert main(["tilt", str(SCENE), "--out", str(tmp_path / "x"), "--to-deg", "-1"]) == 2
    assert not (tmp_path / "x").exists()


def test_the_command_tilts_and_turns_at_once(tmp_path, capsys):
    """A facet table alone, tilted by 0, 4, 8 degrees and turned by 0, 10, 20: the same as the function's."""
    stone = SCENE.parent / "stones" / "offer-a.csv"
    request = ["--to-deg", "8", "--step-deg", "4", "--turn-by-deg", "20", "--dome", "side-window"]
    assert main(["tilt", str(stone), "--out", str(tmp_path), *request]) == 0
    facts = json.loads((tmp_path / "tilt.json").read_text())
    assert (facts["tilt_deg"], facts["turn_deg"]) == ([0.0, 4.0, 8.0], [0.0, 10.0, 20.0])
    alone = tilt(rl.load_stone(stone), rl.load_dome("side-window"), [0, 4, 8], 0.0, [0, 10, 20])
    assert np.allclose(facts["brightness"], alone.brightness.values, rtol=1e-12)
    assert "tilt_deg" in capsys.readouterr().out
    assert main(["tilt", str(stone), "--out", str(tmp_path / "x"), "--turn", "--turn-by-deg", "20"]) == 2
    assert "--turn-by-deg = 20.0: needs a tilting stone" in capsys.readouterr().err


def test_curves_are_named_and_bracketed():
    found = tilt(STONE, rl.load_dome("head-shadow"), [0.0, 10.0], settings=rl.TraceSettings(precision=0.1))
    figure = tilt_figure(found)
    left, right = figure.axes
    assert [line.get_label() for line in left.get_lines()] == ["contrast rms", "brightness"]
    assert np.allclose(left.get_lines()[1].get_ydata(), found.brightness)
    assert {"sky", "head", "leak"} <= {line.get_label() for line in right.get_lines()}
    assert left.get_xlabel() == "tilt towards azimuth 0° / degree"
    measured = found.assign_coords(azimuth_deg=90.06573)  # about the length of a measured stone
    assert tilt_figure(measured).axes[0].get_xlabel() == "tilt towards azimuth 90.1° / degree"
    both = tilt(STONE, rl.load_dome("head-shadow"), [0.0, 10.0], 0.0, [0.0, 20.0], settings=rl.TraceSettings(precision=0.1))
    left = tilt_figure(both).axes[0]
    assert left.get_xlabel() == "tilt / degree, with a turn of 20 degrees"
    assert left.get_lines()[0].get_xdata().tolist() == [0.0, 10.0]
    aside = tilt(STONE, rl.load_dome("head-shadow"), [0.0, 10.0], [0.0, 90.0], settings=rl.TraceSettings(precision=0.1))
    assert tilt_figure(aside).axes[0].get_xlabel() == "step"
