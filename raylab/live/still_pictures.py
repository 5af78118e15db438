"""A still picture of a stone, for browsers that can't trace: small, loosely traced, as JPEG within the page."""

from __future__ import annotations

import base64
import io

from ..color.picture import color_picture
from ..optics.spectrum import wavelength_set
from ..pictures.color_files import eight_bits
from ..scene.pixel_grid import PixelGrid
from ..scene.scene import Scene

SIDE = 260
WAVELENGTHS = 10
"""As the report's pictures have."""
PRECISION = 5e-2
BACKDROP = 0.32
"""Linear grey, that of the page's light look."""


def still_picture(scene: Scene, half_mm: float, light: str, exposure: float, low_nm: float) -> str:
    """A still of a scene, `half_mm` to each side of the middle, as an address that stands in the page itself."""
    from PIL import Image

    grid = PixelGrid(-half_mm, -half_mm, 2.0 * half_mm / SIDE, SIDE)
    waves = wavelength_set(WAVELENGTHS, low_nm=low_nm)
    seen = color_picture(scene.with_settings(precision=PRECISION), light, exposure, waves, grid=grid)
    held = io.BytesIO()
    Image.fromarray(eight_bits(seen.srgb(BACKDROP))).save(held, "JPEG", quality=85)
    return "data:image/jpeg;base64," + base64.b64encode(held.getvalue()).decode("ascii")
