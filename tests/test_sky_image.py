"""Sky pictures: each format gives back the radiances that were put in; anything else is refused by name."""

from __future__ import annotations

import numpy as np
import pytest
import tifffile

from raylab.errors import InputError
from raylab.lighting.dome_file import load_dome
from raylab.lighting.sky_image import read_sky_image
from raylab.scene.scene_file import load_scene
from raylab.units import direction

RGB = np.random.default_rng(5).uniform(0.0, 50.0, (6, 16, 3)) * np.array([1.0, 1e-3, 30.0])
RGB[0, 0] = 0.0
LUMINANCE = 0.2126 * RGB[:, :, 0] + 0.7152 * RGB[:, :, 1] + 0.0722 * RGB[:, :, 2]


def rgbe(rgb: np.ndarray) -> np.ndarray:
    """Bytes of shared-exponent pixels, mantissas cut off (Ward, "Real pixels", Graphics Gems II, 1991)."""
    _, exponent = np.frexp(rgb.max(axis=-1))
    scale = np.where(rgb.max(axis=-1) > 1e-32, np.ldexp(256.0, -exponent), 0.0)
    shared = np.where(scale > 0, exponent + 128, 0)
    return np.concatenate([rgb * scale[..., None], shared[..., None]], axis=-1).astype(np.uint8)


def hdr(body: bytes, height: int, width: int, extra: bytes = b"") -> bytes:
    return b"#?RADIANCE\n# a comment\nFORMAT=32-bit_rle_rgbe\n" + extra + b"\n" + f"-Y {height} +X {width}\n".encode() + body


def packed(pixels: np.ndarray) -> bytes:
    """Rows as four planes, each plane a run of its first two equal bytes where there are such, then literal bytes."""
    width = pixels.shape[1]
    out = bytearray()
    for row in pixels:
        out += bytes([2, 2, width >> 8, width & 255])
        for plane in row.T:
            if plane[0] == plane[1]:
                out += bytes([128 + 2, plane[0], width - 2]) + plane[2:].tobytes()
            else:
                out += bytes([width]) + plane.tobytes()
    return bytes(out)


@pytest.mark.parametrize("flat", [True, False])
def test_radiance_pictures_come_back_within_the_mantissa(tmp_path, flat):
    pixels = rgbe(RGB)
    pixels[2, :2] = pixels[2, 0]
    body = pixels.tobytes() if flat else packed(pixels)
    path = tmp_path / "sky.hdr"
    path.write_bytes(hdr(body, 6, 16))
    found = read_sky_image(path)
    assert found.shape == (6, 16)
    # cut-off mantissas: each channel is low by less than one 256th of the power of two above the largest
    quantum = np.ldexp(1.0, np.frexp(RGB.max(axis=-1))[1] - 8)
    untouched = np.ones((6, 16), dtype=bool)
    untouched[2, :2] = False
    low = (LUMINANCE - found)[untouched]
    assert np.all((low >= -1e-12) & (low < quantum[untouched]))
    assert found[0, 0] == 0.0
    exact = pixels[:, :, :3] * np.ldexp(1.0, pixels[:, :, 3:].astype(int) - 136) * (pixels[:, :, 3:] > 0)
    assert np.allclose(found, exact @ [0.2126, 0.7152, 0.0722], rtol=1e-14)


def test_exposure_lines_are_taken_back(tmp_path):
    body = rgbe(RGB).tobytes()
    (tmp_path / "plain.hdr").write_bytes(hdr(body, 6, 16))
    (tmp_path / "bright.hdr").write_bytes(hdr(body, 6, 16, b"EXPOSURE=2.0\nEXPOSURE=4\n"))
    assert np.allclose(read_sky_image(tmp_path / "bright.hdr") * 8.0, read_sky_image(tmp_path / "plain.hdr"), rtol=1e-15)


def test_float_tiff_and_npy(tmp_path):
    tifffile.imwrite(tmp_path / "rgb.tif", RGB.astype(np.float32), photometric="rgb")
    tifffile.imwrite(tmp_path / "grey.tiff", LUMINANCE.astype(np.float32))
    np.save(tmp_path / "rgb.npy", RGB)
    assert np.allclose(read_sky_image(tmp_path / "rgb.tif"), LUMINANCE, rtol=1e-6)
    assert np.allclose(read_sky_image(tmp_path / "grey.tiff"), LUMINANCE, rtol=1e-7)
    assert np.allclose(read_sky_image(tmp_path / "rgb.npy"), LUMINANCE, rtol=1e-15)


