"""Inclusions: what is refused, what is said, how they move with their stone, and who traces them."""

import math

import numpy as np
import pytest
from polyhedra import box, random_polyhedron

import raylab as rl
from raylab.errors import InputError, UnsupportedScene
from raylab.lighting.dome import Dome
from raylab.scene.view import View
from raylab.stone.inclusions.inclusion import MOST, Inclusion
from raylab.stone.inclusions.shapes import Disc, Ellipsoid, Polyhedron
from raylab.tracers.crossings import apart2, crosses, inclusion_table
from raylab.tracers.engines import engine_for
from raylab.tracers.reference_crossings import crosses as oracle_crosses

BOX = box(2.0, 1.0, 1.5)
SPECK = Inclusion.sphere((0.3, 0.1, 0.2), 0.05)
TETRAHEDRON = [(0, 0, 0), (0.2, 0, 0), (0, 0.2, 0), (0, 0, 0.2)]


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: Inclusion.sphere((0, 0, 0), 0.0), "radius_mm = 0.0: out of range"),
        (lambda: Inclusion.sphere((0, 0, math.nan), 0.1), "center_mm = nan: out of range"),
        (lambda: Inclusion.sphere((0, 0), 0.1), r"center_mm = \(0, 0\): not a point"),
        (lambda: Inclusion.sphere((0, 0, 0), 0.1, transmittance=1.1), "transmittance = 1.1: out of range"),
        (lambda: Inclusion.ellipsoid((0, 0, 0), (0.1, 0.1, 0.0)), "radii_mm = 0.0: out of range"),
        (lambda: Inclusion.ellipsoid((0, 0, 0), (0.1, 0.2, 0.3), second_axis=(2, 0, 0)), "second_axis.*along the first axis"),
        (lambda: Inclusion.disc((0, 0, 0), 0.1, (0, 0, 0)), "normal.*no direction"),
        (lambda: Inclusion.polyhedron(TETRAHEDRON[:3]), "corners_mm = 3: wrong number of corners"),
        (lambda: Inclusion.polyhedron([*TETRAHEDRON[:3], (0.1, 0.1, 0)]), "corners in one plane"),
        (lambda: Inclusion("sphere"), "shape = 'sphere': wrong type"),
        (
            lambda: BOX.with_inclusions(Inclusion.sphere((0, 0, 0.6), 0.2)),
            r"inclusion 1 = .*not inside the stone.*0.1 mm outside",
        ),
        (lambda: BOX.with_inclusions(Inclusion.disc((0, 0, 0.5), 0.2)), "not inside the stone"),
        (lambda: BOX.with_inclusions([SPECK, "speck"]), "inclusion 2 = 'speck': wrong type"),
        (lambda: BOX.with_inclusions([SPECK] * (MOST + 1)), "too many inclusions; expected at most 1000"),
    ],
)
def test_what_is_no_inclusion_is_refused(make, message):
    with pytest.raises(InputError, match=message):
        make()


def test_what_is_cut_off_or_overlaps_is_said():
    stone = BOX.with_inclusions(
        [
            Inclusion.sphere((0, 0, 0.4), 0.15, name="cloud"),
            Inclusion.sphere((0.2, 0, 0.35), 0.1),
            Inclusion.disc((0.5, 0, 0), 0.3, (1, 0, 0)),
            Inclusion.polyhedron(np.array(TETRAHEDRON) - [0.8, 0.8, 0.0]),
        ]
    )
    assert stone.inclusion_remarks() == [
        "inclusion 1 (cloud) reaches 0.05 mm beyond the plane of facet 2 and is cut off at the surface",
        "inclusion 1 (cloud) and inclusion 2 overlap; where they do, each takes its share of the rest",
    ]
    assert BOX.with_inclusions(SPECK).inclusion_remarks() == []


