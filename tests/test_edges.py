"""Light that leaves along an edge of the dome or in the girdle plane: one rule for all tracers, and brackets for both sides."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from small_scenes import beams_of, scene_of

import raylab as rl
from raylab.lighting.dome import MARGIN, sky_radiance
from raylab.plane_geometry import rotation_about
from raylab.results.statistics import STATISTICS
from raylab.results.statistics.limits import limits_of
from raylab.tracers.ledger import (
    BRIGHTER,
    CHANNELS,
    DIMMER,
    DOUBT,
    HEAD,
    LEAK,
    LUMINANCE,
    SKY,
    entry_of_exit,
    tally_exit,
)
from raylab.tracers.reference import Path
from raylab.tracers.sampled.view_rays import sample_points
from raylab.units import direction

STONE = rl.round_brilliant(table_pct=57, crown_angle_deg=34.5, pavilion_angle_deg=40.75, girdle_facets=32)
SHADOW = rl.load_dome("head-shadow")
SIDES = (89.9999, 90.0001)


@pytest.mark.parametrize("engine", ["beams", "rays"])
def test_a_right_angle_covers_both_sides_of_itself(engine):
    """Typed angles: at 90 degrees a twentieth of the light leaves in the girdle plane."""
    how = {"resolution": 8, "precision": 1e-2} if engine == "beams" else {"resolution": 64}
    there, *beside = (rl.trace(STONE, SHADOW, rl.View(tilt_deg=tilt), engine=engine, **how).summary for tilt in (90.0, *SIDES))
    assert "girdle plane" in there.notes["edges"]
    assert there.brightness.high - there.brightness.low > 0.03
    for one in beside:
        assert "edges" not in one.notes
        for key in ("brightness", "contrast_rms", "sky", "leak", "head"):
            wide, narrow = there.statistics[key], one.statistics[key]
            sampling = 4.0 * (wide.error + narrow.error)
            assert wide.low - sampling < narrow.value < wide.high + sampling, key
    assert abs(beside[0].brightness.value - beside[1].brightness.value) > 0.01


def test_the_tracers_book_alike_at_a_right_angle():
    """The exact mean against the sampled one, within five standard errors: rounding no longer chooses."""
    exact, sampled = (
        rl.trace(STONE, SHADOW, rl.View(tilt_deg=90.0), resolution=96, engine=engine, min_weight=1e-5).summary
        for engine in ("beams", "rays")
    )
    for key in ("brightness", "sky", "leak"):
        one, other = exact.statistics[key], sampled.statistics[key]
        untraced = exact.statistics["untraced"].value + sampled.statistics["untraced"].value
        assert abs(one.value - other.value) < 5.0 * other.error + untraced, key


def test_a_tilt_by_less_than_the_margin_changes_nothing():
    there, nearly = (beams_of(STONE, SHADOW, rl.View(tilt_deg=90.0 + off)).totals.mean for off in (0.0, 1e-10))
    assert there[:CHANNELS] == pytest.approx(nearly[:CHANNELS], abs=1e-7)


def booked(z: float, w: float, dome: rl.Dome) -> np.ndarray:
    """The ledger of weight 1 that leaves along a direction whose height is z in the stone's frame and w in the dome's."""
    row = np.zeros(CHANNELS)
    turn = rotation_about((0.0, -1.0, 0.0), math.degrees(math.asin(w) - math.asin(z)))
    tally_exit(row, 1.0, math.sqrt(1.0 - z * z), 0.0, z, 0.0, turn, dome.table, 0.0)
    return row


@pytest.mark.parametrize("off", [-0.5 * MARGIN, 0.0, 0.5 * MARGIN])
def test_in_the_girdle_plane_is_above_it(off):
    dome = rl.Dome(sky_radiance=0.8, tray_radiance=1.0)
    row = booked(off, 0.8, dome)
    assert (row[SKY], row[LEAK], row[DOUBT]) == (1.0, 0.0, 1.0)
    assert (row[LUMINANCE], row[DIMMER]) == (0.8, 0.0)
    assert row[BRIGHTER] == pytest.approx(0.2)


@pytest.mark.parametrize(("off", "entry"), [(-3.0 * MARGIN, LEAK), (3.0 * MARGIN, SKY)])
def test_beside_the_girdle_plane_there_is_no_doubt(off, entry):
    row = booked(off, 0.8, rl.Dome(sky_radiance=0.8, tray_radiance=1.0))
    assert (row[entry], row[DOUBT], row[DIMMER], row[BRIGHTER]) == (1.0, 0.0, 0.0, 0.0)


def test_on_the_heads_edge_is_inside_it():
    dome = rl.Dome(head_half_angle_deg=20.0)
    edge = math.cos(math.radians(20.0))
    row = booked(edge, edge, dome)
    assert (row[HEAD], row[DOUBT], row[LUMINANCE], row[BRIGHTER]) == (1.0, 1.0, 0.0, 1.0)
    assert booked(edge + 3.0 * MARGIN, edge + 3.0 * MARGIN, dome)[DOUBT] == 0.0
    assert booked(0.0, edge + 3.0 * MARGIN, dome)[DOUBT] == 0.0, "the head covers the girdle plane"
    assert entry_of_exit(edge, edge, dome.table.head_cos) == HEAD


WINDOW = rl.Zone((20.0, 50.0), (350.0, 370.0), 0.5)
PATCHES = [
    (rl.Dome(zones=(WINDOW,)), (20.0, 0.0)),
    (rl.Dome(zones=(WINDOW,)), (50.0, 5.0)),
    (rl.Dome(zones=(WINDOW,)), (30.0, 10.0)),
    (rl.Dome(zones=(WINDOW,)), (30.0, -10.0)),
    (rl.Dome(zones=(rl.Zone((40.0, 90.0), (0.0, 90.0), 0.5),)), (90.0, 0.0)),
    (rl.Dome(lamps=(rl.Lamp(60.0, 10.0, 5.0, 0.5),)), (65.0, 10.0)),
]


@pytest.mark.parametrize(("dome", "toward"), PATCHES)
def test_on_the_edge_of_a_patch_is_inside_it(dome, toward):
    """The patch has half the sky's radiance."""
    found = sky_radiance(*direction(*toward), dome.table, 0.0)
    assert found == (0.5, 0.5, 1.0)
    assert sky_radiance(*direction(-10.0, 180.0), dome.table, 0.0) == (1.0, 1.0, 1.0)


