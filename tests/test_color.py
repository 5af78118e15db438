"""Colours for a screen: neutral stays neutral, what no screen shows is brought in by the stated rule, files say it."""

from __future__ import annotations

import doctest
import io

import numpy as np
import pytest
import tifffile
from PIL import Image, ImageCms

from raylab.errors import InputError
from raylab.optics import color
from raylab.optics.color import (
    SRGB_TO_XYZ,
    SRGB_WHITE,
    ciede2000,
    into_gamut,
    spectrum_to_xyz,
    srgb_decode,
    srgb_encode,
    white_balance,
    white_xyz,
    xyz_to_lab,
    xyz_to_linear_srgb,
    xyz_to_srgb,
)
from raylab.optics.spectrum import KINDS, illuminants, wavelength_set
from raylab.pictures.color_files import linear_srgb_profile, png16, save_color_png, save_linear_tiff

RNG = np.random.default_rng(2005)
LINEAR = RNG.normal(0.4, 0.6, (4000, 3))
LUMINANCE = SRGB_TO_XYZ[1] / SRGB_WHITE[1]


def test_docstrings_say_what_is_computed():
    assert doctest.testmod(color).failed == 0


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("light", illuminants())
def test_a_flat_spectrum_is_neutral_under_every_light(light, kind):
    for number in (1, 4, 16):
        waves = wavelength_set(number, kind)
        white = white_xyz(waves, light)
        for level in (0.02, 0.18, 1.0):
            xyz = spectrum_to_xyz(np.full(number, level), waves, light)
            linear = xyz_to_linear_srgb(white_balance(xyz, white))
            np.testing.assert_allclose(linear, level, rtol=1e-12)
            np.testing.assert_allclose(xyz_to_srgb(xyz, white=white), srgb_encode(level), atol=1e-12)
            np.testing.assert_allclose(xyz_to_lab(xyz, white)[1:], 0.0, atol=1e-11)


def test_without_a_white_nothing_is_adapted():
    waves = wavelength_set()
    tungsten = white_xyz(waves, "A")
    red, green, blue = xyz_to_srgb(tungsten, white=None, exposure=0.5)
    assert red > green > blue
    np.testing.assert_array_equal(
        xyz_to_srgb(tungsten, white=None, exposure=0.5), srgb_encode(into_gamut(xyz_to_linear_srgb(0.5 * tungsten)))
    )


def test_exposure_is_a_factor_on_the_light():
    xyz = np.array([0.2, 0.25, 0.3])
    np.testing.assert_allclose(
        srgb_decode(xyz_to_srgb(xyz, white=None, exposure=2.0)), 2.0 * srgb_decode(xyz_to_srgb(xyz, white=None)), rtol=1e-12
    )
    for wrong in (-1.0, float("nan"), "1"):
        with pytest.raises(InputError, match="exposure"):
            xyz_to_srgb(xyz, white=None, exposure=wrong)


def test_gamut_keeps_luminance_and_moves_straight_towards_neutral():
    shown = into_gamut(LINEAR)
    assert shown.min() >= 0.0
    assert shown.max() <= 1.0
    before, after = LINEAR @ LUMINANCE, shown @ LUMINANCE
    np.testing.assert_allclose(after, np.clip(before, 0.0, 1.0), atol=1e-12)
    away_before, away_after = LINEAR - before[:, None], shown - after[:, None]
    np.testing.assert_allclose(np.cross(away_before, away_after), 0.0, atol=1e-11)
    assert np.all((away_before * away_after).sum(axis=1) >= 0.0)


def test_gamut_goes_no_further_than_needed():
    inside = ((LINEAR >= 0) & (LINEAR <= 1)).all(axis=1)
    shown, luminance = into_gamut(LINEAR), LINEAR @ LUMINANCE
    assert 0.1 < inside.mean() < 0.9
    np.testing.assert_array_equal(shown[inside], LINEAR[inside])
    moved = shown[~inside & (luminance > 0) & (luminance < 1)]
    at_edge = np.minimum(moved, 1.0 - moved).min(axis=1)
    np.testing.assert_allclose(at_edge, 0.0, atol=1e-12)
    np.testing.assert_allclose(into_gamut(shown), shown, atol=1e-12)
    assert np.all(shown[luminance >= 1 + 1e-12][:, :] == 1.0)
    assert np.all(shown[luminance <= 0] == 0.0)


def test_uncovered_pixels_stay_nan_and_touch_no_other():
    xyz = np.full((2, 2, 3), 0.3)
    xyz[0, 1] = np.nan
    with np.errstate(all="raise"):
        shown = xyz_to_srgb(xyz, white=[0.95, 1.0, 1.09])
        lab = xyz_to_lab(xyz, [0.95, 1.0, 1.09])
    for found in (shown, lab):
        assert np.all(np.isnan(found[0, 1]))
        assert np.isfinite(found).sum() == 9


