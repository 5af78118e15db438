"""The sampled engine's standard errors are those that other seeds show."""

from __future__ import annotations

import numpy as np
import pytest
from polyhedra import box
from scipy.stats import chi2
from small_scenes import scene_of

import raylab as rl
from raylab.optics.materials import Material
from raylab.results.statistics.contrast import CONTRAST_RMS
from raylab.results.summary import record_of
from raylab.scene.pixel_grid import grid_around
from raylab.tracers.engine_result import EngineResult
from raylab.tracers.engines import engine_named
from raylab.tracers.ledger import LUMINANCE
from raylab.tracers.pixel_samples import stratum_of
from raylab.tracers.sampled.sums import strata_of
from raylab.tracers.totals import LUMINANCE_SQUARE, MOMENTS, Totals

STONE = rl.round_brilliant(table_pct=57, crown_angle_deg=34.5, pavilion_angle_deg=40.75, girdle_facets=32)
SEEDS = 50
KEYS = ("brightness", "contrast_rms", "sky", "leak")


def sampled(scene: rl.Scene) -> EngineResult:
    """Traced by the samples of its pixels."""
    return engine_named("rays").trace(scene, 589.3, grid_around(scene.stone, scene.view, scene.resolution))


def statistics(dome: str, resolution: int, samples: int, seed: int) -> dict[str, rl.Statistic]:
    scene = scene_of(STONE, rl.load_dome(dome), rl.View(7.0, 20.0), resolution=resolution, samples=samples, seed=seed)
    return record_of(scene, sampled(scene)).statistics


@pytest.mark.parametrize("dome", ["head-shadow", "small-lamps"])
@pytest.mark.parametrize(("resolution", "samples"), [(32, 4), (21, 9), (16, 16), (12, 25)])
def test_fifty_seeds_scatter_as_stated(dome, resolution, samples):
    """Chi-square of values about their mean, with the root mean square of the stated errors, within its 99.9 % range."""
    found = [statistics(dome, resolution, samples, seed) for seed in range(SEEDS)]
    low, high = chi2.ppf([0.0005, 0.9995], SEEDS - 1)
    for key in KEYS:
        values, errors = (np.array([getattr(one[key], part) for one in found]) for part in ("value", "error"))
        assert low < ((values - values.mean()) ** 2).sum() / (errors**2).mean() < high, key


def test_one_sample_a_pixel_is_on_the_safe_side():
    """Neighbouring pixels differ: chi-square below its upper end, but no error is larger than 1.5 times what seeds show."""
    found = [statistics("head-shadow", 33, 1, seed) for seed in range(SEEDS)]
    for key in KEYS:
        values, errors = (np.array([getattr(one[key], part) for one in found]) for part in ("value", "error"))
        ratio = (errors**2).mean() / values.var(ddof=1)
        assert 0.65 < ratio < 1.5**2, key


def test_what_no_ray_met_has_the_error_of_one_ray():
    """A head too small to be met; a colourless stone absorbs nothing for certain, and nothing is absorbing."""
    scene = scene_of(STONE, rl.Dome(head_half_angle_deg=0.01), rl.View(7.0, 20.0), resolution=16, samples=4)
    traced = sampled(scene)
    found = record_of(scene, traced).statistics
    rays = 4 * np.nansum(traced.fields["coverage"])
    assert (found["head"].value, found["head"].error) == (0.0, pytest.approx(1.0 / rays))
    assert found["absorbed"].error == found["scattered"].error == 0.0


def test_each_pixels_error_is_that_of_its_strata():
    """A box with an absorbing half seen from above: the stated error of the luminance, over seeds, in pixels on the edge."""
    stone = box(2.0, 1.0, Material.constant(1.5))
    view, dome = rl.View(11.0), rl.load_dome("head-shadow")
    scenes = [scene_of(stone, dome, view, resolution=9, samples=16, seed=seed) for seed in range(200)]
    fields = [sampled(scene).fields for scene in scenes]
    seen, stated, covered = (np.array([one[name] for one in fields]) for name in ("luminance", "luminance_error", "coverage"))
    inside = (covered == 1.0).all(axis=0) & (seen.std(axis=0) > 1e-3)
    ratio = (stated**2).mean(axis=0)[inside] / seen.var(axis=0, ddof=1)[inside]
    assert inside.sum() > 5
    assert ratio.mean() == pytest.approx(1.0, abs=0.1)