def test_extents_are_those_of_the_shapes():
    """Against points of each surface, in random directions."""
    rng = np.random.default_rng(1)
    ways = rng.normal(size=(50, 3))
    ways /= np.linalg.norm(ways, axis=1)[:, None]
    ball = rng.normal(size=(40000, 3))
    ball /= np.linalg.norm(ball, axis=1)[:, None]
    egg = Ellipsoid((0.1, 0.2, 0.3), (0.5, 0.2, 0.1), (1, 2, 3), (0, 1, 0))
    assert egg.extent_mm(ways) == pytest.approx(
        ((ball * egg.radii_mm) @ egg.axes @ ways.T).max(axis=0) + ways @ egg.center_mm, abs=5e-3
    )
    disc = Disc((0.1, 0.2, 0.3), 0.5, (1.0, 2.0, 3.0))
    rim = np.cross(ball, disc.normal)
    rim *= 0.5 / np.linalg.norm(rim, axis=1)[:, None]
    assert disc.extent_mm(ways) == pytest.approx((rim @ ways.T).max(axis=0) + ways @ disc.center_mm, abs=1e-3)
    crystal = Polyhedron(tuple(map(tuple, rng.normal(size=(9, 3)))))
    assert (np.array(crystal.corners_mm) @ crystal.planes[:, :3].T).max(axis=0) == pytest.approx(crystal.planes[:, 3], abs=1e-9)


def shapes(rng):
    axis, other, normal = rng.normal(size=(3, 3))
    return [
        Inclusion.sphere(rng.uniform(-0.5, 0.5, 3), 0.3),
        Inclusion.ellipsoid(rng.uniform(-0.5, 0.5, 3), (0.7, 0.3, 0.05), axis=axis, second_axis=other),
        Inclusion.disc(rng.uniform(-0.5, 0.5, 3), 0.6, normal),
        Inclusion.polyhedron(rng.uniform(-0.7, 0.7, size=(8, 3))),
    ]


def test_kernel_and_oracle_agree_on_what_a_segment_crosses():
    """Random segments of all lengths, from inside and outside; and not all cross, nor none."""
    rng = np.random.default_rng(2)
    crossed = 0
    for _ in range(60):
        for one in shapes(rng):
            start, end = rng.uniform(-1.0, 1.0, size=(2, 3))
            length = float(np.linalg.norm(end - start))
            table, segment = inclusion_table([one]), (*start, *((end - start) / length), length)
            found = crosses(*segment, table.quadrics, table.flats, table.spheres, table.starts, table.faces, 0)
            assert found == oracle_crosses(start, end, one.shape)
            crossed += found
            if found:
                assert apart2(*segment, *one.center_mm) < table.spheres[0, 3] ** 2
    assert 40 < crossed < 200


def test_inclusions_move_with_their_stone():
    """A moved, turned and scaled segment crosses what it crossed before."""
    rng = np.random.default_rng(3)
    turn = View(tilt_deg=50.0, tilt_azimuth_deg=20.0, turn_deg=70.0).rotation()
    shift = np.array([0.2, -0.1, 0.3])
    for _ in range(20):
        stone = random_polyhedron(1).relabeled(inclusions=tuple(shapes(rng)))
        other = stone.scaled(1.7).moved(turn, shift)
        start, end = rng.uniform(-1.0, 1.0, size=(2, 3))
        for one, two in zip(stone.inclusions, other.inclusions, strict=True):
            assert oracle_crosses(turn @ (1.7 * start) + shift, turn @ (1.7 * end) + shift, two.shape) == oracle_crosses(
                start, end, one.shape
            )


