"""Stones traced live in a browser against the library: run as a command, too heavy for the tests.

    python tests/validation/live_pictures.py [--same] [--exact] [--mean] [--rays] [--scattered] [NAME ...]

Five comparisons (all of them if none is named), each of five stones or of those named:

    --same    each pixel's middle at 64 wavelengths, in the shader's 32-bit numbers and in the sampled engine's 64-bit ones:
              face-up, tilted, from below, and from an eye at 150 mm, under three domes, with and without polarisation
    --exact   a part of the page's resting picture, magnified eight times (64 frames, at 16 places within each pixel), against
              the exact virtual facets of `rl.color_picture` at the same 64 wavelengths
    --mean    the mean luminance of the whole resting picture after 64 frames against the library's of the same rays, and what
              both differ by from the exact engine's, which is what so few places of a pixel leave to chance
    --rays    2000 random rays each against the oracle: the facets they meet, and where their weight goes
    --scattered   the stone with facets that scatter light, each at random: at one wavelength through the middles of pixels
              against the sampled engine, entry by entry, and the mean luminance of the resting picture against
              `rl.color_picture`; both in standard errors of the differences

A pixel counts as lying within virtual facets where nine parts of it differ by less than 0.5 CIEDE2000 in the exact picture.
"""

from __future__ import annotations

import sys
import tempfile
from dataclasses import replace
from pathlib import Path

import numpy as np
from playwright.sync_api import sync_playwright

sys.path.insert(0, str(Path(__file__).parents[1]))

from live_page import LivePage, luminance_at_its_places, path_of, sampled
from needs import launched

import raylab as rl
from raylab.live.baking import baked_stone, live_set
from raylab.optics.color import ciede2000, white_xyz, xyz_to_lab
from raylab.optics.spectrum import color_weights
from raylab.tracers.engines import engine_for
from raylab.tracers.ledger import LUMINANCE, UNTRACED
from raylab.tracers.reference import trace_path
from raylab.tracers.sampled.view_rays import sample_points, view_rays
from raylab.tracers.scattering import SPREAD

DOMES = ("head-shadow", "small-lamps", "furnished-room")
VIEWS = (
    rl.View(),
    rl.View(tilt_deg=23, tilt_azimuth_deg=50, turn_deg=10),
    rl.View(tilt_deg=180),
    rl.View(tilt_deg=12, tilt_azimuth_deg=-20, distance_mm=150),
)
SAME_SIDE, EXACT_SIDE, MEAN_SIDE, SCATTERED_SIDE, FRAMES, PARTS = 24, 32, 256, 56, 64, 3
BATCHES = 3
"""Independent parts of a scattering stone's pictures."""
WINDOW = (0.3, 0.2, 0.125)
RAYS, WAVE = 2000, 20


def stones() -> list[rl.Stone]:
    angles = {"table_pct": 57, "crown_angle_deg": 34.5, "pavilion_angle_deg": 40.75}
    return [
        rl.round_brilliant(**angles),
        rl.round_brilliant(**angles, girdle_finish="absorbing", material="zircon").relabeled(name="absorbing girdle, zircon"),
        rl.emerald_cut(table_pct=62, material="sapphire"),
        rl.marquise_brilliant(table_pct=58),
        rl.princess_cut(table_pct=70, material="spinel"),
    ]


FINISHES = (
    {"girdle": "lambertian 0.8"},
    {"girdle": "rough 0.3"},
    {"girdle": "lambertian 0.5", "table": "rough 0.2"},
    {"girdle": "rough 0.5"},
    {"table": "lambertian 0.9"},
)
"""With which each of the stones scatters light: bruted girdles, and tables left from sawing."""


def differences(first: np.ndarray, second: np.ndarray) -> np.ndarray:
    white = white_xyz(live_set())
    return ciede2000(xyz_to_lab(first, white), xyz_to_lab(second, white))


