"""Colour pictures: neutral stones stay neutral, closed forms come out, more wavelengths converge, nothing is traced twice."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import tifffile
from PIL import Image
from polyhedra import box
from small_scenes import scene_of

import raylab as rl
from raylab.cli import main
from raylab.color.fire import chroma, fire_map
from raylab.color.picture import BODY, color_picture, exposure_for, face_up_color
from raylab.optics.absorption import tint
from raylab.optics.color import ciede2000, spectrum_to_xyz, white_xyz, xyz_to_lab
from raylab.optics.materials import Material
from raylab.optics.spectrum import color_weights, illuminants, wavelength_set

PROPORTIONS = {"table_pct": 57.0, "crown_angle_deg": 34.5, "pavilion_angle_deg": 40.75}


def brilliant(material="diamond"):
    return rl.round_brilliant(**PROPORTIONS, material=material)


def scene(stone, dome="head-shadow", **settings):
    return scene_of(stone, rl.load_dome(dome), **{"resolution": 40, "precision": 0.02, **settings})


@pytest.mark.parametrize("light", illuminants())
def test_a_colorless_stone_without_dispersion_is_neutral(light):
    seen = color_picture(scene(brilliant(Material.constant(2.417))), light, spectrum=5)
    linear, encoded = seen.linear(0.3), seen.srgb(0.3)
    assert np.ptp(linear, axis=-1).max() < 1e-6
    assert np.ptp(encoded, axis=-1).max() < 1e-6
    assert linear.max() > 0.5
    if light == "A":  # and it is the white balance that does it
        assert np.ptp(seen.xyz[20, 20] / white_xyz(seen.waves, "D65")) > 0.1 * seen.xyz[20, 20].max()


def test_a_picture_is_the_spectrum_of_the_maps():
    """Against the maps of `trace` at the same wavelengths, to rounding; first row at the top."""
    waves = wavelength_set(4)
    lopsided = {"dome": "side-window", "view": rl.View(8.0, 50.0)}
    request = scene(brilliant(), **lopsided, wavelengths_nm=tuple(waves.nodes_nm.tolist()))
    result = rl.trace_scene(request)
    spectrum = np.moveaxis(result.maps.luminance.values, 0, -1)[::-1]
    seen = color_picture(request, "A", spectrum=4)
    covered = seen.coverage > 1e-3
    assert np.allclose(seen.xyz[covered], spectrum_to_xyz(spectrum, waves, "A")[covered], rtol=0, atol=1e-12)
    assert np.array_equal(color_picture(result, "A", spectrum=4).xyz, seen.xyz, equal_nan=True)
    assert np.array_equal(color_picture(request, "A", spectrum=4, threads=1).xyz, seen.xyz, equal_nan=True)
    assert not np.array_equal(seen.linear(), seen.linear()[::-1])
    assert np.allclose(color_picture(request, "A", 3.0, waves).linear(), 3.0 * seen.linear(), rtol=1e-14)


def test_a_dome_in_absolute_units_is_drawn_relative_to_its_brightest():
    """Five times the radiance, in the dome's own units: the picture and the body colour are the same."""
    one, five = (rl.Dome(sky_radiance=r, head_half_angle_deg=12.0, absolute=True) for r in (1.0, 5.0))
    first, second = (scene_of(brilliant(), dome, resolution=24, precision=0.02) for dome in (one, five))
    assert np.allclose(*(color_picture(each, spectrum=2).xyz for each in (first, second)), rtol=1e-12, equal_nan=True)
    assert np.allclose(*(rl.face_up_color(each, spectrum=2).lab for each in (first, second)), rtol=1e-12)


@pytest.mark.parametrize("dome", ["head-shadow", "small-lamps"])
def test_more_wavelengths_converge(dome):
    """Root mean square of XYZ against 64 wavelengths falls. Under lamps not at each doubling: their edges are jumps of the
    spectrum, and where between two wavelengths a jump lies is chance."""
    request = scene(brilliant(), dome, resolution=64)
    finest = np.nan_to_num(color_picture(request, spectrum=64).xyz)
    off = [math.sqrt(np.mean((np.nan_to_num(color_picture(request, spectrum=n).xyz) - finest) ** 2)) for n in (2, 4, 8, 16)]
    assert off[-1] < off[0] / 8
    assert dome == "small-lamps" or off == sorted(off, reverse=True)


