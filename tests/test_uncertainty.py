"""Uncertainty: errors of planes as stated, carried to numbers as closed forms say, by draws and by differences alike."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from polyhedra import box
from small_scenes import scene_of

from raylab.comparison.uncertainty import WIDER, Estimate, _of_draws, draws_for, propagate, statistics_of
from raylab.errors import InputError
from raylab.lighting.dome import Dome
from raylab.lighting.dome_file import load_dome
from raylab.results.statistics import Statistic
from raylab.stone.cuts.marquise_brilliant import marquise_brilliant
from raylab.stone.cuts.round_brilliant import round_brilliant
from raylab.stone.measuring.outline_corners import sharp_corners
from raylab.stone.measuring.plane_uncertainty import MOST_ANGLE_DEG, MOST_DISTANCE_UM, WAVES, Uncertainty, displaced
from raylab.stone.proportions import measure
from raylab.stone.stone import Stone
from raylab.stone.symmetry_group import SymmetryGroup
from raylab.tracing import trace

EVEN = round_brilliant(table_pct=57, crown_angle_deg=34.5, pavilion_angle_deg=40.75, girdle_facets=32)
STONE = Uncertainty(0.2, 0.0, 4.0).drawn(EVEN, (3, 1))
TIERS = np.array(STONE.tiers)


def steps_only(um: float) -> Uncertainty:
    return Uncertainty(angle_deg=0.0, common_angle_deg=0.0, distance_um=um)


# The errors themselves.


def test_drawn_planes_scatter_as_stated():
    """Over 400 draws: slope by tilt and common tilt together, azimuth by tilt over sine, place by step; 5 standard errors."""
    doubt = Uncertainty(angle_deg=0.08, common_angle_deg=0.06, distance_um=5.0)
    drawn = [doubt.drawn(STONE, (1, k)) for k in range(400)]
    for name in ("crown main 2", "lower half 5"):
        facet = next(f for f in range(len(STONE)) if STONE.facet_name(f) == name)
        where = [next(f for f in range(len(s)) if s.facet_name(f) == name) for s in drawn]
        slope = [s.slope_deg()[f] for s, f in zip(drawn, where, strict=True)]
        azimuth = [s.azimuth_deg()[f] for s, f in zip(drawn, where, strict=True)]
        middle = STONE.polyhedron.centroids[facet]
        place = [s.normals[f] @ middle - s.distances_mm[f] for s, f in zip(drawn, where, strict=True)]
        sine = math.sin(math.radians(STONE.slope_deg()[facet]))
        for values, expected in ((slope, math.hypot(0.08, 0.06)), (azimuth, 0.08 / sine), (place, 5e-3)):
            assert np.std(values, ddof=1) == pytest.approx(expected, rel=5.0 / math.sqrt(2 * 399))


def test_a_tilt_turns_a_facet_about_its_middle():
    errors = np.zeros((len(STONE), 3))
    errors[5, :2] = (2e-3, -1e-3)
    tilted = displaced(STONE, errors)
    assert tilted.normals[5] @ STONE.polyhedron.centroids[5] == pytest.approx(tilted.distances_mm[5], abs=1e-14)
    assert math.acos(tilted.normals[5] @ STONE.normals[5]) == pytest.approx(math.hypot(2e-3, 1e-3), rel=1e-5)
    assert np.allclose(np.delete(tilted.normals, 5, 0), np.delete(STONE.normals, 5, 0), rtol=0.0, atol=1e-15)


@pytest.mark.parametrize("tier", ["crown main", "pavilion main"])
def test_the_common_error_makes_a_whole_side_steeper(tier):
    modes = Uncertainty(angle_deg=0.0, common_angle_deg=0.1, distance_um=0.0).modes(STONE)
    assert len(modes) == 2
    steeper = displaced(STONE, modes[0 if tier == "crown main" else 1])
    change = steeper.slope_deg() - STONE.slope_deg()
    side = (STONE.normals[:, 2] > 0.0) == (tier == "crown main")
    leaning = side & (TIERS != "girdle") & (STONE.slope_deg() > 1.0)
    assert change[leaning] == pytest.approx([0.1] * leaning.sum(), abs=1e-6)
    assert change[~leaning] == pytest.approx([0.0] * (~leaning).sum(), abs=1e-9)


def test_girdle_flats_err_together():
    """Each flat's step scatters as stated, neighbours nearly alike, opposite ones not."""
    steps = steps_only(4.0).modes(STONE)[:, TIERS == "girdle", 2]
    steps = steps[np.any(steps != 0.0, axis=1)]
    assert len(steps) == 2 * WAVES - 1
    covariance = steps.T @ steps
    assert np.diag(covariance) == pytest.approx([16e-6] * covariance.shape[0], rel=1e-9)
    assert covariance[0, 1] > 0.8 * 16e-6
    assert abs(covariance[0, 16]) < 0.3 * 16e-6


