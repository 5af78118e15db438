"""Stated uncertainties against simulated measurements: the truth must lie where the intervals say, as often as they say.

Stones of known planes are "measured" with errors drawn from `Uncertainty`; each measured stone alone gives best value and
uncertainty of its numbers. With n draws the miss in uncertainties follows Student's t with n - 1 degrees of freedom; bounds
are those of the binomial and of the normal distribution, beyond which chance goes once in 10,000. 500 stones:
`benchmarks/bench_coverage.py`.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from polyhedra import box
from scipy import stats

from raylab.comparison.comparing import drawn_settings
from raylab.comparison.uncertainty import COVERAGE, draws_for, propagate, statistics_of
from raylab.lighting.dome_file import load_dome
from raylab.scene.scene import Scene
from raylab.scene.settings import TraceSettings
from raylab.stone.cuts.round_brilliant import round_brilliant
from raylab.stone.measuring.plane_uncertainty import Uncertainty
from raylab.stone.stone import Stone
from raylab.stone.symmetry_group import SymmetryGroup

CHANCE = 1e-4
KNOWN_TO_PCT = 14.0
DRAWS = draws_for(KNOWN_TO_PCT)
ERRORS = Uncertainty(0.05, 0.03, 3.0)
DOME = load_dome("head-shadow")


def true_stone(key: int) -> Stone:
    """A stone of random proportions, cut a little unevenly."""
    rng = np.random.default_rng([91, key])
    table, crown, pavilion = rng.uniform((54.0, 32.0, 40.0), (62.0, 36.0, 42.0))
    shape = {"table_pct": table, "crown_angle_deg": crown, "pavilion_angle_deg": pavilion, "girdle_facets": 16}
    return Uncertainty(0.2, 0.0, 4.0).drawn(round_brilliant(**shape, girdle_pct=4.0), (91, key, 1))


def misses(
    stones: int,
    numbers: Callable[[Stone], dict[str, float]],
    stated: Uncertainty,
    true_stone: Callable[[int], Stone] = true_stone,
) -> dict[str, np.ndarray]:
    """(stones,) how far the truth lies from the best value, in stated uncertainties, by name."""
    rows = []
    for key in range(stones):
        truth = true_stone(key)
        measured = ERRORS.drawn(truth, (91, key, 2))
        found = propagate(measured, numbers, stated, known_to_pct=KNOWN_TO_PCT, key=(91, key, 3))
        true = numbers(truth)
        rows.append({name: (true[name] - one.best) / one.standard_uncertainty for name, one in found.items()})
    return {name: np.array([row[name] for row in rows]) for name in rows[0]}


def shape(stone: Stone) -> dict[str, float]:
    slope, tiers = stone.slope_deg(), np.array(stone.tiers)
    found = {"weight_ct": stone.weight_ct, "depth_mm": float(stone.size_mm[2])}
    return found | {name: float(slope[tiers == name].mean()) for name in ("crown main", "pavilion main")}


def light(stone: Stone) -> dict[str, float]:
    found = statistics_of(Scene(replace(stone, symmetry=SymmetryGroup()), DOME, settings=drawn_settings(TraceSettings())))
    return {name: found[name].value for name in ("brightness", "leak", "contrast_rms")}


def covers_as_stated(z: np.ndarray) -> bool:
    """The interval of `COVERAGE` uncertainties holds the truth as often as DRAWS draws let it, to chance."""
    share = 1.0 - 2.0 * stats.t.sf(COVERAGE, DRAWS - 1)
    least, most = stats.binom.ppf([CHANCE, 1.0 - CHANCE], len(z), share)
    return bool(least <= (np.abs(z) <= COVERAGE).sum() <= most)


def scatters_as_stated(z: np.ndarray) -> bool:
    """The same of few stones: the sum of squares of misses, made normal one by one."""
    normal = stats.norm.ppf(stats.t.cdf(z, DRAWS - 1))
    least, most = stats.chi2.ppf([CHANCE, 1.0 - CHANCE], len(z))
    return bool(least <= float(normal @ normal) <= most)


def test_proportions_are_covered_as_stated():
    found = misses(60, shape, ERRORS)
    assert {name: covers_as_stated(z) for name, z in found.items()} == dict.fromkeys(found, True)
    assert {name: scatters_as_stated(z) for name, z in found.items()} == dict.fromkeys(found, True)


def test_light_scatters_as_stated():
    found = misses(8, light, ERRORS)
    assert {name: scatters_as_stated(z) for name, z in found.items()} == dict.fromkeys(found, True)


def jumps(stone: Stone) -> dict[str, float]:
    """Light's behaviour in the extreme, at no cost: chance alone where a plane is off by a thousandth of its error, and a
    part that is smooth."""
    first, second = 1e3 * stone.distances_mm[:2]  # um
    chance = math.sin(1e4 * first)
    return {"chance": chance, "both": chance + 0.2 * second}


def test_numbers_that_jump_are_covered_as_stated():
    """The true number stands high or low by chance as much as the measured one does."""
    found = misses(80, jumps, ERRORS, lambda key: box(2.0 + 1e-3 * key, 1.0, "diamond"))
    assert {name: covers_as_stated(z) for name, z in found.items()} == dict.fromkeys(found, True)
    assert scatters_as_stated(found["both"])


@pytest.mark.parametrize("factor", [0.5, 2.0])
def test_uncertainties_that_are_half_or_twice_the_truth_are_found_out(factor):
    """Mutants: the same check fails on wrong uncertainties."""
    stated = Uncertainty(factor * 0.05, factor * 0.03, factor * 3.0)
    found = misses(30, shape, stated)
    assert not any(scatters_as_stated(z) for z in found.values())


def test_a_common_error_left_out_is_found_out():
    """Errors shared by all mains don't average out; who leaves them out states too little on the mean angles."""
    found = misses(30, shape, replace(ERRORS, common_angle_deg=0.0))
    assert not scatters_as_stated(found["crown main"])
    assert not scatters_as_stated(found["pavilion main"])
