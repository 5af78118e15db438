"""`dark_areas`: where a traced face is dark, see `results.dark_areas`."""

from __future__ import annotations

import numpy as np

from .results.accounting import DARK_BELOW
from .results.dark_areas import (
    BAND,
    DarkAreas,
    Pixels,
    cells_of_beams,
    cells_of_pixels,
    dark_areas_of,
    pixels_of_beams,
    strip_across,
)
from .scene.pixel_grid import PixelGrid, grid_around
from .scene.scene import Scene
from .tracers.exact.beams import Beams
from .tracing import Result
from .units import number_in


def dark_areas(result: Result, *, below: float = DARK_BELOW, band: float = BAND) -> DarkAreas:
    """The largest connected dark area of a face, and the dark band across the width of a long stone.

    >>> import raylab as rl
    >>> stone = rl.oval_brilliant(table_pct=57, pavilion_angle_deg=42.5, girdle_facets=32)
    >>> found = rl.dark_areas(rl.trace(stone, "head-shadow", resolution=64, precision=0.1, by_facet=False))
    >>> sorted(found.statistics), found.largest.low <= found.largest.value <= found.largest.high
    (['dark_area', 'dark_band', 'dark_band_depth'], True)

    Parameters
    ----------
    result : a traced view. The middle one of several wavelengths counts. Its pixels say what is connected.
    below : a spot is dark where its luminance is below this share of the mean; above 0, at most 1.
    band : width of the strip across the stone, as a share of its length as seen; 0.01 to 0.9.

    Returns
    -------
    DarkAreas : numbers with brackets, and the place. With an exact engine the band's numbers come from the virtual facets; with
        a sampled one from pixels, and brackets leave out what these scatter.

    Raises InputError for a share out of range.
    """
    below = number_in("below", below, 1e-6, 1.0)
    band = number_in("band", band, 0.01, 0.9)
    scene, grid, number = result.scene, result.arrays.grid, len(result.scene.settings.all_nm) // 2
    if result.beams:
        return dark_areas_in(result.beams[number], scene, grid, below=below, band=band)
    names = ("coverage", "luminance", "untraced", "luminance_error")
    coverage, luminance, untraced, error = map(result.map_values, names)
    strip, peak = strip_across(scene.stone, scene.view, band), scene.dome.peak_radiance
    pixels = Pixels(grid, coverage, luminance, untraced * peak)
    error = np.where(np.isfinite(error), error, peak)  # a single sample tells nothing of its scatter
    return dark_areas_of(cells_of_pixels(pixels, error, strip), pixels, strip, below=below, band=band)


def dark_areas_in(
    beams: Beams, scene: Scene, grid: PixelGrid | None = None, *, below: float = DARK_BELOW, band: float = BAND
) -> DarkAreas:
    """The same of virtual facets; on pixels of the scene's resolution where no grid is given."""
    grid = grid or grid_around(scene.stone, scene.view, scene.resolution)
    strip, peak = strip_across(scene.stone, scene.view, band), scene.dome.peak_radiance
    whole = beams.unfolded()
    pixels = pixels_of_beams(whole, peak, grid)
    return dark_areas_of(cells_of_beams(whole, peak, strip), pixels, strip, below=below, band=band)