@pytest.mark.parametrize("toward", [(21.0, 0.0), (49.0, 5.0), (30.0, 9.0), (30.0, -9.0), (50.0, 20.0), (51.0, 0.0)])
def test_beside_the_edge_of_a_zone_there_is_no_doubt(toward):
    found, low, high = sky_radiance(*direction(*toward), rl.Dome(zones=(WINDOW,)).table, 0.0)
    inside = abs(toward[1]) < 10.0 and toward[0] < 50.0
    assert found == low == high == (0.5 if inside else 1.0)


LOW, HIGH = rl.Zone((10.0, 40.0), (20.0, 80.0)), rl.Zone((40.0, 60.0), (20.0, 80.0))
BEFORE, AFTER = rl.Zone((10.0, 40.0), (350.0, 361.0), 0.7), rl.Zone((10.0, 40.0), (1.0, 80.0), 0.7)
DIM = rl.Zone((40.0, 60.0), (1.0, 80.0), 0.2)
SHARED = {
    "above each other": ((LOW, HIGH), (40.0, 50.0), (1.0, 1.0, 1.0)),
    "beside each other, across the azimuth 0": ((BEFORE, AFTER), (20.0, 1.0), (0.7, 0.7, 0.7)),
    "of two radiances": ((AFTER, DIM), (40.0, 50.0), (0.2, 0.2, 0.7)),
    "a corner of three zones and the sky": ((BEFORE, AFTER, DIM), (40.0, 1.0), (0.2, 0.0, 0.7)),
    "four sectors at the zenith": (
        tuple(rl.Zone((60.0, 90.0), (start, start + 90.0), 0.5) for start in (0.0, 90.0, 180.0, 270.0)),
        (90.0, 0.0),
        (0.5, 0.5, 0.5),
    ),
    "a gap of a ten-thousandth of the margin": (
        (rl.Zone((10.0, 30.0), radiance=0.5), rl.Zone((30.0 + 1e-12, 60.0), radiance=0.5)),
        (30.0, 0.0),
        (0.5, 0.0, 0.5),
    ),
}


@pytest.mark.parametrize(("zones", "toward", "expected"), SHARED.values(), ids=SHARED)
def test_zones_that_share_an_edge_leave_no_gap(zones, toward, expected):
    """The radiance, and the bounds over all directions around: the dark sky behind the zones counts where it is seen."""
    dome = rl.Dome(sky_radiance=0.0, zones=zones, absolute=True)
    assert sky_radiance(*direction(*toward), dome.table, 0.0) == expected