def test_the_flats_beside_a_point_err_one_by_one():
    """A marquise has two points, each between two flats; one of them is cut off by a facet of 0.04 mm, as a scan finds it."""
    stone = marquise_brilliant(table_pct=57, girdle_pct=6, girdle_facets=32)
    normals, distances = np.vstack([stone.normals, [1.0, 0.0, 0.0]]), [*stone.distances_mm, stone.size_mm[0] / 2.0 - 0.02]
    cut = Stone.from_planes(normals, distances, tiers=[*stone.tiers, "girdle"], indices=[*stone.indices, 32])
    at_points = [facet for corner in sharp_corners(stone) for facet in (corner.before, corner.after)]
    (across,) = (corner.across for corner in sharp_corners(cut) if corner.across)
    assert len(at_points) == 4
    assert across == (len(stone),)
    assert [corner.turn_deg for corner in sharp_corners(cut)] == pytest.approx([c.turn_deg for c in sharp_corners(stone)])
    tilts = Uncertainty(angle_deg=0.0, common_angle_deg=0.0, distance_um=0.0, across_deg=1.0)
    for body, alone in ((stone, at_points), (cut, [*at_points, *across])):
        azimuths = tilts.modes(body)[:, body.on_girdle, 1]
        assert (azimuths**2).sum(axis=0) == pytest.approx(
            [math.radians(1.0) ** 2 * (f in alone) for f in np.flatnonzero(body.on_girdle)]
        )


def test_draws_are_pure_functions_of_their_key():
    doubt = Uncertainty()
    first, again, other = doubt.drawn(STONE, (7, 3)), doubt.drawn(STONE, (7, 3)), doubt.drawn(STONE, (7, 4))
    assert np.array_equal(first.normals, again.normals)
    assert not np.array_equal(first.normals, other.normals)
    assert first.tiers == STONE.tiers


def test_numbers_do_not_depend_on_the_threads_that_work(monkeypatch):
    """To the last bit: each draw is a piece of work of its own."""

    def numbers(stone):
        return statistics_of(scene_of(replace(stone, symmetry=SymmetryGroup()), Dome(sky="overcast"), precision=0.2))

    several = propagate(EVEN, numbers, known_to_pct=45)
    monkeypatch.setattr("raylab.threads.numba.get_num_threads", lambda: 1)
    assert propagate(EVEN, numbers, known_to_pct=45) == several


def test_errors_facet_by_facet():
    sizes = tuple(0.01 * (1 + f) for f in range(len(STONE)))
    modes = Uncertainty(sizes, 0.0, 0.0).modes(STONE)
    table = modes[np.any(modes[:, 0] != 0.0, axis=1)]
    assert np.abs(table).max() == pytest.approx(math.radians(0.01))
    with pytest.raises(InputError, match=r"angle_deg = 3: wrong number of values; expected one number, or"):
        Uncertainty((0.1, 0.1, 0.1)).modes(STONE)


