"""Stones side by side: the same dome, the same tilts, one pixel grid, and the significance of the differences.

Stones are aligned before they are traced (`alignment`) and scaled: to their mean length (``scale="equal length"``; the length
of a round stone is its mean diameter), to outlines of their mean area (``"equal area"``), or not at all (``"true size"``).
Proportions and weights are always those of the stones as offered. See `verdicts` for when one is called larger.
"""

from __future__ import annotations

import math
import string
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any, Literal, get_args

import numpy as np
import xarray as xr

from ..errors import InputError
from ..lighting.dome_file import DomeLike, dome_of
from ..progress import Progress, part_of, reporter
from ..results.summary import Summary
from ..scene.pixel_grid import PixelGrid
from ..scene.scene import Scene
from ..scene.settings import TraceSettings
from ..scene.view import View
from ..stone.extent import extent_of
from ..stone.measuring.plane_uncertainty import EXACT, Uncertainty
from ..stone.proportions import measure
from ..stone.recognition import recognized
from ..stone.stone import Stone
from ..tracers.engines import exactly
from ..tracing import trace_scene
from ..units import number_in
from .alignment import Pose, common_grid, pose_of
from .comparison import Comparison
from .uncertainty import COVERAGE, Estimate, draws_for, propagate, statistics_of
from .verdicts import within_nature

Scale = Literal["equal length", "equal area", "true size"]
SCALES = get_args(Scale)
MOST = len(string.ascii_uppercase)

TRACING = 0.3
"""Share of the work, for the progress bar, that is spent before draws begin."""

DRAWS = {"precision": 5e-2, "min_weight": 1e-2}
"""Least precision of draws, in which only the scatter between stones counts: that of brightness, contrast and the observer's
head changes by under 1 % from 4e-3 to here, that of leakage by under 2 % (six stones of `benchmarks/bench_coverage.py`)."""


def compare(
    *stones: Stone,
    dome: DomeLike,
    view: View | None = None,
    tilts: Sequence[float] = (0.0, 10.0, 20.0),
    scale: Scale = "equal length",
    uncertainty: Uncertainty | Sequence[Uncertainty] | None = None,
    coverage: float = COVERAGE,
    known_to_pct: float = 10.0,
    resolution: int = 256,
    settings: TraceSettings | None = None,
    progress: bool | Progress = False,
) -> Comparison:
    """Compare two or more stones under one dome: differences and their significance.

    Parameters
    ----------
    stones : two or more, as measured or as designed; they are traced without their inclusions, which the report shows by
        themselves. dome : their light; a dome, or the name or file of one.
    view : parallel view with azimuth and turn. tilts : tilt of each view, degrees.
    scale : ``"equal length"``, ``"equal area"`` or ``"true size"``, see the module.
    uncertainty : uncertainty of the measured planes; one for all, or one per stone (``scan.report.uncertainty(device)`` for a
        scan). By default `Uncertainty()` for a stone whose planes were measured (`Stone.measured`), and none for one that
        follows from proportions.
    coverage : coverage factor of a significant difference, see `verdicts`.
    known_to_pct : relative accuracy of the uncertainties, percent; see `propagate`.
    resolution : pixels along each side of the maps.
    settings : settings of the traces: one wavelength, an exact engine; the seed is used for the random draws too. By default
        those of `trace`, so that a design has the same numbers here as there.
    progress : True for a bar, or a function that is called with the finished and the total amount of work.

    Raises
    ------
    InputError : fewer than two stones, a setting out of range, more than one wavelength.
    UnsupportedScene : no exact engine can trace the stones, such as in perspective.
    """
    views, light_dome, settings = _views(view or View(), tilts), dome_of(dome), settings or TraceSettings()
    if scale not in SCALES:
        raise InputError("unknown scale", key="scale", value=scale, expected=" or ".join(map(repr, SCALES)))
    if not 2 <= len(stones) <= MOST:
        raise InputError("wrong number of stones", key="stones", value=len(stones), expected=f"2 to {MOST} stones")
    number_in("coverage", coverage, 0.1, 10.0)
    draws_for(known_to_pct)  # an error before the work starts
    uncertainties = _uncertainties(uncertainty, stones)
    labels = tuple(string.ascii_uppercase[: len(stones)])
    measurements = tuple(measure(stone) for stone in stones)
    named = tuple(recognized(stone) for stone in stones)  # girdle flats, for one, err together
    poses = [pose_of(stone, factor) for stone, factor in zip(named, _factors(named, scale), strict=True)]
    bare = [stone.with_inclusions(()) if stone.inclusions else stone for stone in named]
    shown = tuple(pose.lay(stone) for pose, stone in zip(poses, bare, strict=True))
    grid = common_grid(shown, views, resolution)
    scenes = [[exactly(Scene(stone, light_dome, view, settings)) for stone in shown] for view in views]
    light: list[list[dict[str, Estimate]]] = [[] for _ in views]
    proportions = []
    with reporter(progress, "comparing", counted=False) as update:
        summaries, maps = _traced(labels, scenes, grid, part_of(update, 0.0, TRACING))
        for k, (stone, pose, stated) in enumerate(zip(bare, poses, uncertainties, strict=True)):
            numbers = _numbers(pose, [replace(row[k], settings=drawn_settings(row[k].settings)) for row in scenes])
            span = (1.0 - TRACING) / len(stones)
            part = part_of(update, TRACING + k * span, span)
            found = propagate(stone, numbers, stated, known_to_pct=known_to_pct, key=(settings.seed, k), progress=part)
            proportions.append({name: within_nature(name, one) for name, one in found.items() if "@" not in name})
            for v, summary in enumerate(row[k] for row in summaries):
                drawn = {name: replace(found[f"{name}@{v}"], statistic=one) for name, one in summary.statistics.items()}
                light[v].append({name: within_nature(name, one) for name, one in drawn.items()})
    return Comparison(
        labels=labels,
        stones=named,
        poses=tuple(poses),
        shown=shown,
        dome=light_dome,
        views=views,
        scale=scale,
        coverage=coverage,
        uncertainties=uncertainties,
        known_to_pct=known_to_pct,
        resolution=grid.resolution,
        settings=settings,
        measurements=measurements,
        proportions=tuple(proportions),
        light=tuple(map(tuple, light)),
        summaries=summaries,
        maps=maps,
    )


