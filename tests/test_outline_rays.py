"""Area means by rays over the outline: their places, their errors, and sweeps that use them."""

import math

import numpy as np
import pytest

import raylab as rl
from raylab.results.statistics import Statistic
from raylab.results.statistics.goals import goal_of
from raylab.results.statistics.limits import limits_of
from raylab.results.summary import record
from raylab.scene.scene import Scene
from raylab.scene.settings import TraceSettings
from raylab.tracers.goal import Goal
from raylab.tracers.ledger import ENTRIES
from raylab.tracers.outline_rays import LATTICES, fan_of, fill_points, generator_of
from raylab.tracers.randomizations import RANDOMIZATIONS, USUAL_POINTS, Tried
from raylab.tracers.sampled.outline import outline_totals

ANGLES = {"table_pct": 57, "crown_angle_deg": 34.5, "pavilion_angle_deg": 40.8}
ROUND = rl.round_brilliant(**ANGLES)
OVAL = rl.cut("oval brilliant", length_ratio=1.4, **ANGLES)


def statistics(scene: Scene, goal: Goal | None = None) -> dict[str, Statistic]:
    """Of the area means by rays over the outline."""
    return record(589.3, outline_totals(scene, 589.3, goal), limits_of(scene, 589.3)).statistics


def scene_of(stone=ROUND, view=None, dome="head-shadow", **settings):
    return Scene(stone, rl.load_dome(dome), view or rl.View(), TraceSettings(**settings))


def test_lattices_are_fibonacci_numbers_with_their_generators():
    assert all(c == a + b for a, b, c in zip(LATTICES, LATTICES[1:], LATTICES[2:], strict=False))
    assert [generator_of(points) for points in LATTICES[1:]] == list(LATTICES[:-1])


def test_errors_of_all_lattices_count_together():
    """Each as if of the last one's size, so that none that came out small by chance ends the search alone."""
    tried = Tried(3)
    assert tried.add([0, 2], 233, np.array([2.0, 3.0])) == pytest.approx([2.0, 3.0])
    brought = 2.0 * (233 / 610) ** 0.75
    assert tried.add(0, 610, 0.1) == pytest.approx(math.sqrt((brought**2 + 0.1**2) / 2.0))
    assert tried.add(1, 610, 0.1) == pytest.approx(0.1)
    scene = scene_of(engine="rays", standard_error=2e-3, precision_of=("brightness",))
    found = statistics(scene, goal_of(scene))["brightness"]
    assert 0.0 < found.error <= 2e-3


@pytest.mark.parametrize(("view", "parts"), [(rl.View(), 16), (rl.View(20.0, 90.0), 2), (rl.View(20.0, 77.0), 1)])
def test_equal_areas_take_equal_numbers_of_rays(view, parts):
    scene = scene_of(view=view)
    fan = fan_of(scene)
    out = np.diff(np.vstack([fan.hub, fan.rim, fan.hub]), axis=0)
    corners = np.vstack([fan.hub, fan.rim])
    x, y = corners.T
    area = 0.5 * float((x * np.roll(y, -1) - y * np.roll(x, -1)).sum())
    assert area == pytest.approx(fan.area_mm2 / parts, rel=1e-9)
    assert np.isfinite(out).all()
    points = 4181
    places = np.empty((points, 2))
    fill_points(points, generator_of(points), 3, 0, fan.hub, fan.rim, fan.upto, places)
    # mean and mean square of a place over a polygon, from its triangles
    a, b, c = fan.hub, fan.rim[:-1], fan.rim[1:]
    share = np.diff(np.concatenate([[0.0], fan.upto]))[:, None]
    middle = (share * (a + b + c) / 3.0).sum(axis=0)
    square = (share * (a * a + b * b + c * c + a * b + a * c + b * c) / 6.0).sum(axis=0)
    assert places.mean(axis=0) == pytest.approx(middle, abs=2e-3)
    assert (places**2).mean(axis=0) == pytest.approx(square, abs=1e-2)


SCENES = [scene_of(), scene_of(OVAL, rl.View(12.0, 30.0)), scene_of(view=rl.View(90.0, 20.0))]


@pytest.mark.parametrize("scene", SCENES, ids=["round", "oval", "side"])
def test_the_estimate_and_its_error_agree_with_the_exact_engine(scene):
    exact = rl.trace(scene.stone, scene.dome, scene.view, resolution=16, precision=1e-3, by_facet=False).summary.statistics
    found = statistics(scene)
    for key, one in found.items():
        if one.error > 0.0:
            far = math.hypot(one.error, exact[key].error)
            assert exact[key].low - 5.0 * far <= one.value <= exact[key].high + 5.0 * far, key
    assert 0.0 < found["brightness"].error < 2e-3
    assert sum(found[key].value for key in ENTRIES) == pytest.approx(1.0)


def test_errors_are_as_large_as_stated():
    """Twenty seeds: the scatter of the values about their mean, over the stated variance, is a chi-square of 19."""
    values, errors = [], []
    for seed in range(20):
        one = statistics(scene_of(seed=seed))["brightness"]
        values.append(one.value)
        errors.append(one.error)
    chi2 = float(((np.array(values) - np.mean(values)) ** 2).sum() / np.mean(np.square(errors)))
    assert 5.4 < chi2 < 45.3  # 99.8 %, taking the errors, each from RANDOMIZATIONS, for known in the mean
    assert RANDOMIZATIONS * len(values) > 100


def test_what_no_ray_met_has_the_error_of_one_ray():
    scene = Scene(ROUND, rl.Dome(head_half_angle_deg=0.01), rl.View(7.0, 20.0))
    found = statistics(scene)
    assert (found["head"].value, found["head"].error) == (0.0, pytest.approx(1.0 / (RANDOMIZATIONS * USUAL_POINTS)))
    assert found["absorbed"].error == found["scattered"].error == 0.0


def test_a_wanted_error_is_reached_and_is_not_by_far_too_small():
    scene = scene_of(standard_error=4e-4, precision_of=("brightness",))
    one = statistics(scene, goal_of(scene))["brightness"]
    assert 4e-5 < one.error <= 4e-4


def test_a_sweep_by_rays_gives_the_numbers_of_the_exact_one():
    axes = {"pavilion_angle_deg": [40.6, 40.9, 89.5]}
    fixed = {"table_pct": 57, "crown_angle_deg": 34.5}
    exact = rl.sweep(axes, "head-shadow", settings=TraceSettings(precision=1e-3), **fixed)
    rays = rl.sweep(axes, "head-shadow", settings=TraceSettings(engine="rays", standard_error=2e-3), **fixed)
    assert rays.attrs["engine"] == "rays"
    assert rays.reason.values.tolist() == exact.reason.values.tolist()
    assert np.all(rays.brightness_error[:2] <= 2e-3)
    assert np.all(rays.brightness_error[:2] > 0.0)
    assert np.all(abs(rays.brightness - exact.brightness)[:2] < 5.0 * rays.brightness_error[:2] + 1e-3)
    assert rays.weight_ct.equals(exact.weight_ct)
