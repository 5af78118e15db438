"""What the commands that compare whole images with mitsuba print, and how they end.

Each scene has a row, and below it each mistake, made on our side alone, has another. The four measures are those of
`test_benchmark_mitsuba`, in units of what chance allows: a scene is right where all are below 1, and a mistake is noticed
where one is above. A command ends with an error where that is not so. A row also tells the share of pixels whose z is beyond 3
(0.27 % by chance), and which differences of luminance reach 1, where the brightest light has 1: one of all pixels alike, and
one of a single pixel (of the median error).

mitsuba's map blurs the edges of windows and head over a row and a column. Light that leaves by few facets in few directions
can lie within that: in a tilted princess cut, 64 pixels wide, one pixel in a hundred differs by more than 0.07. Pixels that
such a move of the edges would change by more than half of their standard error are not compared; their number is told.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from time import process_time

import numpy as np
from test_benchmark_mitsuba import LARGEST_Z, Case, disagreements, mitsuba_pixels, raylab_pixels, z_scores

from raylab.lighting.dome import Dome

SINGLE_PRECISION = 1e-6
"""How far apart pixels without any scatter may be: mitsuba computes in single precision."""

_failed: list[str] = []


def compare(name: str, case: Case, mistakes: dict[str, Case]) -> None:
    """Print the rows of a scene and of its mistakes, and keep the names of those that are not as they should be."""
    start = process_time()
    theirs, ours = mitsuba_pixels(case), raylab_pixels(case)
    clear = _changes(case) <= 0.5 * np.sqrt(z_scores(ours, theirs, case.times)[2])
    seconds = process_time() - start
    if _row(f"{name} ({seconds:.0f} s)", ours, theirs, clear, case.times) >= 1.0:
        _failed.append(name)
    for mistake, wrong in mistakes.items():
        if _row(f"  {mistake}", raylab_pixels(wrong, case), theirs, clear, case.times) <= 1.0:
            _failed.append(f"{name}: {mistake}")


def end() -> None:
    """End the command, with an error where a scene was not right or a mistake not noticed."""
    sys.exit("\n".join(["not as it should be:", *_failed]) if _failed else 0)


def _changes(case: Case) -> np.ndarray:
    """(P,) how much lighter pixels are with every edge moved outward by what mitsuba's map blurs than with it moved inward."""
    rows, columns = case.light
    darker, lighter = (
        raylab_pixels(replace(case, dome=_with_edges(case.dome, sign * 180.0 / (rows - 1), sign * 360.0 / columns)))
        for sign in (-1.0, 1.0)
    )
    return np.asarray(lighter.mean(axis=0) - darker.mean(axis=0))


def _with_edges(dome: Dome, up_deg: float, around_deg: float) -> Dome:
    """The dome with windows that reach farther and a head that is smaller."""
    zones = []
    for zone in dome.zones:
        (low, high), (first, last) = zone.elevation_deg, zone.azimuth_deg
        zones.append(
            replace(zone, elevation_deg=(low - up_deg, high + up_deg), azimuth_deg=(first - around_deg, last + around_deg))
        )
    return replace(dome, zones=tuple(zones), head_half_angle_deg=max(0.0, dome.head_half_angle_deg - up_deg))


def _row(name: str, ours: np.ndarray, theirs: np.ndarray, clear: np.ndarray, times: int) -> float:
    """Print a row; the largest of its measures. Pixels in which neither program's repeats differ have no z: compared alone."""
    still = (ours.std(axis=0) == 0.0) & (theirs.std(axis=0) == 0.0)
    apart = float(np.abs(ours[0, still] - theirs[0, still]).max(initial=0.0))
    ours, theirs = ours[:, clear & ~still], theirs[:, clear & ~still]
    found = disagreements(ours, theirs, times)
    z, _, error2 = z_scores(ours, theirs, times)
    words = "  ".join(f"{key} {value:5.2f}" for key, value in found.items())
    alike, one = 4.0 * np.sqrt(error2.sum()) / z.size, LARGEST_Z * np.sqrt(np.median(error2))
    print(
        f"{name:44s} {words}  beyond 3 {100.0 * (np.abs(z) > 3.0).mean():.2f} %, reach 1: all {alike:.5f}, one {one:.4f}"
        f"  ({z.size} pixels, {(~clear).sum()} near an edge; {still.sum()} without scatter, apart {apart:.0e})",
        flush=True,
    )
    return max(*found.values(), apart / SINGLE_PRECISION)
