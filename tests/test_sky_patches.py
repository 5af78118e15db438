"""Means of sky images over patches: closed forms, means kept, nothing missed; cones of perspective pixels."""

from __future__ import annotations

import math

import numpy as np
import pytest
from polyhedra import box
from small_scenes import scene_of

import raylab as rl
from raylab.lighting.dome import _image_radiance, sky_radiance
from raylab.lighting.sky_image import patch_mean, running_integral
from raylab.optics.materials import Material
from raylab.scene.pixel_grid import PixelGrid
from raylab.scene.view import View
from raylab.tracers.ledger import LUMINANCE
from raylab.tracers.packets import PathRules
from raylab.tracers.sampled.rays import trace_rays
from raylab.tracers.sampled.sampling import sample_image
from raylab.tracers.sampled.view_rays import view_cones
from raylab.tracers.stone_table import stone_table
from raylab.units import direction

ROWS, COLUMNS = 12, 24
IMAGE = np.random.default_rng(5).uniform(0.0, 1.0, (ROWS, COLUMNS))
RUNNING = running_integral(IMAGE)
HEIGHTS = -np.diff(np.cos(np.pi * np.arange(ROWS + 1) / ROWS))
SPHERE_MEAN = float((IMAGE * HEIGHTS[:, None]).sum() / (2.0 * COLUMNS))


def directions(number):
    ways = np.random.default_rng(11).normal(size=(number, 3))
    ways[:4] = [[0, 0, 1], [0, 0, -1], [-1, 1e-9, 0], [-1, -1e-9, 0.2]]
    return ways / np.linalg.norm(ways, axis=1)[:, None]


def even_pixels(z, azimuth):
    """The image read at heights and azimuths, each pixel even."""
    row = np.minimum((np.arccos(z) / np.pi * ROWS).astype(int), ROWS - 1)
    return IMAGE[row, np.floor((0.5 - azimuth / (2.0 * np.pi)) * COLUMNS).astype(int) % COLUMNS]


def test_the_whole_sphere_is_its_mean():
    assert RUNNING[-1, -1] == pytest.approx(4.0 * math.pi * SPHERE_MEAN, rel=1e-13)
    for x, y, z in directions(40):
        assert patch_mean(x, y, z, 4.0 * math.pi, RUNNING) == pytest.approx(SPHERE_MEAN, rel=1e-12)
        assert patch_mean(x, y, z, 100.0, RUNNING) == pytest.approx(SPHERE_MEAN, rel=1e-12)


@pytest.mark.parametrize("cone", [1e-4, 0.01, 0.3, 3.0, 9.0])
def test_an_even_sky_stays_even(cone):
    even = running_integral(np.full((ROWS, COLUMNS), 0.7))
    for x, y, z in directions(200):
        assert patch_mean(x, y, z, cone, even) == pytest.approx(0.7, rel=1e-9)


@pytest.mark.parametrize(("elevation", "azimuth", "cone"), [(0, 17, 0.2), (50, 178, 0.3), (-35, -90, 1.0), (60, 10, 0.7)])
def test_a_patch_is_the_mean_by_quadrature(elevation, azimuth, cone):
    """Against the middles of 2000 x 2000 parts of the patch; an edge of a pixel is met to half a part."""
    half, polar = math.sqrt(cone) / 2.0, math.radians(90.0 - elevation)
    top, bottom = math.cos(polar - half), math.cos(polar + half)
    middles = (np.arange(2000) + 0.5) / 2000
    z = bottom + (top - bottom) * middles
    around = math.radians(azimuth) + cone / (top - bottom) * (middles - 0.5)
    expected = even_pixels(z[:, None], around[None, :]).mean()
    assert patch_mean(*direction(elevation, azimuth), cone, RUNNING) == pytest.approx(expected, abs=1e-3)


def test_the_mean_over_the_sphere_is_kept():
    """Filtering moves light, and keeps it: exactly in azimuth, to the square of the patch's width in elevation."""
    z, w = np.polynomial.legendre.leggauss(400)
    azimuths = 2.0 * np.pi * (np.arange(48) + 0.25) / 48
    off = []
    for cone in (0.4, 0.1, 0.025):
        total = 0.0
        for height, weight in zip(z, w, strict=True):
            flat = math.sqrt(1.0 - height**2)
            ring = [patch_mean(flat * math.cos(a), flat * math.sin(a), height, cone, RUNNING) for a in azimuths]
            total += weight * float(np.mean(ring)) / 2.0
        off.append(abs(total / SPHERE_MEAN - 1.0))
    assert off[0] < 0.02
    assert off[2] < off[0] / 4


def test_a_narrow_cone_reads_the_picture_as_before():
    dome = rl.Dome(sky="image", image=IMAGE)
    limit = (math.pi / ROWS) ** 2
    for x, y, z in directions(50):
        plain = _image_radiance(x, y, z, dome.table.image)
        assert sky_radiance(x, y, z, dome.table, 0.99 * limit)[0] == plain == float(dome.radiance([x, y, z]))
        assert sky_radiance(x, y, z, dome.table, 1.01 * limit)[0] == patch_mean(x, y, z, 1.01 * limit, dome.table.integral)


