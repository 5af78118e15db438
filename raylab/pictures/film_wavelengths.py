"""The wavelengths of a film: the same for all its stills, so that nothing flickers.

Where none are given, they are `USUAL`, closer together where the eye sees most (`optics.spectrum.seen_set`). Against 100
even ones the colours of a brilliant under three domes are off by 0.07 to 0.10 CIEDE2000 in the mean and by at most 0.33 in 95 %
of the pixels, less than the untraced light of a film darkens them. More can be chosen by the error of a few stills: the choice
begins with the first of them, and each further one adds the wavelengths that it needs.

The error of the film's colours is estimated on the same stills, with the wavelengths of all. Other stills may be off by more.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from ..color.picture import color_picture
from ..color.wavelength_choice import ColorError, WavelengthChoice, first_set
from ..optics.spectrum import WavelengthSet, seen_set
from ..progress import Progress, reporter
from ..scene.pixel_grid import PixelGrid
from ..scene.scene import Scene

USUAL = 16
"""Wavelengths where none are asked for: a film has hundreds of stills, and each is seen for a moment."""
STILLS = 3
"""Stills of each stone on which the error is estimated, evenly spaced in time."""
COARSE = 4e-2
"""At most this share of their light stays untraced: enough for differences between wavelengths, and four times faster."""


def film_wavelengths(
    scenes: Sequence[Scene],
    grid: PixelGrid,
    light: str,
    exposure: float,
    spectrum: int | WavelengthSet | WavelengthChoice | None,
    *,
    progress: bool | Progress = False,
) -> tuple[WavelengthSet, ColorError | None]:
    """The wavelengths of a film, and the largest of each number of the error on some of its stills.

    Parameters
    ----------
    scenes : these stills, traced to a precision of no less than `COARSE`. grid : their pixels.
    light, exposure, spectrum : as in `save_video`.
    progress : True for a bar, or a function that is called with the share of the work that is done.

    Returns
    -------
    The set, and the error; None for a single wavelength.
    """
    known: list[ColorError] = []
    scenes = [one.with_settings(precision=max(COARSE, one.settings.precision)) for one in scenes]
    spectrum = seen_set(USUAL, light) if spectrum is None else spectrum
    with reporter(progress, "wavelengths and their error", counted=False) as update:
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
