"""Colour pictures against mitsuba, run once per wavelength with that wavelength's index.

Outside source: mitsuba 3 (W. Jakob et al., https://mitsuba-renderer.org), a general-purpose path tracer. In one run it knows
no dispersion, so each wavelength is a run of its own; the indices are diamond's by Peter (Z. Phys. 15 (1923) 358-368), written
out here. Ours are the maps of the exact engine, which have no noise, and the picture put together from them.

Per wavelength and wholly covered pixel, the difference over mitsuba's standard error, from REPEATS independent images, is
turned into a normal score z through Student's distribution; the same four measures of disagreement as in
`test_benchmark_mitsuba`. The colours are compared by the same test on X, Y and Z, with the weights of each wavelength
integrated anew from the tables of colour-science.
"""

from __future__ import annotations

import functools
import math

import colour
import mitsuba_scenes as scenes
import numpy as np
import pytest
from scipy import stats

import raylab as rl
from raylab.lighting.dome import Dome, Zone
from raylab.optics.spectrum import wavelength_set
from raylab.scene.pixel_grid import grid_around
from raylab.scene.view import View
from raylab.stone.cuts.round_brilliant import round_brilliant

RESOLUTION, REPEATS, SAMPLES, MAX_BOUNCES = 24, 32, 128, 64
PRECISION = 1e-5  # of the exact maps; mitsuba's means are known to some 3e-4
LARGEST_Z = 5.5

WAVES = wavelength_set(3)
STONE = round_brilliant(table_pct=57, crown_angle_deg=34.5, pavilion_angle_deg=40.75)
BELTS = Dome(
    sky_radiance=0.05, zones=(Zone((12, 24)), Zone((38, 46)), Zone((60, 68))), head_half_angle_deg=9, tray_radiance=0.1
)
"""Light in rings about the axis, whose edges cut through the fans of colours."""


def peter(wavelength_nm: float) -> float:
    um2 = (wavelength_nm / 1e3) ** 2
    return math.sqrt(1.0 + 4.3356 * um2 / (um2 - 0.1060**2) + 0.3306 * um2 / (um2 - 0.1750**2))


@functools.cache
def mitsuba_spectra() -> np.ndarray:
    """(N, REPEATS, P) luminance of the wholly covered pixels at each wavelength."""
    scenes.use_variant(polarized=False)
    grid = grid_around(STONE, View(), RESOLUTION)
    light, inside = scenes.baked_light(BELTS, View(), 16385, 4), scenes.covered(STONE, View(), grid)
    images = []
    for k, wavelength_nm in enumerate(WAVES.nodes_nm):
        scene = scenes.build(STONE, View(), grid, light, n=peter(wavelength_nm), max_bounces=MAX_BOUNCES)
        images.append(scenes.mitsuba_images(scene, SAMPLES, REPEATS, first_seed=1 + k * REPEATS)[:, inside])
    return np.array(images)


def our_scene() -> rl.Scene:
    waves = tuple(WAVES.nodes_nm.tolist())
    settings = rl.TraceSettings(waves, polarized=False, max_bounces=MAX_BOUNCES, precision=PRECISION)
    return rl.Scene(STONE, BELTS, settings=settings, resolution=RESOLUTION)


@functools.cache
def our_result() -> rl.Result:
    return rl.trace_scene(our_scene())


def covered() -> np.ndarray:
    return scenes.covered(STONE, View(), grid_around(STONE, View(), RESOLUTION))


def disagreements(exact: np.ndarray, theirs: np.ndarray) -> dict[str, float]:
    """exact (P,) against independent images (REPEATS, P); none is above 1 where both are right."""
    pixels = exact.size
    error = theirs.std(axis=0, ddof=1) / math.sqrt(REPEATS)
    difference = exact - theirs.mean(axis=0)
    # Light that none of mitsuba's paths has met yet may weigh up to one sample of the brightest radiance, 1.
    t = difference / np.hypot(error, 1.0 / (SAMPLES * REPEATS))
    z = np.sign(t) * stats.norm.isf(stats.t.sf(np.abs(t), REPEATS - 1))
    return {
        "mean of z": abs(z.mean()) * math.sqrt(pixels) / 4.5,
        "spread of z": abs(z.std() - 1.0) * math.sqrt(2.0 * pixels) / 4.5,
        "largest z": np.abs(z).max() / LARGEST_Z,
        "mean of the image": abs(difference.mean()) / (math.sqrt((error**2).sum()) / pixels + PRECISION) / 4.0,
    }


@pytest.mark.parametrize("number", range(len(WAVES)))
def test_each_wavelength_agrees(number: int) -> None:
    ours = our_result().maps.luminance.values[number][covered()]
    found = disagreements(ours, mitsuba_spectra()[number])
    assert max(found.values()) < 1.0, found


@pytest.mark.parametrize(("number", "other"), [(0, 1), (1, 2), (2, 1)])
def test_another_wavelengths_index_is_caught(number: int, other: int) -> None:
    ours = our_result().maps.luminance.values[other][covered()]
    found = disagreements(ours, mitsuba_spectra()[number])
    assert max(found.values()) > 1.5, found


def weights() -> np.ndarray:
    """(N, 3) of each wavelength of WAVES in X, Y, Z under D65, by trapezium rule on 1 nm, linear between the wavelengths."""
    grid = np.arange(400.0, 701.0)
    observer = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    seen = colour.SDS_ILLUMINANTS["D65"][grid][:, None] * observer[grid]
    seen[[0, -1]] /= 2.0
    shares = np.array([np.interp(grid, WAVES.nodes_nm, unit) for unit in np.eye(len(WAVES))])
    found = shares @ seen
    return np.asarray(found / found[:, 1].sum())


@pytest.mark.parametrize("channel", range(3))
def test_the_picture_agrees(channel: int) -> None:
    """X, Y and Z of the picture; scaled so that no weight brings one sample above 1."""
    weight = weights()[:, channel] / weights().sum(axis=0)[channel]
    ours = rl.color_picture(our_result(), spectrum=WAVES).xyz[::-1, :, channel][covered()] / weights().sum(axis=0)[channel]
    theirs = np.einsum("n,nrp->rp", weight, mitsuba_spectra())
    found = disagreements(ours, theirs)
    assert max(found.values()) < 1.0, found
