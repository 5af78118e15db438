"""Colour stills, kept as files: each named by a hash of all that decides it, the code included.

Films that share stills share the work.
"""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

import numpy as np

from ..code_id import code_id
from ..color.picture import color_picture
from ..optics.spectrum import WavelengthSet
from ..scene.pixel_grid import PixelGrid
from ..scene.scene import Scene
from ..whole_files import whole_file

QUICK = 1
"""Of PNG's levels: a quarter of the time of the usual one, for files that are a seventh larger."""


def still(
    scene: Scene, grid: PixelGrid, waves: WavelengthSet, light: str, exposure: float, background: float, folder: Path
) -> np.ndarray:
    """(H, W, 3) bytes of one still, from its part file or traced anew."""
    import imageio.v3 as iio

    facts = [scene.hash(), code_id("pictures.stills"), list(grid.__dict__.values()), waves.kind, waves.nodes_nm.tolist()]
    facts += [light, float(exposure), float(background)]
    part = folder / (hashlib.sha256(json.dumps(facts).encode()).hexdigest()[:32] + ".png")
    if part.exists():
        return np.asarray(iio.imread(part))
    seen = color_picture(scene, light, exposure, waves, grid=grid, threads=1)
    pixels = np.round(255.0 * seen.srgb(background)).astype(np.uint8)
    with whole_file(part, force=True) as target:
        target.write_bytes(iio.imwrite("<bytes>", pixels, extension=".png", compress_level=QUICK))
    return pixels
