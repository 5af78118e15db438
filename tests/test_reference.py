"""The oracle's own book-keeping; its physics is checked in validation/."""

import numpy as np
import pytest
from polyhedra import body, box, finishes

from raylab.lighting.dome import Dome
from raylab.optics.materials import Material
from raylab.scene.view import View
from raylab.tracers import ledger
from raylab.tracers.reference import Path, trace_path

N = 2.417
R0 = ((N - 1.0) / (N + 1.0)) ** 2
SLAB = box(100.0, 1.0, Material.constant(N))
DOWN = np.array([0.0, 0.0, -1.0])


def test_a_miss_is_an_empty_path():
    path = trace_path(np.array([200.0, 0.0, 5.0]), DOWN, SLAB)
    assert path == Path()
    assert np.array_equal(path.row(Dome(), np.eye(3)), np.zeros(ledger.CHANNELS))


def test_a_stone_behind_the_eye_is_a_miss():
    assert trace_path(np.array([0.0, 0.0, -5.0]), DOWN, SLAB).facets == []


@pytest.mark.parametrize("x", [50.0 + 1e-9, -50.0 - 1e-9])
def test_a_ray_beside_a_wall_it_runs_along_is_a_miss(x):
    assert trace_path(np.array([x, 0.0, 5.0]), DOWN, SLAB).facets == []


def test_a_path_tells_its_facets_and_exits():
    path = trace_path(np.array([0.0, 0.0, 5.0]), DOWN, SLAB, min_weight=1e-3)
    top, bottom = (int(np.argmax(SLAB.normals[:, 2])), int(np.argmin(SLAB.normals[:, 2])))
    assert path.facets[:4] == [top, bottom, top, bottom]
    assert [bounces for _, _, bounces in path.exits] == [0, *range(len(path.exits) - 1)]  # the glare, then one per hit
    expected = [R0, (1 - R0) ** 2, (1 - R0) ** 2 * R0]
    assert [weight for weight, _, _ in path.exits[:3]] == pytest.approx(expected, rel=1e-14)
    assert [direction[2] for _, direction, _ in path.exits[:3]] == pytest.approx([1.0, -1.0, 1.0])
    assert path.glare == path.exits[0][0]


def test_a_path_ends_by_weight_or_by_count_and_books_the_rest():
    by_weight = trace_path(np.array([0.0, 0.0, 5.0]), DOWN, SLAB, min_weight=0.01)
    assert by_weight.untraced == pytest.approx((1 - R0) * R0**3, rel=1e-13)
    by_count = trace_path(np.array([0.0, 0.0, 5.0]), DOWN, SLAB, min_weight=0.0, max_bounces=2)
    assert by_count.untraced == pytest.approx((1 - R0) * R0**2, rel=1e-13)
    assert len(by_count.facets) == 3


def test_absorbing_facets_take_all_that_meets_them():
    rough = body(SLAB.normals, SLAB.distances_mm, Material.constant(N), finishes=finishes(SLAB.normals[:, 2] < -0.5))
    path = trace_path(np.array([0.0, 0.0, 5.0]), DOWN, rough)
    assert path.scattered == pytest.approx(1 - R0, rel=1e-14)
    assert len(path.exits) == 1
    from_below = trace_path(np.array([0.0, 0.0, -5.0]), -DOWN, rough)
    assert (from_below.scattered, from_below.glare, from_below.exits) == (1.0, 0.0, [])


def test_a_row_sorts_exits_by_the_stones_own_girdle_plane():
    """Tilted by 100 degrees, what leaves through the stone's top goes below the horizon but is no leak."""
    path = Path(exits=[(0.25, np.array([0.0, 0.0, 1.0]), 0), (0.75, np.array([0.6, 0.0, -0.8]), 3)])
    upright = path.row(Dome(tray_radiance=0.5), np.eye(3))
    assert upright[[ledger.SKY, ledger.LEAK]].tolist() == [0.25, 0.75]
    assert upright[ledger.LUMINANCE] == 0.25 + 0.75 * 0.5
    assert upright[ledger.BOUNCES] == 0.75 * 3
    assert upright[[ledger.SOURCE_X, ledger.SOURCE_Y, ledger.SOURCE_Z]] == pytest.approx([0.45, 0.0, 0.25 - 0.6])
    tilted = path.row(Dome(tray_radiance=0.5), View(tilt_deg=100.0).rotation())
    assert tilted[[ledger.SKY, ledger.LEAK]].tolist() == [0.25, 0.75]


def test_the_head_covers_sky_and_leak():
    path = Path(exits=[(0.25, np.array([0.0, 0.0, 1.0]), 0), (0.75, np.array([0.0, 0.0, -1.0]), 0)])
    dome = Dome(head_half_angle_deg=20.0, tray_radiance=1.0)
    assert path.row(dome, np.eye(3))[[ledger.HEAD, ledger.LEAK, ledger.LUMINANCE]].tolist() == [0.25, 0.75, 0.75]
    upside_down = path.row(dome, View(tilt_deg=180.0).rotation())
    assert upside_down[[ledger.SKY, ledger.HEAD, ledger.LEAK]].tolist() == [0.25, 0.75, 0.0]
