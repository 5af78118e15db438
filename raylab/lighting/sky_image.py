"""Sky pictures: an equirectangular file of linear light, read as one luminance per pixel, and its exact mean over patches.

Only formats that hold radiance itself are read. An 8-bit picture is encoded for a screen and clipped at white; it
does not contain the radiance of windows and lamps and is refused.

    .hdr   Radiance RGBE: value = mantissa x 2^(exponent - 136), run-length coded or flat
    .exr   OpenEXR, where the optional package `OpenEXR` is installed
    .tif, .tiff   floating-point samples
    .npy   a NumPy array (H, W) or (H, W, 3)

Colour becomes luminance with the weights of ITU-R BT.709 (0.2126, 0.7152, 0.0722 for linear red, green, blue).

**Means over patches.** Seen from the stone, a direction's height z = sin(elevation) and azimuth span solid angle in proportion:
dw = dz d(azimuth). So the integral of a picture of even pixels over any patch between two heights and two azimuths takes four
look-ups in a table of running sums (F. Crow, "Summed-area tables for texture mapping", SIGGRAPH 1984, cited from memory), with
no approximation. A cone of solid angle w about a direction is replaced by the patch of that solid angle which is as high as
sqrt(w) in elevation and as wide as that leaves: square but at the poles. No lamp is too small
to count.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from ..errors import InputError
from ..jit import njit

BT709 = np.array([0.2126, 0.7152, 0.0722])
_SCREEN = (".png", ".jpg", ".jpeg", ".gif", ".bmp", ".webp")
_MAX_PIXELS = 1 << 28


def read_sky_image(path: str | Path) -> np.ndarray:
    """Luminance (H, W) of a picture file, row 0 at the top.

    Raises InputError where the file is missing, damaged, of an unknown kind or no linear light.
    """
    path = Path(path)
    suffix = path.suffix.lower()
    if suffix in _SCREEN:
        raise _refused(path, "a picture encoded for a screen has no radiances")
    if suffix not in _READERS:
        raise _refused(path, "unknown kind of sky image")
    if not path.is_file():
        raise _refused(path, "no such file" if not path.exists() else "not a file")
    try:
        pixels = _READERS[suffix](path)
    except InputError:
        raise
    except (OSError, ValueError, EOFError, KeyError, IndexError, OverflowError) as error:  # what decoders raise on damage
        raise _refused(path, f"cannot be read: {' '.join(str(error).split()) or type(error).__name__}") from error
    if not np.issubdtype(pixels.dtype, np.floating):
        raise _refused(path, f"integer samples ({pixels.dtype}) are not linear radiances")
    if pixels.ndim == 3 and pixels.shape[2] in (3, 4):
        return np.asarray(pixels[:, :, :3].astype(float) @ BT709)
    if pixels.ndim == 3 and pixels.shape[2] == 1:
        pixels = pixels[:, :, 0]
    if pixels.ndim != 2:
        raise _refused(path, f"not a picture; the array has shape {pixels.shape}")
    return pixels.astype(float)


def running_integral(image: np.ndarray) -> np.ndarray:
    """(H + 1, W + 1) integral of an equirectangular image (H, W) of even pixels over solid angle, from the zenith and the left
    edge to each pixel's corner; its last number is the integral over the sphere."""
    rows, columns = image.shape
    heights = -np.diff(np.cos(np.pi * np.arange(rows + 1) / rows))  # of each row of pixels, in z
    whole = np.zeros((rows + 1, columns + 1))
    whole[1:, 1:] = np.cumsum(np.cumsum(image * (heights * 2.0 * np.pi / columns)[:, None], axis=0), axis=1)
    return whole


@njit()
def patch_mean(x, y, z, cone, integral):
    """Mean of an image over the patch of solid angle `cone`, sr, about the unit direction (x, y, z); see the module.

    `integral` is its `running_integral`.
    """
    rows, columns = integral.shape[0] - 1, integral.shape[1] - 1
    polar, half = math.acos(min(1.0, max(-1.0, z))), 0.5 * math.sqrt(cone)
    top, bottom = math.cos(max(polar - half, 0.0)), math.cos(min(polar + half, math.pi))
    full = min(cone / (2.0 * math.pi), 2.0)  # the least height: all around
    if top - bottom < full:  # at a pole, or wider than the sphere allows
        if z >= 0.0:
            bottom = max(top - full, -1.0)
            top = min(bottom + full, 1.0)
        else:
            top = min(bottom + full, 1.0)
            bottom = max(top - full, -1.0)
    width = min(cone / (top - bottom), 2.0 * math.pi) / (2.0 * math.pi) * columns
    left = (0.5 - math.atan2(y, x) / (2.0 * math.pi)) * columns - width / 2.0
    down = _band(left, width, bottom, rows, columns, integral) - _band(left, width, top, rows, columns, integral)
    return max(0.0, down / ((top - bottom) * width / columns * 2.0 * math.pi))


