"""The film of the report: all stones side by side, rocking from the one side to the other and back, as an animated WebP.

Each tilt is drawn once and shown on the way there and on the way back. Who asks for less motion, or prints, sees five of the
pictures as a strip. The film has few wavelengths, so its colours are coarser than those of the pictures.
"""

from __future__ import annotations

import io
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from ..color.picture import color_picture
from ..comparison.alignment import common_grid
from ..comparison.comparison import Comparison
from ..motion.tilting import path_of
from ..optics.color import srgb_encode
from ..pictures.color_files import eight_bits, png8
from ..progress import Progress, silent
from ..scene.scene import Scene
from ..scene.settings import TraceSettings
from ..scene.view import View
from ..threads import in_order
from .looks import GREY, Look, spectrum_for

TILT_DEG = 15.0
"""The stones rock by this angle to either side."""
STILLS = 13
"""Different tilts, an odd number."""
SIDE = 200
"""Pixels along each side of a stone's picture."""
WAVELENGTHS = 5
LOOSE = TraceSettings(precision=8e-2)
"""Settings of a film: at most this share of the light stays untraced."""
STILL_MS = 100
QUALITY = 75
"""Of the WebP's compression, 0 to 100."""
IN_A_ROW = 4
"""Stones side by side; more begin a new row."""


@dataclass(frozen=True, eq=False)
class Film:
    """A film of all stones under one light.

    Attributes: `look`, whose light and exposure it has; `webp`, its file; `strip`, a PNG of five of its stills for each stone.
    """

    look: Look
    webp: bytes
    strip: bytes


def rocking_tilts() -> list[float]:
    """The different tilts, degrees, from the one side to the other; slower where the stone turns around (a sine)."""
    return [TILT_DEG * math.sin(math.pi * (k / (STILLS - 1) - 0.5)) for k in range(STILLS)]


def film(comparison: Comparison, look: Look, progress: Progress = silent) -> Film:
    """The stones of a comparison under the light of a look, at its exposure. `progress`: tilts done, and their number."""
    azimuth = comparison.views[0].tilt_azimuth_deg
    views = path_of(rocking_tilts(), azimuth, comparison.views[0].turn_deg)
    grid = common_grid(comparison.shown, views, SIDE)
    waves = spectrum_for(comparison.shown, WAVELENGTHS)
    settings = replace(LOOSE, polarized=comparison.settings.polarized)

    def still(view: View) -> list[np.ndarray]:
        scenes = (Scene(stone, look.dome, view, settings) for stone in comparison.shown)
        seen = (color_picture(one, exposure=look.exposure, spectrum=waves, grid=grid, threads=1) for one in scenes)
        return [eight_bits(one.srgb(GREY)) for one in seen]

    stills = []
    for pictures in in_order(still, views):
        stills.append(pictures)
        progress(len(stills), len(views))
    middle = STILLS // 2
    there = list(range(middle, STILLS)) + list(range(STILLS - 2, -1, -1)) + list(range(1, middle))
    shown = [side_by_side(one) for one in stills]
    few = [stills[round(k * (STILLS - 1) / 4)] for k in range(5)]
    strip = np.concatenate([np.concatenate(row, axis=1) for row in zip(*few, strict=True)], axis=0)
    return Film(look, webp([shown[k] for k in there]), png8(strip))


def side_by_side(pictures: Sequence[np.ndarray]) -> np.ndarray:
    """Pictures (H, W, 3) of bytes in rows of at most `IN_A_ROW`, the last one filled up with grey."""
    blank = np.full_like(pictures[0], round(255.0 * float(srgb_encode(GREY))))
    across = min(len(pictures), IN_A_ROW)
    padded = [*pictures, *[blank] * (-len(pictures) % across)]
    rows = [np.concatenate(padded[k : k + across], axis=1) for k in range(0, len(padded), across)]
    return np.concatenate(rows, axis=0)


def webp(stills: Sequence[np.ndarray]) -> bytes:
    """Stills (H, W, 3) of bytes as an endless animated WebP."""
    from PIL import Image

    first, *others = map(Image.fromarray, stills)
    held, options = io.BytesIO(), {"duration": STILL_MS, "loop": 0, "quality": QUALITY, "method": 2}
    made: dict[str, Any] = {"save_all": True, "append_images": others, **options}
    first.save(held, "WEBP", **made)
    return held.getvalue()
