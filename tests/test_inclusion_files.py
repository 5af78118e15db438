"""Plotted inclusions: where they lie, and the files that state them."""

import math

import numpy as np
import pytest
from polyhedra import box, random_polyhedron
from small_scenes import scene_text

import raylab as rl
from raylab.errors import InputError
from raylab.files import save_stone
from raylab.lighting.dome import Dome
from raylab.scene.scene_file import load_scene
from raylab.stone.inclusions.inclusion import Inclusion
from raylab.stone.inclusions.inclusion_file import load_inclusions
from raylab.stone.inclusions.placing import facet_axes, point_below
from raylab.stone.stone_file import load_stone
from raylab.tracers import ledger
from raylab.tracers.sampled.rays import PathRules, trace_rays
from raylab.tracers.stone_table import stone_table
from raylab.workbench.file_exchange import open_bytes

N = 2.417
BRILLIANT = rl.round_brilliant(table_pct=57, crown_angle_deg=34.5, pavilion_angle_deg=40.75, girdle_facets=32)
SPECK = """
[[stone.inclusions]]
name = "speck"
shape = "sphere"
center_mm = [0.5, 0.2, -0.4]
radius_mm = 0.05
"""


def test_rays_that_aim_at_the_apparent_place_meet_the_real_one():
    """Two rays a milliradian off the normal, which would cross at the apparent depth, on any facet of a random stone.

    Snell's law in the first order; the third, of 1e-9, is far below the sphere's radius of a micrometre.
    """
    stone = random_polyhedron(3, n=N)
    for f in np.argsort(-stone.polyhedron.areas)[:5]:
        name, axes, normal = stone.facet_name(f), facet_axes(stone.normals[f]), stone.normals[f]
        place = point_below(stone, name, (0.02, -0.01), apparent_depth_mm=0.05)
        table = stone_table(stone.with_inclusions(Inclusion.sphere(place, 1e-6)), 589.3)
        seen = stone.polyhedron.centroids[f] + np.array([0.02, -0.01]) @ axes - 0.05 * normal
        ways = np.array([-normal + 1e-3 * axes[0], -normal - 1e-3 * axes[1]])
        ways /= np.linalg.norm(ways, axis=1)[:, None]
        rows = trace_rays(seen - 5.0 * ways, ways, table, Dome().table, np.eye(3), rules=PathRules())[0]
        assert rows[:, ledger.INCLUDED] == pytest.approx(1.0 - ((N - 1.0) / (N + 1.0)) ** 2, abs=1e-6)
        beside = trace_rays(seen - 5.0 * ways + 1e-5 * axes[1], ways, table, Dome().table, np.eye(3), rules=PathRules())[0]
        assert (beside[:, ledger.INCLUDED] < 0.5).all()


def test_right_and_up_are_as_seen_from_outside():
    assert facet_axes(np.array([0.0, 0.0, 1.0])).tolist() == [[1, 0, 0], [0, 1, 0]]
    lean = np.array([math.sin(0.6), 0.0, math.cos(0.6)])  # a crown facet towards +x: up is towards the axis, right is +y
    right, up = facet_axes(lean)
    assert right == pytest.approx([0.0, 1.0, 0.0])
    assert up[0] < 0.0 < up[2]
    assert np.cross(right, up) == pytest.approx(lean)
    below = facet_axes(np.array([0.0, 0.0, -1.0]))
    assert np.cross(*below) == pytest.approx([0.0, 0.0, -1.0])


@pytest.mark.parametrize(
    ("facet", "given", "message"),
    [
        ("table", {"depth_mm": 0.1, "apparent_depth_mm": 0.1}, "give one of"),
        ("table", {}, "give one of"),
        ("tabel", {"depth_mm": 0.1}, "facet = 'tabel': unknown facet; did you mean 'table'"),
        ("star", {"depth_mm": 0.1}, "a tier of several facets; expected one of star 0 to star 7"),
        ("star 3", {"depth_mm": 0.1, "at_mm": (2.0, 0.0)}, "beside star 3 by about"),
        ("star 3", {"depth_mm": 50.0}, "depth_mm = 50.0: below the other side; expected less than"),
        ("star 3", {"depth_mm": 0.0}, "depth_mm = 0.0: out of range"),
        ("star 3", {"depth_mm": 0.1, "at_mm": (2.0,)}, "not a point of a facet"),
    ],
)
def test_what_can_not_be_plotted_is_refused(facet, given, message):
    with pytest.raises(InputError, match=message):
        point_below(BRILLIANT, facet, **given)


