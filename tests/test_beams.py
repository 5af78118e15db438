"""The exact tracer's parts and manners: cutting, symmetry, pixels, body colour, caps, threads, refusals."""

from __future__ import annotations

import math
from decimal import Decimal, getcontext
from typing import Any

import numpy as np
import pytest
from small_scenes import beams_of

from raylab.errors import InputError
from raylab.lighting.dome import Dome, Lamp, Zone
from raylab.optics.materials import Material
from raylab.scene.pixel_grid import PixelGrid, grid_around
from raylab.scene.view import View
from raylab.stone.cuts.round_brilliant import round_brilliant
from raylab.stone.cuts.tapered_baguette import tapered_baguette
from raylab.stone.stone import Stone
from raylab.tracers import ledger
from raylab.tracers.exact.clipping import ROW, T, Workspace, X, Y, area_of, new_workspace, polygon, split
from raylab.tracers.exact.mean_transmission import _triangle, mean_transmission
from raylab.tracers.exact.nearest_plane import nearest_plane, padded, ray_origin
from raylab.tracers.exact.pixel_coverage import rasterize
from raylab.tracers.exact.single_facet import neighbor_planes, single_facet
from raylab.tracers.rim import SECTORS
from raylab.tracers.shared_symmetry import find_symmetry, within
from raylab.tracers.stone_table import stone_table
from raylab.tracers.totals import LUMINANCE_SQUARE

HEAD_SHADOW = Dome(head_half_angle_deg=10.0, tray_radiance=0.2)
LEAN = View(tilt_deg=9.0, tilt_azimuth_deg=4.0)
NO_SIDES = np.full(SECTORS, np.inf)


@pytest.fixture(scope="module")
def gem() -> Stone:
    return round_brilliant(table_pct=57, crown_angle_deg=34.5, pavilion_angle_deg=40.75)


@pytest.fixture(scope="module")
def face(gem):
    return beams_of(gem, HEAD_SHADOW)


@pytest.fixture(scope="module")
def leaning(gem):
    return beams_of(gem, HEAD_SHADOW, LEAN, precision=0.01)


def area(corners: np.ndarray) -> float:
    """Area of a polygon (K, 2), positive counter-clockwise."""
    return area_of(corners[:, 0].copy(), corners[:, 1].copy(), len(corners))


# Cutting.


def split_up(workspace: Workspace, beam: np.ndarray, corners: np.ndarray, sloping: int, *rest: Any) -> int:
    """Cut the polygon (K, 2) of a beam on a workspace: how many cells."""
    workspace.corners[: len(corners), [X, Y]] = corners
    origin = ray_origin(beam, *corners[0])
    met, _ = nearest_plane(workspace.columns, workspace.keys, sloping, *origin, *beam[9:12], rest[0])
    return split(*workspace, beam, len(corners), met, sloping, *rest)


def cut(corners: np.ndarray, direction: tuple[float, float, float]) -> tuple[list[int], list[np.ndarray]]:
    """Cut a polygon of parallel rays, in the plane z = 0, by a cube of half-width 1: facets met and their polygons."""
    planes = np.column_stack([np.vstack([np.eye(3), -np.eye(3)]), np.ones(6)])
    workspace = new_workspace(planes)
    cells = workspace.cells
    v = np.array(direction) / np.linalg.norm(direction)
    beam = np.concatenate([[0, 0, 0], [1, 0, 0], [0, 1, 0], v])
    count = split_up(workspace, beam, corners, 6, NO_SIDES, 1e-12)
    facets, polygons = [], []
    for cell in range(count):
        x, y = np.empty(99), np.empty(99)
        size = polygon(workspace.corners, cells, cell, len(corners), x, y)
        facets.append(int(cells[cell, ROW]))
        polygons.append(np.column_stack([x[:size], y[:size]]))
    return facets, polygons


RIGHT = np.array([1.0, 0.0])
SQUARE = np.array([[-0.5, -0.5], [0.5, -0.5], [0.5, 0.5], [-0.5, 0.5]])


