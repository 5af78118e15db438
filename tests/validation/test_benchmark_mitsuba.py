"""Whole images against mitsuba, pixel by pixel.

Outside source: mitsuba 3 (W. Jakob et al., https://mitsuba-renderer.org), a general-purpose path tracer that draws
reflection or refraction by lot where raylab follows one path with all its weights.

Both programs make REPEATS images of each scene, all from independent random numbers; their scatter is each pixel's measured
variance. Per pixel, the difference over its standard error is turned into a normal score z through Student's distribution
(Welch's test), so that over P pixels z must have mean 0 +- 1/sqrt(P), standard deviation 1 +- 1/sqrt(2 P), no outlier, and the
difference of the images' means must be within its own standard error, all times 4.5 (4 for the mean).
"""

from __future__ import annotations

import functools
from dataclasses import dataclass, replace
from typing import Any

import mitsuba as mi
import mitsuba_scenes as scenes
import numpy as np
import pytest
from scipy import stats

from raylab.lighting.dome import Dome, Zone
from raylab.optics.materials import Material
from raylab.scene.pixel_grid import grid_around
from raylab.scene.view import View
from raylab.stone.cuts.round_brilliant import round_brilliant
from raylab.stone.stone import Stone

REPEATS = 32
THEIR_SAMPLES, OUR_SAMPLES = 48, 32  # per pixel and repeat; they scatter alike, and ours take a tenth of the time
LARGEST_Z = 5.5  # 4e-8 by chance in one pixel

BRILLIANT = round_brilliant(table_pct=57, crown_angle_deg=34.5, pavilion_angle_deg=40.75)
SLAB = Stone.from_planes(
    np.array([[0.0, 0.0, 1.0], [0.02, 0.0, -1.0], [1.0, 0.1, 0.3], [-1.0, 0.0, 0.2], [0.0, 1.0, 0.1], [0.1, -1.0, 0.2]]),
    np.array([0.4, 0.5, 3.0, 2.8, 2.5, 2.6]),
    name="flat slab",
)
HEAD_SHADOW = Dome(head_half_angle_deg=20, tray_radiance=0.1)
OVERCAST = Dome(sky="overcast", tray_radiance=0.3)
SIDE_WINDOW = Dome(sky_radiance=0.2, zones=(Zone((15, 65), (-50, 50)),), head_half_angle_deg=10, tray_radiance=0.05)
PATCHES = Dome(sky="image", image=np.random.default_rng(7).uniform(0.1, 1.0, (6, 12)), tray_radiance=0.4)
EVEN = Dome(tray_radiance=1.0)

TILTED = View(tilt_deg=25, tilt_azimuth_deg=40, turn_deg=10)
CLOSE = View(tilt_deg=15, tilt_azimuth_deg=100, distance_mm=30)


@dataclass(frozen=True)
class Case:
    """A scene, the size of its light map (rows, columns), what the tracers do with it, pixels along a side, and how many
    times as many samples both programs take."""

    stone: Stone
    dome: Dome
    view: View
    polarized: bool
    light: tuple[int, int]
    max_bounces: int = 64
    resolution: int = 24
    times: int = 1


# A light that turns about the stone's axis needs few columns, and its edges rows 0.01 degrees apart; the light image's own
# nodes are among those of a map of 2 k H + 1 rows, so that both programs see the same function. The first scene has more
# pixels: with 24 along a side a wrong index shifts no measure far enough.
CASES = {
    "brilliant, head's shadow": Case(BRILLIANT, HEAD_SHADOW, View(), False, (16385, 4), resolution=36),
    "brilliant, perspective, overcast": Case(BRILLIANT, OVERCAST, View(distance_mm=60), True, (16385, 4)),
    "brilliant, tilted, side window": Case(BRILLIANT, SIDE_WINDOW, TILTED, True, (2049, 4096)),
    "brilliant, even light, six hits": Case(BRILLIANT, EVEN, View(), True, (3, 2), 6),
    "irregular, n 1.54, light image": Case(scenes.random_stone(1, 1.54), PATCHES, View(), True, (12 * 512 + 1, 12)),
    "irregular, n 1.76, close, side window": Case(scenes.random_stone(2, 1.76), SIDE_WINDOW, CLOSE, False, (2049, 4096)),
    "irregular, n 2.417, tilted, light image": Case(scenes.random_stone(3, 2.417), PATCHES, TILTED, True, (2049, 2048)),
    "flat slab, steeply tilted, overcast": Case(SLAB, OVERCAST, View(tilt_deg=60, turn_deg=20), True, (2049, 2048)),
}


@functools.cache
def theirs(name: str) -> np.ndarray:
    """`mitsuba_pixels` of one of `CASES`."""
    return mitsuba_pixels(CASES[name])


def mitsuba_pixels(case: Case) -> np.ndarray:
    """(REPEATS, P) luminance of the wholly covered pixels, by mitsuba."""
    scenes.use_variant(case.polarized)
    grid = grid_around(case.stone, case.view, case.resolution)
    light = scenes.baked_light(case.dome, case.view, *case.light)
    n = case.stone.material.n(scenes.WAVELENGTH_NM)
    scene = scenes.build(case.stone, case.view, grid, light, n=n, max_bounces=case.max_bounces)
    return scenes.mitsuba_images(scene, case.times * THEIR_SAMPLES, REPEATS)[:, scenes.covered(case.stone, case.view, grid)]