def test_bounds_on_edges_of_zones_are_those_of_the_directions_around():
    """Zones on a grid, overlapping and of few radiances; the directions around lie far outside the margin."""
    rng = np.random.default_rng(8)
    around = 1e-7 * np.stack([f(np.linspace(0.0, 2.0 * np.pi, 64, endpoint=False) + 0.01) for f in (np.cos, np.sin)], axis=1)
    for _ in range(40):
        zones = []
        for _ in range(8):
            low, start = 15.0 * rng.integers(0, 5), 30.0 * rng.integers(0, 12)
            ends = (low, low + 15.0 * rng.integers(1, 3)), (start, start + 30.0 * rng.integers(1, 5))
            zones.append(rl.Zone(*ends, radiance=float(rng.integers(0, 4))))
        dome = rl.Dome(sky_radiance=0.5, zones=tuple(zones), absolute=True)
        for elevation, azimuth in ((30.0, 60.0), (45.0, 75.0), (40.0, 330.0), (60.0, 0.0), (15.0, 180.0)):
            there = direction(elevation, azimuth)
            up, side = direction(elevation + 90.0, azimuth), direction(0.0, azimuth + 90.0)
            radiances = dome.radiance(np.array(there) + around @ np.array([up, side]))
            _, low, high = sky_radiance(*there, dome.table, 0.0)
            assert (low, high) == (radiances.min(), radiances.max())


def test_the_zenith_is_no_edge_of_a_whole_zone():
    dome = rl.Dome(zones=(rl.Zone((60.0, 90.0), radiance=0.25),))
    assert sky_radiance(0.0, 0.0, 1.0, dome.table, 0.0) == (0.25, 0.25, 0.25)


def test_what_covers_an_edge_ends_its_doubt():
    dome = rl.Dome(zones=(WINDOW,), lamps=(rl.Lamp(20.0, 0.0, 3.0, 0.75),))
    assert sky_radiance(*direction(20.0, 0.0), dome.table, 0.0) == (0.75, 0.75, 0.75)


def test_the_oracle_books_edges_alike():
    """A path of one exit, on and beside every edge that there is; the oracle finds edges by rules of its own."""
    dome = rl.Dome(
        zones=(rl.Zone((-90.0, 30.0), radiance=0.2), WINDOW, rl.Zone((60.0, 90.0), (45.0, 135.0), 0.4)),
        lamps=(rl.Lamp(55.0, 200.0, 4.0, 2.0),),
        head_half_angle_deg=15.0,
        tray_radiance=0.3,
    )
    seen = 0
    for up in (-5.0, 0.0, 20.0, 30.0, 45.0, 50.0, 51.0, 55.0, 59.0, 60.0, 74.9, 75.0, 75.1, 80.0):
        for around in (0.0, 10.0, 30.0, 45.0, 90.0, 135.0, 200.0, 350.0):
            for tilt in (0.0, 20.0, up):
                turn = rl.View(tilt_deg=max(0.0, tilt), tilt_azimuth_deg=around - 180.0).rotation()
                leaves = np.asarray(direction(up, around)) @ turn
                row = np.zeros(CHANNELS)
                tally_exit(row, 0.7, *leaves, 1.0, turn, dome.table, 0.0)
                expected = Path(exits=[(0.7, leaves, 1)]).row(dome, turn)
                assert row == pytest.approx(expected, abs=1e-12), (up, around, tilt)
                seen += row[DIMMER] + row[BRIGHTER] > 0.0
    assert seen > 30


def test_tinted_and_colorless_stones_have_the_same_doubt_in_the_limit():
    tinted = replace(STONE, material=replace(STONE.material, absorption=((500.0, 1e-9), (600.0, 1e-9))))
    view = rl.View(tilt_deg=90.0)
    plain, tint = (beams_of(stone, SHADOW, view, precision=0.02).totals.mean for stone in (STONE, tinted))
    assert plain == pytest.approx(tint, abs=1e-6)
    assert plain[DOUBT] > 0.01


def test_sampled_points_on_an_edge_carry_their_doubt():
    scene = scene_of(STONE, SHADOW, rl.View(tilt_deg=90.0))
    rows, hit = sample_points(np.random.default_rng(3).uniform(-1.0, 1.0, (4000, 2)), scene, 589.3)
    assert (rows[hit, DOUBT] > 0.0).mean() > 0.1
    assert np.all(rows[:, DOUBT] <= rows[:, SKY] + rows[:, HEAD] + 1e-12)


def test_brackets_of_every_statistic_hold_the_other_side():
    """Weight moved from the sky to the leak, as the other booking would, stays inside every bracket."""
    scene = scene_of(STONE, SHADOW, rl.View(tilt_deg=90.0), precision=0.01)
    totals = beams_of(STONE, SHADOW, rl.View(tilt_deg=90.0), precision=0.01).totals
    below = beams_of(STONE, SHADOW, rl.View(tilt_deg=SIDES[0]), precision=1e-3).totals
    for key, one in STATISTICS.items():
        if key != "untraced":
            found, other = (one.of(each, limits_of(scene, 589.3)) for each in (totals, below))
            assert found.low - 1e-4 <= other.value <= found.high + 1e-4, key
