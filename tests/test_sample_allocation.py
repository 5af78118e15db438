"""Samples go where the corners of a pixel differ: fewer rays for the same error, and as many in all."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from small_scenes import scene_of

import raylab as rl
from raylab.scene.pixel_grid import PixelGrid, grid_around
from raylab.tracers.allocation import EVENLY, cells_by_corners, even_cells
from raylab.tracers.engines import engine_named
from raylab.tracers.sampled import sampling

GRID = PixelGrid(-1.0, -1.0, 0.1, 20)
STONE = rl.round_brilliant(table_pct=57, crown_angle_deg=34.5, pavilion_angle_deg=40.75, girdle_facets=32)
DOME = rl.load_dome("head-shadow")


def half(points: np.ndarray) -> np.ndarray:
    """Bright on one side of a slanting line."""
    return (points[:, 0] + 0.3 * points[:, 1] > 0.11).astype(float)


@pytest.mark.parametrize("samples", [9, 25, 100])
def test_pixels_on_an_edge_take_more_and_the_others_as_many(samples):
    cells = cells_by_corners(GRID, samples, half).reshape(20, 20)
    x, y = np.meshgrid(*2 * [-1.0 + 0.1 * np.arange(21)])
    corners = half(np.column_stack([x.ravel(), y.ravel()])).reshape(21, 21)
    around = np.stack([corners[:-1, :-1], corners[1:, :-1], corners[:-1, 1:], corners[1:, 1:]])
    crossed = np.ptp(around, axis=0) > 0.0
    assert 20 <= crossed.sum() <= 40
    assert len(set(cells[~crossed])) == 1
    assert cells[crossed].min() > cells[~crossed].max() >= np.sqrt(EVENLY * samples) - 0.5
    assert (cells.astype(float) ** 2).mean() == pytest.approx(samples, rel=0.25)


@pytest.mark.parametrize(("samples", "light"), [(4, half), (1, half), (64, lambda points: np.ones(len(points)))])
def test_where_there_is_nothing_to_share_out_all_take_as_many(samples, light):
    assert (cells_by_corners(GRID, samples, light) == even_cells(GRID, samples)).all()
    assert (even_cells(GRID, samples).astype(int) ** 2 == samples).all()


def test_the_corners_alone_decide():
    """Not the seed: where samples lie is independent of what they find. Scattering by chance tells nothing."""
    scene = scene_of(STONE, DOME, resolution=24, samples=9)
    grid = grid_around(STONE, scene.view, 24)
    one, other = (sampling.cells_of_pixels(scene.with_settings(seed=seed), 589.3, grid) for seed in (0, 1))
    assert (one == other).all()
    assert len(set(one)) > 2
    frosted = replace(scene, stone=STONE.with_finishes({"table 0": "lambertian 0.9"}))
    assert set(sampling.cells_of_pixels(frosted, 589.3, grid)) == {3}


def test_a_map_is_nearer_to_the_exact_one_than_by_as_many_samples_everywhere(monkeypatch):
    """The error of the same number of rays is less than 0.6 of that of equal pixels: 0.48 was seen; and no mean moves."""
    scene = scene_of(STONE, DOME, resolution=128, samples=9, min_weight=1e-3)
    grid = grid_around(STONE, scene.view, 128)
    exact = engine_named("beams").trace(scene, 589.3, grid).fields
    full = exact["coverage"] > 1.0 - 1e-9
    shared = sampling.sample_image(scene, 589.3, grid)
    monkeypatch.setattr(sampling, "cells_by_corners", lambda grid, samples, light_at: even_cells(grid, samples))
    even = sampling.sample_image(scene, 589.3, grid)
    off = [float(np.std((one.fields["luminance"] - exact["luminance"])[full])) for one in (shared, even)]
    assert off[0] < 0.6 * off[1]
    apart = shared.totals.mean - even.totals.mean
    variance = np.diag(shared.totals.covariance) + np.diag(even.totals.covariance)
    assert (np.abs(apart) <= 4.5 * np.sqrt(variance) + 1e-12).all()
