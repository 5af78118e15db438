"""What two eyes see at arm's length: a perspective pair, for free viewing or as an anaglyph, and the head that is mirrored.

The eyes stand at a distance above the middle of the girdle, apart by the distance between the pupils: 63 mm is the mean of
adults (Dodgson, Proc. SPIE 5291 (2004) 36-46). 250 mm is the near point by convention (common practice). Each eye sees the
stone by its own rays from its own place; stone, dome and head stay where they are. The head's cone stands between the eyes.

The pictures are drawn on the map plane z = 0, so that points of the girdle's plane fall in the same place for both eyes, and
what lies above or below shows as disparity. The further away, the more a view resembles the parallel one.

A pupil of finite size sees the girdle's plane sharp and blurs the rest (`pupil_mm`): each ray starts from another point of
a level disc and goes through the map plane where the ray from the disc's middle would. A point at height z becomes a disc of
diameter ``pupil z / (distance - z)`` there (similar triangles), and light that the stone sends into a part of the pupil
only is averaged. `usual_pupil_mm` gives the pupil diameter at a luminance.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from ..errors import InputError
from ..lighting.dome import Dome
from ..optics.color import into_gamut, srgb_encode, white_xyz
from ..optics.spectrum import WavelengthSet, color_weights, wavelength_set
from ..progress import Progress, part_of, reporter
from ..scene.pixel_grid import PixelGrid
from ..scene.scene import Scene
from ..scene.view import View
from ..stone.stone import Stone
from ..tracers.ledger import LUMINANCE
from ..tracers.sampled.rays import PathRules, trace_rays
from ..tracers.sampled.sampling import cones_from
from ..tracers.stone_table import stone_table
from ..units import number_in
from .picture import Picture

PUPILS_APART_MM = 63.0
NEAR_MM = 250.0
_RAYS_AT_A_TIME = 1 << 18


@dataclass(frozen=True, eq=False)
class Pair:
    """The pictures of the left and the right eye, on one pixel grid."""

    left: Picture
    right: Picture

    def side_by_side(self, *, crossed: bool = False, background: float = 0.03, spacing: float = 0.04) -> np.ndarray:
        """(H, W, 3) encoded sRGB: the left eye's picture to the left for parallel viewing, to the right for `crossed` eyes.

        `spacing` is the distance between them, a share of a picture's width.
        """
        pictures = [one.srgb(background) for one in ((self.right, self.left) if crossed else (self.left, self.right))]
        height, width, _ = pictures[0].shape
        between = np.full((height, round(spacing * width), 3), float(srgb_encode(background)))
        return np.concatenate([pictures[0], between, pictures[1]], axis=1)

    def anaglyph(self, background: float = 0.03) -> np.ndarray:
        """(H, W, 3) encoded sRGB for glasses with red before the left eye and cyan before the right.

        Each picture is shown in grey, by luminance: with colours the eyes would compete.
        """
        left, right = (one.linear(background) @ _LUMINANCE for one in (self.left, self.right))
        return np.clip(srgb_encode(into_gamut(np.stack([left, right, right], axis=-1).clip(0.0, 1.0))), 0.0, 1.0)


_LUMINANCE = np.array([0.2126, 0.7152, 0.0722])
"""Luminance of linear sRGB: ITU-R BT.709."""


def head_half_angle_deg(distance_mm: float, head_width_mm: float = 170.0) -> float:
    """Half-angle of the cone that a head fills, seen from the stone: atan(half its width / distance).

    The default width, hair included, is assumed (common practice, no published source).

    >>> round(head_half_angle_deg(300.0), 3)
    15.819
    """
    number_in("distance_mm", distance_mm, 1.0, 1e9, "mm")
    number_in("head_width_mm", head_width_mm, 1.0, 1e4, "mm")
    return math.degrees(math.atan(head_width_mm / 2.0 / distance_mm))


def with_head(dome: Dome, distance_mm: float, head_width_mm: float = 170.0) -> Dome:
    """The dome with the head of an observer at a distance."""
    return replace(dome, head_half_angle_deg=head_half_angle_deg(distance_mm, head_width_mm))


def usual_pupil_mm(luminance_cd_m2: float, field_deg2: float = 1000.0, age_years: float = 30.0) -> float:
    """Mean diameter of both eyes' pupils in light: Watson & Yellott, J. Vision 12(10):12 (2012), formula cited from memory.

    With F = luminance times field area and the reference age of 28.58 years:
    D = 7.75 - 5.75 (F / 846)^0.41 / ((F / 846)^0.41 + 2), then D + (age - 28.58) (0.02132 - 0.009562 D).

    >>> round(usual_pupil_mm(100.0), 3)
    3.253
    """
    number_in("luminance_cd_m2", luminance_cd_m2, 0.0, 1e6, "cd/m^2")
    number_in("field_deg2", field_deg2, 1.0, 2e4, "square degrees")
    number_in("age_years", age_years, 20.0, 83.0, "years")
    light = (luminance_cd_m2 * field_deg2 / 846.0) ** 0.41
    young = 7.75 - 5.75 * light / (light + 2.0)
    return young + (age_years - 28.58) * (0.02132 - 0.009562 * young)


def eye_pair(
    scene: Scene,
    distance_mm: float = NEAR_MM,
    pupils_apart_mm: float = PUPILS_APART_MM,
    *,
    pupil_mm: float = 0.0,
    light: str = "D65",
    exposure: float = 1.0,
    wavelengths: int | WavelengthSet = 16,
    progress: bool | Progress = False,
) -> Pair:
    """A scene in colour as two eyes see it.

    Parameters
    ----------
    scene : scene whose wavelengths, engine and viewing distance are replaced. The head of its dome stays: see `with_head`.
    distance_mm : distance from the middle of the girdle to the midpoint of the eyes. pupils_apart_mm : along x of the map.
    pupil_mm : diameter of each pupil, 0 for a point.
    light, exposure, wavelengths : as in `color_picture`.
    progress : True for a bar, or a function that is called with the finished and the total amount of work.

    Raises InputError for eyes inside the stone, and as `color_picture`.
    """
    number_in("distance_mm", distance_mm, 0.1, 1e9, "mm")
    number_in("pupils_apart_mm", pupils_apart_mm, 0.0, 1e6, "mm")
    number_in("pupil_mm", pupil_mm, 0.0, 20.0, "mm")
    number_in("exposure", exposure, 0.0, 1e9, open_ends=True)
    waves = wavelengths if isinstance(wavelengths, WavelengthSet) else wavelength_set(wavelengths)
    eyes = [np.array([side * pupils_apart_mm / 2.0, 0.0, distance_mm]) for side in (-1.0, 1.0)]
    rims = [eye + 0.5 * pupil_mm * np.array(axis) for eye in eyes for axis in ((1, 0, 0), (-1, 0, 0), (0, 1, 0), (0, -1, 0))]
    grid = _grid(scene.stone, scene.view, rims, scene.resolution)
    pictures = []
    with reporter(progress, "tracing", counted=False) as update:
        for number, eye in enumerate(eyes):
            xyz, coverage = _seen(scene, eye, pupil_mm, grid, waves, light, part_of(update, number / 2.0, 0.5))
            pictures.append(Picture(xyz[::-1], coverage[::-1], white_xyz(waves, light), light, float(exposure), waves, grid))
    return Pair(*pictures)


def _grid(stone: Stone, view: View, eyes: list[np.ndarray], resolution: int) -> PixelGrid:
    """The square that holds the stone as all these places project it on the map plane, with a margin of 2 %."""
    corners = stone.vertices_mm @ view.rotation().T
    points = []
    for eye in eyes:
        depth = eye[2] - corners[:, 2]
        if depth.min() <= 0.0:
            raise InputError("the eyes are inside or behind the stone", key="distance_mm", value=float(eye[2]))
        points.append(eye[:2] + (corners[:, :2] - eye[:2]) * (eye[2] / depth)[:, None])
    low, high = np.concatenate(points).min(axis=0), np.concatenate(points).max(axis=0)
    side = float((high - low).max()) * 1.04
    corner = (low + high) / 2.0 - side / 2.0
    return PixelGrid(float(corner[0]), float(corner[1]), side / resolution, resolution)


def _seen(
    scene: Scene,
    eye: np.ndarray,
    pupil_mm: float,
    grid: PixelGrid,
    waves: WavelengthSet,
    light: str,
    update: Progress,
) -> tuple[np.ndarray, np.ndarray]:
    """Mean XYZ over each pixel's covered part (side, side, 3), nan where there is none, and coverage; y rising."""
    settings, side = scene.settings, grid.resolution
    samples, cells = settings.samples, math.isqrt(settings.samples)
    turn = np.ascontiguousarray(scene.view.rotation())
    tables = [stone_table(scene.stone, float(w)) for w in waves.nodes_nm]
    weights = color_weights(waves, light) / scene.dome.peak_radiance
    xyz, coverage = np.full((side, side, 3), np.nan), np.zeros((side, side))
    rows = max(1, _RAYS_AT_A_TIME // (side * samples))
    for first in range(0, side, rows):
        some = slice(first, min(first + rows, side))
        points = _points(grid, some, cells, settings.seed)
        starts = (
            eye + 0.5 * pupil_mm * _on_disc(side, some, cells, settings.seed)
            if pupil_mm
            else np.broadcast_to(eye, (len(points), 3))
        )
        directions = np.column_stack([points, np.zeros(len(points))]) - starts
        directions /= np.linalg.norm(directions, axis=1)[:, None]
        cones = cones_from(eye, points, grid.pixel_mm**2 / samples)
        sums, hits = np.zeros((len(points), 3)), np.zeros(len(points), bool)
        for table, weight in zip(tables, weights, strict=True):
            out, hits, _ = trace_rays(
                starts @ turn,
                directions @ turn,
                table,
                scene.dome.table,
                turn,
                cones=cones,
                rules=PathRules(settings.polarized, settings.min_weight, settings.max_bounces),
            )
            sums += np.where(hits, out[:, LUMINANCE], 0.0)[:, None] * weight
        count = hits.reshape(-1, side, samples).sum(axis=-1)
        coverage[some] = count / samples
        total = sums.reshape(-1, side, samples, 3).sum(axis=2)
        with np.errstate(invalid="ignore", divide="ignore"):
            xyz[some] = np.where(count[..., None] > 0, total / count[..., None], np.nan)
        update(some.stop, side)
    return xyz, coverage


def _points(grid: PixelGrid, rows: slice, cells: int, seed: int) -> np.ndarray:
    """(R, 2) one jittered point in each of the cells x cells parts of each pixel of some rows; the same for the same seed."""
    side = grid.resolution
    pixel = np.arange(rows.start * side, rows.stop * side)
    rng = [np.random.default_rng([seed, int(row)]).random((side, cells * cells, 2)) for row in range(rows.start, rows.stop)]
    cell = np.stack([np.arange(cells * cells) % cells, np.arange(cells * cells) // cells], axis=-1)
    inside = (cell + np.concatenate(rng)) / cells
    corner = np.stack([pixel % side, pixel // side], axis=-1)[:, None]
    return (np.array([grid.x0_mm, grid.y0_mm]) + (corner + inside) * grid.pixel_mm).reshape(-1, 2)


def _on_disc(side: int, rows: slice, cells: int, seed: int) -> np.ndarray:
    """(R, 3) points of a level unit disc, one for each point of `_points`, spread evenly over each pixel's samples.

    The samples of a pixel take the disc's cells x cells parts of equal area in an order of chance, so that place in the pixel
    and place in the pupil don't go together.
    """
    parts = cells * cells
    found = []
    for row in range(rows.start, rows.stop):
        rng = np.random.default_rng([seed, row, 1])
        part = rng.permuted(np.broadcast_to(np.arange(parts), (side, parts)), axis=1)
        within = rng.random((side, parts, 2))
        radius, angle = np.sqrt((part % cells + within[..., 0]) / cells), 2.0 * np.pi * (part // cells + within[..., 1]) / cells
        found.append(np.stack([radius * np.cos(angle), radius * np.sin(angle), np.zeros_like(radius)], axis=-1))
    return np.concatenate(found).reshape(-1, 3)
