"""The exact tracer against a closed form that no other test of it covers: a prism at minimum deviation."""

from __future__ import annotations

import math

import numpy as np
import pytest
from small_scenes import beams_of

import raylab as rl
from raylab.tracers.ledger import GLARE, SOURCE_X, SOURCE_Z


def prism(apex_deg: float, n: float) -> rl.Stone:
    half = math.radians(apex_deg / 2.0)
    normals = [(math.cos(half), 0, math.sin(half)), (-math.cos(half), 0, math.sin(half)), (0, 0, -1), (0, 1, 0), (0, -1, 0)]
    return rl.Stone.from_planes(np.array(normals), np.ones(5), material=rl.Material.constant(n), name="prism")


@pytest.mark.parametrize(
    ("apex_deg", "n", "printed_deg"),
    [  # closed form 2 asin(n sin A/2) - A; 21.8 and 45.7 degrees are printed in Tatum, Geometric Optics, section 1.6
        (60.0, 1.31, 21.839300),
        (90.0, 1.31, 45.733421),
        (20.0, 2.417, 29.632263),
        (30.0, 2.417, 47.447431),
    ],
)
def test_whole_polygons_leave_a_prism_at_minimum_deviation(apex_deg, n, printed_deg):
    stone = prism(apex_deg, n)
    incidence = math.degrees(math.asin(n * math.sin(math.radians(apex_deg / 2.0))))
    view = rl.View(tilt_deg=90.0 - apex_deg / 2.0 + incidence, tilt_azimuth_deg=180.0)
    beams = beams_of(stone, rl.Dome(tray_radiance=1.0), view, max_bounces=1).unfolded()
    away = 2.0 * math.radians(incidence)  # the first face leans by `incidence` towards -x and mirrors the view by twice that
    mirrored = np.array([-math.sin(away), 0.0, math.cos(away)])
    met = 0
    for k in range(len(beams)):
        if beams.path(k) != [0, 1]:
            continue
        met += 1
        row = beams.rows[k]
        out = row[SOURCE_X : SOURCE_Z + 1] - row[GLARE] * mirrored
        out /= np.linalg.norm(out)
        deviation = math.degrees(math.acos(-out[2]))
        assert deviation == pytest.approx(2.0 * incidence - apex_deg, abs=1e-9)
        assert deviation == pytest.approx(printed_deg, abs=5e-6)
    assert met > 0
