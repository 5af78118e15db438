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
from ..progress import Progress, reporter
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
    progress: bool | Progress = False,
) -> tuple[WavelengthSet, ColorError | None]:
    """The wavelengths of a film, and the largest of each number of the error on some of its stills.

    Parameters
    ----------
    scenes : these stills. grid : their pixels.
    light, exposure, spectrum : as in `save_video`.
    progress : True for a bar, or a function that is called with the share of the work that is done.

    Returns
    -------
    The set, and the error; None for a single wavelength.
    """
    known: list[ColorError] = []
    with reporter(progress, "choosing the wavelengths", counted=False) as update:
        if isinstance(spectrum, WavelengthChoice):
            for done, scene in enumerate(scenes):
                update(done, 2 * len(scenes))
                waves = color_picture(scene, light, exposure, spectrum, grid=grid).waves
                spectrum = replace(spectrum, start_nm=tuple(waves.nodes_nm.tolist()))
        waves = first_set(spectrum)
        if len(waves) < 2:
            return waves, None
        for done, scene in enumerate(scenes):
            update(len(scenes) + done, 2 * len(scenes))
            error = color_picture(scene, light, exposure, waves, grid=grid).error
            known += [] if error is None else [error]
        update(1.0, 1.0)
    if not known:
        return waves, None
    return waves, ColorError(
        max(one.median for one in known), max(one.percentile_95 for one in known), max(one.largest for one in known)
    )