def test_a_scans_own_scatter_is_added_in_squares():
    slopes, sides, distances = np.full(len(STONE), 0.03), np.full(len(STONE), 0.3), np.full(len(STONE), 4.0)
    found = Uncertainty(0.04, 0.05, 3.0).with_scatter(slopes, sides, distances)
    assert found.angle_deg == pytest.approx((0.05,) * len(STONE))
    assert found.across_deg == pytest.approx((math.hypot(0.04, 0.3),) * len(STONE))
    facet, mode = STONE.facets_of("pavilion main")[0], found.modes(STONE)
    sizes = np.abs(mode[:, facet]).max(axis=0)
    assert sizes == pytest.approx([math.radians(0.05), math.radians(math.hypot(0.04, 0.3)), 5e-3])
    assert found.distance_um == pytest.approx((5.0,) * len(STONE))
    assert found.common_angle_deg == 0.05
    slopes[3], distances[3] = math.nan, math.inf  # next to nothing known
    found = Uncertainty().with_scatter(slopes, slopes, distances)
    assert (found.angle_deg[3], found.across_deg[3], found.distance_um[3]) == (MOST_ANGLE_DEG, MOST_ANGLE_DEG, MOST_DISTANCE_UM)


@pytest.mark.parametrize(
    ("key", "value"), [("angle_deg", -0.1), ("common_angle_deg", math.nan), ("distance_um", (1.0, math.inf))]
)
def test_impossible_uncertainties_are_refused(key, value):
    with pytest.raises(InputError, match=key):
        Uncertainty(**{key: value})


# What follows from them, in closed form.


@pytest.mark.parametrize("method", ["draws", "derivative"])
def test_mean_angles(method):
    """The mean of eight slopes: an eighth of the variance each, and the common error whole."""
    doubt = Uncertainty(angle_deg=0.08, common_angle_deg=0.05, distance_um=0.0)
    crown = TIERS == "crown main"
    found = propagate(STONE, lambda s: {"mean": float(s.slope_deg()[crown].mean())}, doubt, method=method, known_to_pct=4)
    expected = math.hypot(0.08 / math.sqrt(8.0), 0.05)
    assert found["mean"].uncertainty == pytest.approx(expected, abs=4.0 * found["mean"].uncertainty_error + 1e-6)
    # A tilt across steepens: the spherical law of cosines to second order, u^2/2 over the slope's tangent.
    curved = np.degrees(math.radians(0.08) ** 2 / 2.0) / np.tan(np.radians(STONE.slope_deg()[crown])).mean()
    assert found["mean"].shift == pytest.approx(curved, abs=4.0 * found["mean"].shift_error + 1e-7)


@pytest.mark.parametrize("method", ["draws", "derivative"])
def test_volume_of_a_box(method):
    """dV is the sum of area times step: u = step times the root of the sum of squared areas; tilts cancel to first order."""
    sides = np.array([2.0 * 1.0] * 4 + [2.0 * 2.0] * 2)
    found = propagate(
        box(2.0, 1.0, "diamond"), lambda s: {"volume": s.volume_mm3}, Uncertainty(0.02, 0.0, 5.0), method=method, known_to_pct=4
    )["volume"]
    expected = 5e-3 * math.sqrt(float(sides @ sides))
    assert found.uncertainty == pytest.approx(expected, abs=4.0 * found.uncertainty_error + 1e-4 * expected)


def test_the_shift_of_a_square_is_its_variance():
    """y = x^2 about x = 0: mean u^2, scatter of draws sqrt(2) u^2; differences see no slope, and the same shift."""
    height = STONE.distances_mm[0]

    def square(stone):
        return {"y": float((1e3 * (stone.distances_mm[0] - height)) ** 2)}

    drawn = propagate(STONE, square, steps_only(3.0), known_to_pct=4)["y"]
    assert drawn.shift == pytest.approx(9.0, abs=4.0 * drawn.shift_error)
    # Of each draw x^2 - (3 x^2 - x^2) = -x^2 is taken: the same scatter again.
    assert drawn.shift_error == pytest.approx(drawn.uncertainty / math.sqrt(draws_for(4)), rel=1e-9)
    assert drawn.uncertainty == pytest.approx(9.0 * math.sqrt(2.0), abs=4.0 * drawn.uncertainty_error)
    straight = propagate(STONE, square, steps_only(3.0), method="derivative")["y"]
    assert straight.uncertainty == pytest.approx(0.0, abs=1e-9)
    assert straight.shift == pytest.approx(9.0, abs=1e-9)
    assert straight.uncertainty_error == pytest.approx(9.0 * math.sqrt(2.0), abs=1e-9)  # so it says that it is no straight line