def test_under_a_perspective_view_rays_are_sampled():
    near = color_picture(scene(brilliant(), view=rl.View(distance_mm=250.0), resolution=24, samples=16), spectrum=2)
    far = color_picture(scene(brilliant(), resolution=24), spectrum=2)
    inside = (near.coverage > 0.99) & (far.coverage > 0.99)
    assert inside.sum() > 200
    assert abs(near.xyz[inside].mean() - far.xyz[inside].mean()) < 0.05 * far.xyz[inside].mean()


def test_edges_blend_into_the_background():
    seen = color_picture(scene(brilliant()), spectrum=2)
    assert np.allclose(seen.linear(0.25)[seen.coverage == 0.0], 0.25)
    edge = (seen.coverage > 0.2) & (seen.coverage < 0.8)
    assert np.allclose((seen.linear(0.25) - seen.linear())[edge], 0.25 * (1.0 - seen.coverage[edge])[:, None], atol=1e-14)


def test_the_color_of_a_slab_is_beer_and_lambert():
    """A slab in light of equal radiance from everywhere shows R + (1 - R)^2 t / (1 - R t), t = exp(-a h): the geometric
    series of its reflections, closed form; the bracket of 1e-6 bounds the rest."""
    n, height = 1.76, 2.0
    material = Material.constant(n).tinted(tint("faint-yellowish").pairs)
    even = rl.Dome(tray_radiance=1.0)
    found = face_up_color(scene_of(box(3.0, height, material), even, precision=1e-6))
    waves = wavelength_set(BODY, "gauss")
    R = ((n - 1) / (n + 1)) ** 2
    t = np.exp(-height * np.array([material.absorption_per_mm(float(w)) for w in waves.nodes_nm]))
    white = white_xyz(waves)
    expected = xyz_to_lab((R + (1 - R) ** 2 * t / (1 - R * t)) @ color_weights(waves), white)
    assert np.allclose(found.lab, expected, atol=5e-4)  # d(lab)/d(xyz) is below 500 for these near-whites
    assert np.allclose(found.twin_lab, [100.0, 0.0, 0.0], atol=5e-4)
    assert found.difference == pytest.approx(float(ciede2000(expected, [100.0, 0.0, 0.0])), abs=1e-3)
    assert found.difference > 1.0


def test_body_color_shows_more_through_the_pavilion_of_a_lit_tray():
    tinted = brilliant(rl.get_material("diamond").tinted(tint("faint-yellowish").pairs))
    even = rl.Dome(tray_radiance=1.0)
    looked_at = scene_of(tinted, even, precision=0.05)
    up = face_up_color(looked_at, spectrum=3)
    below = face_up_color(replace(looked_at, view=rl.View(tilt_deg=180.0)), spectrum=3)
    assert up.lab[2] > 0.5
    dimmed = face_up_color(looked_at, exposure=0.25, spectrum=3)
    cube_root = 0.25 ** (1.0 / 3.0)  # CIELAB above its dark end: L* + 16, a* and b* go with the cube root of the light
    dark_end = np.array([16.0, 0.0, 0.0])
    assert np.allclose(dimmed.lab + dark_end, cube_root * (up.lab + dark_end), rtol=1e-9)
    assert below.lab[2] > 0.5
    assert abs(up.difference - below.difference) > 0.1


def test_the_command_says_by_which_exposure_a_dark_face_is_seen(tmp_path, capsys):
    request = ["color", "well-proportioned", "--resolution", "20", "--precision", "0.1", "--spectrum", "4"]
    file = Path(__file__).parents[1] / "scenes" / "well-proportioned.toml"
    seen = replace(rl.load_scene(file), dome=rl.load_dome("side-window"), resolution=20).with_settings(precision=0.1)
    fitting = exposure_for([color_picture(seen, "D65", 1.0, 4)])
    assert main([*request, "--dome", "side-window", "--out", str(tmp_path / "dark")]) == 0
    assert f"--exposure {fitting:g} raises it" in capsys.readouterr().out
    assert main([*request, "--dome", "side-window", "--exposure", f"{fitting:g}", "--out", str(tmp_path / "seen")]) == 0
    assert "raises it" not in capsys.readouterr().out