def test_a_scene_states_inclusions(tmp_path):
    scene = tmp_path / "scene.toml"
    text = scene_text(64) + SPECK
    plotted = '[[stone.inclusions]]\nshape = "disc"\nfacet = "table"\nat_mm = [0.3, 0]\ndepth_mm = 0.4\nradius_mm = 0.1\n'
    scene.write_text(text + plotted)
    stone = load_scene(scene).stone
    top = float(stone.vertices_mm[:, 2].max())
    assert stone.inclusions[0] == Inclusion.sphere((0.5, 0.2, -0.4), 0.05, name="speck")
    assert stone.inclusions[1].center_mm == pytest.approx((0.3, 0.0, top - 0.4), abs=1e-12)
    assert load_stone(scene).inclusions == stone.inclusions


def test_a_stone_file_keeps_its_inclusions_where_a_scene_names_it(tmp_path):
    own = scene_text(64).split("[dome]")[0]
    (tmp_path / "stone.toml").write_text(own + SPECK)
    (tmp_path / "plotted.csv").write_text("shape,center_mm,radius_mm\nsphere,0 0 0.1,0.2\n")
    scene = tmp_path / "scene.toml"
    scene.write_text('schema = 1\n[stone]\nfile = "stone.toml"\ninclusions = "plotted.csv"\n[dome]\nname = "head-shadow"\n')
    assert [one.name for one in load_scene(scene).stone.inclusions] == ["speck", ""]


def test_a_csv_file_states_every_shape(tmp_path):
    file = tmp_path / "plotted.csv"
    file.write_text(
        "# plotted (invented)\n"
        "name,shape,facet,at_mm,apparent_depth_mm,center_mm,radius_mm,radii_mm,axis,normal,corners_mm,transmittance\n"
        "pinpoint,sphere,table,0.1 0.2,0.2,,0.02,,,,,\n"
        "needle,ellipsoid,,,,0 0.3 -0.2,,0.3 0.01 0.01,1 1 0,,,0.5\n"
        "feather,disc,,,,0.8 0 0,0.2,,,1 0 0,,0.7\n"
        "\n"
        "crystal,polyhedron,,,,,,,,,0 0 0 0.1 0 0 0 0.1 0 0 0 0.1,\n"
    )
    found = load_inclusions(file, BRILLIANT)
    assert [one.name for one in found] == ["pinpoint", "needle", "feather", "crystal"]
    assert found[0] == Inclusion.sphere(
        point_below(BRILLIANT, "table", (0.1, 0.2), apparent_depth_mm=0.2), 0.02, name="pinpoint"
    )
    assert found[1] == Inclusion.ellipsoid((0, 0.3, -0.2), (0.3, 0.01, 0.01), axis=(1, 1, 0), transmittance=0.5, name="needle")
    assert found[2] == Inclusion.disc((0.8, 0, 0), 0.2, (1, 0, 0), transmittance=0.7, name="feather")
    assert found[3].shape.corners_mm == ((0, 0, 0), (0.1, 0, 0), (0, 0.1, 0), (0, 0, 0.1))