def test_no_errors_no_uncertainty():
    found = propagate(STONE, lambda s: {"weight": s.weight_ct}, Uncertainty(0.0, 0.0, 0.0), known_to_pct=50)["weight"]
    assert (found.uncertainty, found.uncertainty_error, found.shift) == (0.0, 0.0, pytest.approx(0.0, abs=1e-12))
    assert found.interval() == pytest.approx((STONE.weight_ct, STONE.weight_ct))


def test_differences_and_draws_agree_on_an_uneven_stone():
    """Proportions that are smooth there, to 4 of the draws' own errors (and 2 % that differences leave out)."""
    names = (
        "crown_angle_deg",
        "pavilion_angle_deg",
        "girdle_valley_pct",
        "table_pct",
        "twist_deg",
        "upper_painting_deg",
        "weight_ct",
    )

    def numbers(stone):
        found = measure(stone).numbers()
        return {name: found[name] for name in names}

    doubt = Uncertainty(0.02, 0.02, 1.0)
    drawn = propagate(STONE, numbers, doubt, known_to_pct=10)
    straight = propagate(STONE, numbers, doubt, method="derivative")
    for name in names:
        error = 4.0 * drawn[name].uncertainty_error + 0.02 * drawn[name].uncertainty
        assert straight[name].uncertainty == pytest.approx(drawn[name].uncertainty, abs=error), name


def test_differences_and_draws_agree_on_light():
    """One common error of the crown and one of the pavilion: brightness and leakage under a sky without sharp edges."""
    dome = Dome(sky="overcast")

    def numbers(stone):
        found = statistics_of(scene_of(replace(stone, symmetry=SymmetryGroup()), dome, precision=3e-2))
        return {name: found[name] for name in ("brightness", "leak", "glare")}

    doubt = Uncertainty(0.0, 0.05, 0.0)
    drawn, straight = propagate(STONE, numbers, doubt, known_to_pct=14), propagate(STONE, numbers, doubt, method="derivative")
    for name in ("brightness", "leak"):
        error = 4.0 * drawn[name].uncertainty_error + 2.0 * straight[name].uncertainty_error
        assert drawn[name].uncertainty > 0.0
        assert straight[name].uncertainty == pytest.approx(drawn[name].uncertainty, abs=error), name


def test_the_uncertainty_of_the_uncertainty_is_stated_truly():
    """60 keys: what the uncertainties scatter by is what each says of itself, to 5 standard errors of a scatter from 60."""
    found = [propagate(box(2.0, 1.0, "diamond"), _side, steps_only(5.0), key=(k,))["side"] for k in range(60)]
    scatter = np.std([one.uncertainty for one in found], ddof=1)
    assert np.mean([one.uncertainty_error for one in found]) == pytest.approx(scatter, rel=5.0 / math.sqrt(2 * 59))
    assert scatter / np.mean([one.uncertainty for one in found]) == pytest.approx(0.10, rel=5.0 / math.sqrt(2 * 59))


def _side(stone):
    return {"side": float(stone.distances_mm[0])}


# The record, and what goes wrong.


def test_three_kinds_are_kept_apart():
    one = Estimate(Statistic(0.5, 0.5, 0.52, 0.002), uncertainty=0.004, uncertainty_error=0.0004, shift=0.1, shift_error=0.001)
    assert one.best == pytest.approx(0.4)
    assert one.standard_uncertainty == pytest.approx(math.sqrt(16e-6 + 4e-6 + 1e-6))
    assert one.interval(2.0) == pytest.approx((0.4 - 2 * one.standard_uncertainty, 0.52 + 2 * one.standard_uncertainty))
    facts = one.to_dict()
    assert (facts["value"], facts["bracket_high"], facts["engine_error"], facts["uncertainty"]) == (0.5, 0.52, 0.002, 0.004)