def same(live: LivePage, number: int, name: str) -> None:
    for k, view in enumerate(VIEWS):
        for polarized in (True, False) if k == 1 else (True,):
            dome = (number + k) % 3
            seen = live.plate(0, dome, view, SAME_SIDE, 64, polarized=polarized)
            known = sampled(live, 0, dome, view, SAME_SIDE, polarized)
            covered = known["coverage"] > 0.0
            off = differences(seen["xyz"], known["xyz"])[covered]
            bright = seen["xyz"][..., 1].sum() / known["xyz"][..., 1].sum() - 1.0
            print(
                f"same {name}, {DOMES[dome]}, view {k}, {'polarized' if polarized else 'unpolarized'}: CIEDE2000 mean"
                f" {off.mean():.5f}, largest {off.max():.3f}, {np.count_nonzero(off > 0.1)} of {off.size} above 0.1;"
                f" mean luminance off by {bright:+.1e}; ledger {np.abs(seen['ledger'] - known['ledger']).max():.1e}",
                flush=True,
            )


def mean_luminance(scene: rl.Scene) -> float:
    """Over the outline, as an eye weighs the spectrum, by the exact engine with what its polygons leave inside estimated."""
    waves = live_set()
    found = [engine_for(scene, exact=True).trace(scene, float(w)).totals.mean[LUMINANCE] for w in waves.nodes_nm]
    return float(found @ color_weights(waves)[:, 1] / color_weights(waves)[:, 1].sum()) / scene.dome.peak_radiance


def exact(live: LivePage, number: int, name: str) -> None:
    dome, view = number % 3, VIEWS[number % 3]
    scene = rl.Scene(live.stones[0], live.domes[dome], view, rl.TraceSettings(precision=1e-3))
    picture = rl.color_picture(scene, spectrum=live_set(), grid=live.grid(EXACT_SIDE * PARTS, WINDOW))
    share, xyz = picture.coverage[::-1], np.nan_to_num(picture.xyz[::-1])

    def blocks(values: np.ndarray) -> np.ndarray:
        shape = (EXACT_SIDE, PARTS, EXACT_SIDE, PARTS, *values.shape[2:])
        return values.reshape(shape).swapaxes(1, 2).reshape(EXACT_SIDE, EXACT_SIDE, PARTS**2, *values.shape[2:])

    known = blocks(share[..., None] * xyz).mean(axis=2)
    seen = live.plate(0, dome, view, EXACT_SIDE, FRAMES, jitter=None, window=WINDOW)
    off = differences(seen["xyz"], known)
    even = differences(blocks(xyz), known[:, :, None]).max(axis=2) < 0.5
    within = off[even]
    print(
        f"exact {name}, {DOMES[dome]}, view {number % 3}: CIEDE2000 within virtual facets mean {within.mean():.3f} largest"
        f" {within.max():.2f} ({within.size} pixels); all pixels mean {off.mean():.3f} largest {off.max():.2f}"
        f" ({off.size})",
        flush=True,
    )


def mean(live: LivePage, number: int, name: str) -> None:
    dome, view = number % 3, VIEWS[number % 3]
    seen = live.plate(0, dome, view, MEAN_SIDE, FRAMES, jitter=None)["means"]["luminance"]
    same_rays = luminance_at_its_places(live, 0, dome, view, MEAN_SIDE)
    whole = mean_luminance(rl.Scene(live.stones[0], live.domes[dome], view, rl.TraceSettings(precision=1e-3)))
    print(
        f"mean {name}, {DOMES[dome]}, view {number % 3}: luminance {seen:.6f} is off by {100 * (seen / same_rays - 1.0):+.4f} %"
        f" from the library's of the same rays; both from the exact one by {100 * (seen / whole - 1.0):+.3f} % and"
        f" {100 * (same_rays / whole - 1.0):+.3f} %",
        flush=True,
    )


def rays(live: LivePage, number: int, name: str) -> None:
    stone, dome, view = live.stones[0], number % 3, VIEWS[1]
    points = np.random.default_rng(number).uniform(-live.half_mm, live.half_mm, (RAYS, 2))
    origins, directions = view_rays(points, stone, view)
    found = live.rays(origins, directions, 0, dome, view, WAVE)
    order, wavelength = baked_stone(stone, live_set())["facets"], float(live_set().nodes_nm[WAVE])
    others, off = 0, []
    for ray, origin, direction in zip(found, origins, directions, strict=True):
        path = trace_path(origin, direction, stone, wavelength_nm=wavelength)
        if path_of(path.facets, order) != ray[1]:
            others += 1
            continue
        row = path.row(live.domes[dome], view.rotation())
        off.append(np.abs(ray[[0, 2, 4, 5, 6, 7, 8, 9]] - row[[7, 0, 1, 2, 3, 4, 5, 6]]).max())
    off = np.array(off)
    print(
        f"rays {name}: {others} of {RAYS} meet other facets; of the rest {np.count_nonzero(off > 1e-4)} differ by more than"
        f" 1e-4 in an entry, median {np.median(off):.1e}, 99.9 % {np.quantile(off, 0.999):.1e}, largest {off.max():.1e}",
        flush=True,
    )