def test_a_beam_within_one_facet_stays_whole():
    facets, (whole,) = cut(SQUARE, (0.1, 0.2, 1.0))
    assert facets == [2]
    assert np.array_equal(whole, SQUARE)


def test_a_beam_across_an_edge_is_cut_along_it():
    facets, parts = cut(SQUARE, (1.0, 0.0, 1.0))  # the edge x = z = 1 lies above the line x = 0
    assert sorted(facets) == [0, 2]
    right = parts[facets.index(0)]
    assert right[:, 0].min() == pytest.approx(0.0, abs=1e-12)
    assert sum(map(area, parts)) == pytest.approx(1.0, abs=1e-15)


def test_a_beam_into_a_corner_is_cut_in_three():
    facets, parts = cut(SQUARE, (1.0, 1.0, 1.0))
    areas = {f: area(p) for f, p in zip(facets, parts, strict=True)}
    # Facet x = 1 is met where x > y and x > 0; the rest by symmetry.
    assert areas == pytest.approx({0: 0.375, 1: 0.375, 2: 0.25}, abs=1e-15)
    assert [len(p) for _, p in sorted(zip(facets, parts, strict=True))] == [4, 4, 4]


def test_a_facet_met_only_inside_the_polygon_is_found():
    """Every corner of a wide beam leaves by the sides; only its middle meets the top, a cut-off corner of the body."""
    wide = 1.8 * SQUARE
    facets, _ = cut(wide, (0.0, 0.0, 1.0))
    assert facets == [2]
    slopes = np.array([(1, 0, 1), (-1, 0, 1), (0, 1, 1), (0, -1, 1)]) / math.sqrt(2.0)
    tip = np.array([(0.0, 0.0, 1.0)])
    planes = np.column_stack([np.vstack([slopes, tip]), [0.75] * 4 + [0.9]])
    workspace = new_workspace(planes)
    count = split_up(workspace, np.array([0, 0, 0, 1, 0, 0, 0, 1, 0, 0, 0, 1.0]), wide, 5, NO_SIDES, 1e-12)
    assert sorted(workspace.cells[:count, ROW]) == [0, 1, 2, 3, 4]


def test_a_beam_along_an_edge_is_not_split_by_rounding():
    facets, parts = cut(SQUARE + 0.5 * RIGHT, (0.0, 0.0, 1.0))  # its right side runs up the facet x = 1
    assert facets == [2]
    assert len(parts) == 1


@pytest.mark.parametrize("width", [0.02, 0.6])
def test_a_beam_is_whole_exactly_where_cutting_leaves_one_piece(gem, width):
    """Beams from inside a brilliant into all directions, narrow and wide, by its neighbors and by the cutter."""
    table = padded(stone_table(gem, 589.3))
    neighbors = neighbor_planes(gem, table)
    workspace = new_workspace(table.planes)
    x, y = width * SQUARE.T
    rng = np.random.default_rng(3)
    kept = 0
    for _ in range(400):
        v, e = rng.normal(size=(2, 3))
        v /= np.linalg.norm(v)
        e = np.cross(v, e) / np.linalg.norm(np.cross(v, e))
        beam = np.concatenate([rng.uniform(-0.5, 0.5, 3), e, np.cross(v, e), v])
        limits = table.sloping, table.rim.core2, 1e-11
        row, alone, t = single_facet(workspace.columns, workspace.keys, *neighbors, beam, x, y, 4, *limits)
        count = split_up(workspace, beam, width * SQUARE, *limits)
        assert alone == (count == 1)
        if alone:
            assert row == workspace.cells[0, ROW]
            assert t == pytest.approx(workspace.corners[0, T], abs=1e-13)
            # The oracle: the corners' rays by plain division, over all planes.
            for k in range(4):
                o = beam[:3] + x[k] * beam[3:6] + y[k] * beam[6:9]
                n_dot_v = gem.normals @ v
                distance = np.where(n_dot_v > 0.0, gem.distances_mm - gem.normals @ o, np.inf) / np.abs(n_dot_v)
                assert np.argmin(distance) == table.facet[row]
        kept += alone
    assert 20 < kept < 400


