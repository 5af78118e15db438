"""Planes from what they face and pass through, against vectors: cross products share nothing with slopes and azimuths."""

from __future__ import annotations

import math

import numpy as np
import pytest

from raylab.stone.planes import (
    DOWN,
    SIDES,
    UP,
    Position,
    Slant,
    facing_deg,
    normal_of,
    normal_of_deg,
    plane_at,
    ring,
    tangent_through,
    through_edge_and_position,
)

RNG = np.random.default_rng(12)


@pytest.mark.parametrize("side", [UP, DOWN])
@pytest.mark.parametrize(("slope", "azimuth"), [(0.0, 0.0), (34.5, 22.5), (90.0, 135.0), (40.75, -170.0)])
def test_normals_from_angles(slope, azimuth, side):
    n = normal_of_deg(slope, azimuth, side)
    assert np.linalg.norm(n) == pytest.approx(1.0, abs=1e-15)
    assert math.degrees(math.acos(side * n[2])) == pytest.approx(slope, abs=1e-6)
    assert n == pytest.approx(normal_of(math.radians(slope), math.radians(azimuth), side), abs=1e-15)


def test_right_angles_are_exact():
    assert normal_of_deg(0.0, 0.0, DOWN).tolist() == [0.0, 0.0, -1.0]
    assert normal_of_deg(90.0, 90.0, UP).tolist() == [0.0, 1.0, 0.0]
    assert normal_of_deg(90.0, 180.0, UP).tolist() == [-1.0, 0.0, 0.0]


def test_what_normals_face_gives_them_back():
    normals = RNG.normal(size=(500, 3))
    normals = np.concatenate([normals / np.linalg.norm(normals, axis=1)[:, None], np.eye(3), -np.eye(3)])
    sides, slopes, azimuths = facing_deg(normals)
    assert ((slopes >= 0.0) & (slopes <= 90.0) & (azimuths >= 0.0) & (azimuths < 360.0)).all()
    assert {side for side, z in zip(sides, normals[:, 2], strict=True) if z == 0.0} == {""}
    again = [normal_of_deg(s, a, SIDES[side]) for side, s, a in zip(sides, slopes, azimuths, strict=True)]
    assert np.abs(np.array(again) - normals).max() <= 1e-15


@pytest.mark.parametrize("side", [UP, DOWN])
def test_a_plane_through_an_edge_faces_its_azimuth_and_holds_both_ends(side):
    seen = 0
    for _ in range(200):
        start, end = RNG.normal(size=(2, 3))
        azimuth = RNG.uniform(-math.pi, math.pi)
        one, other = Position.of(start, side), Position.of(end, side)
        tangent = tangent_through(azimuth, one, other)
        facing = np.array([math.cos(azimuth), math.sin(azimuth), 0.0])
        across = np.cross(end - start, np.cross(facing, [0.0, 0.0, 1.0]))
        across *= side * np.sign(across[2]) / np.linalg.norm(across)
        assert math.isnan(tangent) == (across @ facing < 0.0), "it would rise outward"
        if not math.isnan(tangent):
            normal, distance = plane_at(Slant(azimuth, tangent, one), side)
            assert normal == pytest.approx(across, abs=1e-12)
            assert normal @ end == pytest.approx(distance, abs=1e-12)
            seen += 1
    assert seen > 60


def test_no_plane_faces_along_its_own_edge():
    assert math.isnan(tangent_through(0.0, Position(1.0, 0.5, 0.0), Position(1.0, -0.5, 0.2)))


def test_a_plane_through_an_edge_and_a_place_is_the_one_through_three_points():
    for _ in range(200):
        places = [Position(RNG.uniform(0.9, 1.1), azimuth, RNG.uniform(0.5, 0.6)) for azimuth in (-0.4, RNG.uniform(0.3, 0.7))]
        corners = [place.point(UP) for place in places]
        tip = np.array([2.0, RNG.uniform(-0.2, 0.2), RNG.uniform(0.0, 0.3)])
        normal, distance = plane_at(through_edge_and_position(*(Position.of(one, UP) for one in (*corners, tip))), UP)
        wanted = np.cross(tip - corners[0], corners[1] - corners[0])
        wanted *= np.sign(wanted[2]) / np.linalg.norm(wanted)
        assert normal == pytest.approx(wanted, abs=1e-13)
        assert [normal @ one for one in (*corners, tip)] == pytest.approx([distance] * 3, abs=1e-13)


def test_places_and_points():
    point = np.array([0.3, -1.2, -0.7])
    assert Position.of(point, DOWN).point(DOWN) == pytest.approx(point, abs=1e-15)
    assert Position.of(point, UP).run(0.0) == pytest.approx(0.3, abs=1e-15)


def test_a_ring_turns_its_first_plane_about_the_axis():
    slant, rim = Slant(0.2, 0.7, Position(1.1, 0.25, 0.4)), 0.05
    normals, distance = ring(5, slant, DOWN, rim)
    point = Position(1.1, 0.25, 0.4 + rim).point(DOWN)
    for k, normal in enumerate(normals):
        turn = 2.0 * math.pi * k / 5
        turned = np.array([[math.cos(turn), -math.sin(turn), 0.0], [math.sin(turn), math.cos(turn), 0.0], [0.0, 0.0, 1.0]])
        assert normal == pytest.approx(turned @ normals[0], abs=1e-15)
        assert normal @ turned @ point == pytest.approx(distance, abs=1e-15)
