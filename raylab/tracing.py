"""The main door: trace a stone under a dome and get maps and numbers."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import xarray as xr

from . import pattern_symmetry as symmetry
from .lighting.dome import Dome
from .progress import Progress, part_of, reporter, silent
from .results.accounting import FacetTable, account
from .results.maps import dataset, with_paths
from .results.paths import Paths, strongest_paths
from .results.statistics import Statistic, Summary, summarize
from .scene.pixel_grid import PixelGrid, grid_around
from .scene.scene import Scene
from .scene.view import View
from .stone.stone import Stone
from .tracers.engine_result import EngineResult
from .tracers.exact.beams import Beams, trace_beams
from .tracers.exact.image import exact_image
from .tracers.sampled.sampling import sample_image


@dataclass(frozen=True)
class Result:
    """What a trace gives.

    Attributes
    ----------
    maps : `xarray.Dataset` on (y, x) in mm, with a leading `wavelength_nm` where several were asked for.
    summary : every statistic with its bracket and error. scene : what was traced.
    beams : the virtual facets at each wavelength; empty where rays were sampled.

    From beams there are two things more: the map `path` with its words in `path_name`, and `summary.facets`.
    """

    maps: xr.Dataset
    summary: Summary
    scene: Scene
    beams: tuple[Beams, ...] = ()


def trace(
    stone: Stone,
    dome: Dome,
    view: View | None = None,
    *,
    by_facet: bool = True,
    progress: bool | Progress = False,
    **settings: Any,
) -> Result:
    """Trace a stone under a dome.

    Parameters
    ----------
    stone, dome, view : what is seen, under which light, from where (face-up and parallel by default).
    by_facet : also the map of each pixel's path and the account by facet, which only the exact engine gives and which take
        a good part of a fast trace.
    progress : True for a bar, or a function that is called with how much is done and of how much.
    **settings : the settings of `Scene`: `resolution` (pixels along each side), `wavelengths_nm` (a number, or several
        for a spectral axis), `engine` (exact beams under a parallel view, else rays, unless insisted on), `precision`
        (width of the exact engine's bracket), `samples` (rays per pixel, a square number), `polarized`, `min_weight`,
        `max_bounces`, `seed`.

    Returns
    -------
    Result : maps, summary and the scene.

    Raises
    ------
    InputError : a setting or a combination that can't be traced.
    """
    return trace_scene(Scene(stone=stone, dome=dome, view=view or View(), **settings), by_facet=by_facet, progress=progress)


def trace_scene(scene: Scene, *, by_facet: bool = True, progress: bool | Progress = False) -> Result:
    """Trace a `Scene`, such as `load_scene` gives; see `trace`."""
    wavelengths = scene.wavelengths
    grid = grid_around(scene.stone, scene.view, scene.resolution)
    traced: list[EngineResult] = []
    virtual: list[Beams] = []
    paths: list[Paths] = []
    tables: list[FacetTable] = []
    with reporter(progress, "tracing", counted=False) as tell:
        for k, wavelength_nm in enumerate(wavelengths):
            part = part_of(tell, k / len(wavelengths), 1.0 / len(wavelengths))
            if scene.chosen_engine == "beams":
                beams = beams_of(scene, wavelength_nm)
                virtual.append(beams)
                traced.append(exact_image(beams, grid, wavelength_nm))  # its totals are the wedge's, as a sweep's are
                if by_facet:
                    whole = beams.unfolded()
                    paths.append(strongest_paths(whole))
                    tables.append(account(whole, scene.stone, scene.dome.peak_radiance, paths[-1]))
                part(1, 1)
            else:
                traced.append(sampled_image_of(scene, grid, wavelength_nm, part))
    agreement, note = _symmetry(scene, virtual)
    summary = summarize(traced, scene.dome.peak_radiance, agreement, note, tables)
    maps = dataset(traced, spectral=isinstance(scene.wavelengths_nm, tuple))
    if paths:
        maps = with_paths(maps, [one.fields["polygon"] for one in traced], paths, scene.stone)
    maps.attrs.update(stone=scene.stone.name, dome=scene.dome.name, material=scene.stone.material.name)
    return Result(maps, summary, scene, tuple(virtual))


def _symmetry(scene: Scene, virtual: list[Beams]) -> tuple[Statistic | None, str]:
    """The pattern's symmetry at the middle wavelength, or why there is none to tell."""
    note = symmetry.why_undefined(scene.stone, scene.view)
    if note:
        return None, note
    claimed = scene.stone.symmetry.turned(scene.view.turn_deg)
    if virtual and claimed.within(virtual[0].symmetry.maps):  # found exact by the tracer, in planes, dome and view
        return Statistic(1.0, 1.0, 1.0), ""
    middle = scene.wavelengths[len(scene.wavelengths) // 2]
    agreement = symmetry.agreement(
        scene.stone,
        scene.dome,
        scene.view,
        wavelength_nm=middle,
        polarized=scene.polarized,
        min_weight=scene.min_weight,
        seed=scene.seed,
    )
    return agreement, ""


def beams_of(scene: Scene, wavelength_nm: float, *, keep_paths: bool = True, threads: int | None = None) -> Beams:
    """The virtual facets of a scene at one wavelength, without maps; `keep_paths` and `threads` as in `trace_beams`."""
    return trace_beams(
        scene.stone,
        scene.dome,
        scene.view,
        wavelength_nm=wavelength_nm,
        polarized=scene.polarized,
        precision=scene.precision,
        max_bounces=scene.max_bounces,
        keep_paths=keep_paths,
        threads=threads,
    )


def sampled_image_of(scene: Scene, grid: PixelGrid, wavelength_nm: float, progress: Progress = silent) -> EngineResult:
    """The sampled image of a scene at one wavelength, on a frame."""
    return sample_image(
        scene.stone,
        scene.dome,
        scene.view,
        grid,
        wavelength_nm=wavelength_nm,
        samples=scene.samples,
        polarized=scene.polarized,
        min_weight=scene.min_weight,
        max_bounces=scene.max_bounces,
        seed=scene.seed,
        progress=progress,
    )
