"""Spectra of sampled pixels: all of it traced is what the engine gives, and what is left out is less than its noise."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

import raylab as rl
from raylab.scene.pixel_grid import grid_around
from raylab.tracers.sampled import spectra as module
from raylab.tracers.sampled.sampling import sample_image

NODES = np.linspace(400.0, 700.0, 17).tolist()


def arm_length(dome: str, seed: int = 0, samples: int = 4) -> rl.Scene:
    scene = rl.load_scene("well-proportioned").with_settings(seed=seed, samples=samples)
    return replace(scene, dome=dome, view=rl.View(distance_mm=250.0, aside_mm=31.5, pupil_mm=3.0), resolution=28)


def whole(scene: rl.Scene, nodes: list[float] = NODES) -> np.ndarray:
    """(N, P) luminance of each pixel over its covered part, each ray traced at each wavelength."""
    grid = grid_around(scene.stone, scene.view, scene.resolution)
    found = [sample_image(scene, wavelength_nm, grid).fields for wavelength_nm in nodes]
    means = [np.nan_to_num(fields["luminance"]) * fields["coverage"] for fields in found]
    return np.array(means).reshape(len(nodes), -1) / scene.dome.peak_radiance


def chosen(scene: rl.Scene) -> tuple[np.ndarray, np.ndarray]:
    tiles = list(module.spectra(scene, NODES, grid_around(scene.stone, scene.view, scene.resolution)))
    return np.concatenate([luminance for _, luminance, _ in tiles], axis=1), np.concatenate([covered for *_, covered in tiles])


@pytest.mark.parametrize("samples", [1, 4])
def test_where_nothing_is_left_out_it_is_the_engines_picture(samples, monkeypatch):
    scene = arm_length("head-shadow", samples=samples)
    monkeypatch.setattr(module, "STRAIGHT", -1.0)
    monkeypatch.setattr(module, "ALIKE", -1.0)
    monkeypatch.setattr(module, "WEIGHT", 0.0)
    monkeypatch.setattr(module, "NUMBERS_PER_TILE", 7 * 28 * samples * len(NODES))  # tiles of seven rows, and a rest
    luminance, coverage = chosen(scene)
    assert luminance == pytest.approx(whole(scene), abs=1e-12)
    grid = grid_around(scene.stone, scene.view, scene.resolution)
    assert coverage == pytest.approx(sample_image(scene, 550.0, grid).fields["coverage"].ravel(), abs=1e-12)


@pytest.mark.parametrize("dome", ["head-shadow", "small-lamps"])
def test_what_is_left_out_is_less_than_half_of_the_noise_of_the_samples(dome, monkeypatch):
    scene = arm_length(dome)
    rays: list[int] = []
    usual = module.trace_rays
    monkeypatch.setattr(
        module, "trace_rays", lambda origins, *rest, **how: (rays.append(len(origins)), usual(origins, *rest, **how))[1]
    )
    full, other = whole(scene), whole(arm_length(dome, seed=1), NODES[::8])
    off = chosen(scene)[0] - full
    assert np.sqrt((off**2).mean()) < 0.5 * np.sqrt(((other - full[::8]) ** 2).mean())
    assert abs(off.mean()) < 1e-3 + 0.01 * full.mean()
    assert sum(rays) < 0.45 * len(NODES) * 4 * scene.resolution**2
