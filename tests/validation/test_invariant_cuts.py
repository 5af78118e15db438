"""Every shipped cut at random proportions: the ledger closes, and exact engine, reference and samples agree."""

from __future__ import annotations

import checks_beams as checks
import numpy as np
import pytest
from random_cuts import pairs_of, random_stones

from raylab.stone.cuts import CUTS
from raylab.tracers.exact.tracer import trace_beams

NAMES = [name for name in CUTS if name != "round brilliant"]  # which has tests of its own


@pytest.mark.parametrize("name", NAMES)
def test_engines_agree(name):
    pairs = pairs_of(CUTS[name], 4)
    assert checks.sums_close(trace_beams, pairs) <= 1.0
    assert checks.reference_through_points(trace_beams, pairs, points=2) <= 1.0
    assert checks.samples_agree(trace_beams, pairs[1:2], rays=2000, precision=0.01) <= 1.0


@pytest.mark.parametrize("name", NAMES)
def test_a_cut_has_the_symmetry_that_it_claims(name):
    """Each rotation and mirror of the group takes the planes to themselves, in every stone of the cut."""
    cut = CUTS[name]
    for stone in random_stones(cut, 5, key=2):
        planes = np.column_stack([stone.normals, stone.distances_mm / stone.size_mm[1]])
        for matrix in cut.symmetry.matrices():
            moved = planes.copy()
            moved[:, :2] = planes[:, :2] @ matrix.T
            apart = np.abs(moved[:, None] - planes).max(axis=2).min(axis=1)
            assert apart.max() < 1e-12


@pytest.mark.parametrize("name", NAMES)
def test_a_stone_has_the_size_that_is_asked_for(name):
    cut = CUTS[name]
    stated = {"table_pct": 55.0, "crown_angle_deg": 35.0, "pavilion_angle_deg": 41.0}
    needed = {one.key: stated[one.key] for one in cut.parameters if one.default is None and one.key in stated}
    stone = cut.stone(**needed, **{cut.size: 4.0})
    length, width, _ = stone.size_mm
    assert width == pytest.approx(4.0, rel=1e-12)
    if "length_ratio" in cut.keys:
        assert length / width == pytest.approx(cut.keys["length_ratio"].default, rel=1e-12)
    heavy = cut.stone(**needed, weight_ct=1.5)
    assert heavy.weight_ct == pytest.approx(1.5, rel=1e-12)