def test_encoding_is_undone_by_decoding():
    values = np.linspace(0.0, 1.0, 100001)
    np.testing.assert_allclose(srgb_decode(srgb_encode(values)), values, atol=2e-8)  # the standard's knee is off by 3e-8
    assert np.all(np.diff(srgb_encode(values)) > 0)


def test_difference_is_symmetric_and_zero_only_for_equal_colors():
    first = np.column_stack([RNG.uniform(0, 100, 3000), RNG.normal(0, 40, (3000, 2))])
    second = first + RNG.normal(0, 3, first.shape)
    opposite = first * [1.0, -1.0, -1.0]
    for other in (second, opposite, first * [1.0, 0.0, 0.0]):
        np.testing.assert_allclose(ciede2000(first, other), ciede2000(other, first), rtol=1e-9)
        assert np.all(ciede2000(first, other) > 0)
    np.testing.assert_allclose(ciede2000(first, first), 0.0, atol=1e-12)


def test_lab_of_the_white_is_white_and_of_nothing_black():
    white = white_xyz(wavelength_set(), "A")
    np.testing.assert_allclose(xyz_to_lab([white, 0 * white], white), [[100, 0, 0], [0, 0, 0]], atol=1e-12)


def picture(channels: int = 3) -> np.ndarray:
    pixels = RNG.uniform(0.0, 1.0, (5, 7, channels))
    pixels[0, 0], pixels[0, 1] = 0.0, 1.0
    return pixels


@pytest.mark.parametrize("channels", [3, 4])
def test_png_gives_back_all_sixteen_bits_to_vtk_and_its_color_space_to_pillow(tmp_path, channels):
    """Read by two libraries that know nothing of our writer: VTK for the samples, Pillow for the chunks."""
    import pyvista

    pixels, path = picture(channels), tmp_path / "stone.png"
    save_color_png(pixels, path)
    grid = pyvista.read(path)
    stored = grid.point_data[grid.point_data.keys()[0]].reshape(5, 7, channels)[::-1]  # VTK counts rows from below
    assert stored.dtype == np.uint16
    np.testing.assert_array_equal(stored, np.round(pixels * 65535))
    with Image.open(path) as found:
        found.load()
        assert found.info["srgb"] == 1
        assert found.info["gamma"] == pytest.approx(1 / 2.2, abs=1e-5)
        assert found.size == (7, 5)


def test_tiff_gives_back_linear_light_and_its_profile(tmp_path):
    linear, path = (picture() * 40.0 - 1.0).astype(np.float32), tmp_path / "stone.tiff"
    save_linear_tiff(linear, path)
    with tifffile.TiffFile(path) as found:
        np.testing.assert_array_equal(found.asarray(), linear)
        assert found.pages[0].iccprofile == linear_srgb_profile()


def test_the_profile_is_understood_by_littlecms():
    """Pillow's LittleCMS: its own sRGB profile has the same primaries, and converting to it encodes linear light."""
    ours = ImageCms.ImageCmsProfile(io.BytesIO(linear_srgb_profile()))
    theirs = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB"))
    for primary in ("red_primary", "green_primary", "blue_primary"):
        found, expected = (np.array(getattr(profile.profile, primary)[0]) for profile in (ours, theirs))
        np.testing.assert_allclose(found, expected, atol=2e-4)  # the standard's matrix, printed with four decimals
    levels = np.array([[[0, 0, 0], [255, 255, 255], [200, 20, 60], [5, 90, 180], [46, 46, 46]]], dtype=np.uint8)
    shown = ImageCms.profileToProfile(Image.fromarray(levels), ours, theirs, ImageCms.Intent.RELATIVE_COLORIMETRIC)
    # Half a step of 8 bits for its rounding, half a step for the matrix's four decimals.
    np.testing.assert_allclose(np.asarray(shown, dtype=float), 255 * srgb_encode(levels / 255), atol=1.0)


@pytest.mark.parametrize(
    ("pixels", "message"),
    [
        (np.zeros((4, 4)), r"no picture; expected \(H, W, 3\) or \(H, W, 4\)"),
        (np.zeros((0, 4, 3)), "no picture"),
        (np.full((2, 2, 3), np.nan), "missing background"),
        (np.full((2, 2, 3), 1.5), "encoded = 1.5: out of range of the screen"),
        (np.full((2, 2, 3), -0.5), "encoded = -0.5: out of range of the screen"),
    ],
)
def test_what_is_no_picture_is_refused(pixels, message):
    with pytest.raises(InputError, match=message):
        png16(pixels)


def test_a_picture_in_the_way_is_kept(tmp_path):
    path = tmp_path / "stone.png"
    path.write_bytes(b"mine")
    with pytest.raises(InputError, match="exists already"):
        save_color_png(picture(), path)
    assert path.read_bytes() == b"mine"
    save_color_png(picture(), path, force=True)
    assert path.read_bytes()[:4] == b"\x89PNG"
