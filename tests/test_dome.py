"""`Dome.radiance` against published sky values, closed forms and its own words."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from raylab.errors import InputError
from raylab.lighting.dome import Dome, Lamp, Zone
from raylab.units import direction


def sphere(polar: int = 400, around: int = 400, low: float = -1.0) -> tuple[np.ndarray, np.ndarray]:
    """Directions (N, 3) and weights (N,) of a product rule over the part of the sphere with z from `low` to 1:
    Gauss-Legendre in z, evenly spaced in azimuth."""
    node, weight = np.polynomial.legendre.leggauss(polar)
    z = low + (node + 1.0) * (1.0 - low) / 2.0
    azimuth = (np.arange(around) + 0.5) / around * 2.0 * math.pi
    ring = np.sqrt(1.0 - z * z)
    xyz = np.stack(np.broadcast_arrays(ring[:, None] * np.cos(azimuth), ring[:, None] * np.sin(azimuth), z[:, None]), -1)
    solid = np.broadcast_to((weight * (1.0 - low) / 2.0 * 2.0 * math.pi / around)[:, None], xyz.shape[:2])
    return xyz.reshape(-1, 3), solid.reshape(-1)


@pytest.mark.parametrize(("zenith_angle_deg", "relative"), [(0, 1.0), (30, 0.9106836), (60, 0.6666667), (90, 0.3333333)])
def test_cie_overcast_luminance(zenith_angle_deg, relative):
    """L/Lz = (1 + 2 sin elevation)/3: CIE S 011:2003 / ISO 15469, values rounded to 1e-7 in the table they were taken from."""
    for azimuth in (0.0, 73.0, 240.0):
        found = Dome(sky="overcast").radiance(direction(90.0 - zenith_angle_deg, azimuth))
        assert found == pytest.approx(relative, abs=6e-8)


def test_cie_overcast_illuminances():
    """Horizontal 7 pi/9, on a vertical plane pi/6 + 4/9, mean 2/3 (closed forms of CIE S 011:2003's formula)."""
    unit, solid = sphere(60, 400, low=0.0)
    seen = Dome(sky="overcast").radiance(unit) * solid
    assert np.sum(seen * unit[:, 2]) == pytest.approx(7.0 * math.pi / 9.0, rel=1e-12)
    # the vertical plane's integrand has a kink in azimuth: the midpoint rule of 400 nodes is good to (pi/400)^2/6 = 1e-5
    vertical = np.sum(seen * np.maximum(unit[:, 0], 0.0))
    assert vertical == pytest.approx(math.pi / 6.0 + 4.0 / 9.0, rel=3e-5)
    assert vertical / np.sum(seen * unit[:, 2]) == pytest.approx(0.396177078, rel=3e-5)
    assert np.sum(seen) / (2.0 * math.pi) == pytest.approx(2.0 / 3.0, rel=1e-12)


def test_below_the_horizon_the_overcast_sky_keeps_the_horizon_value():
    assert Dome(sky="overcast").radiance(direction(-50.0, 10.0)) == pytest.approx(1.0 / 3.0, rel=1e-15)


def test_elevation_is_above_the_horizontal_and_azimuth_counter_clockwise():
    dome = Dome(sky_radiance=0.0, zones=(Zone((50, 70), (80, 100), 1.0),))
    up60_y = np.array([0.0, math.cos(math.radians(60)), math.sin(math.radians(60))])
    assert dome.radiance(up60_y) == 1.0
    assert dome.radiance(up60_y * [1, -1, 1]) == 0.0  # azimuth 270
    assert dome.radiance(up60_y * [1, 1, -1]) == 0.0  # elevation -60
    assert dome.radiance(up60_y[[1, 0, 2]]) == 0.0  # azimuth 0
    assert dome.radiance(direction(30.0, 90.0)) == 0.0  # 60 degrees from the zenith


@pytest.mark.parametrize("span", [(350, 370), (-10, 10), (710, 720)])
def test_a_zone_may_cross_plus_x(span):
    dome = Dome(sky_radiance=0.5, zones=(Zone((0, 20), span, 1.0),))
    inside = np.arange(math.ceil(span[0]) + 1, span[1])
    assert np.all(dome.radiance([direction(10.0, a) for a in inside]) == 1.0)
    outside = np.arange(span[1] + 1, span[0] + 360)
    assert np.all(dome.radiance([direction(10.0, a) for a in outside]) == 0.5)


def test_a_zone_covers_its_solid_angle():
    """A zone fills span x (sin high - sin low) steradian; the grid counts whole cells, at most one off in each direction."""
    unit, solid = sphere(1000, 360)
    dome = Dome(sky_radiance=0.0, zones=(Zone((20, 45), (300, 390), 1.0),))
    exact = math.radians(90) * (math.sin(math.radians(45)) - math.sin(math.radians(20)))
    edge = math.radians(90) * 2 * (math.pi / 2 / 1000)  # two edges, half a Gauss step each, at most
    assert np.sum(dome.radiance(unit) * solid) == pytest.approx(exact, abs=edge)


def test_later_zones_and_lamps_cover_earlier_ones():
    dome = Dome(
        sky_radiance=0.1,
        zones=(Zone((0, 90), radiance=0.5), Zone((40, 60), radiance=0.0), Zone((45, 50), (0, 90), 0.8)),
        lamps=(Lamp(50, 45, 2, 0.9), Lamp(50, 45, 1, 1.0)),
    )
    assert dome.radiance(direction(-5, 0)) == 0.1
    assert dome.radiance(direction(30, 0)) == 0.5
    assert dome.radiance(direction(55, 0)) == 0.0
    assert dome.radiance(direction(47, 60)) == 0.8
    assert dome.radiance(direction(51.5, 45)) == 0.9
    assert dome.radiance(direction(50.5, 45)) == 1.0


@pytest.mark.parametrize(("elevation", "azimuth", "radius"), [(90, 0, 2.0), (55, 200, 5.0), (0, 359, 30.0), (-40, 20, 12.0)])
def test_a_lamp_covers_its_solid_angle(elevation, azimuth, radius):
    """A cone of half-angle a fills 2 pi (1 - cos a) steradian."""
    dome = Dome(sky_radiance=0.0, lamps=(Lamp(elevation, azimuth, radius),))
    axis = direction(elevation, azimuth)
    side = np.linalg.svd(axis[None])[2][1:]  # two axes across the lamp's
    # Along any great circle through the centre the lamp ends at its radius, to rounding of the cosine.
    for turn in np.linspace(0.0, 2.0 * math.pi, 12, endpoint=False):
        away = math.cos(turn) * side[0] + math.sin(turn) * side[1]
        for offset, lit in ((-1e-6, 1.0), (1e-6, 0.0)):
            angle = math.radians(radius + offset)
            assert dome.radiance(math.cos(angle) * axis + math.sin(angle) * away) == lit
    unit, solid = sphere(600, 600)
    exact = 2.0 * math.pi * (1.0 - math.cos(math.radians(radius)))
    rim = 2.0 * math.pi * math.sin(math.radians(radius)) * (2.0 * math.pi / 600)  # one cell all round
    assert np.sum(dome.radiance(unit) * solid) == pytest.approx(exact, abs=rim / 4.0)


def test_radiances_are_reported_against_the_brightest():
    dome = Dome(sky_radiance=2.0, lamps=(Lamp(90, radius_deg=5, radiance=8.0),), tray_radiance=4.0)
    assert (dome.radiance(direction(90, 0)), dome.radiance(direction(10, 0)), dome.table.tray) == (1.0, 0.25, 0.5)
    assert dome.peak_radiance == 1.0
    absolute = Dome(sky_radiance=2.0, lamps=(Lamp(90, radius_deg=5, radiance=8.0),), absolute=True)
    assert (absolute.radiance(direction(90, 0)), absolute.radiance(direction(10, 0))) == (8.0, 2.0)
    assert absolute.peak_radiance == 8.0


def test_an_image_dome_gives_back_a_known_function():
    """An image painted with L = 3 + x + 0.7 y + z/2 at pixel centres; the bilinear look-up errs by h^2/8 of
    the second derivatives."""
    rows, columns = 256, 512

    def painted(unit: np.ndarray) -> np.ndarray:
        return 3.0 + unit[..., 0] + 0.7 * unit[..., 1] + 0.5 * unit[..., 2]

    elevation = 90.0 - (np.arange(rows) + 0.5) / rows * 180.0
    azimuth = 180.0 - (np.arange(columns) + 0.5) / columns * 360.0  # 180 at the left edge, seen from inside
    pixels = np.array([[painted(direction(e, a)) for a in azimuth] for e in elevation])
    dome = Dome(sky="image", image=pixels, absolute=True)
    unit, _ = sphere(41, 77)
    step = math.pi / rows
    # second derivatives of x, y and z are at most 1 in both angles; at the poles the look-up is held, half a step of slope
    held = np.abs(unit[:, 2]) > math.cos(step)
    error = np.abs(dome.radiance(unit) - painted(unit))
    assert error[~held].max() < 2.0 * 2.2 * step**2 / 8.0
    assert error.max() < step * 2.2
    poles = [(0.0, 0.0, 1.0), (0.0, 0.0, -1.0), (-1.0, 1e-9, 0.0), (-1.0, -1e-9, 0.0)]
    assert np.allclose(dome.radiance(poles), [painted(np.array(p)) for p in poles], atol=2.2 * step)
    for pixel in ((3, 5), (128, 0), (128, 511), (255, 300)):
        at = direction(elevation[pixel[0]], azimuth[pixel[1]])
        assert dome.radiance(at) == pytest.approx(pixels[pixel], rel=1e-12)


def test_an_image_is_scaled_by_sky_radiance_and_lies_under_zones():
    image = np.full((4, 8), 3.0)
    image[0] = 6.0
    dome = Dome(sky="image", image=image, sky_radiance=0.5, zones=(Zone((-10, 10), radiance=0.75),), absolute=True)
    assert dome.radiance(direction(90, 0)) == 3.0
    assert dome.radiance(direction(-80, 33)) == 1.5
    assert dome.radiance(direction(0, 200)) == 0.75
    assert dome.peak_radiance == 3.0


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        (lambda: Zone((30, 20)), "elevation_deg = .*the low end first"),
        (lambda: Zone((0, 10), (20, 20)), "azimuth_deg = .*empty zone, or a zone that overlaps"),
        (lambda: Zone((0, 10), (0, 361)), "azimuth_deg = .*empty zone, or a zone that overlaps"),
        (lambda: Zone((0, 91)), "elevation_deg = 91: out of range"),
        (lambda: Zone((0, 10), radiance=-1), "radiance = -1: out of range"),
        (lambda: Lamp(10, radius_deg=0), "radius_deg = 0: out of range"),
        (lambda: Lamp(math.nan), "elevation_deg = nan: out of range"),
        (lambda: Dome(sky="blue"), "sky = 'blue': unknown sky; expected one of even, overcast, image"),
        (lambda: Dome(sky="image"), "needs sky = 'image' together with an image"),
        (lambda: Dome(image=np.ones((4, 8))), "needs sky = 'image' together with an image"),
        (lambda: Dome(sky="image", image=-np.ones((4, 8))), "invalid sky image"),
        (lambda: Dome(sky="image", image=np.full((4, 8), np.nan)), "invalid sky image"),
        (lambda: Dome(sky_radiance=0.0), "no light"),
        (lambda: Dome(head_half_angle_deg=91), "head_half_angle_deg = 91: out of range"),
        (lambda: Dome(tray_radiance=math.inf), "tray_radiance = inf: out of range"),
    ],
)
def test_unusable_domes_are_refused(wrong, says):
    with pytest.raises(InputError, match=says):
        wrong()


def test_a_digest_follows_the_light_and_nothing_else():
    dome = Dome(sky_radiance=0.5, zones=(Zone((10.0, 20.0)),), lamps=(Lamp(40.0, 30.0),), head_half_angle_deg=10.0)
    same = replace(dome, name="another", description="called otherwise", sky_radiance=np.float64(0.5), tray_radiance=-0.0)
    assert same.digest == dome.digest
    changes = [
        {"sky": "overcast"},
        {"sky_radiance": 0.25},
        {"zones": ()},
        {"zones": (Zone((10.0, 20.0), radiance=0.5),)},
        {"lamps": (Lamp(40.0, 31.0),)},
        {"head_half_angle_deg": 11.0},
        {"tray_radiance": 0.1},
        {"absolute": True, "sky_radiance": 2.0},
        {"sky": "image", "image": np.ones((2, 4))},
        {"sky": "image", "image": np.ones((4, 2))},
    ]
    assert len({dome.digest, *(replace(dome, **change).digest for change in changes)}) == len(changes) + 1
