"""The packet tracer's own book-keeping; its physics is checked in validation/."""

import threading

import numpy as np
import pytest
from polyhedra import random_polyhedron, random_rays

from raylab.lighting.dome import Dome
from raylab.optics.fresnel import fresnel
from raylab.scene.scene import Scene
from raylab.scene.settings import TraceSettings
from raylab.scene.view import View
from raylab.stone.cuts.round_brilliant import round_brilliant
from raylab.stone.known_cuts import cut
from raylab.tracers import ledger, reference
from raylab.tracers import stone_table as tables
from raylab.tracers.exact import tracer
from raylab.tracers.exact.tracer import trace_beams
from raylab.tracers.packets import LANES, PathRules
from raylab.tracers.rim import SECTORS, sector_of
from raylab.tracers.sampled import rays
from raylab.tracers.sampled.rays import BLOCK, trace_rays
from raylab.tracers.stone_table import stone_table

GEM = round_brilliant(table_pct=57, crown_angle_deg=34.5, pavilion_angle_deg=40.75)
PEAR = cut("pear brilliant", table_pct=57)
TABLE = stone_table(GEM, 589.3)
DOME = Dome(sky="overcast", head_half_angle_deg=10.0, tray_radiance=0.2)


def trace(origins, directions, table=TABLE, turn=None, **options):
    return trace_rays(origins, directions, table, DOME.table, np.eye(3) if turn is None else turn, rules=PathRules(**options))


def test_the_lowered_stone_keeps_every_plane_under_its_number():
    planes = np.column_stack([GEM.normals, GEM.distances_mm])
    assert np.array_equal(TABLE.planes, planes[TABLE.facet])
    assert sorted(TABLE.facet) == list(range(len(GEM)))
    assert np.all(np.abs(TABLE.planes[: TABLE.sloping, 2]) >= tables.STEEP)
    assert len(GEM) - TABLE.sloping == 96


def test_no_side_facet_reaches_into_the_core():
    """Within the core's radius of each sector every point of the stone lies under all side planes."""
    for stone in (GEM, PEAR, *map(random_polyhedron, range(10))):
        table = stone_table(stone, 589.3)
        azimuth = np.linspace(0.0, 2.0 * np.pi, 1441)
        outward = np.column_stack([np.cos(azimuth), np.sin(azimuth)])
        core = np.sqrt(table.rim.core2[[sector_of(x, y) for x, y in outward]])
        edge = np.where(np.isfinite(core), core, 0.0)[:, None] * outward
        inside = np.isfinite(core) & (core > 0.0)
        for z in (stone.vertices_mm[:, 2].min(), stone.vertices_mm[:, 2].max()):
            points = np.column_stack([edge, np.full(len(edge), z)])[inside]
            assert np.all(points @ table.planes[table.sloping :, :3].T < table.planes[table.sloping :, 3])


def uneven(stone):
    """The stone with girdle facets that lean a little, each in its own way."""
    normals = stone.normals.copy()
    normals[stone.on_girdle, 2] = np.random.default_rng(2).uniform(-0.015, 0.015, stone.on_girdle.sum())
    normals /= np.linalg.norm(normals, axis=1)[:, None]
    return stone.with_planes(normals, stone.distances_mm, redundant="drop")


@pytest.mark.parametrize("stone", [PEAR, uneven(PEAR), cut("hexagonal step cut", table_pct=57), random_polyhedron(3)])
def test_the_rim_spares_planes_and_changes_no_hit(stone, monkeypatch):
    """Rays and polygons meet what they meet when every side plane is searched: the same bits."""
    table = stone_table(stone, 589.3)
    assert len(table.planes) - table.sloping > 2
    assert table.rim.core2.min() > 0.0
    searched = table._replace(rim=table.rim._replace(core2=np.zeros(SECTORS), far2=np.full(SECTORS, -1.0)))
    rng = np.random.default_rng(1)
    directions = rng.normal(size=(400, 3))
    directions /= np.linalg.norm(directions, axis=1)[:, None]
    origins = stone.polyhedron.centroids[rng.integers(len(stone), size=400)] - 9.0 * directions
    for found, whole in zip(*(trace(origins, directions, one) for one in (table, searched)), strict=True):
        assert np.array_equal(found, whole)
    scene = Scene(stone, DOME, View(7.0), TraceSettings(precision=0.15))
    found = trace_beams(scene, 589.3).rows
    monkeypatch.setattr(tracer, "stone_table", lambda *_: searched)
    assert np.array_equal(trace_beams(scene, 589.3).rows, found)


def test_misses_are_zero_rows():
    origins = np.array([[0.0, 0.0, 9.0], [9.0, 0.0, 9.0], [3.2501, 0.0, 9.0], [0.0, 0.0, -9.0]])
    out, hit, segments = trace(origins, np.tile([0.0, 0.0, -1.0], (4, 1)))
    assert hit.tolist() == [True, False, False, False]  # the last one looks away from the stone
    assert np.array_equal(out[1:], np.zeros((3, ledger.CHANNELS)))
    assert segments > 0


