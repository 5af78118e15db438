"""The wavelengths of a film: chosen on a few stills, the same for all, so that the choice makes nothing flicker.

The choice begins with the first of these stills; each further one adds the wavelengths that it needs. The error of the film's
colours is estimated on the same stills, with the wavelengths of all. Other stills may be off by more.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from ..color.picture import color_picture
from ..color.wavelength_choice import ColorError, WavelengthChoice, first_set
from ..optics.spectrum import WavelengthSet
from ..scene.pixel_grid import PixelGrid
from ..scene.scene import Scene

FOR_FILMS = WavelengthChoice(most=48)
"""Fewer than for a picture: a film has hundreds, and each still is seen for a moment."""
STILLS = 3
"""Stills of each stone on which the wavelengths are chosen, evenly spaced in time."""


def film_wavelengths(
    scenes: Sequence[Scene],
    grid: PixelGrid,
    light: str,
    exposure: float,
    spectrum: int | WavelengthSet | WavelengthChoice,
    *,
    bar: bool = False,
) -> tuple[WavelengthSet, ColorError | None]:
    """The wavelengths of a film, and the largest of each number of the error on some of its stills.

    Parameters
    ----------
    scenes : these stills. grid : their pixels.
    light, exposure, spectrum : as in `save_video`.
    bar : show a bar for each still.

    Returns
    -------
    The set, and the error; None for a single wavelength.
    """
    if isinstance(spectrum, WavelengthChoice):
        for scene in scenes:
            waves = color_picture(scene, light, exposure, spectrum, grid=grid, progress=bar).waves
            spectrum = replace(spectrum, start_nm=tuple(waves.nodes_nm.tolist()))
    waves = first_set(spectrum)
    if len(waves) < 2:
        return waves, None
    errors = [color_picture(scene, light, exposure, waves, grid=grid, progress=bar).error for scene in scenes]
    known = [one for one in errors if one is not None]
    if not known:
        return waves, None
    return waves, ColorError(
        max(one.median for one in known), max(one.percentile_95 for one in known), max(one.largest for one in known)
    )