@njit()
def _band(left, width, height, rows, columns, integral):
    """Integral over `width` columns to the right of `left`, wrapped, from the zenith down to a height z.

    `integral` (rows + 1, columns + 1), see `running_integral`.
    """
    row = min(int(math.acos(height) / math.pi * rows), rows - 1)
    above, below = math.cos(math.pi * row / rows), math.cos(math.pi * (row + 1) / rows)
    part = min(1.0, max(0.0, (above - height) / (above - below)))
    return _along(left + width, row, part, columns, integral) - _along(left, row, part, columns, integral)


@njit()
def _along(column, row, part, columns, integral):
    """Running integral at any column, a whole turn added for each time around, and `part` of the way down a row.

    `integral` (rows + 1, columns + 1), see `running_integral`.
    """
    turns = math.floor(column / columns)
    at = column - turns * columns
    left = min(int(at), columns - 1)
    share = at - left
    upper = integral[row, left] + share * (integral[row, left + 1] - integral[row, left]) + turns * integral[row, columns]
    lower = integral[row + 1, left] + share * (integral[row + 1, left + 1] - integral[row + 1, left])
    lower += turns * integral[row + 1, columns]
    return upper + part * (lower - upper)


def _refused(path: Path, problem: str) -> InputError:
    return InputError(problem, key="image", value=str(path), expected="linear radiances in " + ", ".join(_READERS))


def _npy(path: Path) -> np.ndarray:
    return np.asarray(np.load(path, allow_pickle=False))


def _tiff(path: Path) -> np.ndarray:
    import tifffile

    try:
        return np.asarray(tifffile.imread(path))
    except tifffile.TiffFileError as error:
        raise ValueError(str(error)) from error


def _exr(path: Path) -> np.ndarray:
    try:
        import OpenEXR
    except ImportError as error:
        raise _refused(path, "reading .exr needs the package OpenEXR (pip install OpenEXR)") from error
    channels: dict[str, Any] = OpenEXR.File(str(path)).channels()
    for name in ("RGB", "RGBA", "Y"):
        if name in channels:
            return np.asarray(channels[name].pixels)
    raise ValueError(f"no RGB and no Y among the channels {', '.join(channels)}")


def _hdr(path: Path) -> np.ndarray:
    data = path.read_bytes()
    header, mark, rest = data.partition(b"\n\n")
    size = re.match(rb"-Y (\d+) \+X (\d+)\n", rest)
    if not header.startswith(b"#?") or not mark:
        raise ValueError("not a Radiance picture")
    if b"FORMAT=32-bit_rle_rgbe" not in header.splitlines():
        raise ValueError("not in RGB (FORMAT=32-bit_rle_rgbe)")
    if size is None:
        raise ValueError("rows must run from top to bottom and left to right (-Y height +X width)")
    height, width = int(size[1]), int(size[2])
    if not 0 < height * width <= _MAX_PIXELS:
        raise ValueError(f"{width} x {height} pixels")
    exposure = np.prod([float(line[9:]) for line in header.splitlines() if line.startswith(b"EXPOSURE=")])
    rgbe = _rgbe(np.frombuffer(rest, np.uint8, offset=size.end()), height, width)
    scale = np.where(rgbe[:, :, 3] > 0, np.ldexp(1.0, rgbe[:, :, 3].astype(int) - 136), 0.0)
    return np.asarray(rgbe[:, :, :3] * scale[:, :, None] / exposure)


def _rgbe(data: np.ndarray, height: int, width: int) -> np.ndarray:
    """Bytes (height, width, 4) from the coded rows: each row is four runs-coded planes, or the whole picture is flat."""
    coded = 8 <= width < 32768 and len(data) >= 4 and data[0] == 2 and data[1] == 2 and data[2] < 128
    if not coded:
        if len(data) < 4 * height * width:
            raise ValueError("truncated file")
        return data[: 4 * height * width].reshape(height, width, 4)
    rows = np.empty((height, 4, width), np.uint8)
    at = 0
    for row in rows:
        if len(data) < at + 4 or tuple(data[at : at + 4]) != (2, 2, width >> 8, width & 255):
            raise ValueError("invalid start of a row")
        at = _unpack(data, at + 4, row.reshape(-1), width)
    return rows.transpose(0, 2, 1)


def _unpack(data: np.ndarray, at: int, row: np.ndarray, width: int) -> int:
    """Fill `row` (4 planes of `width` bytes) from runs: a count over 128 repeats the next byte, else that many follow."""
    done = 0
    while done < len(row):
        if at + 1 >= len(data):
            raise ValueError("truncated file")
        count = int(data[at])
        repeated = count > 128
        count -= 128 if repeated else 0
        if count == 0 or count > width - done % width:
            raise ValueError("a run crosses the end of a row")
        found = data[at + 1 : at + 2] if repeated else data[at + 1 : at + 1 + count]
        if not repeated and len(found) < count:
            raise ValueError("truncated file")
        row[done : done + count] = found
        done += count
        at += 2 if repeated else 1 + count
    return at


_READERS: dict[str, Callable[[Path], np.ndarray]] = {".hdr": _hdr, ".exr": _exr, ".tif": _tiff, ".tiff": _tiff, ".npy": _npy}