def test_a_cone_of_a_pixel_is_its_solid_angle():
    """Summed over a square on the map plane: 4 atan(a b/(d sqrt(a^2 + b^2 + d^2))) for half sides a, b; closed form."""
    side, d, n = 8.0, 10.0, 400
    at = (np.arange(n) + 0.5) / n * side - side / 2.0
    points = np.stack(np.meshgrid(at, at), axis=-1).reshape(-1, 2)
    found = view_cones(points, View(distance_mm=d), (side / n) ** 2).sum()
    assert found == pytest.approx(4.0 * math.atan(16.0 / (d * math.sqrt(32.0 + d**2))), rel=1e-5)
    assert view_cones(points, View(), 1.0) is None


def test_a_lamp_narrower_than_a_pixel_is_not_missed():
    """The black body of a box mirrors a lamp of 0.3 degrees into a picture of 1.4 degrees a pixel, one sample each.

    Closed form: the pixels' luminance times their solid angle sums to R(10 degrees) times the lamp's. In the mean over jitters
    that must come out to 5 standard errors; and far fewer pictures miss the lamp than do without cones.
    """
    rows, d = 512, 40.0
    image = np.zeros((rows, 2 * rows))
    row = round(10.0 / 180.0 * rows)
    image[row, rows + 100] = 1.0
    lamp_sr = float(running_integral(image)[-1, -1])
    black = Material.constant(1.5).tinted(1e3)
    stone, dome, grid = box(20.0, 2.0, black), rl.Dome(sky="image", image=image), PixelGrid(-10.0, -10.0, 1.0, 20)
    view = View(distance_mm=d)
    inner = slice(2, 18)  # wholly mirrored by the table
    centers = np.stack(np.meshgrid(grid.x_mm, grid.y_mm), axis=-1).reshape(-1, 2)
    solid = view_cones(centers, view, 1.0).reshape(20, 20)[inner, inner]
    cos_i, n = math.cos(math.pi * (row + 0.5) / rows), 1.5
    cos_t = math.sqrt(1.0 - (1.0 - cos_i**2) / n**2)
    r_s, r_p = (cos_i - n * cos_t) / (cos_i + n * cos_t), (n * cos_i - cos_t) / (n * cos_i + cos_t)
    mirrored = (r_s**2 + r_p**2) / 2.0 * lamp_sr
    totals = []
    for seed in range(200):
        seen = sample_image(scene_of(stone, dome, view, samples=1, seed=seed), 589.3, grid).fields["luminance"][inner, inner]
        totals.append((seen * solid).sum() / mirrored)
    error = np.std(totals, ddof=1) / math.sqrt(len(totals))
    assert error < 0.1
    assert abs(np.mean(totals) - 1.0) < 5.0 * error
    points = centers + np.random.default_rng(2).uniform(-0.5, 0.5, (60, 400, 2))
    plain = []
    for some in points:
        eye = np.array([0.0, 0.0, d])
        ways = np.column_stack([some, np.zeros(400)]) - eye
        ways /= np.linalg.norm(ways, axis=1)[:, None]
        out = trace_rays(np.broadcast_to(eye, ways.shape), ways, stone_table(stone, 589.3), dome.table, np.eye(3))[0]
        plain.append(out[:, LUMINANCE].max())
    assert np.mean(np.array(plain) == 0.0) > 0.5
    assert np.mean(np.array(totals) == 0.0) < 0.5 * np.mean(np.array(plain) == 0.0)


def test_a_slab_hands_a_cone_through_unchanged():
    """Faces that are parallel undo each other: light through a slab is averaged over just the cone that came in."""
    slab, view, side = box(30.0, 2.0, Material.constant(2.4)), View(tilt_deg=180.0, distance_mm=50.0), 4.0
    image = np.random.default_rng(1).uniform(0.0, 1.0, (64, 128))
    dome = rl.Dome(sky="image", image=image, head_half_angle_deg=0.0, tray_radiance=0.0)
    point = np.array([[3.0, 1.0]])
    cone = view_cones(point, view, side**2)[0]
    assert cone > (math.pi / 64) ** 2
    eye = np.array([0.0, 0.0, 50.0])
    ray = np.array([3.0, 1.0, 0.0]) - eye
    ray /= np.linalg.norm(ray)
    turn = view.rotation()
    table = stone_table(slab, 589.3)
    rules = PathRules(polarized=False, min_weight=0.0, max_bounces=1)
    found = trace_rays((eye @ turn)[None], (ray @ turn)[None], table, dome.table, turn, cones=np.array([cone]), rules=rules)[0]
    cos_i, n = -ray[2], 2.4
    cos_t = math.sqrt(1.0 - (1.0 - cos_i**2) / n**2)
    r_s, r_p = (cos_i - n * cos_t) / (cos_i + n * cos_t), (n * cos_i - cos_t) / (n * cos_i + cos_t)
    through = (1.0 - (r_s**2 + r_p**2) / 2.0) ** 2
    expected = through * patch_mean(*ray, cone, dome.table.integral) if found[0, 1] > 0 else 0.0
    assert found[0, LUMINANCE] == pytest.approx(expected, rel=1e-9)
    assert found[0, LUMINANCE] > 0.0
