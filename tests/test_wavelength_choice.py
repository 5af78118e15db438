"""Wavelengths chosen by error: the aim is met where steps lie anywhere, the error is stated, the limit holds."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from small_scenes import scene_of

import raylab as rl
from raylab.color.picture import color_picture
from raylab.color.wavelength_choice import choose, half_weights, pixel_errors, weighted
from raylab.optics.color import ciede2000, xyz_to_lab
from raylab.optics.spectrum import band_weights, color_weights, linear_set, seen_set, wavelength_set
from raylab.pictures.film_wavelengths import film_wavelengths
from raylab.scene.pixel_grid import grid_around

STONE = rl.round_brilliant(table_pct=57.0, crown_angle_deg=34.5, pavilion_angle_deg=40.75)
STEPS_NM = 400.5 + 299.0 * ((np.sqrt(5.0) / 2.0 * np.arange(200)) % 1.0)
BRIGHT = 0.25


def stepped(nodes_nm):
    """Pixels whose spectrum rises from 0.1 by `BRIGHT` at one wavelength each, spread over the range."""
    return [0.1 + BRIGHT * (node > STEPS_NM) for node in nodes_nm]


def errors(waves, values, light="D65"):
    """Of pixels, by estimate, and against steps that are where they are."""
    weights = color_weights(waves, light)
    white, xyz = weights.sum(axis=0), weighted(values, weights)
    true = 0.1 * white + BRIGHT * np.array([band_weights([400.0, step, 700.0], light)[1] for step in STEPS_NM])
    halves = np.stack([weighted(values, half) for half in half_weights(waves, light)])
    return pixel_errors(xyz, halves, white), ciede2000(xyz_to_lab(xyz, white), xyz_to_lab(true, white))


def lamps(**settings):
    return scene_of(STONE, rl.load_dome("small-lamps"), **{"resolution": 16, "precision": 0.2, **settings})


@pytest.mark.parametrize("light", ["D65", "LED-B3"])
def test_single_steps_are_within_the_aim(light):
    choice = rl.WavelengthChoice(error=2.0)
    waves, values = choose(stepped, choice, light, 1.0)
    estimate, true = errors(waves, values, light)
    assert 17 < len(waves) < choice.most
    assert estimate.max() <= choice.error / 2.0
    assert np.all(true <= 1.02 * estimate + 1e-3), "no single step is off by more; CIELAB is not quite straight"
    assert errors(choice.first(), stepped(choice.first().nodes_nm), light)[1].max() > choice.error
    assert np.array_equal(values, stepped(waves.nodes_nm)), "each luminance at its wavelength"


@pytest.mark.parametrize("waves", [wavelength_set(32), linear_set([400, 430, 440, 500, 505, 560, 570, 640, 645, 700])])
def test_the_estimate_covers_a_single_step(waves):
    """Also where a wide interval lies between narrow ones; and it is no idle bound: some steps are off by nearly as much."""
    estimate, true = errors(waves, stepped(waves.nodes_nm))
    between = np.abs(STEPS_NM - 550.0) < waves.nodes_nm[-1] - 550.0
    assert np.all(true[between] <= 1.05 * estimate[between] + 1e-3)
    assert np.any((true > 0.8 * estimate) & (estimate > 1.0))


def test_wavelengths_lie_close_where_the_eye_needs_them():
    waves, _ = choose(stepped, rl.WavelengthChoice(error=2.0), "D65", 1.0)
    inner = ((waves.nodes_nm > 430.0) & (waves.nodes_nm < 650.0)).sum() / 220.0
    red = (waves.nodes_nm > 660.0).sum() / 40.0
    assert inner > 2.0 * red


def test_the_limit_holds_and_a_note_says_what_is_missing():
    waves, _ = choose(stepped, rl.WavelengthChoice(error=0.1, most=30), "D65", 1.0)
    assert len(waves) == 30
    seen = color_picture(lamps(), spectrum=rl.WavelengthChoice(error=0.01, most=20))
    assert len(seen.waves) == 20
    (note,) = seen.notes
    assert f"{seen.error.largest:.2f} CIEDE2000 with 20 wavelengths, more than the aim of 0.01" in note


def test_smooth_spectra_need_the_first_wavelengths_only():
    waves, _ = choose(lambda nodes: [np.array([0.5 + (w - 550.0) / 1000.0]) for w in nodes], rl.WavelengthChoice(), "D65", 1.0)
    assert len(waves) == 17


def test_a_picture_of_lamps_meets_the_aim():
    """Against 128 wavelengths, as they are drawn; 16 wavelengths are off by more than the aim. Threads change nothing."""
    scene = lamps()
    seen, few = color_picture(scene), color_picture(scene, spectrum=16)
    true = color_picture(scene, spectrum=linear_set(400.0 + 300.0 * (np.arange(128) + 0.5) / 128))

    def off(one):
        labs = [xyz_to_lab(np.nan_to_num(each.xyz) * each.coverage[..., None], one.white) for each in (one, true)]
        return ciede2000(*labs).max()

    assert seen.error.largest <= 1.0
    assert off(seen) <= 1.0 < off(few) <= 1.25 * few.error.largest
    assert seen.error.median <= seen.error.percentile_95 <= seen.error.largest
    assert f"{len(seen.waves)} wavelengths" in seen.about
    again = color_picture(scene, threads=1)
    assert np.array_equal(seen.waves.nodes_nm, again.waves.nodes_nm)
    assert np.array_equal(seen.xyz, again.xyz, equal_nan=True)
    given = color_picture(scene, spectrum=seen.waves)
    np.testing.assert_allclose(given.xyz, seen.xyz, rtol=1e-12, atol=1e-15)
    assert given.notes == ()


def test_a_single_wavelength_says_nothing_of_their_error():
    seen = color_picture(lamps(), spectrum=1)
    assert seen.error is None
    assert "unknown" in seen.about


def test_a_film_has_one_set_for_all_its_stills():
    views = [rl.View(tilt_deg=12.0, tilt_azimuth_deg=a) for a in (0.0, 100.0)]
    scenes = [replace(lamps(resolution=12), view=view) for view in views]
    grid = grid_around(STONE, tuple(views), 12)
    waves, error = film_wavelengths(scenes, grid, "D65", 1.0, rl.WavelengthChoice(error=4.0))
    alone = color_picture(scenes[0], grid=grid, spectrum=rl.WavelengthChoice(error=4.0)).waves
    assert set(alone.nodes_nm) <= set(waves.nodes_nm)
    stills = [color_picture(scene, grid=grid, spectrum=waves).error.largest for scene in scenes]
    assert error.largest == max(stills)
    given, error = film_wavelengths(scenes, grid, "D65", 1.0, 5)
    assert np.array_equal(given.nodes_nm, wavelength_set(5).nodes_nm)
    assert error.largest > 0.0
    assert film_wavelengths(scenes, grid, "D65", 1.0, 1)[1] is None


@pytest.mark.parametrize("number", [12, 16, 24])
def test_a_set_by_what_the_eye_sees_is_off_by_less_than_an_even_one(number):
    """Steps anywhere in the range, and how far they put X, Y and Z off."""
    steps_nm = np.linspace(400.3, 699.7, 400)
    true = np.array([band_weights([400.0, step, 700.0])[1] for step in steps_nm])

    def off(waves):
        weights = color_weights(waves)
        return np.abs((waves.nodes_nm > steps_nm[:, None]) @ weights - true).mean()

    assert off(seen_set(number)) < 0.9 * off(wavelength_set(number))
    redder = seen_set(number, "A", 440.0).nodes_nm
    assert 440.0 < redder[0] < redder[-1] < 700.0
    assert redder.mean() > seen_set(number, "D65", 440.0).nodes_nm.mean()


def test_a_film_of_which_nothing_else_is_asked_has_that_set():
    scene = lamps(resolution=8)
    waves, _ = film_wavelengths([scene], grid_around(STONE, scene.view, 8), "A", 1.0, None)
    assert waves.nodes_nm.tolist() == seen_set(16, "A").nodes_nm.tolist()


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda: rl.WavelengthChoice(error=0.0), "error = 0.0"),
        (lambda: rl.WavelengthChoice(most=16), "most = 16"),
        (lambda: rl.WavelengthChoice(low_nm=300.0), "low_nm = 300.0"),
        (lambda: linear_set([500.0, 450.0]), "nodes_nm"),
        (lambda: linear_set([350.0, 450.0]), "nodes_nm"),
        (lambda: linear_set([]), "nodes_nm"),
    ],
)
def test_what_is_no_choice_is_refused(make, says):
    with pytest.raises(rl.InputError, match=says):
        make()
