"""The main door: trace a stone under a dome and get maps and numbers."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Never

import numpy as np

from . import pattern_symmetry
from .displays import shown_by
from .errors import InputError, nearest
from .lighting.dome_file import DomeLike, dome_of
from .progress import Progress, part_of, reporter
from .results.accounting import FacetTable, account
from .results.maps import MapArrays, map_arrays, with_paths
from .results.paths import Paths, strongest_paths
from .results.statistics import SYMMETRY, Statistic
from .results.statistics.goals import goal_of, missed
from .results.summary import FACETS, Summary, summarize
from .room import Need
from .scene.pixel_grid import PixelGrid, grid_around
from .scene.scene import Scene
from .scene.settings import TraceSettings
from .scene.view import View
from .stone.stone import Stone
from .tracers.engine_result import EngineResult
from .tracers.engines import engine_for
from .tracers.exact.beams import Beams
from .tracers.exact.image import exact_image
from .units import SODIUM_D_NM

if TYPE_CHECKING:
    import xarray as xr

BYTES_PER_PIXEL = 230
"""Memory that a pixel takes at each wavelength, at the peak; measured with the exact engine at 512 and 1536 pixels a side."""


@dataclass(frozen=True)
class Result:
    """The result of a trace.

    Attributes
    ----------
    arrays : the maps as plain arrays. maps : an `xarray.Dataset` of them on (y, x) in mm, with a leading `wavelength_nm` for
        several wavelengths; made when it is first asked for.
    summary : every statistic with its bracket and error. scene : the traced scene.
    beams : the virtual facets at each wavelength; empty for an engine without virtual facets.

    An engine with virtual facets also gives the map `path`, with its words in `path_name`, and `summary.facets`.
    """

    arrays: MapArrays
    summary: Summary
    scene: Scene
    beams: tuple[Beams, ...] = ()

    _repr_html_ = shown_by("result_card")

    @cached_property
    def maps(self) -> xr.Dataset:
        """The maps with labels."""
        return self.arrays.dataset()

    def map_values(self, name: str, wavelength_nm: float | None = None) -> np.ndarray:
        """(resolution, resolution) values of a map at the traced wavelength nearest to one, by default at the middle one."""
        values = self.arrays.values(name)
        if values.ndim == 2:
            return values
        return np.asarray(values[self.scene.settings.all_nm.index(self.wavelength_near(wavelength_nm))])

    def wavelength_near(self, wanted_nm: float | None) -> float:
        """The traced wavelength nearest to one, nm; the middle one for None."""
        settings = self.scene.settings
        return settings.middle_nm if wanted_nm is None else min(settings.all_nm, key=lambda one: abs(one - wanted_nm))

    def __repr__(self) -> str:
        return f"<Result: {self.scene.stone.name!r} under {self.scene.dome.name!r}, {', '.join(self.arrays.names)}>"


def trace(
    stone: Stone,
    dome: DomeLike,
    view: View | None = None,
    *,
    resolution: int = 512,
    wavelengths_nm: float | tuple[float, ...] = SODIUM_D_NM,
    engine: str | None = None,
    precision: float = 2e-3,
    standard_error: float | None = None,
    precision_of: tuple[str, ...] = (),
    samples: int = 4,
    polarized: bool = True,
    min_weight: float = 1e-4,
    max_bounces: int = 200,
    seed: int = 0,
    by_facet: bool = True,
    progress: bool | Progress = False,
    **unknown: Never,
) -> Result:
    """Trace a stone under a dome.

    Parameters
    ----------
    stone : the stone. dome : its light; a dome, or the name or file of one. view : by default face-up and parallel.
    resolution : pixels along each side of the maps.
    wavelengths_nm : one, or several for a spectral axis; nm.
    engine : ``"beams"`` (exact, parallel views), ``"rays"`` (sampled), or None for the first one that supports the scene.
    precision : width of the exact engine's bracket on brightness.
    standard_error, precision_of : see `TraceSettings`.
    samples : rays per pixel of the sampled engine, a square number.
    polarized, min_weight, max_bounces, seed : see `TraceSettings`.
    by_facet : also compute the map of paths and the accounting by facet; both need virtual facets and take a large part of a
        fast trace.
    progress : True for a bar, or a function that is called with the finished and the total amount of work.

    Returns
    -------
    Result : maps, summary and the scene.

    Raises
    ------
    InputError : a setting out of range, an unknown keyword.
    UnsupportedScene : the requested engine can't trace this scene.
    """
    for key in unknown:
        known = [name for name in trace.__annotations__ if name not in ("unknown", "return")]
        raise InputError("unknown keyword", key=key, expected=nearest(key, known))
    settings = TraceSettings(
        wavelengths_nm, engine, precision, standard_error, precision_of, samples, polarized, min_weight, max_bounces, seed
    )
    return trace_scene(Scene(stone, dome_of(dome), view or View(), settings, resolution), by_facet=by_facet, progress=progress)


def trace_scene(
    scene: Scene, *, by_facet: bool = True, grid: PixelGrid | None = None, progress: bool | Progress = False
) -> Result:
    """Trace a `Scene`, such as `load_scene` gives; see `trace`.

    Parameters
    ----------
    grid : pixels that replace those of the scene, which just hold the stone, so that several stones share one grid.
    """
    engine, waves = engine_for(scene), scene.settings.all_nm
    goals = [goal_of(scene, wavelength_nm) for wavelength_nm in waves]
    grid = grid or grid_around(scene.stone, scene.view, scene.resolution)
    side = grid.resolution
    what = f"maps of {side} x {side} pixels at {len(waves)} wavelength{'s' * (len(waves) > 1)}"
    need = Need(what, BYTES_PER_PIXEL * side**2 * len(waves))
    need.check("resolution", "a smaller resolution, or fewer wavelengths")
    if progress is True:
        need.say()
    traced: list[EngineResult] = []
    paths: list[Paths] = []
    tables: list[FacetTable] = []
    with reporter(progress, "tracing", counted=False) as update:
        for k, wavelength_nm in enumerate(waves):
            part = part_of(update, k / len(waves), 1.0 / len(waves))
            result = engine.trace(scene, wavelength_nm, grid, goal=goals[k], progress=part)
            if result.unfolded is not None and by_facet:
                paths.append(strongest_paths(result.unfolded))
                tables.append(account(result.unfolded, scene.stone, scene.dome.peak_radiance, paths[-1]))
            traced.append(replace(result, unfolded=None))
            part(1, 1)
    summary = _summary(scene, traced, tables)
    maps = map_arrays(traced, grid, spectral=isinstance(scene.settings.wavelengths_nm, tuple))
    if paths:
        maps = with_paths(maps, [one.fields["polygon"] for one in traced], paths, scene.stone)
    maps.attrs.update(stone=scene.stone.name, dome=scene.dome.name, material=scene.stone.material.name)
    return Result(maps, summary, scene, tuple(one.polygons for one in traced if one.polygons is not None))


def maps_on(result: Result, grid: PixelGrid) -> MapArrays:
    """The maps of a traced scene on other pixels: drawn anew where it has virtual facets, else traced anew."""
    if not result.beams:
        return trace_scene(result.scene, by_facet=False, grid=grid).arrays
    settings = result.scene.settings
    drawn = [exact_image(beams, grid, w) for beams, w in zip(result.beams, settings.all_nm, strict=True)]
    return map_arrays(drawn, grid, spectral=isinstance(settings.wavelengths_nm, tuple))


def summary_of(scene: Scene) -> Summary:
    """The numbers of a scene as `trace_scene` gives them, without maps and without the account by facet."""
    engine = engine_for(scene)
    return _summary(scene, [engine.trace(scene, one, goal=goal_of(scene, one)) for one in scene.settings.all_nm])


def _summary(scene: Scene, traced: list[EngineResult], tables: list[FacetTable] | None = None) -> Summary:
    """The numbers of traced wavelengths, with the pattern's symmetry at the middle one, or why it has none."""
    virtual, undefined = traced[0].polygons, pattern_symmetry.why_undefined(scene.stone, scene.view)
    symmetry, notes = None, {}
    traced = [replace(one, notes={**one.notes, **missed(scene, one.wavelength_nm, one.totals)}) for one in traced]
    if virtual is None:
        notes[FACETS] = "accounting by facet needs an exact engine (parallel view)"
    if undefined:
        notes[SYMMETRY.key] = undefined
    elif virtual is not None and scene.stone.symmetry.turned(scene.view.turn_deg).within(virtual.symmetry.maps):
        # exact: found by the tracer, in planes, dome and view
        symmetry = Statistic(1.0, 1.0, 1.0)
    else:
        symmetry = pattern_symmetry.agreement(scene)
    return summarize(scene, traced, symmetry, notes, tables or ())
