"""Weights of the shipped cuts against the trade's rules for length, width and depth (from memory), see `trade_weights`."""

import pytest
from trade_weights import FACTORS, SHARE, families, heavier, stone_of

import raylab as rl
from raylab.plane_geometry import area


@pytest.fixture(scope="module")
def off():
    return {name: [heavier(stone) for stone in stones] for name, stones in families().items()}


@pytest.mark.parametrize("name", FACTORS)
def test_weights_are_those_of_the_trade(off, name):
    """Within the tenth that the rules are used for; at each ratio that has a factor of its own, and with four mains."""
    assert max(map(abs, off[name])) < SHARE


def test_a_round_and_straight_cushion_is_lighter_than_its_rule():
    """The rule is nearly a square's. The default outline fills less than a square one, and its pavilion doesn't bulge."""
    default, full = stone_of("cushion brilliant"), stone_of("cushion brilliant", side_radius_pct=300.0, corner_radius_pct=10.0)
    assert rl.measure(default).pavilion_bulge_pct.mean == pytest.approx(0.0, abs=1e-9)
    filled = [area(stone.outline_mm) / float(stone.size_mm[:2].prod()) for stone in (default, full)]
    assert filled == pytest.approx([0.878, 0.943], abs=1e-3)
    assert heavier(default) == pytest.approx(-0.163, abs=1e-3)
    assert heavier(full) == pytest.approx(-0.103, abs=1e-3)


@pytest.mark.parametrize(("name", "other"), [("princess cut", "oval brilliant"), ("marquise brilliant", "emerald cut")])
def test_the_rule_of_another_shape_does_not_fit(name, other):
    """A weight by the wrong shape's factor is far outside what the rules allow."""
    stone, factor = stone_of(name), FACTORS[other]
    by_other = factor if isinstance(factor, float) else factor[2.0]
    assert abs(stone.weight_ct / (float(stone.size_mm.prod()) * by_other) - 1.0) > 2.0 * SHARE


def test_density_and_size_count():
    """The rules are diamond's: a sapphire of the same planes is heavier by the ratio of densities, 3.99 to 3.52 (handbooks)."""
    stone = rl.oval_brilliant(table_pct=57, material="sapphire")
    assert heavier(stone) - heavier(stone_of("oval brilliant")) > SHARE
