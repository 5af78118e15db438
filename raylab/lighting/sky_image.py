"""Sky pictures: an equirectangular file of linear light, read as one luminance per pixel, and its exact mean over patches.

Only formats that hold radiance itself are read, see `sky_formats`. An 8-bit picture is encoded for a screen and clipped at
white; it does not contain the radiance of windows and lamps and is refused.

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
from pathlib import Path

import numpy as np

from ..errors import InputError
from ..jit import njit
from ..reading import MIB, Kind, parsing, read_file
from .sky_formats import FORMATS

BT709 = np.array([0.2126, 0.7152, 0.0722])
_SCREEN = (".png", ".jpg", ".jpeg", ".gif", ".bmp", ".webp")
PICTURE = Kind("a sky picture", 1024 * MIB)


def read_sky_image(path: str | Path) -> np.ndarray:
    """Luminance (H, W) of a picture file, row 0 at the top.

    Raises InputError where the file is missing, damaged, of an unknown kind or no linear light.
    """
    path = Path(path)
    suffix = path.suffix.lower()
    if suffix in _SCREEN:
        raise _refused(path, "a picture encoded for a screen has no radiances")
    if suffix not in FORMATS:
        raise _refused(path, "unknown kind of sky image")
    try:
        content = read_file(path, PICTURE)
    except InputError as error:
        raise _refused(path, error.problem, error.expected or "") from error
    try:
        with parsing():
            return _luminance(FORMATS[suffix](content))
    except InputError as error:
        raise _refused(path, error.problem) from error


def _luminance(pixels: np.ndarray) -> np.ndarray:
    """(H, W) of one, three or four samples a pixel. Raises InputError for what is no linear light, or no picture."""
    if not np.issubdtype(pixels.dtype, np.floating):
        raise InputError(f"integer samples ({pixels.dtype}) are not linear radiances")
    if pixels.ndim == 3 and pixels.shape[2] in (3, 4) and pixels.size:
        # some rows at a time: 64-bit copies of all would take three times the memory of the result
        return np.concatenate([pixels[row : row + 64, :, :3].astype(float) @ BT709 for row in range(0, len(pixels), 64)])
    if pixels.ndim == 3 and pixels.shape[2] == 1:
        pixels = pixels[:, :, 0]
    if pixels.ndim != 2:
        raise InputError(f"not a picture; the array has shape {pixels.shape}")
    return pixels.astype(float)


def running_integral(image: np.ndarray) -> np.ndarray:
    """(H + 1, W + 1) integral of an equirectangular image (H, W) of even pixels over solid angle, from the zenith and the left
    edge to each pixel's corner; its last number is the integral over the sphere."""
    rows, columns = image.shape
    heights = -np.diff(np.cos(np.pi * np.arange(rows + 1) / rows))  # of each row of pixels, in z
    whole = np.zeros((rows + 1, columns + 1))
    whole[1:, 1:] = np.cumsum(np.cumsum(image * (heights * 2.0 * np.pi / columns)[:, None], axis=0), axis=1)
    return whole


def smaller_image(image: np.ndarray, rows: int) -> np.ndarray:
    """An image (H, W) of at most `rows` rows and twice as many columns; each pixel is the exact mean over its solid angle."""
    tall, wide = min(rows, image.shape[0]), min(2 * rows, image.shape[1])
    if (tall, wide) == image.shape:
        return image
    integral = running_integral(image)
    z = np.cos(np.pi * np.arange(image.shape[0] + 1) / image.shape[0])
    edges = np.cos(np.pi * np.arange(tall + 1) / tall)
    columns = np.linspace(0.0, image.shape[1], wide + 1)
    across = np.stack([np.interp(columns, np.arange(image.shape[1] + 1), row) for row in integral])
    down = np.stack([np.interp(-edges, -z, column) for column in across.T], axis=1)  # solid angle grows with -z
    sums = np.diff(np.diff(down, axis=0), axis=1)
    return np.maximum(sums / (-np.diff(edges)[:, None] * 2.0 * np.pi / wide), 0.0)


@njit(in_place=True)
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


@njit(in_place=True)
def _band(left, width, height, rows, columns, integral):
    """Integral over `width` columns to the right of `left`, wrapped, from the zenith down to a height z.

    `integral` (rows + 1, columns + 1), see `running_integral`.
    """
    row = min(int(math.acos(height) / math.pi * rows), rows - 1)
    above, below = math.cos(math.pi * row / rows), math.cos(math.pi * (row + 1) / rows)
    part = min(1.0, max(0.0, (above - height) / (above - below)))
    return _along(left + width, row, part, columns, integral) - _along(left, row, part, columns, integral)


@njit(in_place=True)
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


def _refused(path: Path, problem: str, expected: str = "") -> InputError:
    return InputError(problem, key="image", value=str(path), expected=expected or "linear radiances in " + ", ".join(FORMATS))
