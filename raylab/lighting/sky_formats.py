"""Kinds of files of a sky picture, each from its bytes.

    .hdr   Radiance RGBE: value = mantissa x 2^(exponent - 136), run-length coded or flat
    .exr   OpenEXR, where the optional package `OpenEXR` is installed
    .tif, .tiff   floating-point samples
    .npy   a NumPy array (H, W) or (H, W, 3)

What a packed file unpacks to is bounded before it is unpacked, and the libraries that do it run beside this process, see
`foreign`.
"""

from __future__ import annotations

import importlib.util
import io
import math
import re
import tempfile
from collections.abc import Callable
from typing import Any

import numpy as np

from ..foreign import parsed

MOST_PIXELS = 1 << 25
"""Largest picture that is read, 8192 x 4096: what is made of it takes a gigabyte."""


def npy(content: bytes) -> np.ndarray:
    stream = io.BytesIO(content)
    header = {(1, 0): np.lib.format.read_array_header_1_0, (2, 0): np.lib.format.read_array_header_2_0}
    version = np.lib.format.read_magic(stream)
    if version not in header:
        raise ValueError(f"a NumPy file of version {version}")
    shape, by_columns, dtype = header[version](stream)
    _check_size(shape)
    if dtype.hasobject:
        raise ValueError("Python objects, not numbers")
    numbers = np.frombuffer(content, dtype, count=math.prod(shape), offset=stream.tell())
    return numbers.reshape(shape, order="F" if by_columns else "C")


def tiff(content: bytes) -> np.ndarray:
    return parsed(__name__, "unpacked_tiff", content)["pixels"]


def exr(content: bytes) -> np.ndarray:
    if importlib.util.find_spec("OpenEXR") is None:
        raise ValueError("reading .exr needs the package OpenEXR (pip install OpenEXR)")
    return parsed(__name__, "unpacked_exr", content)["pixels"]


def unpacked_tiff(content: bytes) -> dict[str, np.ndarray]:
    """The pixels of a TIFF's first picture, once its header has said how many they are."""
    import tifffile

    with tifffile.TiffFile(io.BytesIO(content)) as file:
        _check_size(file.series[0].shape)
        return {"pixels": np.asarray(file.asarray(series=0))}


def unpacked_exr(content: bytes) -> dict[str, np.ndarray]:
    """The pixels of an OpenEXR picture; its library reads files only."""
    import OpenEXR

    with tempfile.NamedTemporaryFile(suffix=".exr") as file:
        file.write(content)
        file.flush()
        channels: dict[str, Any] = OpenEXR.File(file.name).channels()
    for name in ("RGB", "RGBA", "Y"):
        if name in channels:
            _check_size(channels[name].pixels.shape)
            return {"pixels": np.asarray(channels[name].pixels)}
    raise ValueError(f"no RGB and no Y among the channels {', '.join(channels)}")


def _check_size(shape: tuple[int, ...]) -> None:
    """Raises ValueError where a picture is larger than is read, at four samples a pixel, or of no size at all."""
    if not all(type(side) is int and side >= 0 for side in shape):
        raise ValueError(f"an array of shape {shape}")
    if math.prod(shape[:2]) > MOST_PIXELS or math.prod(shape) > 4 * MOST_PIXELS:
        raise ValueError(f"{' x '.join(map(str, shape))} samples; at most {MOST_PIXELS} pixels are read (8192 x 4096)")


def hdr(content: bytes) -> np.ndarray:
    header, mark, rest = content.partition(b"\n\n")
    size = re.match(rb"-Y (\d+) \+X (\d+)\n", rest)
    if not header.startswith(b"#?") or not mark:
        raise ValueError("not a Radiance picture")
    if b"FORMAT=32-bit_rle_rgbe" not in header.splitlines():
        raise ValueError("not in RGB (FORMAT=32-bit_rle_rgbe)")
    if size is None:
        raise ValueError("rows must run from top to bottom and left to right (-Y height +X width)")
    height, width = int(size[1]), int(size[2])
    if not 0 < height * width <= MOST_PIXELS:
        raise ValueError(f"{width} x {height} pixels; at most {MOST_PIXELS} are read (8192 x 4096)")
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


FORMATS: dict[str, Callable[[bytes], np.ndarray]] = {".hdr": hdr, ".exr": exr, ".tif": tiff, ".tiff": tiff, ".npy": npy}
"""What reads the content of a file, by its suffix: samples (H, W) or (H, W, channels). Raises whatever a decoder raises."""