def test_open_exr_is_read_or_its_missing_reader_named(tmp_path):
    path = tmp_path / "sky.exr"
    try:
        import OpenEXR
    except ImportError:
        path.write_bytes(b"v/1\x01")
        with pytest.raises(InputError, match="needs the package OpenEXR"):
            read_sky_image(path)
        return
    OpenEXR.File({"type": OpenEXR.scanlineimage}, {"RGB": RGB.astype(np.float32)}).write(str(path))
    assert np.allclose(read_sky_image(path), LUMINANCE, rtol=1e-6)


REFUSED = {
    "screen.png": (b"\x89PNG", "encoded for a screen"),
    "sky.xyz": (b"", "unknown kind of sky image"),
    "tiff-inside.hdr": (b"II*\0\x08\0\0\0", "not a Radiance picture"),
    "short.hdr": (hdr(rgbe(RGB).tobytes()[:-1], 6, 16), "truncated file"),
    "short-packed.hdr": (hdr(packed(rgbe(RGB))[:-30], 6, 16), "truncated file|invalid start of a row"),
    "long-run.hdr": (hdr(bytes([2, 2, 0, 16, 255, 1, 1, 1]), 1, 16), "crosses the end"),
    "zero-run.hdr": (hdr(bytes([2, 2, 0, 16, 0, 1, 1, 1]), 1, 16), "crosses the end"),
    "huge.hdr": (hdr(b"", 10**6, 10**6), "1000000 x 1000000 pixels"),
    "xyze.hdr": (hdr(b"", 1, 1).replace(b"rgbe", b"xyze"), "not in RGB"),
    "upside-down.hdr": (hdr(b"", 1, 1).replace(b"-Y", b"+Y"), "rows must run from top to bottom"),
    "empty.hdr": (b"", "not a Radiance picture"),
    "empty.tif": (b"", "cannot be read"),
    "noise.tiff": (bytes(range(200)), "cannot be read"),
    "noise.npy": (bytes(range(200)), "cannot be read"),
}


@pytest.mark.parametrize("name", REFUSED)
def test_what_is_no_linear_light_is_refused(tmp_path, name):
    data, says = REFUSED[name]
    (tmp_path / name).write_bytes(data)
    with pytest.raises(InputError, match=says) as caught:
        read_sky_image(tmp_path / name)
    assert len(str(caught.value).splitlines()) == 1
    assert name in str(caught.value)


def test_whole_number_samples_are_refused(tmp_path):
    tifffile.imwrite(tmp_path / "eight.tif", np.ones((4, 8), np.uint8))
    np.save(tmp_path / "whole.npy", np.ones((4, 8), int))
    np.save(tmp_path / "objects.npy", np.array([{}], dtype=object), allow_pickle=True)
    np.save(tmp_path / "line.npy", np.ones(8))
    for name, says in [
        ("eight.tif", "uint8"),
        ("whole.npy", "int64"),
        ("objects.npy", "cannot be read"),
        ("line.npy", "not a picture"),
    ]:
        with pytest.raises(InputError, match=says):
            read_sky_image(tmp_path / name)
    with pytest.raises(InputError, match="no such file"):
        read_sky_image(tmp_path / "absent.hdr")


def test_an_image_dome_file_finds_its_picture_beside_it(tmp_path):
    picture = np.ones((8, 16)) * 0.5
    picture[:, 8:] = 2.0  # the right half of the picture, seen from inside: azimuths 0 to -180
    np.save(tmp_path / "sky.npy", picture)
    (tmp_path / "d.toml").write_text('schema = 1\nsky = "image"\nimage = "sky.npy"\nabsolute = true\n')
    dome = load_dome(tmp_path / "d.toml")
    assert (dome.radiance(direction(0, -90)), dome.radiance(direction(0, 90))) == (2.0, 0.5)
    stone = 'stone = {cut = "round brilliant", table_pct = 57, crown_angle_deg = 34, pavilion_angle_deg = 41}'
    (tmp_path / "s.toml").write_text(f'schema = 1\n{stone}\ndome = {{sky = "image", image = "sky.npy"}}\n')
    assert load_scene(tmp_path / "s.toml").dome.radiance(direction(0, 90)) == 0.25
    (tmp_path / "bad.toml").write_text('schema = 1\nsky = "image"\nimage = "sky.png"\n')
    with pytest.raises(InputError, match=r"bad\.toml: image = '.*sky\.png': a picture encoded for a screen"):
        load_dome(tmp_path / "bad.toml")
    np.save(tmp_path / "dark.npy", -picture)
    (tmp_path / "neg.toml").write_text('schema = 1\nsky = "image"\nimage = "dark.npy"\n')
    with pytest.raises(InputError, match=r"neg\.toml: image = .*invalid sky image"):
        load_dome(tmp_path / "neg.toml")