def test_the_command_tells_what_the_functions_tell(tmp_path, capsys):
    """The linear file and the screen's hold the same picture, apart from gamut, background and 16 bits; numbers as computed."""
    scene = str(Path(__file__).parents[1] / "scenes" / "well-proportioned.toml")
    request = ["--light", "A", "--exposure", "0.5", "--resolution", "20", "--precision", "0.1", "--spectrum", "4"]
    request += ["--tint", "faint-brownish", "--dome", "even-sky", "--tilt-deg", "3"]
    assert main(["color", scene, "--out", str(tmp_path), *request]) == 0
    assert sorted(path.name for path in tmp_path.iterdir()) == ["color.json", "color.png", "color.tiff", "fire.png"]
    record, facts = capsys.readouterr().out, json.loads((tmp_path / "color.json").read_text())
    plain = rl.load_scene(scene)
    stone = replace(plain.stone, material=plain.stone.material.tinted(rl.load_tint("faint-brownish").pairs))
    again = scene_of(stone, rl.load_dome("even-sky"), rl.View(tilt_deg=3.0), 20, precision=0.1)
    seen = color_picture(again, "A", 0.5, 4)
    linear = tifffile.imread(tmp_path / "color.tiff")
    assert linear.shape == (20, 20, 3)
    assert np.allclose(linear, seen.linear(), atol=1e-6)
    assert b"sRGB" in (tmp_path / "color.png").read_bytes()[:200]
    encoded = np.asarray(Image.open(tmp_path / "color.png").convert("RGB"))  # the library reads the upper 8 of 16 bits
    assert np.abs(encoded - 255 * seen.srgb(0.03)).max() <= 1.5
    face = face_up_color(again, "A", 0.5)
    assert facts["face"]["lab"] == pytest.approx(face.lab.tolist(), rel=1e-12)
    assert facts["face"]["ciede2000_to_twin"] == pytest.approx(face.difference, rel=1e-12)
    assert face.difference > 0.5
    assert seen.error is not None
    assert facts["color_error"]["largest"] == pytest.approx(seen.error.largest, rel=1e-12)
    assert Image.open(tmp_path / "color.png").text["Comment"] == seen.about
    with tifffile.TiffFile(tmp_path / "color.tiff") as file:
        assert file.pages[0].description == seen.about
    assert facts["fire"]["mean_deg"] == pytest.approx(fire_map(again).mean_deg, rel=1e-12)
    assert facts["chroma"]["uv"] == pytest.approx(chroma(seen).chroma_uv, rel=1e-12)
    assert f"{face.difference:.2f}" in record


def test_the_command_refuses_what_cannot_be_seen(tmp_path, capsys):
    scene = str(Path(__file__).parents[1] / "scenes" / "well-proportioned.toml")
    for words, says in {
        "--tint pale": "--tint = 'pale': unknown tint; expected",
        "--tint lost.csv": "lost.csv: no such file; expected an absorption spectrum",
        "--spectrum 0": "--spectrum = 0: out of range; expected 1 to 100",
        "--exposure 0": "--exposure = 0.0: out of range",
        "--low-nm 300": "--low-nm = 300.0: out of range",
    }.items():
        assert main(["color", scene, "--out", str(tmp_path / "o"), *words.split()]) == 2
        assert says in capsys.readouterr().err
        assert not (tmp_path / "o").exists()


def test_the_command_shows_moissanite_in_what_is_known_of_it(tmp_path, capsys):
    text = (Path(__file__).parents[1] / "scenes" / "well-proportioned.toml").read_text()
    (tmp_path / "m.toml").write_text(text.replace('"diamond"', '"moissanite"'))
    words = ["color", str(tmp_path / "m.toml"), "--out", str(tmp_path / "o"), "--resolution", "8", "--precision", "0.2"]
    assert main(words) == 2
    assert (
        "--low-nm = 400.0: the refractive index of moissanite is unknown at this wavelength; expected 435.8"
        in capsys.readouterr().err
    )
    assert main([*words, "--low-nm", "436", "--spectrum", "2", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["wavelengths_nm"] == [502.0, 634.0]


def test_what_cannot_be_seen_is_refused():
    with pytest.raises(rl.InputError, match="unknown illuminant"):
        color_picture(scene(brilliant()), "moonlight")
    with pytest.raises(rl.InputError, match="exposure"):
        color_picture(scene(brilliant()), exposure=0.0)
    with pytest.raises(rl.InputError, match="a Scene or a Result"):
        color_picture("well-proportioned")
    with pytest.raises(rl.InputError, match="unknown at this wavelength"):
        color_picture(scene(brilliant("moissanite")))