def test_statistics_of_are_those_of_a_trace():
    dome = load_dome("head-shadow")
    found, result = statistics_of(scene_of(STONE, dome, precision=1e-2)), trace(STONE, dome, resolution=40, precision=1e-2)
    assert found == result.summary.statistics


def test_a_number_that_draws_lack_is_unknown():
    calls = iter(range(10_000))

    def fleeting(stone):
        return {"always": 1.0, **({"once": 2.0} if next(calls) == 0 else {})}

    found = propagate(STONE, fleeting, steps_only(1.0), known_to_pct=50)
    assert math.isnan(found["once"].uncertainty)
    assert found["always"].uncertainty == 0.0


def test_progress_is_reported():
    facts: list[tuple[float, float]] = []
    propagate(STONE, _side, steps_only(1.0), known_to_pct=25, progress=lambda *done: facts.append(done))
    errors = 2 * draws_for(25)  # of both sizes
    assert facts == [(k + 1, errors) for k in range(errors)]


def test_what_cannot_be_done_is_reported_in_one_line():
    with pytest.raises(InputError, match=r"method = 'guess': unknown method; expected 'draws' or 'derivative'"):
        propagate(STONE, _side, method="guess")
    with pytest.raises(InputError, match="known_to_pct"):
        propagate(STONE, _side, known_to_pct=0.0)
    with pytest.raises(InputError, match="uncertainty too large"):
        propagate(box(0.5, 0.2, "diamond"), _side, steps_only(900.0))


# --- kinks ----------------------------------------------------------------------------------------------------------------


def _estimates(rng: np.random.Generator, number, places: int) -> Estimate:
    """A number of pairs of heights that truly are all 0, measured with noise of 1 and drawn from what was measured."""
    measured = rng.normal(size=(places, 2))
    errors = rng.normal(size=(40, places, 2))
    value = float(number(measured))
    stated, larger = (np.array([number(measured + size * error) for error in errors]) for size in (1.0, math.sqrt(WIDER)))
    return _of_draws(Statistic(value, value, value), stated, larger)


def test_a_number_that_depends_on_the_deeper_plane_holds_its_truth_with_the_kink_alone():
    """The mean over places of the lower of two heights: its expected value is -1/sqrt(pi) of the noise, at every size of it, so
    a line in the size leads back to the truth, 0, and one in the variance to 0.83 of the way. Beside it a plain mean."""
    rng = np.random.default_rng(94)
    lower = [_estimates(rng, lambda pairs: pairs.min(axis=1).mean(), 16) for _ in range(120)]
    plain = [_estimates(rng, lambda pairs: pairs.mean(), 16) for _ in range(120)]

    def held(estimates: list[Estimate]) -> float:
        return float(np.mean([low <= 0.0 <= high for low, high in (one.interval() for one in estimates)]))

    assert held(lower) >= 0.95
    assert held([replace(one, kink=0.0) for one in lower]) < 0.5
    straight = -(2.0 * math.sqrt(2.0) - 2.0) / math.sqrt(math.pi)  # from variances 2 and 4, 1/sqrt(pi) each a unit of size
    assert np.mean([one.best for one in lower]) == pytest.approx(straight, abs=0.03)
    assert np.mean([one.best - one.kink for one in lower]) == pytest.approx(0.0, abs=0.02)
    assert np.mean([one.kink != 0.0 for one in plain]) < 0.1
    assert held(plain) >= 0.93


def test_a_statistic_of_light_has_no_kink():
    """It is the same number, once as a statistic and once as a plain number."""

    def numbers(stone):
        least = float(stone.distances_mm[stone.facets_of("crown main")].min())
        return {"plain": least, "light": Statistic(least, least, least)}

    found = propagate(STONE, numbers, Uncertainty(0.0, 0.0, 5.0), known_to_pct=20.0)
    assert found["plain"].kink < 0.0 == found["light"].kink
    assert found["plain"].shift == found["light"].shift
