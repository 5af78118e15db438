"""Two eyes: disparity by the closed form, far eyes see the parallel view, one eye in the middle sees the perspective one."""

from __future__ import annotations

import doctest
import itertools
import math
from dataclasses import replace

import numpy as np
import pytest
from polyhedra import box

import raylab as rl
from raylab.color import eyes
from raylab.color.eyes import eye_pair, head_half_angle_deg, with_head
from raylab.color.picture import picture
from raylab.optics.materials import Material

STONE = rl.round_brilliant(table_pct=57.0, crown_angle_deg=34.5, pavilion_angle_deg=40.75)
SCENE = rl.Scene(STONE, rl.load_dome("side-window"), resolution=40, samples=16)


def test_docstrings_say_what_is_computed():
    assert doctest.testmod(eyes).failed == 0


def test_the_edges_of_a_box_stand_where_rays_from_each_eye_put_them():
    """An edge at x and height z stands at e + (x - e) d / (d - z) for an eye at e: similar triangles."""
    d, apart = 10.0, 4.0
    scene = rl.Scene(box(2.0, 2.0, Material.constant(1.5)), rl.Dome(), resolution=120, samples=16)
    pair = eye_pair(scene, d, apart, wavelengths=1)
    pixel, middle = pair.left.frame.pixel_mm, pair.left.coverage[60]
    for seen, e in ((pair.left, -apart / 2), (pair.right, apart / 2)):
        right, left = (pick(e + (side - e) * d / (d - z) for z in (1.0, -1.0)) for pick, side in ((max, 1.0), (min, -1.0)))
        width = seen.coverage[55:65].mean(axis=0)
        x = seen.frame.x_mm
        assert width.sum() * pixel == pytest.approx(right - left, abs=pixel / 4)
        assert (width * x).sum() / width.sum() == pytest.approx((right + left) / 2.0, abs=pixel / 4)
    assert abs(np.argmax(middle) - np.argmax(pair.right.coverage[60])) > 1


def test_far_eyes_see_the_parallel_view():
    """The difference to the exact parallel picture falls with the distance, down to what sampling leaves.

    Tilted: face-up, some rays leave exactly towards the window's edges.
    """
    scene = replace(SCENE, view=rl.View(7.0, 33.0))
    exact = np.nan_to_num(picture(scene, wavelengths=2).xyz)
    off = []
    for distance in (250.0, 1000.0, 1e4, 1e7):
        pair = eye_pair(scene, distance, wavelengths=2)
        off.append([float(np.sqrt(np.mean((np.nan_to_num(one.xyz) - exact) ** 2))) for one in (pair.left, pair.right)])
    assert all(max(far) < min(near) for near, far in itertools.pairwise(off))
    assert off[-1][0] == pytest.approx(off[-1][1], rel=0.02)


def test_one_eye_in_the_middle_sees_the_perspective_view():
    """Against the sampled engine under `View(distance_mm=250)`, other samples: within five standard errors of the mean."""
    pair = eye_pair(SCENE, 250.0, 0.0, wavelengths=1)
    result = rl.trace_scene(replace(SCENE, view=rl.View(distance_mm=250.0), wavelengths_nm=550.0))
    mean = (pair.left.xyz[..., 1] * pair.left.coverage)[pair.left.coverage > 0].sum() / pair.left.coverage.sum()
    error = result.summary.brightness.error
    assert 0.0 < error < 0.02 * mean
    assert abs(mean - result.summary.brightness.value) < 5.0 * math.sqrt(2.0) * error
    assert np.array_equal(pair.left.xyz, pair.right.xyz, equal_nan=True)


def test_pairs_for_parallel_and_crossed_eyes():
    pair = eye_pair(SCENE, wavelengths=1)
    parallel, crossed = pair.side_by_side(gap=0.1), pair.side_by_side(crossed=True, gap=0.1)
    assert parallel.shape == (40, 84, 3)
    assert np.array_equal(parallel[:, :40], pair.left.srgb(0.03))
    assert np.array_equal(crossed[:, :40], pair.right.srgb(0.03))
    assert np.array_equal(parallel[:, 44:], crossed[:, :40])
    assert not np.array_equal(parallel[:, :40], parallel[:, 44:])


def test_the_anaglyph_gives_each_eye_its_picture():
    pair = eye_pair(SCENE, wavelengths=1)
    only_left = replace(pair, right=replace(pair.right, xyz=np.zeros_like(pair.right.xyz)))
    seen, half = pair.anaglyph(0.0), only_left.anaglyph(0.0)
    assert np.array_equal(seen[..., 1], seen[..., 2])
    assert half[..., 0].max() > 0.3
    assert half.min() >= 0.0
    assert seen.max() <= 1.0
    assert np.abs(seen[..., 0] - seen[..., 1]).max() > 0.1


def test_the_head_follows_distance_and_size():
    assert head_half_angle_deg(85.0) == pytest.approx(45.0)
    assert math.tan(math.radians(with_head(rl.Dome(), 300.0).head_half_angle_deg)) == pytest.approx(85.0 / 300.0, rel=1e-12)
    assert with_head(rl.Dome(), 600.0).head_half_angle_deg < 8.1


def test_eyes_that_cannot_see_are_refused():
    with pytest.raises(rl.InputError, match="inside or behind"):
        eye_pair(SCENE, 0.5)
    with pytest.raises(rl.InputError, match="pupils_apart_mm"):
        eye_pair(SCENE, pupils_apart_mm=-1.0)
