"""Stones side by side: the same light, the same tilts, one pixel grid, and what the measurements can tell of the difference.

Stones are laid alike before they are traced (`posing`) and, for ``scale="equal diameter"``, scaled to their common mean
diameter. Proportions and weights are always those of the stones as offered. See `verdicts` for when one is called larger.
"""

from __future__ import annotations

import string
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any, Literal

import numpy as np
import xarray as xr

from ..errors import InputError
from ..lighting.dome import Dome
from ..progress import Progress, part_of, reporter
from ..results.maps import dataset
from ..results.statistics import Summary
from ..scene.pixel_grid import PixelGrid
from ..scene.scene import Scene
from ..scene.view import View
from ..stone.measuring.plane_uncertainty import Uncertainty
from ..stone.proportions import measure
from ..stone.recognition import recognized
from ..stone.stone import Stone
from ..tracers.exact.image import exact_image
from ..tracing import trace_scene
from ..units import number_in
from .alignment import Pose, common_frame, pose_of
from .comparison import Comparison
from .uncertainty import COVERAGE, Estimate, draws_for, propagate, statistics_of
from .verdicts import within_nature

SCALES = ("equal diameter", "true size")
MOST = len(string.ascii_uppercase)

TRACING = 0.3
"""Share of the work, for the progress bar, that is spent before draws begin."""

DRAWS = {"precision": 5e-2, "min_weight": 1e-2}
"""Least precision of draws, in which only the scatter between stones counts: that of brightness, contrast and the observer's
head changes by under 1 % from 4e-3 to here, that of leakage by under 2 % (six stones of `benchmarks/bench_coverage.py`)."""


def compare(
    *stones: Stone,
    dome: Dome,
    view: View | None = None,
    tilts: Sequence[float] = (0.0, 10.0, 20.0),
    scale: Literal["equal diameter", "true size"] = "equal diameter",
    uncertainty: Uncertainty | Sequence[Uncertainty] | None = None,
    coverage: float = COVERAGE,
    known_to_pct: float = 10.0,
    resolution: int = 256,
    precision: float = 1e-3,
    seed: int = 0,
    progress: bool | Progress = False,
    **settings: Any,
) -> Comparison:
    """Compare two or more stones under one dome: what differs, and by more than the measurements' uncertainty?

    Parameters
    ----------
    stones : two or more, as measured.
    view : azimuth and turn of the tilts; parallel. tilts : degrees, each looked at.
    scale : ``"equal diameter"`` or ``"true size"``, see the module's text.
    uncertainty : of the measured planes; one for all, or one per stone (``scan.report.uncertainty(device)`` of a scanned one).
    coverage : standard deviations to either side that a difference must exceed, see `verdicts`.
    known_to_pct : how well uncertainties are to be known, see `propagate`.
    resolution, precision, seed, settings : see `Scene`; one wavelength.
    progress : True for a bar, or a function that is called with how much is done and of how much.

    Raises
    ------
    InputError : fewer than two stones, a perspective view, a setting out of range.
    """
    views = _views(view or View(), tilts)
    if scale not in SCALES:
        raise InputError("unknown scale", key="scale", value=scale, expected=" or ".join(map(repr, SCALES)))
    if not 2 <= len(stones) <= MOST:
        raise InputError("can't be compared", key="stones", value=len(stones), expected=f"2 to {MOST} stones")
    number_in("coverage", coverage, 0.1, 10.0)
    draws_for(known_to_pct)  # refuses what is out of range before the work starts
    doubts = _doubts(uncertainty, stones)
    labels = tuple(string.ascii_uppercase[: len(stones)])
    measurements = tuple(measure(stone) for stone in stones)
    named = tuple(recognized(stone) for stone in stones)  # girdle flats, for one, err together
    sizes = [found.diameter_mm.mean for found in measurements]
    factors = [float(np.mean(sizes)) / size if scale == "equal diameter" else 1.0 for size in sizes]
    poses = [pose_of(stone, factor) for stone, factor in zip(named, factors, strict=True)]
    shown = tuple(pose.lay(stone) for pose, stone in zip(poses, named, strict=True))
    grid = common_frame(shown, views, resolution)
    traces = {"precision": precision, "seed": seed, **settings}
    light: list[list[dict[str, Estimate]]] = [[] for _ in views]
    proportions = []
    with reporter(progress, "comparing", counted=False) as tell:
        summaries, maps = _traced(labels, shown, dome, views, grid, traces, part_of(tell, 0.0, TRACING))
        for k, (stone, pose, doubt) in enumerate(zip(named, poses, doubts, strict=True)):
            numbers = _numbers(pose, dome, views, drawn_settings(traces))
            span = (1.0 - TRACING) / len(stones)
            part = part_of(tell, TRACING + k * span, span)
            found = propagate(stone, numbers, doubt, known_to_pct=known_to_pct, key=(seed, k), progress=part)
            proportions.append({name: within_nature(name, one) for name, one in found.items() if "@" not in name})
            for v, summary in enumerate(row[k] for row in summaries):
                exact = {**summary.ledger, **summary.statistics()}
                drawn = {name: replace(found[f"{name}@{v}"], statistic=one) for name, one in exact.items()}
                light[v].append({name: within_nature(name, one) for name, one in drawn.items()})
    return Comparison(
        labels=labels,
        stones=named,
        shown=shown,
        dome=dome,
        views=views,
        scale=scale,
        coverage=coverage,
        uncertainties=doubts,
        known_to_pct=known_to_pct,
        seed=seed,
        settings={"resolution": grid.resolution, "precision": precision, **settings},
        measurements=measurements,
        proportions=tuple(proportions),
        light=tuple(map(tuple, light)),
        summaries=summaries,
        maps=maps,
    )


