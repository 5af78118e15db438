"""Weights of the shipped cuts against the trade's rules for length, width and depth (from memory), see `trade_weights`."""

import pytest
from trade_weights import FACTORS, HEAVIER, SHARE, families, heavier, stone_of

import raylab as rl


@pytest.fixture(scope="module")
def off():
    return {name: [heavier(stone) for stone in stones] for name, stones in families().items()}


@pytest.mark.parametrize("name", [name for name in FACTORS if name not in HEAVIER])
def test_weights_are_those_of_the_trade(off, name):
    """Within the tenth that the rules are used for; at each ratio that has a factor of its own, and with four mains."""
    assert max(map(abs, off[name])) < SHARE


def test_a_cushion_is_lighter_than_the_rule_for_bulging_ones(off):
    """The rule's factor is nearly that of a square; a pavilion that falls straight to its point holds less."""
    assert -0.25 < min(off["cushion brilliant"]) < -SHARE


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
