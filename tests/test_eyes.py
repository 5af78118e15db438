"""Two eyes: disparity by the closed form, far eyes see the parallel view, one eye in the middle sees the perspective one."""

from __future__ import annotations

import doctest
import itertools
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import tifffile
from PIL import Image
from polyhedra import box
from small_scenes import scene_of

import raylab as rl
from raylab.cli import main
from raylab.cli.eyes import FILES
from raylab.color import eyes
from raylab.color.eyes import eye_pair, head_half_angle_deg, usual_pupil_mm, with_head
from raylab.color.picture import color_picture
from raylab.optics.materials import Material
from raylab.tracers.sampled import sampling
from raylab.tracers.shared_symmetry import mirrored_across

STONE = rl.round_brilliant(table_pct=57.0, crown_angle_deg=34.5, pavilion_angle_deg=40.75)
SCENE = scene_of(STONE, rl.load_dome("side-window"), resolution=40, samples=16)


def test_docstrings_say_what_is_computed():
    assert doctest.testmod(eyes).failed == 0


def test_the_edges_of_a_box_stand_where_rays_from_each_eye_put_them():
    """An edge at x and height z stands at e + (x - e) d / (d - z) for an eye at e: similar triangles."""
    d, apart = 10.0, 4.0
    scene = scene_of(box(2.0, 2.0, Material.constant(1.5)), rl.Dome(), resolution=120, samples=16)
    pair = eye_pair(scene, d, apart, spectrum=1)
    pixel, middle = pair.left.grid.pixel_mm, pair.left.coverage[60]
    for seen, e in ((pair.left, -apart / 2), (pair.right, apart / 2)):
        right, left = (pick(e + (side - e) * d / (d - z) for z in (1.0, -1.0)) for pick, side in ((max, 1.0), (min, -1.0)))
        width = seen.coverage[55:65].mean(axis=0)
        x = seen.grid.x_mm
        assert width.sum() * pixel == pytest.approx(right - left, abs=pixel / 4)
        assert (width * x).sum() / width.sum() == pytest.approx((right + left) / 2.0, abs=pixel / 4)
    assert abs(np.argmax(middle) - np.argmax(pair.right.coverage[60])) > 1


def test_far_eyes_see_the_parallel_view():
    """The difference to the exact parallel picture falls with the distance, down to what sampling leaves.

    Tilted: face-up, some rays leave exactly towards the window's edges.
    """
    scene = replace(SCENE, view=rl.View(7.0, 33.0))
    exact = np.nan_to_num(color_picture(scene, spectrum=2).xyz)
    off = []
    for distance in (250.0, 1000.0, 1e4, 1e7):
        pair = eye_pair(scene, distance, spectrum=2)
        off.append([float(np.sqrt(np.mean((np.nan_to_num(one.xyz) - exact) ** 2))) for one in (pair.left, pair.right)])
    assert all(max(far) < min(near) for near, far in itertools.pairwise(off))
    assert off[-1][0] == pytest.approx(off[-1][1], rel=0.02)


def test_one_eye_in_the_middle_sees_the_perspective_view():
    """Against the sampled engine under `View(distance_mm=250)`, other samples: within five standard errors of the mean."""
    pair = eye_pair(SCENE, 250.0, 0.0, spectrum=1)
    result = rl.trace_scene(replace(SCENE, view=rl.View(distance_mm=250.0)).with_settings(wavelengths_nm=550.0))
    mean = (pair.left.xyz[..., 1] * pair.left.coverage)[pair.left.coverage > 0].sum() / pair.left.coverage.sum()
    error = result.summary.brightness.error
    assert 0.0 < error < 0.02 * mean
    assert abs(mean - result.summary.brightness.value) < 5.0 * math.sqrt(2.0) * error
    assert np.array_equal(pair.left.xyz, pair.right.xyz, equal_nan=True)