def test_a_wedge_keeps_the_right_side():
    right = RIGHT[None]
    assert np.array_equal(within(SQUARE + RIGHT, right), SQUARE + RIGHT)
    assert len(within(SQUARE - RIGHT, right)) == 0
    half = within(SQUARE + 0.25 * RIGHT, right)
    assert half[:, 0].min() == 0.0
    assert area(half) == pytest.approx(0.75, abs=1e-15)


# Symmetry.


def copies(stone: Stone, dome: Dome, view: View) -> int:
    return len(find_symmetry(stone, dome.table, view.rotation()).maps)


def with_image(columns: list[float]) -> Dome:
    return Dome(sky="image", image=np.tile(columns, (8, 1)))


@pytest.mark.parametrize(
    ("dome", "expected"),
    [
        (HEAD_SHADOW, 16),
        (Dome(sky="overcast", zones=(Zone((10.0, 20.0), radiance=0.3),)), 16),
        (Dome(lamps=(Lamp(40.0, 0.0),)), 2),
        (Dome(lamps=(Lamp(40.0, 5.0),)), 1),
        (Dome(lamps=(Lamp(90.0),)), 16),
        (Dome(lamps=tuple(Lamp(40.0, 90.0 * k + 5.0) for k in range(4))), 4),
        (Dome(lamps=tuple(Lamp(40.0, 45.0 * k, radiance=1.0 + k % 2) for k in range(8))), 8),
        (Dome(zones=tuple(Zone((0.0, 9.0), (45.0 * k, 45.0 * k + 20.0), 0.2 + 0.1 * (k % 4)) for k in range(8))), 2),
        # The same zones laid over each other: the last one shows, so the order counts.
        (Dome(zones=tuple(Zone((0.0, 9.0), (90.0 * k, 90.0 * k + 120.0), 0.2 + 0.1 * (k % 2)) for k in range(4))), 1),
        (with_image([1, 2, 3, 4] * 4), 4),
        (with_image([1, 2, 2, 1] * 4), 8),
        (with_image([1] * 15 + [2]), 1),
    ],
)
def test_symmetry_is_found_in_the_dome(gem, dome, expected):
    assert copies(gem, dome, View()) == expected


def test_symmetry_is_found_in_the_planes(gem):
    turned = gem.moved(rotation=View(turn_deg=13.0).rotation())
    assert copies(turned, HEAD_SHADOW, View()) == 16
    assert copies(gem.moved(shift_mm=np.array([1e-6, 0.0, 0.0])), HEAD_SHADOW, View()) == 2  # the mirror along the shift
    rough = Stone.from_planes(
        gem.normals,
        gem.distances_mm,
        finishes=["absorbing" if gem.facet_name(f) == "star 0" else "polished" for f in range(len(gem))],
    )
    assert copies(rough, HEAD_SHADOW, View()) == 2


def test_an_image_of_each_facet_is_a_facet_alike(gem):
    symmetry = find_symmetry(gem, HEAD_SHADOW.table, View(turn_deg=7.0).rotation())
    assert np.array_equal(symmetry.facets[0], np.arange(len(gem)))
    for facets in symmetry.facets:
        assert [gem.tiers[f] for f in facets] == list(gem.tiers)
        assert sorted(facets) == list(range(len(gem)))


# The result.


def test_a_path_names_the_facets_met(gem, face):
    through_the_table = np.flatnonzero(face.entries == gem.tiers.index("table"))
    largest = through_the_table[np.argmax(face.areas_mm2[through_the_table])]
    names = [gem.facet_name(f) for f in face.path(int(largest))]
    assert names[0] == "table 0"
    assert all(name.startswith(("pavilion main", "lower half")) for name in names[1:3])


