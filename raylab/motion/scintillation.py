"""Scintillation: the share of the face that changes between bright and dark as the stone moves, and the sizes of the spots.

A point of the stone's surface that faces the eye in both of two successive views **flashes** where its luminance crosses the
threshold between them. The threshold is one for the whole series: half of the face's mean luminance over all its views (a
convention of this module; no published source). Points are followed in the stone's own frame: a grid over the crown as seen
face-up, each point carried to where it appears in each view. So a pattern that merely moves with the stone is no flash, and
a reflection that slides across a facet is.

    share_per_deg   area of the points that flash / area of those that are seen in both views / angle between the views
    count, sizes    points that flash and touch, along rows or columns of the grid, form a spot; spots of fewer than
                    `LEAST_POINTS` grid points are left out, as the grid can't distinguish them from the rim of a large one

Which virtual facet a point lies in is looked up on a raster as fine as the grid, so points within a pixel of an edge may
have the luminance of the neighbour. `share_error` estimates this effect by the difference from a grid with half as many points
along each side. It is an estimate, not a bound.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from ..errors import InputError
from ..lighting.dome_file import DomeLike, dome_of
from ..progress import Progress, reporter
from ..scene.pixel_grid import grid_around
from ..scene.scene import Scene
from ..scene.settings import TraceSettings
from ..scene.view import View
from ..stone.stone import Stone
from ..tracers.exact.tracer import trace_beams
from ..tracers.ledger import LUMINANCE
from ..units import whole_in
from .tilting import path_of

LEAST_POINTS = 4
LOOSE = TraceSettings(precision=1e-2)
"""Settings where none are given: only crossings of the threshold count, not the luminance itself."""


@dataclass(frozen=True, eq=False)
class Scintillation:
    """What flashes between the successive views of a series of S + 1.

    Attributes
    ----------
    share_per_deg : (S,) share of the face that flashes, per degree. share_error : (S,) estimate of its error.
    count : (S,) number of flashing spots. sizes_mm2 : S arrays with their areas, face-up, largest first.
    angle_deg : (S,) angle between the views. threshold : the luminance that divides bright from dark.
    mean_share_per_deg : over the whole series.
    """

    share_per_deg: np.ndarray
    share_error: np.ndarray
    count: np.ndarray
    sizes_mm2: tuple[np.ndarray, ...]
    angle_deg: np.ndarray
    threshold: float

    @property
    def mean_share_per_deg(self) -> float:
        """Mean over the series, each step weighted by its angle."""
        return float(self.share_per_deg @ self.angle_deg / self.angle_deg.sum())


def scintillation(
    stone: Stone,
    dome: DomeLike,
    tilt_deg: Any = tuple(range(31)),
    azimuth_deg: Any = 0.0,
    turn_deg: Any = 0.0,
    *,
    resolution: int = 400,
    settings: TraceSettings | None = None,
    progress: bool | Progress = False,
) -> Scintillation:
    """Flashing areas of a stone over a series of at least two views; angles as in `tilt`.

    Parameters
    ----------
    resolution : points of the grid along each side.
    settings : one wavelength; by default `LOOSE`, a precision of 1e-2. The light that it leaves untraced darkens points by this
        much of the mean brightness.

    Raises InputError for fewer than two views, two equal successive views, or a face that is dark in all of them.
    """
    from scipy import ndimage  # a tenth of a second to import: only when used

    looks, light, settings = path_of(tilt_deg, azimuth_deg, turn_deg), dome_of(dome), settings or LOOSE
    whole_in("resolution", resolution, 16, 4096)
    if len(looks) < 2:
        raise InputError("needs at least two views", key="tilt_deg", value=tilt_deg, expected="several angles")
    angles = np.array([_angle_deg(a, b) for a, b in itertools.pairwise(looks)])
    if not np.all(angles > 0.0):
        raise InputError("two successive views are the same", key="tilt_deg", expected="views that differ")
    points, normals, on, pixel_mm = _face(stone, resolution)
    seen = np.full((len(looks), resolution, resolution), np.nan)
    with reporter(progress, "views") as update:
        for k, view in enumerate(looks):
            seen[k][on] = _luminance(Scene(stone, light, view, settings, resolution), points, normals)
            update(k + 1, len(looks))
    threshold = 0.5 * float(np.nanmean(seen))
    if not threshold > 0.0:
        raise InputError(
            "the stone is dark in all views", key="dome", value=light.name, expected="at least one source of light"
        )
    share, coarse, count, sizes = [], [], [], []
    for before, after in itertools.pairwise(seen):
        both = np.isfinite(before) & np.isfinite(after)
        flashes = both & ((before > threshold) != (after > threshold))
        share.append(flashes.sum() / both.sum())
        coarse.append(flashes[::2, ::2].sum() / both[::2, ::2].sum())
        labels, _ = ndimage.label(flashes)
        points_of = np.sort(np.bincount(labels.ravel())[1:])[::-1]
        points_of = points_of[points_of >= LEAST_POINTS]
        count.append(len(points_of))
        sizes.append(points_of * pixel_mm**2)
    each = np.array(share) / angles
    return Scintillation(
        each, np.abs(each - np.array(coarse) / angles), np.array(count), tuple(sizes), angles, threshold
    )  # fmt: skip


def _angle_deg(before: View, after: View) -> float:
    """Angle of the rotation that takes one view to the other."""
    between = after.rotation() @ before.rotation().T
    sine = np.linalg.norm([between[2, 1] - between[1, 2], between[0, 2] - between[2, 0], between[1, 0] - between[0, 1]]) / 2.0
    return math.degrees(math.atan2(sine, (np.trace(between) - 1.0) / 2.0))


def _face(stone: Stone, resolution: int) -> tuple[np.ndarray, np.ndarray, np.ndarray, float]:
    """A grid over the stone as seen face-up: points (P, 3) mm on its surface, their facets' normals (P, 3), which of the grid
    (resolution, resolution) they are, and the grid's step in mm."""
    grid = grid_around(stone, View(), resolution)
    x, y = np.meshgrid(grid.x_mm, grid.y_mm)
    up = stone.normals[:, 2] > 1e-9
    normals, distances = stone.normals[up], stone.distances_mm[up]
    height = np.full(x.shape, np.inf)
    facet = np.zeros(x.shape, int)
    for f, (normal, d) in enumerate(zip(normals, distances, strict=True)):  # the lowest plane over (x, y) is the surface
        z = (d - normal[0] * x - normal[1] * y) / normal[2]
        lower = z < height
        height[lower], facet[lower] = z[lower], f
    points = np.stack([x, y, height], axis=-1)
    on = np.all(points @ stone.normals[~up].T <= stone.distances_mm[~up], axis=-1)
    return points[on], normals[facet[on]], on, grid.pixel_mm


def _luminance(scene: Scene, points: np.ndarray, normals: np.ndarray) -> np.ndarray:
    """(P,) luminance of surface points in a scene; nan where their facet is turned away."""
    whole = trace_beams(scene, scene.settings.wavelength_nm, keep_paths=False).unfolded()
    grid = grid_around(scene.stone, scene.view, scene.resolution)
    polygon = whole.dominant(grid)
    turn = scene.view.rotation()
    at = points @ turn.T
    column, row = (
        np.clip(((at[:, k] - corner) / grid.pixel_mm).astype(int), 0, grid.resolution - 1)
        for k, corner in enumerate((grid.x0_mm, grid.y0_mm))
    )
    found = polygon[row, column]
    facing = (normals @ turn[2] > 1e-9) & (found >= 0)
    return np.where(facing, whole.rows[np.maximum(found, 0), LUMINANCE], np.nan)