def _factors(stones: Sequence[Stone], scale: Scale) -> list[float]:
    """By what each stone is scaled."""
    if scale == "true size":
        return [1.0] * len(stones)
    if scale == "equal area":
        sizes = [math.sqrt(stone.outline_area_mm2) for stone in stones]
    else:
        sizes = [extent_of(stone).length_mm for stone in stones]
    return [float(np.mean(sizes)) / size for size in sizes]


def _views(view: View, tilts: Sequence[float]) -> tuple[View, ...]:
    """One view per tilt."""
    if not len(tilts) or len(set(tilts)) != len(tilts):
        raise InputError("empty or repeated", key="tilts", value=list(tilts), expected="different tilts in degrees")
    return tuple(replace(view, tilt_deg=float(tilt)) for tilt in tilts)


def usual_uncertainty(stone: Stone) -> Uncertainty:
    """The uncertainty where none is stated: the usual one of a measured stone, and none of a design."""
    return Uncertainty() if stone.measured else EXACT


def _uncertainties(given: Uncertainty | Sequence[Uncertainty] | None, stones: Sequence[Stone]) -> tuple[Uncertainty, ...]:
    """The uncertainty of each stone."""
    if given is None:
        return tuple(map(usual_uncertainty, stones))
    if isinstance(given, Uncertainty):
        return (given,) * len(stones)
    if len(given) != len(stones):
        raise InputError("wrong number of uncertainties", key="uncertainty", value=len(given), expected=f"1 or {len(stones)}")
    return tuple(given)


def _traced(
    labels: Sequence[str], scenes: Sequence[Sequence[Scene]], grid: PixelGrid, progress: Progress
) -> tuple[tuple[tuple[Summary, ...], ...], xr.Dataset]:
    """The numbers of each view and stone, and all maps on one grid of pixels."""
    summaries, layers = [], []
    for v, row in enumerate(scenes):
        results = []
        for k, scene in enumerate(row):
            results.append(trace_scene(scene, by_facet=False, grid=grid))
            progress(v * len(row) + k + 1, len(scenes) * len(row))
        summaries.append(tuple(result.summary for result in results))
        layers.append(xr.concat([result.maps for result in results], "stone"))
    maps = xr.concat(layers, "tilt_deg").transpose("stone", "tilt_deg", "y", "x")
    tilts = ("tilt_deg", [row[0].view.tilt_deg for row in scenes], {"units": "degree", "long_name": "tilt"})
    del maps.attrs["stone"], maps.attrs["material"]  # those of the first
    return tuple(summaries), maps.assign_coords(stone=list(labels), tilt_deg=tilts)


def drawn_settings(settings: TraceSettings) -> TraceSettings:
    """Settings of a trace, made coarse enough for draws."""
    least = {key: max(value, getattr(settings, key)) for key, value in DRAWS.items()}
    return replace(settings, **least)


def _numbers(pose: Pose, scenes: Sequence[Scene]) -> Callable[[Stone], dict[str, Any]]:
    """What is carried through the draws: proportions by name, statistics of view v as ``name@v``.

    `scenes` hold the views, the dome and the settings of the draws.
    """

    def numbers(stone: Stone) -> dict[str, Any]:
        laid = pose.lay(stone)
        found: dict[str, Any] = measure(stone).numbers()
        for v, scene in enumerate(scenes):
            found |= {f"{name}@{v}": one for name, one in statistics_of(replace(scene, stone=laid)).items()}
        return found

    return numbers
