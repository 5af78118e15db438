"""`SymmetryGroup`: its images, its text, and the agreement of a pattern under any group, from one mirror up."""

from __future__ import annotations

import numpy as np
import pytest
from polyhedra import body

import raylab as rl
from raylab.stone.facet_table import facet_table, read_facet_table

BRILLIANT = rl.round_brilliant(table_pct=57, crown_angle_deg=34.5, pavilion_angle_deg=40.75)


@pytest.mark.parametrize(("order", "mirror"), [(1, None), (1, 30.0), (2, 0.0), (3, None), (8, 11.25)])
def test_images_form_a_group(order, mirror):
    group = rl.SymmetryGroup(order, mirror)
    matrices = group.matrices()
    assert len(matrices) == group.size == order * (1 if mirror is None else 2)
    for one in matrices:
        assert np.allclose(one @ one.T, np.eye(2))
        for other in matrices:
            assert np.abs(one @ other - matrices).max(axis=(1, 2)).min() < 1e-12, "closed"
    if mirror is not None:
        along = np.array([np.cos(np.radians(mirror)), np.sin(np.radians(mirror))])
        assert np.abs(matrices[order] @ along - along).max() < 1e-12, "a mirror plane keeps its own azimuth"
    assert group.within(matrices)
    assert not rl.SymmetryGroup(5, 0.0).within(matrices)


def test_azimuths_go_where_the_matrices_take_them():
    group, azimuth = rl.SymmetryGroup(3, 20.0), np.array([0.3, 2.0])
    images, plan = group.images(azimuth), np.stack([np.cos(azimuth), np.sin(azimuth)])
    for row, matrix in zip(images, group.matrices(), strict=True):
        assert np.allclose(np.stack([np.cos(row), np.sin(row)]), matrix @ plan)


@pytest.mark.parametrize(
    "group", [rl.SymmetryGroup(), rl.SymmetryGroup(4), rl.SymmetryGroup(1, 90.0), rl.SymmetryGroup(8, 0.1)]
)
def test_its_text_gives_it_back(group, tmp_path):
    assert rl.SymmetryGroup.parse(str(group)) == group
    path = tmp_path / "stone.csv"
    path.write_text(facet_table(BRILLIANT.relabeled(symmetry=group)), encoding="utf-8")
    assert read_facet_table(path).symmetry == group


@pytest.mark.parametrize(("order", "mirror"), [(0, None), (2.5, None), (True, None), (361, None), (8, "0"), (8, 400.0)])
def test_what_is_no_group_is_refused(order, mirror):
    with pytest.raises(rl.InputError, match=r"symmetry\."):
        rl.SymmetryGroup(order, mirror)


def test_a_turned_stone_turns_its_mirrors():
    turned = BRILLIANT.moved(rl.View(turn_deg=10.0).rotation())
    assert turned.symmetry.order == 8
    assert turned.symmetry.mirror_deg == pytest.approx(10.0)
    assert BRILLIANT.moved(rl.View(tilt_deg=10.0).rotation()).symmetry == rl.SymmetryGroup()


def test_one_mirror_is_a_symmetry_of_the_pattern():
    """A brilliant whose pavilion leans along y keeps the mirror plane along y alone: sampled agreement is 1 under that one
    mirror, and lower under what it has lost. The view is sampled, so that nothing is found exact in the planes."""
    aside = BRILLIANT.distances_mm + np.where(BRILLIANT.normals[:, 2] < 0.0, 0.15 * BRILLIANT.normals[:, 1], 0.0)
    leaning = body(BRILLIANT.normals, aside, tiers=BRILLIANT.tiers, redundant="drop")

    def agreement(group: rl.SymmetryGroup) -> float:
        stone = leaning.relabeled(symmetry=group)
        found = rl.trace(stone, rl.load_dome("head-shadow"), resolution=8, samples=1, engine="rays", by_facet=False)
        return found.summary.symmetry.value

    assert agreement(rl.SymmetryGroup(1, 90.0)) == pytest.approx(1.0, abs=2e-3)
    assert agreement(rl.SymmetryGroup(1, 0.0)) < 0.9
    assert agreement(rl.SymmetryGroup(2)) < 0.9
    assert agreement(rl.SymmetryGroup(8, 0.0)) < 0.9


def test_what_the_tracer_finds_exact_is_exact_for_the_claimed_group_only():
    """A twofold stone claims mirrors it does not have: the tracer's own symmetries are as many, and they are not these."""
    dome = rl.load_dome("even-sky")
    found = rl.trace(BRILLIANT, dome, resolution=8, precision=0.05, by_facet=False).summary.symmetry
    assert (found.value, found.error) == (1.0, 0.0)
    wrong = BRILLIANT.relabeled(symmetry=rl.SymmetryGroup(8, 10.0))
    found = rl.trace(wrong, rl.load_dome("head-shadow"), resolution=8, precision=0.05, by_facet=False).summary.symmetry
    assert found.value < 0.99


@pytest.mark.parametrize("cut", ["pear brilliant", "marquise brilliant", "tapered baguette"])
def test_cuts_of_few_mirrors_have_a_symmetric_pattern(cut):
    """One mirror, or two: exact where planes, dome and view have it; lower as soon as a facet has lost it."""
    stone = rl.cut(cut, table_pct=57)
    assert (stone.symmetry.order, stone.symmetry.mirror_deg) == ((2 if cut.startswith("marquise") else 1), 0.0)
    dome, settings = rl.load_dome("head-shadow"), {"resolution": 8, "precision": 0.2, "by_facet": False}
    exact = rl.trace(stone, dome, rl.View(turn_deg=25.0), **settings).summary.symmetry
    assert (exact.low, exact.value, exact.high, exact.error) == (1.0, 1.0, 1.0, 0.0)
    aside = stone.distances_mm - np.where(stone.normals[:, 2] < -0.1, 0.03 * np.sign(np.round(stone.normals[:, 1], 9)), 0.0)
    worn = stone.with_planes(stone.normals, aside, redundant="drop")
    found = rl.trace(worn, dome, rl.View(turn_deg=25.0), **settings).summary.symmetry
    assert found.error > 0.0
    assert found.value < 1.0 - 5.0 * found.error