def test_no_rays_at_all():
    out, hit, segments = trace(np.zeros((0, 3)), np.zeros((0, 3)))
    assert (out.shape, hit.shape, segments) == ((0, ledger.CHANNELS), (0,), 0)


@pytest.mark.parametrize("count", [1, LANES - 1, LANES + 1, BLOCK - 1, BLOCK, BLOCK + 1, 2 * BLOCK + 3])
def test_a_row_does_not_depend_on_how_many_rays_go_along(count):
    origins, directions = random_rays(GEM, 2 * BLOCK + 3, 7)
    whole = trace(origins, directions)[0]
    assert np.array_equal(trace(origins[:count], directions[:count])[0], whole[:count])


def test_a_row_does_not_depend_on_the_order_of_rays():
    origins, directions = random_rays(GEM, 5000, 8)
    shuffled = np.random.default_rng(1).permutation(5000)
    assert np.array_equal(trace(origins[shuffled], directions[shuffled])[0], trace(origins, directions)[0][shuffled])


def test_any_layout_of_the_callers_arrays_will_do():
    origins, directions = random_rays(GEM, 100, 9)
    expected = trace(origins, directions)[0]
    wide = np.zeros((100, 6))
    wide[:, ::2] = origins
    assert np.array_equal(trace(wide[:, ::2], np.asfortranarray(directions))[0], expected)
    single = origins.astype(np.float32)
    assert np.array_equal(trace(single, directions)[0], trace(single.astype(float), directions)[0])


def test_glare_is_fresnels_reflectance_where_the_ray_enters():
    origins, directions = random_rays(GEM, 40, 10)
    out = trace(origins, directions)[0]
    for row, origin, ray in zip(out, origins, directions, strict=True):
        first = reference.trace_path(origin, ray, GEM, max_bounces=0).facets[0]
        incidence = np.degrees(np.arccos(-ray @ GEM.normals[first]))
        assert row[ledger.GLARE] == pytest.approx(float(fresnel(incidence, 1.0, TABLE.medium.n).reflectance), abs=1e-12)


def test_limits_of_a_path():
    origins, directions = random_rays(GEM, 200, 11)
    none = trace(origins, directions, max_bounces=0, min_weight=0.0)[0]
    once = trace(origins, directions, max_bounces=1, min_weight=0.0)[0]
    assert np.max(none[:, ledger.BOUNCES]) == np.max(once[:, ledger.BOUNCES]) == 0.0
    assert np.all(once[:, ledger.UNTRACED] <= 1.0 - once[:, ledger.GLARE] + 1e-15)
    ended = trace(origins, directions, min_weight=0.05, max_bounces=10_000)[0]
    assert np.max(ended[:, ledger.UNTRACED]) < 0.05


def test_leak_is_reported_by_the_stones_frame_and_head_by_the_domes():
    """Turned upside down, the crown's exits are still sky and the pavilion's leak; the head now looks at the pavilion."""
    origins, directions = random_rays(GEM, 500, 12)
    upright, over = trace(origins, directions)[0], trace(origins, directions, turn=View(tilt_deg=180.0).rotation())[0]
    with_head = ledger.SKY, ledger.HEAD, ledger.LEAK
    assert over[:, with_head].sum(axis=1) == pytest.approx(upright[:, with_head].sum(axis=1), abs=1e-12)
    no_head = Dome(sky="overcast", tray_radiance=0.2)
    plain = trace_rays(origins, directions, TABLE, no_head.table, np.eye(3))[0]
    assert np.all(over[:, ledger.LEAK] <= plain[:, ledger.LEAK] + 1e-12)
    assert np.all(over[:, ledger.SKY] == pytest.approx(plain[:, ledger.SKY], abs=1e-12))
    assert np.all(upright[:, ledger.LEAK] == pytest.approx(plain[:, ledger.LEAK], abs=1e-12))


def test_unit_directions_in_unit_sums_out():
    """|sum of weight x direction| is at most the weight that left."""
    out = trace(*random_rays(GEM, 500, 13))[0]
    left = out[:, [ledger.SKY, ledger.HEAD, ledger.LEAK]].sum(axis=1)
    assert np.all(np.linalg.norm(out[:, ledger.SOURCE_X : ledger.SOURCE_Z + 1], axis=1) <= left + 1e-12)


def test_two_python_threads_may_trace_at_once():
    """Numba's parallel kernels abort the process when two threads enter; the lock keeps them apart."""
    origins, directions = random_rays(GEM, 3000, 14)
    expected, found = trace(origins, directions)[0], {}

    def work(name: int) -> None:
        found[name] = rays.trace_rays(origins, directions, TABLE, DOME.table, np.eye(3))[0]

    threads = [threading.Thread(target=work, args=(name,)) for name in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert all(np.array_equal(found[name], expected) for name in range(4))