@pytest.mark.parametrize("cells", [1, 2, 3, 4, 5, 6, 7])
def test_strata_tile_the_pixel_and_hold_as_many_samples_as_cells(cells):
    strata = [stratum_of(sample, cells) for sample in range(cells * cells)]
    assert strata == sorted(strata)
    for row, first, columns in set(strata):
        assert strata.count((row, first, columns)) == columns
        assert columns in (2, 3) or cells == 1
    covered = {(row, first + k) for row, first, columns in strata for k in range(columns)}
    assert len(covered) == sum(columns for _, _, columns in set(strata)) == cells * cells
    if cells > 1:
        begins, firsts = strata_of(np.full(6, cells, np.int32), 3)
        expected = [k for k in range(cells * cells) if k == 0 or strata[k] != strata[k - 1]]
        assert begins.tolist() == [pixel * cells * cells + k for pixel in range(6) for k in expected] + [6 * cells * cells]
        assert firsts.tolist() == [0, 3 * len(expected), 6 * len(expected)]


@pytest.mark.parametrize(("resolution", "ends"), [(1, [0, 1]), (2, [0, 2]), (3, [0, 3]), (5, [0, 2, 5]), (6, [0, 2, 4, 6])])
def test_single_samples_are_paired_with_their_neighbours(resolution, ends):
    begins, firsts = strata_of(np.ones(2 * resolution, np.int32), resolution)
    assert begins.tolist() == ends[:-1] + [resolution + end for end in ends]
    assert firsts.tolist() == [0, len(ends) - 1, 2 * len(ends) - 2]


def test_pixels_of_different_numbers_of_samples_have_strata_of_their_own():
    begins, firsts = strata_of(np.array([2, 3, 4, 2], np.int32), 2)
    assert begins.tolist() == [0, 2, 4, 7, 10, *range(13, 29, 2), 29, 31, 33]
    assert firsts.tolist() == [0, 5, 15]


@pytest.mark.parametrize("apart", [0.0, 0.3, 1.0, 3.0, 30.0])
def test_a_luminance_hardly_uneven_is_no_farther_off_than_stated(apart):
    """Whose variance is so many of its standard errors: estimates of it lie below 0, too, and the contrast is then 0.

    A root is not spread evenly: one of 17 may be beyond three standard errors where that of normal numbers is one of 370.
    """
    count, level, level_error, unsure = 20_000, 0.05, 6e-4, 3e-5
    moments, covariance = np.zeros((count, MOMENTS)), np.zeros((count, MOMENTS, MOMENTS))
    rng = np.random.default_rng(1)
    moments[:, LUMINANCE] = rng.normal(level, level_error, count)
    moments[:, LUMINANCE_SQUARE] = moments[:, LUMINANCE] ** 2 + rng.normal(apart * unsure, unsure, count)
    gradient = np.array([1.0, 2.0 * level])  # of the square by the level
    covariance[:, [LUMINANCE], [LUMINANCE, LUMINANCE_SQUARE]] = level_error**2 * gradient
    covariance[:, [LUMINANCE_SQUARE], [LUMINANCE, LUMINANCE_SQUARE]] = level_error**2 * gradient * gradient[1]
    covariance[:, LUMINANCE_SQUARE, LUMINANCE_SQUARE] += unsure**2
    found = CONTRAST_RMS.of(Totals(np.ones(count), moments, covariance), {LUMINANCE: 1.0})
    off = abs(found.value - np.sqrt(apart * unsure) / level)
    assert (off > 3.0 * found.error).mean() < 0.06
    assert (off > 6.0 * found.error).mean() < 0.005
    assert np.sqrt((found.error**2).mean()) < 2.0 * np.sqrt((off**2).mean())