def raylab_pixels(case: Case, right: Case | None = None) -> np.ndarray:
    """(REPEATS, P) the same by raylab; of a mistake in the pixels of the `right` case."""
    framed = right or case
    grid = grid_around(framed.stone, framed.view, framed.resolution)
    options: dict[str, Any] = {"polarized": case.polarized, "max_bounces": case.max_bounces}
    samples = case.times * OUR_SAMPLES
    images = scenes.raylab_images(case.stone, case.dome, case.view, grid, samples, REPEATS, **options)
    return images[:, scenes.covered(framed.stone, framed.view, grid)]


def z_scores(ours: np.ndarray, theirs: np.ndarray, times: int = 1) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(P,) each: z of the pixels, difference of the two programs' means, and the square of its standard error."""
    noise, their_noise = ours.var(axis=0, ddof=1) / REPEATS, theirs.var(axis=0, ddof=1) / REPEATS
    # Light that none of mitsuba's paths has met yet may weigh up to one sample of the brightest radiance, 1.
    unseen = 1.0 / (times * THEIR_SAMPLES * REPEATS) ** 2
    error2 = noise + their_noise
    difference = ours.mean(axis=0) - theirs.mean(axis=0)
    freedom = (REPEATS - 1) * error2**2 / np.maximum(noise**2 + their_noise**2, 1e-300)
    t = difference / np.sqrt(error2 + unseen)
    z = np.sign(t) * stats.norm.isf(stats.t.sf(np.abs(t), np.maximum(freedom, REPEATS - 1)))
    return z, difference, error2


def disagreements(ours: np.ndarray, theirs: np.ndarray, times: int = 1) -> dict[str, float]:
    """Four measures of disagreement, each in units of what chance allows; none is above 1 where both are right."""
    z, difference, error2 = z_scores(ours, theirs, times)
    return {
        "mean of z": abs(z.mean()) * np.sqrt(z.size) / 4.5,
        "spread of z": abs(z.std() - 1.0) * np.sqrt(2.0 * z.size) / 4.5,
        "largest z": np.abs(z).max() / LARGEST_Z,
        "mean of the image": abs(difference.sum()) / np.sqrt(error2.sum()) / 4.0,
    }


@pytest.mark.parametrize("name", CASES)
def test_images_agree(name: str) -> None:
    found = disagreements(raylab_pixels(CASES[name]), theirs(name))
    assert max(found.values()) < 1.0, found


def _other_index(case: Case) -> Case:
    """n 0.7 % too small, as 2.40 for 2.417."""
    n = case.stone.material.n(scenes.WAVELENGTH_NM) * 2.40 / 2.417
    return replace(case, stone=replace(case.stone, material=Material.constant(n)))


MUTANTS = {
    "wrong index": ("brilliant, head's shadow", _other_index),
    "s and p averaged": ("flat slab, steeply tilted, overcast", lambda case: replace(case, polarized=False)),
    "tilted the other way": (
        "brilliant, tilted, side window",
        lambda case: replace(case, view=replace(TILTED, tilt_azimuth_deg=TILTED.tilt_azimuth_deg + 180)),
    ),
    "one hit fewer": ("brilliant, even light, six hits", lambda case: replace(case, max_bounces=5)),
    "a darker tray": (
        "brilliant, perspective, overcast",
        lambda case: replace(case, dome=replace(OVERCAST, tray_radiance=0.2)),
    ),
}


@pytest.mark.parametrize("mutant", MUTANTS)
def test_broken_physics_is_caught(mutant: str) -> None:
    name, broken = MUTANTS[mutant]
    found = disagreements(raylab_pixels(broken(CASES[name]), CASES[name]), theirs(name))
    assert max(found.values()) > 1.5, found


@pytest.mark.parametrize("view", [View(), View(distance_mm=20), TILTED, CLOSE])
def test_camera_sees_the_frame(view: View) -> None:
    """mitsuba's own view rays cross the map plane where the frame has its pixels, to single precision."""
    scenes.use_variant(polarized=False)
    stone = scenes.random_stone(3, 2.0)
    grid = grid_around(stone, view, 32)
    camera = mi.load_dict(scenes.sensor(stone, view, grid))
    for column, row in [(0, 0), (31, 0), (0, 31), (20, 5)]:
        on_film = mi.Point2f((column + 0.5) / 32, 1.0 - (row + 0.5) / 32)
        ray, _ = camera.sample_ray(0.0, 0.5, on_film, mi.Point2f(0.5))
        origin, way = (view.rotation() @ np.ravel(vector) for vector in (ray.o, ray.d))
        crossing = origin - way * origin[2] / way[2]
        assert crossing[:2] == pytest.approx([grid.x_mm[column], grid.y_mm[row]], abs=1e-5)


def test_light_map_is_the_dome() -> None:
    """mitsuba reads off the baked map what the dome says, in every direction, poles and seam included."""
    scenes.use_variant(polarized=False)
    light = mi.load_dict(scenes.emitter(scenes.baked_light(PATCHES, TILTED, 2049, 2048)))
    directions = np.random.default_rng(3).normal(size=(60, 3))
    directions[:4] = [[1e-4, 0, 1], [0, 1e-3, 1], [-1, 1e-5, 0.3], [-1, -1e-5, 0.3]]
    directions /= np.linalg.norm(directions, axis=1, keepdims=True)
    for way in directions:
        point = mi.SurfaceInteraction3f()
        point.wi = mi.Vector3f((-way).tolist())
        exact = PATCHES.table.tray if way[2] < 0.0 else float(PATCHES.radiance(TILTED.rotation() @ way))
        assert np.ravel(light.eval(point))[0] == pytest.approx(exact, abs=2e-3)