def test_unfolding_keeps_every_sum(face):
    whole = face.unfolded()
    assert len(whole) == 16 * len(face)
    assert whole.area_mm2 == pytest.approx(face.area_mm2, rel=1e-14)
    assert np.abs(whole.totals.mean - face.totals.mean).max() < 1e-13
    sizes = np.diff(whole.starts)
    areas = [area(whole.vertices_mm[s : s + n]) for s, n in zip(whole.starts, sizes, strict=False)]
    assert np.allclose(areas, whole.areas_mm2, rtol=0.0, atol=1e-14)
    assert np.array_equal(whole.entries[::997], [whole.path(k)[0] for k in range(0, len(whole), 997)])


def test_what_leaves_through_the_facets_is_the_ledger(gem, face, leaning):
    booked = [ledger.LUMINANCE, ledger.SKY, ledger.HEAD, ledger.LEAK, ledger.SCATTERED, ledger.GLARE, ledger.BOUNCES]
    for beams in (face, leaning):
        assert np.abs(beams.through.sum(axis=0) - beams.totals.mean[: ledger.ON_POLYGONS])[booked].max() < 1e-13
    leak = face.through[:, ledger.LEAK]
    pavilion = [gem.tiers[f] in ("pavilion main", "lower half", "girdle") for f in range(len(gem))]
    assert leak[pavilion].sum() > 0.9 * leak.sum() > 0.0


def test_squares_give_the_contrast(face):
    light = face.rows[:, ledger.LUMINANCE]
    share = face.areas_mm2 / face.areas_mm2.sum()
    assert face.totals.mean[LUMINANCE_SQUARE] == pytest.approx(share @ light**2, rel=1e-14)
    assert np.all(face.totals.covariance == 0.0)


# Caps and settings.


def test_results_do_not_depend_on_threads(gem):
    one, two = (beams_of(gem, HEAD_SHADOW, LEAN, precision=0.005, threads=threads) for threads in (1, 2))
    for name in ("vertices_mm", "starts", "areas_mm2", "rows", "leaves", "nodes", "through"):
        assert np.array_equal(getattr(one, name), getattr(two, name)), name


def test_a_full_house_is_an_honest_bracket(gem, leaning):
    few = beams_of(gem, HEAD_SHADOW, LEAN, precision=1e-3, max_beams=2000)
    assert few.full
    assert 2000 <= len(few) < 2600  # the last round's units may each pass the limit by the pieces of one beam
    mean, better = few.totals.mean, leaning.totals.mean
    assert mean[1:7].sum() == pytest.approx(1.0, abs=1e-12)
    assert mean[ledger.UNTRACED] > better[ledger.UNTRACED]
    assert mean[ledger.LUMINANCE] <= better[ledger.LUMINANCE]
    assert better[ledger.LUMINANCE] + better[ledger.UNTRACED] <= mean[ledger.LUMINANCE] + mean[ledger.UNTRACED] + 1e-12


def test_a_cap_on_reflections_ends_the_work(gem):
    short = beams_of(gem, HEAD_SHADOW, max_bounces=4)
    assert max(len(short.path(k)) for k in range(len(short))) == 5
    assert short.totals.mean[1:7].sum() == pytest.approx(1.0, abs=1e-12)
    assert not short.full


def test_paths_can_be_left_out(gem, face):
    lean = beams_of(gem, HEAD_SHADOW, keep_paths=False)
    assert np.array_equal(lean.rows, face.rows)
    with pytest.raises(InputError, match="paths were not kept"):
        lean.path(0)
    with pytest.raises(InputError, match="paths were not kept"):
        _ = lean.entries


@pytest.mark.parametrize(
    ("settings", "says"),
    [
        ({"view": View(distance_mm=100.0)}, "distance_mm = 100"),
        ({"precision": 0.0}, "precision"),
        ({"max_bounces": 0}, "max_bounces"),
        ({"max_beams": 0}, "max_beams"),
        ({"wavelength_nm": 50.0}, "wavelength_nm"),
    ],
)
def test_what_cannot_be_traced_is_refused(gem, settings, says):
    with pytest.raises(InputError, match=says):
        beams_of(gem, HEAD_SHADOW, **settings)