@pytest.mark.parametrize(
    ("rows", "message"),
    [
        ("shape,radius\n", r"plotted.csv:1: radius: unknown column; did you mean 'radius_mm'"),
        ("shape,shape\n", "repeated column"),
        ("shape,center_mm,radius_mm\nsphere,0 0 0\n", "plotted.csv:2: 2 values for 3 columns"),
        ("shape,center_mm,radius_mm\nsphere,0 0 x,1\n", "plotted.csv:2: center_mm = '0 0 x': not a number"),
        ("shape,center_mm,radius_mm\nball,0 0 0,1\n", "shape = 'ball': unknown shape"),
        ("shape,center_mm,radius_mm\nsphere,0 0,1\n", "center_mm = .*not a point"),
        ("shape,center_mm,radius_mm\nsphere,,1\n", "center_mm: missing; expected center_mm, or facet and a depth"),
        ("shape,center_mm,facet,radius_mm\nsphere,0 0 0,table,1\n", "facet and center_mm are alternatives"),
        ("shape,center_mm,radius_mm,normal\nsphere,0 0 0,1,0 0 1\n", "normal.*unknown key"),
        ("shape,corners_mm\npolyhedron,0 0 0 1\n", "corners_mm = 4: not three numbers a corner"),
        ("shape,center_mm,radius_mm\nsphere,0 0 0,1 2\n", "radius_mm = '1 2': not one number"),
        ("shape,center_mm,radius_mm\nsphere,0 0 0,0\n", "plotted.csv:2: radius_mm = 0.0: out of range"),
    ],
)
def test_a_csv_file_is_refused_by_its_line(tmp_path, rows, message):
    file = tmp_path / "plotted.csv"
    file.write_text(rows)
    with pytest.raises(InputError, match=message):
        load_inclusions(file, BRILLIANT)


@pytest.mark.parametrize(
    ("lines", "message"),
    [
        ("[[stone.inclusions]]\nshape = 'sphere'\nradius_mm = 1", r"scene.toml: stone.inclusions#1.center_mm: missing"),
        ("[[stone.inclusions]]\nradius_mm = 1", r"stone.inclusions#1.shape: missing"),
        (
            "[[stone.inclusions]]\nshape = 'sphere'\ncenter_mm = [0, 0, 9]\nradius_mm = 1",
            "inclusion 1 = .*not inside the stone",
        ),
        ("[stone.inclusions]\nshape = 'sphere'", "stone.inclusions: wrong type or too many"),
    ],
)
def test_a_scene_is_refused_by_its_key(tmp_path, lines, message):
    scene = tmp_path / "scene.toml"
    scene.write_text(scene_text(64) + lines)
    with pytest.raises(InputError, match=message):
        load_scene(scene)


def test_who_holds_no_inclusions_refuses_them(tmp_path):
    stone = BRILLIANT.with_inclusions(Inclusion.sphere((0, 0, 0), 0.1))
    with pytest.raises(InputError, match="a stone file holds no inclusions"):
        save_stone(stone, tmp_path / "stone.csv")
    scene = tmp_path / "scene.toml"
    scene.write_text(scene_text(64) + SPECK)
    linked = scene_text(64).replace("girdle_facets = 32", 'inclusions = "/etc/hostname"')
    with pytest.raises(InputError, match="refers to another file"):
        open_bytes("scene.toml", linked.encode())


def test_cutting_keeps_inclusions():
    """A blocked stone that is rounded and finished, and a facet that is polished again."""
    from raylab.cutting.blocked import blocked_stone
    from raylab.cutting.last_facets import LastFacets, finished
    from raylab.cutting.repolishing import repolish

    speck = Inclusion.sphere((0, 0, 0), 0.1)
    kept = [f for f, tier in enumerate(BRILLIANT.tiers) if tier in ("table", "crown main", "pavilion main", "girdle")]
    blocked = rl.Stone.from_planes(
        BRILLIANT.normals[kept],
        BRILLIANT.distances_mm[kept],
        tiers=[BRILLIANT.tiers[f] for f in kept],
        cut="round brilliant",
        redundant="drop",
    ).with_inclusions(speck)
    assert finished(blocked_stone(blocked, 6.4), LastFacets()).inclusions == (speck,)
    assert repolish(BRILLIANT.with_inclusions(speck), "table", depth_mm=0.01).inclusions == (speck,)


def test_a_slab_with_a_level_facet_below_is_plotted_from_below():
    slab = box(2.0, 1.0, 1.5)
    assert point_below(slab, "facet 5", (0.2, 0.1), depth_mm=0.3) == pytest.approx((-0.2, 0.1, -0.2))
