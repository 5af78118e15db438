"""What whole polygons leave inside is estimated by rays: without bias, with the stated errors, to the errors asked for."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from polyhedra import random_polyhedron
from scipy.stats import chi2
from small_scenes import scene_of

import raylab as rl
from raylab.pictures.bands import band, band_name
from raylab.results.statistics import STATISTICS
from raylab.results.statistics.goals import goal_of
from raylab.results.summary import record
from raylab.tracers.exact import enough
from raylab.tracers.exact import tracer as module
from raylab.tracers.exact.beams import Beams
from raylab.tracers.exact.tail import Draws
from raylab.tracers.exact.tracer import trace_beams
from raylab.tracers.ledger import ABSORBED, ENTRIES, HEAD, LEAK, LUMINANCE, SCATTERED, SKY, UNTRACED
from raylab.tracers.totals import MOMENTS

STONE = rl.round_brilliant(table_pct=57, crown_angle_deg=34.5, pavilion_angle_deg=40.75, girdle_facets=16)
TINTED = random_polyhedron(5, absorption_per_mm=0.2, absorbing_share=0.3)
SEEDS = 200


def traced(stone: rl.Stone, dome: str, view: rl.View, **settings: object) -> Beams:
    scene = scene_of(stone, rl.load_dome(dome), view, **settings)
    return trace_beams(scene, 589.3, goal=goal_of(scene))


def statistics(beams: Beams, dome: str) -> dict[str, rl.Statistic]:
    limits = {**dict.fromkeys((SKY, HEAD, LEAK, ABSORBED, SCATTERED), 1.0), LUMINANCE: rl.load_dome(dome).peak_radiance}
    return record(589.3, beams.totals, limits).statistics


@pytest.mark.parametrize(
    ("stone", "dome", "view", "precision", "fine"),
    [
        (STONE, "head-shadow", rl.View(), 0.05, 2e-5),
        (STONE, "small-lamps", rl.View(9.0, 20.0), 0.2, 1e-3),
        (TINTED, "head-shadow", rl.View(4.0), 0.1, 1e-4),
    ],
    ids=["symmetric", "lamps, tilted", "tinted, with absorbing facets"],
)
def test_two_hundred_keys_scatter_about_the_true_value_as_stated(monkeypatch, stone, dome, view, precision, fine):
    """Chi-square about a value known much better, with the root mean square of the stated errors, in its 99.9 % range."""
    true = statistics(traced(stone, dome, view, precision=fine), dome)
    monkeypatch.setattr(enough, "RAYS", 256)
    found = [statistics(traced(stone, dome, view, precision=precision, seed=1 + seed), dome) for seed in range(SEEDS)]
    low, high = chi2.ppf([0.0005, 0.9995], SEEDS)
    for key in ("brightness", "contrast_rms", "sky", "leak", "head", "scattered", "absorbed"):
        values, errors = (np.array([getattr(one[key], part) for one in found]) for part in ("value", "error"))
        if true[key].value == 0.0:
            assert values.max() == errors.max() == 0.0, key
            continue
        assert true[key].error < 0.15 * errors.mean(), key
        scatter = ((values - true[key].value) ** 2).sum() / (errors**2).mean()
        assert low < scatter < high, key


def test_rays_drawn_later_keep_the_errors_true(monkeypatch):
    """A few rays tell how many are needed, others make their strata finer, a last few are added: errors stay what they say."""
    drawn: list[Draws] = []

    class Kept(Draws):
        def until(self, rays: int, seed: int, threads: int) -> None:
            drawn[:] = [self]
            super().until(rays, seed, threads)

    monkeypatch.setattr(module, "Draws", Kept)
    true = statistics(traced(STONE, "head-shadow", rl.View(), precision=2e-5), "head-shadow")
    found, sets = [], []
    for seed in range(SEEDS):
        beams = traced(STONE, "head-shadow", rl.View(), standard_error=5e-4, seed=1 + seed)
        found.append(statistics(beams, "head-shadow"))
        for places, _ in drawn[0].sets:
            strata = len(places) // 2
            assert np.array_equal((places * strata).astype(int), np.repeat(np.arange(strata), 2)), "two draws in each stratum"
        sets.append(len(drawn[0].sets))
    assert set(sets) >= {1, 2}, "some got a last few"
    low, high = chi2.ppf([0.0005, 0.9995], SEEDS)
    for key in ("brightness", "contrast_rms", "leak", "head"):
        values, errors = (np.array([getattr(one[key], part) for one in found]) for part in ("value", "error"))
        assert low < ((values - true[key].value) ** 2).sum() / (errors**2).mean() < high, key


def test_rays_are_drawn_where_the_statistics_change_most():
    """Of as many rays, those that know which statistics count tell contrast to a smaller error, others hardly larger."""
    scene = scene_of(STONE, rl.load_dome("head-shadow"), rl.View(9.0), precision=0.05)
    goal, errors = goal_of(scene), []
    for one in (goal, replace(goal, derivatives=None)):
        some = [statistics(trace_beams(scene.with_settings(seed=seed), 589.3, goal=one), "head-shadow") for seed in range(40)]
        errors.append(
            {key: np.sqrt(np.mean([each[key].error ** 2 for each in some])) for key in ("contrast_rms", "brightness", "leak")}
        )
    ratios = {key: errors[0][key] / errors[1][key] for key in errors[0]}
    assert ratios["contrast_rms"] < 0.93
    assert max(ratios.values()) < 1.3


@pytest.mark.parametrize(("stone", "view"), [(STONE, rl.View()), (TINTED, rl.View(4.0))], ids=["clear", "tinted"])
def test_brackets_are_those_of_the_polygons_and_the_ledger_still_closes(stone, view):
    scene = scene_of(stone, rl.load_dome("head-shadow"), view, precision=0.03)
    plain, estimated = trace_beams(scene, 589.3), trace_beams(scene, 589.3, goal=goal_of(scene))
    assert np.array_equal(plain.totals.mean, estimated.totals.mean)
    assert plain.totals.tail.max() == plain.totals.covariance.max() == 0.0
    assert estimated.totals.estimate[UNTRACED] < 0.02 * plain.totals.mean[UNTRACED]
    without, found = statistics(plain, "head-shadow"), statistics(estimated, "head-shadow")
    assert sum(found[entry].value for entry in ENTRIES) == pytest.approx(1.0, abs=1e-12)
    for key in STATISTICS:
        assert (found[key].low, found[key].high) == (without[key].low, without[key].high)
        assert found[key].low - 1e-12 <= found[key].value <= found[key].high + 1e-12


def test_threads_do_not_matter():
    scene = scene_of(STONE, rl.load_dome("small-lamps"), rl.View(9.0), standard_error=2e-4)
    one, two = (trace_beams(scene, 589.3, goal=goal_of(scene), threads=threads).totals for threads in (1, 2))
    assert np.array_equal(one.tail, two.tail)
    assert np.array_equal(one.covariance, two.covariance)


@pytest.mark.parametrize("wanted", [1e-2, 1e-3, 2e-4])
def test_a_standard_error_that_is_asked_for_is_reached(wanted):
    beams = traced(STONE, "head-shadow", rl.View(9.0), standard_error=wanted)
    found = statistics(beams, "head-shadow")
    assert max(found["brightness"].error, found["contrast_rms"].error) <= wanted
    assert found["brightness"].width > 3e-3, "polygons ended early"
    fine = statistics(traced(STONE, "head-shadow", rl.View(9.0), precision=5e-4), "head-shadow")
    for key in ("brightness", "contrast_rms"):
        assert abs(found[key].value - fine[key].value) < 5.0 * wanted


def test_polygons_end_near_where_they_are_cheapest(monkeypatch):
    """Rounds that would bring what waits down by little are spared; the error is reached all the same."""
    found = []
    for near in (enough.NEAR, 1.0):
        monkeypatch.setattr(enough, "NEAR", near)
        found.append(traced(rl.emerald_cut(table_pct=57), "head-shadow", rl.View(), standard_error=2e-3))
        assert max(statistics(found[-1], "head-shadow")[key].error for key in ("brightness", "contrast_rms")) <= 2e-3
    assert found[0].rounds < found[1].rounds


def test_any_statistic_may_be_asked_for():
    light = rl.load_dome("small-lamps")
    tilted = scene_of(STONE, light, rl.View(9.0, 20.0), precision=0.3, precision_of="contrast_rms")
    found = statistics(trace_beams(tilted, 589.3, goal=goal_of(tilted)), "small-lamps")
    assert (
        found["contrast_rms"].width <= 0.3 < 0.5 * statistics(trace_beams(tilted, 589.3), "small-lamps")["contrast_rms"].width
    )
    leak = tilted.with_settings(standard_error=5e-4, precision_of="leak")
    found = statistics(trace_beams(leak, 589.3, goal=goal_of(leak)), "small-lamps")
    assert found["leak"].error <= 5e-4 < found["contrast_rms"].error
    with pytest.raises(rl.InputError, match=r"precision_of.*contrast_rms"):
        goal_of(tilted.with_settings(precision_of="contrast"))


def test_maps_are_traced_to_the_precision_whatever_error_is_asked_for():
    scene = scene_of(STONE, rl.load_dome("head-shadow"), resolution=32, standard_error=1e-2)
    shown = rl.trace_scene(scene)
    assert shown.summary.statistics["brightness"].width <= 2.01e-3
    assert float(shown.maps.untraced.mean()) <= 2.01e-3
    assert rl.statistics_of(scene)["brightness"].width > 1e-2


def test_what_cannot_be_brought_down_ends_the_work():
    """Light held until `max_bounces` is untraced for good: neither rays nor polygons go on for ever."""
    few = scene_of(STONE, rl.load_dome("head-shadow"), precision=1e-3, precision_of="contrast_rms", max_bounces=3)
    beams = trace_beams(few, 589.3, goal=goal_of(few))
    assert beams.totals.mean[UNTRACED] > 0.05
    asked = replace(few, settings=replace(few.settings, standard_error=1e-3, precision_of=()))
    found = statistics(trace_beams(asked, 589.3, goal=goal_of(asked)), "head-shadow")
    assert found["brightness"].error <= 1e-3
    assert found["untraced"].value > 0.05
    assert beams.totals.mean.shape == beams.totals.tail.shape == (MOMENTS,)


def test_an_error_that_is_not_reached_is_said():
    """A sampling engine does not draw more rays for it; the exact one does."""
    scene = scene_of(STONE, rl.load_dome("head-shadow"), rl.View(9.0), resolution=8, standard_error=1e-3)
    sampled = rl.trace_scene(scene.with_settings(engine="rays"), by_facet=False).summary
    assert "standard_error" in sampled.shortfalls
    assert sampled.shortfalls["standard_error"].endswith("a sampled engine reaches it by more samples")
    assert "standard_error" not in rl.trace_scene(scene, by_facet=False).summary.shortfalls


def test_series_show_the_error_that_was_asked_for():
    dome, asked = rl.load_dome("head-shadow"), rl.TraceSettings(standard_error=2e-3)
    found = rl.tilt(STONE, dome, [0.0, 9.0], settings=asked)
    assert found.attrs["standard_error"] == 2e-3
    low, high = band(found, "brightness")
    assert np.allclose(high - low, 4.0 * found.brightness_error)
    assert (found.brightness_error <= 2e-3).all()
    plain = rl.tilt(STONE, dome, [0.0], settings=rl.TraceSettings(precision=0.05))
    assert np.array_equal(band(plain, "leak")[1], plain.leak_high)
    assert (band_name(found), band_name(plain)) == ("range of two standard errors to either side", "bracket")