# Pixels.


def test_pixels_get_exact_areas():
    """Against clipping each triangle to each pixel by four half-planes."""
    rng = np.random.default_rng(7)
    triangles = rng.uniform(-1.0, 5.0, (30, 3, 2))
    for t in triangles:
        if area(t) < 0.0:
            t[:] = t[::-1].copy()
    values = rng.uniform(-1.0, 1.0, (30, 2))
    drawn = rasterize(triangles.reshape(-1, 2), np.arange(0, 91, 3), values, PixelGrid(0.0, 0.0, 0.5, 8))
    for row in range(8):
        for column in range(8):
            expected = np.array([in_pixel(t, 0.5 * column, 0.5 * row, 0.5) for t in triangles]) / 0.25
            assert drawn.coverage[row, column] == pytest.approx(expected.sum(), abs=1e-13)
            assert np.abs(drawn.sums[row, column] - expected @ values).max() < 1e-13
            assert expected[drawn.polygon[row, column]] == pytest.approx(expected.max(), abs=1e-13)


def in_pixel(corners: np.ndarray, x0: float, y0: float, side: float) -> float:
    """Area of a polygon inside a square, by clipping."""
    for origin, normal in (((x0, y0), (1, 0)), ((x0, y0), (0, 1)), ((x0 + side, y0), (-1, 0)), ((x0, y0 + side), (0, -1))):
        corners = within(corners - np.array(origin), np.array([normal], dtype=float)) + np.array(origin)
    return area(corners) if len(corners) else 0.0


@pytest.mark.parametrize("resolution", [1, 37, 512])
def test_maps_add_up_to_the_totals(gem, face, leaning, resolution):
    for beams, view in ((face, View()), (leaning, LEAN)):
        grid = grid_around(gem, view, resolution)
        sums, coverage = beams.pixels(grid)
        pixel = grid.pixel_mm**2
        assert coverage.sum() * pixel == pytest.approx(beams.area_mm2, rel=1e-12)
        means = sums.sum(axis=(0, 1)) * pixel / beams.area_mm2
        assert np.abs(means - beams.totals.mean[: ledger.ON_POLYGONS]).max() < 1e-12
        assert coverage.max() < 1.0 + 1e-12


def test_a_window_of_the_map_is_the_map_there(gem, leaning):
    grid = grid_around(gem, LEAN, 64)
    sums, coverage = leaning.pixels(grid)
    window = PixelGrid(grid.x0_mm + 20 * grid.pixel_mm, grid.y0_mm + 9 * grid.pixel_mm, grid.pixel_mm, 30)
    part, covered = leaning.pixels(window)
    assert np.abs(part - sums[9:39, 20:50]).max() < 1e-11
    assert np.abs(covered - coverage[9:39, 20:50]).max() < 1e-11
    assert leaning.dominant(grid).max() < len(leaning)
    assert np.array_equal(leaning.dominant(grid) < 0, coverage == 0.0)


# Body colour.


def test_the_mean_over_a_triangle_is_exact_at_any_spread():
    """Against the divided difference in 60 digits: spreads from 1e-9 to 30, so both branches and their seam."""
    getcontext().prec = 60
    rng = np.random.default_rng(8)
    for spread in 10.0 ** np.linspace(-9.0, 1.5, 200):
        a, b, c = (Decimal(float(s)) for s in spread * rng.random(3) + rng.random())
        exact = 2 * ((((-c).exp() - (-b).exp()) / (c - b)) - (((-b).exp() - (-a).exp()) / (b - a))) / (c - a)
        assert _triangle(float(a), float(b), float(c)) == pytest.approx(float(exact), rel=1e-14)


def test_the_mean_over_a_triangle_with_equal_corners():
    """For s, s and s + d it is 2 exp(-s) (exp(-d) - 1 + d)/d^2."""
    for s in (0.0, 0.3, 7.0):
        assert _triangle(s, s, s) == pytest.approx(math.exp(-s), rel=1e-15)
        for d in (0.5, 2.0):
            assert _triangle(s, s + d, s) == pytest.approx(2.0 * math.exp(-s) * (math.exp(-d) - 1.0 + d) / d**2, rel=1e-14)


