"""Colour pictures and films of a page's stone, made beside the pictures of the link.

A picture is asked for twice: coarse, which comes soon, and fine. Both show the stone as a person sees it under the light: the
brightest direction of the dome is white at an exposure of 1. Where the stone covers a pixel in part, the picture is transparent
in part.
"""

from __future__ import annotations

import base64
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

import numpy as np

from ..color.picture import Picture, color_picture
from ..color.wavelength_choice import WavelengthChoice
from ..errors import InputError, nearest
from ..lighting.dome import Dome
from ..motion.view_paths import moved
from ..optics.spectrum import WavelengthSet
from ..pictures.color_files import eight_bits, png8
from ..pictures.video import LOOSE, save_video
from ..progress import Progress
from ..scene.scene import Scene
from ..units import number_in
from ..whole_files import temporary_folder
from .answers import COARSE, EXACT
from .design_json import file_stem, stone_of
from .own_domes import dome_of_page
from .questions import COLOR, checked, view_of

STEPS: dict[str, tuple[int, int | WavelengthSet | WavelengthChoice]] = {
    COARSE: (176, 6),
    EXACT: (384, WavelengthChoice(most=48)),
}
"""Pixels along a side, and wavelengths. Both are traced as the stills of films are, `LOOSE`."""

LIGHT = "D65"
MOST_EXPOSURE = 1000.0

STILLS, FILM_SIZE, FILM_WAVES, FPS, ROCK_DEG = 24, 240, 8, 8.0, 12.0
"""Of a film: its stills, the pixels along a side, wavelengths, stills in a second, and the largest tilt to either side."""


def color_map(request: dict[str, Any], domes: Mapping[str, Dome], update: Progress) -> dict[str, Any]:
    """The colour picture of a design: PNG in base64, where its pixels lie, and one line on its wavelengths and error.

    Raises InputError for an invalid request.
    """
    request = checked(request, COLOR)
    step = request.get("step", EXACT)
    if step not in STEPS:
        raise InputError("unknown step", key="step", value=step, expected=nearest(str(step), STEPS))
    resolution, spectrum = STEPS[step]
    seen = color_picture(_scene(request, domes, resolution), LIGHT, _exposure(request), spectrum, progress=update)
    grid = {"x0_mm": seen.grid.x0_mm, "y0_mm": seen.grid.y0_mm, "pixel_mm": seen.grid.pixel_mm, "side": seen.grid.resolution}
    return {"png": _text(png_of(seen)), "grid": grid, "light": LIGHT, "about": seen.about}


def film(request: dict[str, Any], domes: Mapping[str, Dome], update: Progress) -> dict[str, Any]:
    """A film of a design that rocks towards the azimuth of its tilt: its file's name, and WebP in base64."""
    request = checked(request, COLOR)
    scene = _scene(request, domes, FILM_SIZE)
    with temporary_folder() as folder:
        path = folder / "film.webp"
        save_video(
            scene.stone, scene.dome, path, moved(scene.view, "rock", STILLS, ROCK_DEG),
            size=FILM_SIZE, light=LIGHT, exposure=_exposure(request), spectrum=FILM_WAVES, fps=FPS, progress=update,
        )  # fmt: skip
        return {"name": f"{file_stem(scene.stone)}-rocking.webp", "webp": _text(path.read_bytes()), "degrees": ROCK_DEG}


MADE: dict[str, Callable[[dict[str, Any], Mapping[str, Dome], Progress], dict[str, Any]]] = {"color": color_map, "film": film}
"""What is made in colour, by the last part of its address."""


def png_of(seen: Picture) -> bytes:
    """A picture as PNG; where no stone is, it is transparent."""
    whole = replace(seen, coverage=(seen.coverage > 0.0).astype(float))  # its colour as if it covered each pixel wholly
    return png8(eight_bits(np.dstack([whole.srgb(), seen.coverage])))


def _scene(request: Mapping[str, Any], domes: Mapping[str, Dome], resolution: int) -> Scene:
    return Scene(stone_of(request["design"]), dome_of_page(request, domes), view_of(request), LOOSE, resolution)


def _exposure(request: Mapping[str, Any]) -> float:
    return number_in("exposure", request.get("exposure", 1.0), 0.0, MOST_EXPOSURE, open_ends=True)


def _text(data: bytes) -> str:
    return base64.b64encode(data).decode()
