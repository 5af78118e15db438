"""What is seen of a stone's inclusions, in one view and against the tilt; `results.inclusion_images` defines it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import xarray as xr

from .errors import InputError
from .progress import Progress, reporter
from .results.inclusion_images import Eye, InclusionImages, images_in
from .results.maps import map_arrays
from .results.statistics import Statistic
from .scene.pixel_grid import grid_around
from .scene.scene import Scene
from .scene.view import View
from .tracers.engines import engine_for
from .tracers.ledger import INCLUDED, LUMINANCE
from .tracers.sampled.sampling import Tile, sample_image
from .tracers.sampled.view_rays import sample_points
from .units import number_in


def inclusion_images(
    scene: Scene,
    *,
    distance_mm: float | None = None,
    resolves_arcmin: float = Eye.resolves_arcmin,
    contrast: float = Eye.contrast,
    progress: bool | Progress = False,
) -> InclusionImages:
    """The images of a stone's inclusions in a view, at the middle wavelength of the scene.

    >>> import raylab as rl
    >>> stone = rl.round_brilliant(table_pct=57, crown_angle_deg=34.5, pavilion_angle_deg=40.75, girdle_facets=32)
    >>> stone = stone.with_inclusions(rl.Inclusion.sphere((0.4, 0.1, 0.3), 0.1))
    >>> found = rl.inclusion_images(rl.Scene(stone, "head-shadow", resolution=64))
    >>> any(one.reflections == 0 for one in found.images), 0.0 < found.taken.value < 0.2
    (True, True)

    Parameters
    ----------
    scene : its stone has inclusions. Its resolution says how small an image may be.
    distance_mm : of the eye, for the angle of an image; by default that of the view, or 250 mm where the view is parallel.
    resolves_arcmin, contrast : the thresholds of `large_and_strong`, 0.01 to 1000 arc minutes and 0 to 10.
    progress : True for a bar, or a function that is called with the finished and the total amount of work.

    Raises
    ------
    InputError : a stone without inclusions, a threshold out of range.
    UnsupportedScene : the scene asks for an engine that does not trace inclusions.
    """
    if not scene.stone.inclusions:
        raise InputError("the stone has no inclusions", key="inclusions", expected="a stone with inclusions")
    usual = scene.view.distance_mm or Eye.distance_mm
    eye = Eye(
        number_in("distance_mm", usual if distance_mm is None else distance_mm, 1.0, 1e6, "mm"),
        number_in("resolves_arcmin", resolves_arcmin, 0.01, 1000.0, "arc minutes"),
        number_in("contrast", contrast, 0.0, 10.0),
    )
    engine_for(scene)  # refuses one that asks for an engine which knows nothing of inclusions
    grid = grid_around(scene.stone, scene.view, scene.resolution)
    bare = np.full(scene.resolution**2, np.nan)
    without = replace(scene, stone=scene.stone.with_inclusions(()))
    with reporter(progress, "inclusions", counted=False) as update:
        traced = sample_image(
            scene,
            scene.settings.middle_nm,
            grid,
            progress=update,
            beside=lambda tile: _without(without, tile, bare[tile.pixels]),
        )
    share, error = (float(x) for x in (traced.totals.mean[INCLUDED], np.sqrt(traced.totals.covariance[INCLUDED, INCLUDED])))
    maps = map_arrays([traced], grid, spectral=False).dataset()
    maps["bare"] = (maps.luminance.dims, bare.reshape(maps.luminance.shape))
    maps.attrs.update(stone=scene.stone.name, dome=scene.dome.name, material=scene.stone.material.name)
    return images_in(scene, maps, Statistic(share, share, share, error), eye)


def _without(scene: Scene, tile: Tile, luminance: np.ndarray) -> None:
    """Fill luminance (P,) of a tile's pixels for the stone without inclusions: only rays that met one are traced anew."""
    met = tile.rows[:, INCLUDED] > 0.0
    light = tile.rows[:, LUMINANCE].copy()
    if met.any():
        in_pupil = None if tile.in_pupil is None else tile.in_pupil[met]
        area = tile.area_mm2[met]
        rows, _ = sample_points(tile.points[met], scene, scene.settings.middle_nm, in_pupil=in_pupil, area_mm2=area)
        light[met] = rows[:, LUMINANCE]
    of_pixel = np.repeat(np.arange(luminance.size), np.diff(tile.starts))
    light_of, hits = (np.bincount(of_pixel[tile.hit], some, luminance.size) for some in (light[tile.hit], None))
    with np.errstate(invalid="ignore"):
        luminance[:] = light_of / hits  # summed in the order of the map's own


def inclusion_tilt(
    scene: Scene, views: Sequence[View], *, progress: bool | Progress = False, distance_mm: float | None = None
) -> xr.Dataset:
    """The same numbers over a series of views.

    Parameters
    ----------
    views : such as `rl.rocking` gives. Other parameters as in `inclusion_images`.

    Returns
    -------
    xarray.Dataset along ``view``: `tilt_deg`, `azimuth_deg`, `turn_deg`; `images` and `large_and_strong`, their numbers;
    `area`, the share of the face that shows an inclusion; `taken` and `lost` with their ``_error``.

    Raises InputError for no view, and as `inclusion_images`.
    """
    if not len(views):
        raise InputError("no view", key="views", expected="one view or more")
    found = []
    with reporter(progress, "views") as update:
        for view in views:
            found.append(_numbers(inclusion_images(replace(scene, view=view), distance_mm=distance_mm)))
            update(len(found), len(views))
    columns = {
        name: ("view", [one[k] for one in found], {"units": "1", "long_name": words})
        for k, (name, words) in enumerate(_COLUMNS.items())
    }
    angles = {"tilt_deg": "tilt_deg", "azimuth_deg": "tilt_azimuth_deg", "turn_deg": "turn_deg"}
    coords = {key: ("view", [getattr(view, of) for view in views], {"units": "degree"}) for key, of in angles.items()}
    about = {"stone": scene.stone.name, "dome": scene.dome.name, "wavelength_nm": scene.settings.middle_nm}
    return xr.Dataset(columns, coords, about)


_COLUMNS = {
    "images": "number of images",
    "large_and_strong": "number of images that are large and strong enough",
    "area": "share of the face that shows an inclusion",
    "taken": "share of the light that inclusions take",
    "taken_error": "standard error of the share of the light that inclusions take",
    "lost": "share of the luminance that is missing",
    "lost_error": "standard error of the share of the luminance that is missing",
}


def _numbers(found: InclusionImages) -> tuple[float, ...]:
    """The numbers of a view, in the order of `_COLUMNS`."""
    covered = found.maps.coverage
    area = float(covered.where(found.maps.image >= 0, 0.0).sum() / covered.sum())
    shares = (found.taken.value, found.taken.error, found.lost.value, found.lost.error)
    return (len(found.images), found.large_and_strong, area, *shares)