def test_the_mean_over_a_square_is_a_product():
    x, y = np.array([0.0, 1.0, 1.0, 0.0]), np.array([0.0, 0.0, 1.0, 1.0])
    for p, q in ((0.4, 0.0), (1e-6, 3.0), (5.0, -2.0)):
        exact = np.prod([1.0 if s == 0.0 else -math.expm1(-s) / s for s in (p, q)])
        assert mean_transmission(x, y, 4, 0.0, p, q) == pytest.approx(exact, rel=1e-14)


def test_an_absorbing_slab():
    """T = (1-r)^2 t/(1 - r^2 t^2), R = r + r (1-r)^2 t^2/(1 - r^2 t^2) with t = 0.9 for one pass at normal incidence."""
    material = Material.constant(2.417).tinted(-math.log(0.9))
    slab = Stone.from_planes(np.vstack([np.eye(3), -np.eye(3)]), [5.0, 5.0, 0.5] * 2, material=material)
    mean = beams_of(slab, Dome(), precision=1e-7).totals.mean
    r, t = (1.417 / 3.417) ** 2, 0.9
    assert mean[ledger.LEAK] == pytest.approx((1 - r) ** 2 * t / (1 - (r * t) ** 2), abs=1e-7)
    assert mean[ledger.SKY] == pytest.approx(r + r * (1 - r) ** 2 * t**2 / (1 - (r * t) ** 2), abs=1e-7)
    assert mean[1:7].sum() == pytest.approx(1.0, abs=1e-14)


def test_tint_darkens_and_closes(gem):
    tinted = Stone.from_planes(gem.normals, gem.distances_mm, material=gem.material.tinted(0.05), tiers=gem.tiers)
    clear, dark = (beams_of(stone, HEAD_SHADOW, precision=0.01).totals.mean for stone in (gem, tinted))
    assert dark[1:7].sum() == pytest.approx(1.0, abs=1e-12)
    assert dark[ledger.ABSORBED] > 0.05
    assert dark[ledger.LUMINANCE] < clear[ledger.LUMINANCE]
    assert dark[ledger.GLARE] == pytest.approx(clear[ledger.GLARE], rel=1e-12)


def test_a_beam_that_grazes_a_side_facet_is_split():
    """Its rays meet the plane of that side a million times as far away as the stone is large; the table takes most of them."""
    stone = tapered_baguette(
        table_pct=78.90695629583723, crown_angle_deg=28.848572449585838, crown_step_deg=8.906875655937375, crown_steps=1,
        pavilion_angle_deg=56.28356905450418, pavilion_step_deg=6.848587780043591, pavilion_steps=4,
        girdle_pct=6.357050541798591, narrow_pct=50.09696387436726, length_ratio=2.357983335460505, width_mm=10.108323974097852,
    )  # fmt: skip
    view = View(18.87104356655854, 74.95378723573522, 245.49850487007825)
    beams = beams_of(stone, HEAD_SHADOW, view, precision=0.4)
    assert beams.pieces > 1000
    assert beams.lost == 0


def test_a_stone_far_off_the_origin_is_traced_as_finely_as_one_there(gem):
    """Moved by ten thousand times its size: nothing is lost, the numbers are the same, the map moves with the stone."""
    shift = np.array([65e3, 30e3, 10e3])
    here, far = (beams_of(stone, HEAD_SHADOW, LEAN, precision=0.005) for stone in (gem, gem.moved(shift_mm=shift)))
    assert far.lost == 0
    assert far.totals.mean == pytest.approx(here.totals.mean, abs=1e-9)
    carried = (LEAN.rotation() @ shift)[:2]
    assert far.vertices_mm.mean(axis=0) == pytest.approx(here.vertices_mm.mean(axis=0) + carried, abs=0.01)