@pytest.mark.parametrize(
    ("dome", "view", "alike"),
    [
        ("head-shadow", rl.View(), True),
        ("head-shadow", rl.View(turn_deg=45.0), True),
        ("head-shadow", rl.View(tilt_deg=7.0, tilt_azimuth_deg=90.0), True),
        ("head-shadow", rl.View(turn_deg=10.0), False),
        ("head-shadow", rl.View(tilt_deg=7.0), False),
        ("side-window", rl.View(), False),
    ],
)
def test_a_mirror_between_the_eyes_is_found(dome, view, alike):
    assert mirrored_across(STONE, rl.load_dome(dome).table, view.rotation()) == alike


def test_where_a_mirror_stands_between_the_eyes_one_picture_serves_both(monkeypatch):
    """What the right eye would be traced to has other samples: they differ by no more than two sets of samples do."""
    scene = scene_of(STONE, rl.load_dome("head-shadow"), rl.View(tilt_deg=7.0, tilt_azimuth_deg=90.0), resolution=24)
    pair = eye_pair(scene, spectrum=1)
    assert np.array_equal(pair.right.xyz, pair.left.xyz[:, ::-1], equal_nan=True)
    monkeypatch.setattr(eyes, "mirrored_across", lambda *_: False)
    traced, other = eye_pair(scene, spectrum=1), eye_pair(scene.with_settings(seed=1), spectrum=1)
    assert np.array_equal(traced.left.xyz, pair.left.xyz, equal_nan=True)
    seen, right, noisy, left = (
        one.coverage * np.nan_to_num(one.xyz[..., 1]) for one in (pair.right, traced.right, other.right, traced.left)
    )
    noise = np.sqrt(np.mean((right - noisy) ** 2))
    assert np.sqrt(np.mean((right - seen) ** 2)) < 1.3 * noise
    assert np.sqrt(np.mean((right - left) ** 2)) > 1.5 * noise, "the eyes see different pictures"


def test_pairs_for_parallel_and_crossed_eyes():
    pair = eye_pair(SCENE, spectrum=1)
    parallel, crossed = pair.side_by_side(spacing=0.1), pair.side_by_side(crossed=True, spacing=0.1)
    assert parallel.shape == (40, 84, 3)
    assert np.array_equal(parallel[:, :40], pair.left.srgb(0.03))
    assert np.array_equal(crossed[:, :40], pair.right.srgb(0.03))
    assert np.array_equal(parallel[:, 44:], crossed[:, :40])
    assert not np.array_equal(parallel[:, :40], parallel[:, 44:])


def test_the_anaglyph_gives_each_eye_its_picture():
    pair = eye_pair(SCENE, spectrum=1)
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


def test_a_pupil_blurs_what_lies_off_the_girdle():
    """The edge of a box's top, z above the girdle, is spread over a disc of diameter pupil z / (d - z) (similar triangles):
    along x, a disc of radius r has variance r^2 / 4. The edge of its bottom is hidden."""
    d, pupil, z, half = 10.0, 4.0, 1.0, 2.0
    scene = scene_of(box(2.0 * half, 2.0 * z, Material.constant(1.5)), rl.Dome(), resolution=80, samples=36)
    sharp, blurred = (eye_pair(scene, d, 0.0, pupil_mm=p, spectrum=1).left for p in (0.0, pupil))
    rows = slice(34, 46)
    edge = half * d / (d - z)
    radius = 0.5 * pupil * z / (d - z)
    for seen, expected in ((sharp, 0.0), (blurred, radius**2 / 4.0)):
        width, pixel = seen.coverage[rows].mean(axis=0), seen.grid.pixel_mm
        x = seen.grid.x_mm
        right = x > 0.0
        steps, at = -np.diff(width[right]), (x[right][1:] + x[right][:-1]) / 2.0
        middle = steps @ at
        assert steps.sum() == pytest.approx(1.0)
        assert middle == pytest.approx(edge, abs=pixel / 10.0)
        # a pixel adds up to 1/4 of its square, whatever lies within it
        assert steps @ (at - middle) ** 2 == pytest.approx(expected, abs=pixel**2 / 4.0)
    assert radius**2 / 4.0 > 10.0 * sharp.grid.pixel_mm**2 / 4.0