def test_inclusions_stay_when_facets_move_and_count_in_the_hash():
    stone = BOX.with_inclusions(SPECK)
    assert stone.with_planes(BOX.normals, 0.9 * BOX.distances_mm).inclusions == stone.inclusions == (SPECK,)
    assert stone.with_inclusions(()).facts() == BOX.facts()
    scenes = [rl.Scene(one, Dome()) for one in (BOX, stone, BOX.with_inclusions(Inclusion.sphere((0.3, 0.1, 0.2), 0.051)))]
    assert len({scene.hash() for scene in scenes}) == 3
    named = BOX.with_inclusions(Inclusion(SPECK.shape, name="speck"))
    assert rl.Scene(named, Dome()).hash() == scenes[1].hash()


def test_the_exact_engine_refuses_and_the_sampled_one_traces():
    scene = rl.Scene(BOX.with_inclusions([SPECK, SPECK]), Dome())
    assert engine_for(scene).name == "rays"
    with pytest.raises(UnsupportedScene, match="does not follow polygons past inclusions, and the stone has 2"):
        engine_for(scene, exact=True)


def test_a_trace_says_what_inclusions_take():
    """A level opaque disc in a slab that is looked at straight down: (1 - R) of the light over its share of the face."""
    disc = Inclusion.disc((0.0, 0.0, 0.1), 0.6)
    dome = Dome(sky_radiance=1.0, tray_radiance=1.0)
    result = rl.trace(BOX.with_inclusions(disc), dome, resolution=64, samples=16)
    share = 0.96 * math.pi * 0.36 / 4.0
    taken = float((result.maps.included * result.maps.coverage).sum() / result.maps.coverage.sum())
    absorbed = result.summary.statistics["absorbed"]
    assert absorbed.value == pytest.approx(taken, rel=1e-9)
    assert abs(absorbed.value - share) < 4.0 * absorbed.error
    assert absorbed.error < 2e-3
    assert result.summary.notes["inclusions"].startswith(f"1 inclusion takes {taken:.3g} of the light (standard error")
    bare = rl.trace(BOX, dome, engine="rays", resolution=8)
    assert "included" not in bare.maps
    assert "inclusions" not in bare.summary.notes


def test_an_inclusion_that_no_sample_meets_has_the_error_of_one_ray():
    stone = BOX.with_inclusions(Inclusion.sphere((0.123, 0.077, 0.0), 1e-6))
    found = rl.trace(stone, Dome(), resolution=8, samples=4).summary.statistics["absorbed"]
    assert found.value == 0.0
    assert found.error > 1e-3


def test_remarks_on_many_inclusions_are_bounded_and_counted():
    many = BOX.with_inclusions([rl.Inclusion.sphere((0.0, 0.0, 1e-4 * k), 0.2) for k in range(400)])
    said = many.inclusion_remarks(3)
    assert said[0] == "inclusion 1 and inclusion 2 overlap; where they do, each takes its share of the rest"
    assert said[3:] == [f"{400 * 399 // 2 - 3} more such remarks"]
    wide = BOX.with_inclusions([rl.Inclusion.sphere((0.0, 0.0, 0.0), 9.0)] * 3)
    assert [line.endswith("is cut off at the surface") for line in wide.inclusion_remarks(2)] == [True, True, False]
    assert wide.inclusion_remarks(2)[-1] == "4 more such remarks"
    assert len(wide.inclusion_remarks()) == 6


def test_an_inclusion_that_is_polished_away_is_said_to_be_gone():
    gem = rl.round_brilliant(table_pct=57, crown_angle_deg=34.5, pavilion_angle_deg=40.75)
    top = float(gem.vertices_mm[:, 2].max())
    spotted = gem.with_inclusions(Inclusion.sphere((0.0, 0.0, top - 0.04), 0.03))
    assert spotted.inclusion_remarks() == []
    (part,) = rl.repolish(spotted, "table", depth_mm=0.05).inclusion_remarks()
    assert part.endswith("mm beyond the plane of table 0 and is cut off at the surface")
    whole = rl.repolish(spotted, "table", depth_mm=0.08).inclusion_remarks()
    assert whole == ["inclusion 1 lies beyond the plane of table 0: nothing of it is left"]
