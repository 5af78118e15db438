"""Views: how a tilt turns the stone, what the silhouette is, and the pixel grid around it."""

import math

import numpy as np
import pytest
from polyhedra import box

from raylab.errors import InputError
from raylab.scene.pixel_grid import PixelGrid, grid_around
from raylab.scene.view import View, silhouette

CUBE = box(2.0, 2.0, 1.5)


@pytest.mark.parametrize("view", [View(), View(33, 120, -700), View(180, -45, 12), View(90, 90, 90)])
def test_rotation_is_proper(view):
    turn = view.rotation()
    assert turn @ turn.T == pytest.approx(np.eye(3), abs=1e-15)
    assert np.linalg.det(turn) == pytest.approx(1.0, abs=1e-15)


def test_tilt_leans_the_table_towards_its_azimuth():
    for azimuth in (0.0, 40.0, 225.0):
        table = View(tilt_deg=20.0, tilt_azimuth_deg=azimuth).rotation() @ [0.0, 0.0, 1.0]
        lean = math.sin(math.radians(20.0))
        expected = [
            lean * math.cos(math.radians(azimuth)),
            lean * math.sin(math.radians(azimuth)),
            math.cos(math.radians(20.0)),
        ]
        assert table == pytest.approx(expected, abs=1e-15)


def test_turn_comes_before_tilt_and_is_counter_clockwise():
    assert View(turn_deg=90.0).rotation() @ [1.0, 0.0, 0.0] == pytest.approx([0.0, 1.0, 0.0], abs=0.0)
    turned = View(tilt_deg=90.0, tilt_azimuth_deg=0.0, turn_deg=90.0).rotation()
    assert turned @ [1.0, 0.0, 0.0] == pytest.approx([0.0, 1.0, 0.0], abs=1e-16)
    assert turned @ [0.0, 0.0, 1.0] == pytest.approx([1.0, 0.0, 0.0], abs=1e-16)


def test_quarter_turns_are_exact():
    assert set(np.abs(View(tilt_deg=180.0).rotation()).ravel()) == {0.0, 1.0}
    assert np.array_equal(View(turn_deg=360.0).rotation(), np.eye(3))


def test_parallel_silhouette_is_a_projection():
    assert View().parallel
    assert np.abs(silhouette(CUBE, View())) == pytest.approx(np.ones((8, 2)))
    wide = silhouette(CUBE, View(tilt_deg=45.0))
    assert np.ptp(wide[:, 0]) == pytest.approx(2.0 * math.sqrt(2.0))


def test_perspective_shows_the_near_face_larger():
    """From 5 mm above the middle: the face at z = 1 is seen under 1/4, at z = -1 under 1/6, on the plane z = 0."""
    points = silhouette(CUBE, View(distance_mm=5.0))
    assert sorted(set(np.round(np.abs(points[:, 0]), 12))) == pytest.approx([5.0 / 6.0, 5.0 / 4.0])
    assert not View(distance_mm=5.0).parallel
    far = silhouette(CUBE, View(distance_mm=1e7))
    assert np.abs(far) == pytest.approx(np.ones((8, 2)), abs=1e-6)


@pytest.mark.parametrize("distance", [0.5, 1.0])
def test_an_eye_inside_the_stone_is_refused(distance):
    with pytest.raises(InputError, match=r"view.distance_mm = .*expected more than 1 mm"):
        silhouette(CUBE, View(distance_mm=distance))


def test_frame_holds_the_stone_with_its_margin():
    grid = grid_around(CUBE, View(), 100)
    assert grid == PixelGrid(-1.04, -1.04, pytest.approx(0.0208), 100)
    assert grid.x_mm == pytest.approx(-grid.x_mm[::-1], abs=1e-15)
    assert np.all(np.diff(grid.y_mm) > 0.0)
    assert grid.x_mm[0] - grid.pixel_mm / 2 == pytest.approx(-1.04)


@pytest.mark.parametrize("resolution", [0, -1, 2.5, True, 20000])
def test_impossible_resolutions_are_refused(resolution):
    with pytest.raises(InputError, match="resolution"):
        grid_around(CUBE, View(), resolution)


@pytest.mark.parametrize(
    "wrong", [{"tilt_deg": -1}, {"tilt_deg": 181}, {"tilt_azimuth_deg": 400}, {"distance_mm": 0.0}, {"turn_deg": "x"}]
)
def test_impossible_views_are_refused(wrong):
    with pytest.raises(InputError, match=next(iter(wrong))):
        View(**wrong)