def test_the_pupil_is_filled_evenly():
    """Moments of a unit disc: mean r^2 = 1/2, mean x^2 = 1/4; each pixel's samples take each part of equal area once."""
    points = np.empty((20 * 50 * 16, 2))
    sampling._spread_over_disc(150, np.full(1000, 4, np.int32), 16 * np.arange(1001), 7, points)
    points = points.reshape(-1, 16, 2)
    r2 = (points**2).sum(axis=-1)
    assert r2.max() <= 1.0
    assert r2.mean() == pytest.approx(0.5, abs=1e-3)  # strata of r^2 of width 1/4: standard error 6e-4 of 1/sqrt(12) / 4
    assert (points[..., 0] ** 2).mean() == pytest.approx(0.25, abs=0.004)
    part = np.floor(r2 * 4) * 4 + np.floor(np.arctan2(points[..., 1], points[..., 0]) / (np.pi / 2.0)) % 4
    assert np.array_equal(np.sort(part, axis=1), np.broadcast_to(np.arange(16), part.shape))
    assert len({tuple(row) for row in part.tolist()}) > 900, "in an order of chance"


def test_pupils_narrow_in_light():
    """Limits of the formula: 7.75 mm in the dark and 2 mm in glare at the reference age (from memory, as the formula)."""
    assert usual_pupil_mm(0.0, age_years=28.58) == pytest.approx(7.75)
    assert 2.0 < usual_pupil_mm(1e6, 2e4, 28.58) < 2.2
    assert usual_pupil_mm(1e4) < usual_pupil_mm(10.0)
    assert usual_pupil_mm(100.0, age_years=70.0) < usual_pupil_mm(100.0)


def test_the_command_writes_pairs(tmp_path, capsys):
    scene = str(Path(__file__).parents[1] / "scenes" / "well-proportioned.toml")
    request = ["--resolution", "16", "--spectrum", "1", "--samples", "4", "--pupil-mm", "3", "--head"]
    assert main(["eyes", scene, "--out", str(tmp_path), *request]) == 0
    facts = capsys.readouterr().out
    assert "63 mm apart at 250 mm; head 18.8 degrees" in facts
    assert sorted(path.name for path in tmp_path.iterdir()) == sorted(FILES)
    plain = rl.load_scene(scene)
    again = replace(plain, resolution=16, dome=with_head(plain.dome, 250.0)).with_settings(samples=4)
    pair = eye_pair(again, pupil_mm=3.0, spectrum=1)
    assert np.allclose(tifffile.imread(tmp_path / "left.tiff"), pair.left.linear(), atol=1e-6)
    for name, encoded in (("parallel", pair.side_by_side()), ("crossed", pair.side_by_side(crossed=True))):
        read = np.asarray(Image.open(tmp_path / f"{name}.png").convert("RGB"))
        assert np.abs(read - 255.0 * encoded).max() <= 1.5
    assert main(["eyes", scene, "--out", str(tmp_path), *request]) == 2
    assert "exists already" in capsys.readouterr().err
    for words, says in {
        "--pupil-mm -1": "--pupil-mm = -1.0: out of range",
        "--head --head-width-mm 0": "--head-width-mm = 0.0: out of range",
        "--distance-mm 1": "--distance-mm = 1.0: the eye is inside",
    }.items():
        assert main(["eyes", scene, "--out", str(tmp_path / "o"), *words.split()]) == 2
        assert says in capsys.readouterr().err
    assert not (tmp_path / "o").exists()


def test_eyes_that_cannot_see_are_refused():
    with pytest.raises(rl.InputError, match="inside or behind"):
        eye_pair(SCENE, 0.5)
    with pytest.raises(rl.InputError, match="pupils_apart_mm"):
        eye_pair(SCENE, pupils_apart_mm=-1.0)
    for key, value in (("aside_mm", 1.0), ("pupil_mm", 3.0)):
        with pytest.raises(rl.InputError, match=f"{key} = {value}: needs a perspective view"):
            rl.View(**{key: value})