def scattered(live: LivePage, number: int, name: str) -> None:
    """Of the second stone of the page."""
    view, dome = VIEWS[number % 3], 0  # lamps would leave more to chance
    scene = rl.Scene(live.stones[1], live.domes[dome], view, rl.TraceSettings(engine="rays", samples=16))
    unit = 1.0 / scene.dome.peak_radiance
    grid, parts = live.grid(SCATTERED_SIDE), UNTRACED + 1
    points = np.stack(np.meshgrid(grid.x_mm, grid.y_mm), axis=-1).reshape(-1, 2)
    found, square, times = np.zeros((len(points), parts)), 0.0, FRAMES // 4
    for k in range(times):
        rows, hit = sample_points(points, scene, float(live_set().nodes_nm[WAVE]), first_key=k * len(points))
        found += rows[:, :parts] / times
        square += (rows[hit, LUMINANCE] ** 2 - rows[hit, SPREAD]).mean() / times * unit**2
    found[:, LUMINANCE] *= unit
    seen = live.plate(1, dome, view, SCATTERED_SIDE, FRAMES, wave=WAVE)
    white = color_weights(live_set())[:, 1].sum()
    rows = np.concatenate([seen["xyz"][..., 1:2] / white, seen["ledger"][..., : parts - 1]], axis=-1)
    off = (rows.reshape(-1, parts) - found)[hit]
    means, errors, bright = off.mean(axis=0), off.std(axis=0) / np.sqrt(len(off)), found[hit, LUMINANCE].mean()
    contrast = np.sqrt(square - bright**2) / bright
    z = [round(float(one / error), 2) if error > 1e-6 else 0.0 for one, error in zip(means, errors, strict=True)]
    finishes = ", ".join(sorted({str(one) for one in live.stones[1].finishes if one.scatters}))
    print(
        f"scattered {name} ({finishes}), {DOMES[dome]}, view {number % 3}: at one wavelength mean luminance {bright:.4f} off by"
        f" {100 * means[0] / bright:+.3f} +- {100 * errors[0] / bright:.3f} %; luminance, sky, head, leak, absorbed, scattered,"
        f" untraced off by {z} standard errors; contrast {seen['means']['contrast']:.4f}, library {contrast:.4f}",
        flush=True,
    )
    sums = [live.plate(1, dome, view, SCATTERED_SIDE, FRAMES * k, jitter=None)["means"]["xyz"] for k in range(1, BATCHES + 1)]
    lights = np.diff([0.0, *(k * xyz[1] for k, xyz in enumerate(sums, 1))])  # frames add up: each batch is a difference of sums
    known = []
    for seed in range(BATCHES):
        one = replace(scene, settings=replace(scene.settings, seed=seed))
        picture = rl.color_picture(one, spectrum=live_set(), grid=grid)
        known.append(np.nansum(picture.coverage * picture.xyz[..., 1]) / picture.coverage.sum() / white)
    error = np.sqrt((np.var(lights, ddof=1) + np.var(known, ddof=1)) / BATCHES)
    away = np.mean(lights) / np.mean(known) - 1.0
    print(
        f"scattered {name}, picture at rest: mean luminance {np.mean(lights):.5f}, rl.color_picture {np.mean(known):.5f}: off"
        f" by {100 * away:+.3f} +- {100 * error / np.mean(known):.3f} %",
        flush=True,
    )


def main() -> None:
    every = [same, exact, mean, rays, scattered]
    asked = [one for one in every if f"--{one.__name__}" in sys.argv[1:]] or every
    named = [word for word in sys.argv[1:] if not word.startswith("--")]
    with sync_playwright() as driver, tempfile.TemporaryDirectory() as folder:
        browser = launched(driver)
        everyone = stones()
        for number, stone in enumerate(everyone):
            if named and stone.name not in named:
                continue
            live = LivePage(browser, Path(folder), [stone, stone.with_finishes(FINISHES[number])], DOMES)
            for compare in asked:
                compare(live, number, stone.name)
            live.close()
        browser.close()


if __name__ == "__main__":
    main()
