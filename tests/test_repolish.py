"""Facets repolished: weight against volumes, what is taken away, and what is refused."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

import raylab as rl

STONE = rl.round_brilliant(table_pct=57, crown_angle_deg=34.5, pavilion_angle_deg=40.75, girdle_pct=3.5)
DOME = rl.load_dome("head-shadow")

MOVES = [
    ("table", {"depth_mm": 0.02}),
    ("table", {"slope_deg": 0.3, "azimuth_deg": 30.0}),
    ("pavilion main 3", {"slope_deg": 0.2}),
    ("crown main", {"depth_mm": 0.01}),
    ("upper half 5", {"azimuth_deg": 0.2}),
    ("pavilion main", {"slope_deg": -0.1, "depth_mm": 0.002}),
]


@pytest.mark.parametrize(("what", "move"), MOVES)
def test_weight_lost_is_the_volume_between(what, move):
    """Volumes by an outside library; the new stone lies within the old one and every old facet is gone whole."""
    after = rl.repolish(STONE, what, **move)
    volumes = [trimesh.Trimesh(*stone.triangles()).volume for stone in (STONE, after)]
    lost = 100.0 * (volumes[0] - volumes[1]) * STONE.material.density_g_cm3 * 5e-3
    assert 100.0 * (STONE.weight_ct - after.weight_ct) == pytest.approx(lost, rel=1e-9)
    assert lost > 0.0
    assert (after.vertices_mm @ STONE.normals.T <= STONE.distances_mm + 1e-12).all()
    for f in range(len(STONE)):
        if what in (STONE.tiers[f], STONE.facet_name(f)):
            g = [after.facet_name(k) for k in range(len(after))].index(STONE.facet_name(f))
            corners = STONE.vertices_mm[STONE.polyhedron.loops[f]]
            distances = corners @ after.normals[g] - after.distances_mm[g]
            assert distances.min() == pytest.approx(move.get("depth_mm", 0.0), abs=1e-12), "no deeper than asked"


def test_a_thin_layer_weighs_its_area():
    """First order: area times depth; the rest falls with the square of the depth."""
    depth = 1e-4
    area = float(STONE.polyhedron.areas[STONE.tiers.index("table")])
    after = rl.repolish(STONE, "table", depth_mm=depth)
    assert STONE.volume_mm3 - after.volume_mm3 == pytest.approx(area * depth, rel=1e-3)


@pytest.mark.parametrize(
    ("what", "move", "error", "words"),
    [
        ("pavilion mian", {"depth_mm": 0.1}, rl.InputError, "did you mean 'pavilion main'"),
        ("table", {"depth_mm": -0.1}, rl.InputError, "depth_mm = -0.1: out of range"),
        ("table", {}, rl.InputError, "no change"),
        ("table", {"azimuth_deg": 4.0}, rl.InputError, "a level facet has no azimuth"),
        ("table", {"depth_mm": 0.6}, rl.StoneError, "these facets vanish: star"),
        ("lower half", {"depth_mm": 0.15}, rl.StoneError, "the girdle has no thickness at girdle"),
        ("table", {"depth_mm": 50.0}, rl.StoneError, "."),
    ],
)
def test_impossible_moves_are_named(what, move, error, words):
    with pytest.raises(error, match=words):
        rl.repolish(STONE, what, **move)


def test_what_if_tells_the_difference_of_two_traces():
    after = rl.repolish(STONE, "pavilion main 3", slope_deg=0.5)
    found = rl.what_if(STONE, after, DOME, what="steeper", resolution=64, settings=rl.TraceSettings(precision=0.02))
    for name in ("brightness", "contrast_rms"):
        values = [getattr(one.summary, name) for one in (found.before, found.after)]
        assert found.change.light[name].value == values[1].value - values[0].value
        assert found.change.light[name].low == values[1].low - values[0].high
    assert found.change.lost_points == pytest.approx(100.0 * (STONE.weight_ct - after.weight_ct))
    inside = np.isfinite(found.difference.luminance.values)
    alone = rl.what_if(STONE, STONE, DOME, resolution=64, settings=rl.TraceSettings(precision=0.02))
    assert np.nanmax(np.abs(alone.difference.luminance)) == 0.0
    assert inside.sum() > 2000
    assert np.nanmax(np.abs(found.difference.luminance)) > 0.1
