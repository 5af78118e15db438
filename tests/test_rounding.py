"""Rounded edges: their strips by closed forms, and such stones at every door."""

from __future__ import annotations

import math

import numpy as np
import pytest
import scanned
import trimesh
from polyhedra import box, prism

import raylab as rl
from raylab.cli.options import Subject
from raylab.errors import InputError
from raylab.optics.materials import Material
from raylab.stone.rounding import EDGE
from raylab.stone.scanning.report import ScanReport

GLASS = Material.constant(1.5)
GEM = rl.round_brilliant(table_pct=57, crown_angle_deg=34.5, pavilion_angle_deg=40.75)


def strips(stone: rl.Stone) -> float:
    return float(stone.polyhedron.areas[stone.facets_of(EDGE)].sum())


@pytest.mark.parametrize("steps", [1, 3, 16])
def test_strips_of_a_box_by_closed_form(steps):
    """Two boxes differ in their four upright edges alone, by 0.5 mm of length: what the corners do cancels."""
    radius, right, step = 0.02, math.pi / 2.0, math.pi / 2.0 / (steps + 1)
    low, high = (box(2.0, height, GLASS) for height in (1.0, 1.5))
    round_low, round_high = (rl.rounded(one, 1e3 * radius, steps) for one in (low, high))
    wide = 2.0 * steps * radius * math.tan(step / 2.0)
    assert strips(round_high) - strips(round_low) == pytest.approx(4 * 0.5 * wide, rel=1e-9)
    lost = (high.volume_mm3 - round_high.volume_mm3) - (low.volume_mm3 - round_low.volume_mm3)
    away = radius**2 * (math.tan(right / 2.0) - (steps + 1) * math.tan(step / 2.0))
    assert lost == pytest.approx(4 * 0.5 * away, rel=1e-9)
    if steps == 16:
        assert wide == pytest.approx(radius * right, rel=0.06)
        assert away == pytest.approx(radius**2 * (math.tan(right / 2.0) - right / 2.0), rel=0.01)


def test_planes_touch_a_cylinder_that_touches_both_facets():
    """A prism's cut across is a polygon; rounded, each of its corners is a polygon about a circle of the radius."""
    sides = [0.0, 100.0, 200.0, 290.0]
    stone, radius, steps = prism(sides, [1.0, 1.1, 0.9, 1.2], 2.0, 1.5), 0.03, 4
    made = rl.rounded(stone, 1e3 * radius, steps)
    flat = [f for f in made.facets_of(EDGE) if abs(made.normals[f] @ stone.normals[-1]) < 1e-9]
    assert len(flat) == steps * len(sides)
    order = np.argsort(np.arctan2(made.normals[flat, 2], made.normals[flat, 0]) % (2.0 * math.pi))
    for corner in np.array(flat)[order].reshape(-1, steps):
        center, *_ = np.linalg.lstsq(made.normals[corner], made.distances_mm[corner] - radius, rcond=None)
        np.testing.assert_allclose(made.normals[corner] @ center, made.distances_mm[corner] - radius, atol=1e-12)
        below = np.sort(stone.distances_mm - stone.normals @ center)
        np.testing.assert_allclose(below[:2], radius, atol=1e-12)


def test_a_rounded_brilliant_is_measured_traced_and_written_as_before(tmp_path):
    made = rl.rounded(GEM.with_finishes({"girdle": "absorbing"}), 5.0)
    assert made.tiers[: len(GEM)] == GEM.tiers
    assert {str(made.finishes[f]) for f in made.facets_of("girdle")} == {"absorbing"}
    before, after = rl.measure(GEM), rl.measure(made)
    assert after.cut == "round brilliant"
    assert list(after) == list(before)
    for key in ("crown_angle_deg", "pavilion_angle_deg", "table_pct", "star_pct", "lower_half_pct"):
        assert after[key].mean == pytest.approx(before[key].mean, abs=0.1)
    rl.save_stone(made, tmp_path / "rounded.csv")
    (tmp_path / "scene.toml").write_text(
        'schema = 1\n[stone]\ncut = "round brilliant"\ntable_pct = 57\ncrown_angle_deg = 34.5\npavilion_angle_deg = 40.75\n'
        'edge_radius_um = 5\nedge_steps = 3\n[stone.finishes]\ngirdle = "absorbing"\n[dome]\nname = "head-shadow"\n'
    )
    read, scene = rl.load_stone(tmp_path / "rounded.csv"), rl.load_scene(tmp_path / "scene.toml")
    for other in (read, scene.stone):
        np.testing.assert_allclose(other.normals, made.normals, atol=1e-14)
        assert (other.tiers, other.finishes) == (made.tiers, made.finishes)
    summary = rl.trace(made, scene.dome, resolution=16, precision=0.05).summary
    assert summary.engine == "beams"
    assert summary.symmetry.value == 1.0
    assert sum(one.value for one in summary.ledger.values()) == pytest.approx(1.0, abs=1e-9)


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"radius_um": 0.0}, "radius_um"),
        ({"radius_um": math.nan}, "radius_um"),
        ({"radius_um": 2000.0}, "radius_um"),
        ({"radius_um": 900.0}, "rounding takes .* facet"),
        ({"radius_um": 5.0, "steps": 0}, "steps"),
        ({"radius_um": 5.0, "steps": 2.5}, "steps"),
        ({"radius_um": 5.0, "finish": "dull"}, "unknown finish"),
    ],
)
def test_what_gives_no_rounded_stone_is_one_line(given, said):
    with pytest.raises(InputError, match=said) as refused:
        rl.rounded(GEM, **given)
    assert "\n" not in str(refused.value)


