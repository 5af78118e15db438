"""Files of colour pictures, each with the definition of its numbers.

    .png    16 bits a channel, encoded sRGB, for screens and print; says so in its sRGB chunk (and gAMA, cHRM for old readers)
    .tiff   32-bit float, linear sRGB, unclipped, for further work; carries an ICC profile of the sRGB primaries without a curve

The PNG is written here because the imaging libraries that raylab needs anyway write 16 bits in grey only.
"""

from __future__ import annotations

import io
import struct
import zlib
from pathlib import Path
from typing import Any

import numpy as np

from ..errors import InputError
from ..optics.color import SRGB_TO_XYZ, SRGB_WHITE, white_balance
from ..version import __version__
from ..whole_files import whole_file

ICC_WHITE = np.array([0.9642, 1.0, 0.8249])
"""The D50 to which every ICC profile refers its colours (ICC.1 specification, from memory)."""

_RGB16, _RGBA16 = 2, 6  # PNG colour types
_UP = 2  # PNG row filter: difference to the row above


def save_color_png(encoded: Any, path: str | Path, *, about: str = "", force: bool = False) -> None:
    """Encoded sRGB (H, W, 3), or (H, W, 4) with alpha, as a 16-bit PNG; values 0 to 1, first row at the top.

    `about` is a comment that the file carries, such as `Picture.about`.

    Raises InputError for other shapes or values, or an existing file without `force`.
    """
    with whole_file(path, force=force) as target:
        target.write_bytes(png16(encoded, about))


def png16(encoded: Any, about: str = "") -> bytes:
    """The bytes of such a PNG (W3C, Portable Network Graphics specification)."""
    pixels = _picture(encoded, (3, 4))
    if pixels.min() < 0.0 or pixels.max() > 1.0:
        worst = pixels.min() if pixels.min() < 0.0 else pixels.max()
        raise InputError("out of range of the screen", key="encoded", value=float(worst), expected="0 to 1; see into_gamut")
    height, width, channels = pixels.shape
    rows = np.round(pixels * 65535).astype(">u2").reshape(height, -1).view(np.uint8)
    filtered = np.diff(rows, axis=0, prepend=np.zeros((1, rows.shape[1]), np.uint8))  # modulo 256, as the filter wants
    body = np.column_stack([np.full(height, _UP, np.uint8), filtered]).tobytes()
    xy = [0.3127, 0.3290, 0.64, 0.33, 0.30, 0.60, 0.15, 0.06]  # white and primaries of sRGB
    return b"\x89PNG\r\n\x1a\n" + b"".join(
        [
            _chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 16, _RGB16 if channels == 3 else _RGBA16, 0, 0, 0)),
            _chunk(b"cHRM", struct.pack(">8I", *(round(number * 100000) for number in xy))),
            _chunk(b"gAMA", struct.pack(">I", 45455)),
            _chunk(b"sRGB", b"\x01"),  # relative colorimetric
            _chunk(b"tEXt", f"Software\0raylab {__version__}".encode("latin-1")),
            *([_chunk(b"tEXt", f"Comment\0{about}".encode("latin-1"))] if about else []),
            _chunk(b"IDAT", zlib.compress(body, 6)),
            _chunk(b"IEND", b""),
        ]
    )


def eight_bits(encoded: np.ndarray) -> np.ndarray:
    """Encoded values from 0 to 1 as bytes, for what a page shows."""
    return np.rint(255.0 * encoded).astype(np.uint8)


def png8(pixels: np.ndarray) -> bytes:
    """Pixels of 8 bits a channel, (H, W, 3) or with alpha (H, W, 4), as a PNG that stands within a page."""
    from PIL import Image

    held = io.BytesIO()
    Image.fromarray(pixels).save(held, "PNG")
    return held.getvalue()


def _chunk(kind: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


def save_linear_tiff(linear: Any, path: str | Path, *, about: str = "", force: bool = False) -> None:
    """Linear sRGB (H, W, 3), unclipped, as a 32-bit float TIFF with its ICC profile; first row at the top.

    `about` is a description that the file carries.

    Raises InputError for other shapes or values that are not finite, or an existing file without `force`.
    """
    import tifffile

    pixels = _picture(linear, (3,)).astype(np.float32)
    with whole_file(path, force=force) as target:
        tifffile.imwrite(
            target,
            pixels,
            photometric="rgb",
            compression="zlib",
            iccprofile=linear_srgb_profile(),
            software=f"raylab {__version__}",
            description=about or None,
            metadata=None,
        )


def _picture(pixels: Any, channels: tuple[int, ...]) -> np.ndarray:
    pixels = np.asarray(pixels, dtype=float)
    if pixels.ndim != 3 or pixels.shape[2] not in channels or pixels.size == 0:
        wanted = " or ".join(f"(H, W, {count})" for count in channels)
        raise InputError("not a picture", key="shape", value=pixels.shape, expected=wanted)
    if not np.all(np.isfinite(pixels)):
        raise InputError("pixels that are not finite", key="pixels", expected="a background for pixels outside the stone")
    return pixels


def linear_srgb_profile() -> bytes:
    """An ICC profile (version 4, matrix and straight curves) of linear light with the primaries and white of sRGB."""
    primaries = white_balance(SRGB_TO_XYZ.T, SRGB_WHITE, ICC_WHITE)  # row by row: red, green, blue
    to_d50 = white_balance(np.eye(3), SRGB_WHITE, ICC_WHITE).T
    straight = b"curv" + bytes(4) + struct.pack(">I", 0)
    tags = {
        b"desc": _text("Linear light, sRGB primaries"),
        b"cprt": _text("No copyright, use freely"),
        b"wtpt": _xyz(ICC_WHITE),
        b"chad": b"sf32" + bytes(4) + _fixed(to_d50),
        **{name + b"XYZ": _xyz(primary) for name, primary in zip((b"r", b"g", b"b"), primaries, strict=True)},
        **{name + b"TRC": straight for name in (b"r", b"g", b"b")},
    }
    at = 128 + 4 + 12 * len(tags)
    table, body = struct.pack(">I", len(tags)), b""
    for name, data in tags.items():
        table += name + struct.pack(">II", at + len(body), len(data))
        body += data + bytes(-len(data) % 4)
    date = struct.pack(">6H", 2000, 1, 1, 0, 0, 0)  # fixed, so that equal pictures are equal files
    kind = bytes(4) + bytes([4, 0x20, 0, 0]) + b"mntrRGB XYZ " + date + b"acsp"
    header = struct.pack(">I", at + len(body)) + kind + bytes(24) + struct.pack(">I", 1) + _fixed(ICC_WHITE)
    return header.ljust(128, b"\0") + table + body


def _fixed(numbers: np.ndarray) -> bytes:
    """Signed fixed-point numbers of 16 + 16 bits."""
    return np.round(np.ravel(numbers) * 65536).astype(">i4").tobytes()


def _xyz(numbers: np.ndarray) -> bytes:
    return b"XYZ " + bytes(4) + _fixed(numbers)


def _text(words: str) -> bytes:
    coded = words.encode("utf-16-be")
    return b"mluc" + bytes(4) + struct.pack(">II", 1, 12) + b"enUS" + struct.pack(">II", len(coded), 28) + coded