def _views(view: View, tilts: Sequence[float]) -> tuple[View, ...]:
    """One view per tilt."""
    if not view.parallel:
        raise InputError("stones are compared exactly, under a parallel view", key="view.distance_mm", value=view.distance_mm)
    if not len(tilts) or len(set(tilts)) != len(tilts):
        raise InputError("no tilt, or one given twice", key="tilts", value=list(tilts), expected="different tilts in degrees")
    return tuple(replace(view, tilt_deg=float(tilt)) for tilt in tilts)


def _doubts(given: Uncertainty | Sequence[Uncertainty] | None, stones: Sequence[Stone]) -> tuple[Uncertainty, ...]:
    """The uncertainty of each stone."""
    if given is None or isinstance(given, Uncertainty):
        return (given or Uncertainty(),) * len(stones)
    if len(given) != len(stones):
        raise InputError("not one per stone", key="uncertainty", value=len(given), expected=f"one, or {len(stones)}")
    return tuple(given)


def _traced(
    labels: Sequence[str],
    shown: Sequence[Stone],
    dome: Dome,
    views: Sequence[View],
    grid: PixelGrid,
    settings: dict[str, Any],
    progress: Progress,
) -> tuple[tuple[tuple[Summary, ...], ...], xr.Dataset]:
    """Exact records for each view and stone, and all maps on one frame."""
    summaries, layers = [], []
    for v, view in enumerate(views):
        row, rank = [], []
        for k, stone in enumerate(shown):
            scene = Scene(stone=stone, dome=dome, view=view, **{**settings, "resolution": 1, "engine": "beams"})
            if len(scene.wavelengths) > 1:
                raise InputError("stones are compared at one wavelength", key="wavelengths_nm", value=scene.wavelengths_nm)
            result = trace_scene(scene, by_facet=False)
            row.append(result.summary)
            rank.append(dataset([exact_image(result.beams[0], grid, scene.wavelengths[0])], spectral=False))
            progress(v * len(shown) + k + 1, len(views) * len(shown))
        summaries.append(tuple(row))
        layers.append(xr.concat(rank, "stone"))
    maps = xr.concat(layers, "tilt_deg").transpose("stone", "tilt_deg", "y", "x")
    tilts = ("tilt_deg", [view.tilt_deg for view in views], {"units": "degree", "long_name": "tilt"})
    return tuple(summaries), maps.assign_coords(stone=list(labels), tilt_deg=tilts)


def drawn_settings(settings: dict[str, Any]) -> dict[str, Any]:
    """Settings of a trace, made coarse enough for draws."""
    return {**settings, **{key: max(least, settings.get(key, 0.0)) for key, least in DRAWS.items()}}


def _numbers(pose: Pose, dome: Dome, views: Sequence[View], settings: dict[str, Any]) -> Callable[[Stone], dict[str, Any]]:
    """What is carried through the draws: proportions by name, statistics of view v as ``name@v``."""

    def numbers(stone: Stone) -> dict[str, Any]:
        laid = pose.lay(stone)
        found: dict[str, Any] = measure(stone).numbers()
        for v, view in enumerate(views):
            found |= {f"{name}@{v}": one for name, one in statistics_of(laid, dome, view, **settings).items()}
        return found

    return numbers