def test_a_stone_is_rounded_once():
    with pytest.raises(InputError, match="rounded already"):
        rl.rounded(rl.rounded(box(2.0, 1.0, GLASS), 5.0), 5.0)


def test_a_scan_names_a_radius_whose_strips_are_as_wide_as_its_own():
    report = ScanReport.__new__(ScanReport)
    object.__setattr__(report, "rounding_um", 30.0)
    assert report.edge_radius_um * math.tan(math.radians(25.0)) == pytest.approx(30.0)


@pytest.mark.parametrize("times", [0, 1])
def test_a_scans_own_rounding_is_taken_by_the_scene_and_by_the_command_line(tmp_path, times):
    stone = scanned.brilliant(girdle_facets=32)
    vertices, triangles = scanned.sampled(stone, 5)
    vertices = scanned.noisy(scanned.blurred(vertices, triangles, times), 0.0005, np.random.default_rng(4))
    trimesh.Trimesh(vertices, triangles, process=False).export(tmp_path / "scan.stl")
    scan = rl.load_scan(tmp_path / "scan.stl", unit="mm")
    (tmp_path / "scene.toml").write_text(
        'schema = 1\n[stone]\nfile = "scan.stl"\nunit = "mm"\nedge_radius_um = "scanned"\nedge_steps = 1\n'
        '[dome]\nname = "head-shadow"\n'
    )
    by_scene = rl.load_scene(tmp_path / "scene.toml").stone
    by_option = Subject(unit="mm", edge_radius_um="scanned").scene(tmp_path / "scan.stl").stone
    if not times:
        assert scan.report.edge_radius_um == 0.0
        assert EDGE not in {*by_scene.tiers, *by_option.tiers}, "sharp edges stay sharp"
        return
    assert scan.report.edge_radius_um > 10.0
    for found, steps in ((by_scene, 1), (by_option, 3)):
        wanted = rl.rounded(scan.stone, scan.report.edge_radius_um, steps)
        np.testing.assert_array_equal(found.distances_mm, wanted.distances_mm)
        assert found.tiers == wanted.tiers


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ('edge_radius_um = "scanned"', "stone.edge_radius_um = 'scanned': only a scan shows the radius of its edges"),
        ('edge_radius_um = "sharp"', "stone.edge_radius_um = 'sharp': not a number"),
        ("edge_radius_um = 900", "stone.edge_radius_um = 900: rounding takes"),
        ("edge_radius_um = 5\nedge_steps = 99", "stone.edge_steps = 99: "),
    ],
)
def test_a_scene_that_rounds_nothing_is_refused_by_its_own_key(tmp_path, line, said):
    (tmp_path / "scene.toml").write_text(
        'schema = 1\n[stone]\ncut = "round brilliant"\ntable_pct = 57\ncrown_angle_deg = 34.5\npavilion_angle_deg = 40.75\n'
        f'{line}\n[dome]\nname = "head-shadow"\n'
    )
    with pytest.raises(InputError) as refused:
        rl.load_scene(tmp_path / "scene.toml")
    assert said in str(refused.value)


@pytest.mark.parametrize("given", ["scanned", "wide", "0", "900"])
def test_an_option_that_rounds_nothing_is_refused_by_its_name(given):
    with pytest.raises(InputError, match="--edge-radius-um = "):
        Subject(edge_radius_um=given).scene("well-proportioned")
