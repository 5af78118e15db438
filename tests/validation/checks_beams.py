"""Checks of the exact tracer: functions of `trace_beams` that return how many of their own tolerances it is off.

They take the tracer as an argument so that a broken one can be handed in (`broken_kernels`): each check holds while its answer
is at most 1.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable
from typing import Any

import numpy as np
from both_tracers import ENTRIES, RICH
from checks import above, off
from polyhedra import body, box, cube_corner, finishes, hexagonal_prism, mains_only, random_polyhedron, ref
from scipy.spatial import ConvexHull
from small_scenes import beams_of, scene_of

from raylab.lighting.dome import Dome, Lamp, Zone
from raylab.optics.materials import Material
from raylab.scene.pixel_grid import grid_around
from raylab.scene.view import View, silhouette
from raylab.stone.stone import Stone
from raylab.tracers import ledger, reference
from raylab.tracers.sampled.sampling import sample_image
from raylab.tracers.sampled.view_rays import sample_points

Trace = Callable[..., Any]
Pair = tuple[Stone, View]

HEAD_SHADOW = Dome(head_half_angle_deg=10.0, tray_radiance=0.3)
WINDOWS = Dome(zones=tuple(Zone((10.0, 60.0), (a - 15.0, a + 15.0), 0.2) for a in (0.0, 90.0, 180.0, 270.0)))
SUM = 1e-12
"""Rounding of areas and ledgers: sums of up to 10^5 numbers of at most 1."""


def along(direction: np.ndarray) -> View:
    """The view in which a direction of the stone points to the eye."""
    x, y, z = np.asarray(direction, dtype=float) / np.linalg.norm(direction)
    tilt, turn = math.degrees(math.acos(min(1.0, max(-1.0, z)))), -math.degrees(math.atan2(y, x))
    return View(tilt_deg=tilt, tilt_azimuth_deg=180.0, turn_deg=turn)


def random_pairs(first: int, count: int, views: int = 1) -> list[Pair]:
    """Random convex polyhedra of random index under random views."""
    pairs = []
    for key in range(first, first + count):
        rng = np.random.default_rng([40, key])
        stone = random_polyhedron(key, n=float(rng.uniform(1.15, 2.7)))
        pairs += [(stone, along(rng.normal(size=3))) for _ in range(views)]
    return pairs


def regular_bodies() -> list[Stone]:
    """Bodies with many ties: a cube, an octahedron, a tetrahedron, cut cubes, prisms, an octagonal double pyramid."""
    eight = np.array(list(itertools.product((-1.0, 1.0), repeat=3))) / math.sqrt(3.0)
    six = np.vstack([np.eye(3), -np.eye(3)])
    four = np.array([[1, 1, 1], [1, -1, -1], [-1, 1, -1], [-1, -1, 1]]) / math.sqrt(3.0)
    return [
        box(1.0, 1.0, 2.417),
        body(eight, np.full(8, 0.6), 2.417),
        body(four, np.full(4, 0.4), 1.77),
        body(np.vstack([eight, six]), [0.9] * 8 + [0.8] * 6, 1.5),
        hexagonal_prism(1.0, 1.31),
        cube_corner(2.417),
        mains_only(53.0, 16.2, 43.1, Material.constant(2.417)),
    ]


def awkward_pairs() -> list[Pair]:
    """Regular bodies seen exactly along normals, edges and symmetry axes, and some views from nowhere special."""
    pairs = []
    for stone in regular_bodies():
        edges = [stone.vertices_mm[loop[1]] - stone.vertices_mm[loop[0]] for loop in stone.polyhedron.loops[:6]]
        between = [stone.normals[0] + n for n in stone.normals[1:5] if np.linalg.norm(stone.normals[0] + n) > 0.1]
        for direction in [*stone.normals[:8], *edges, *between, *stone.vertices_mm[:4], (0.3, -0.2, 0.5)]:
            pairs.append((stone, along(direction)))
    return pairs


def inside(beams: Any, polygon: int, rng: np.random.Generator) -> np.ndarray:
    """A random point (2,) in a polygon."""
    corners = beams.vertices_mm[beams.starts[polygon] : beams.starts[polygon + 1]]
    return rng.dirichlet(np.ones(len(corners))) @ corners


def by_reference(stone: Stone, view: View, point: np.ndarray, hits: int, polarized: bool = True) -> reference.Path:
    """The reference's path through a map point, cut off after so many internal hits."""
    turn = view.rotation()
    origin = turn.T @ np.array([*point, 3.0 * np.abs(stone.vertices_mm).max()])
    return reference.trace_path(origin, -turn[2], stone, min_weight=0.0, max_bounces=hits, polarized=polarized)


def row_of(path: reference.Path, dome: Dome, view: View) -> np.ndarray:
    """The path's ledger row; directions a hair inside the unit sphere, where rounding can't lead an arccosine astray."""
    path.exits = [(weight, way * (1.0 - 1e-15), bounces) for weight, way, bounces in path.exits]
    return path.row(dome, view.rotation())


def reference_through_points(
    trace: Trace, pairs: list[Pair], dome: Dome = RICH, points: int = 2, precision: float = 0.02, **options: Any
) -> float:
    """Every channel of the ledger, and the facets met, at random points: to 1e-9, the reference cut off at the same hit.

    Half of the polygons are drawn by area, half one like another, without those so small that a point in them may lie on
    their rim to rounding. Tolerance: rounding after up to 100 reflections.
    """
    worst = 0.0
    for key, (stone, view) in enumerate(pairs):
        rng = np.random.default_rng([41, key])
        beams = beams_of(stone, dome, view, precision=precision, **options, trace=trace).unfolded()
        share = beams.areas_mm2 / beams.areas_mm2.sum()
        chosen = [*rng.choice(len(beams), points, p=share), *rng.choice(np.flatnonzero(share > 1e-7), points)]
        for polygon in chosen:
            facets = beams.path(polygon)
            path = by_reference(stone, view, inside(beams, polygon, rng), len(facets) - 1, options.get("polarized", True))
            if path.facets != facets:
                return math.inf
            worst = max(worst, off(beams.rows[polygon], row_of(path, dome, view)[: ledger.ON_POLYGONS], 1e-9))
    return worst


def sums_close(trace: Trace, pairs: list[Pair], precision: float = 0.1, **options: Any) -> float:
    """The polygons' areas add up to the outline's and the ledger to 1, both to 1e-12; nothing is lost; the bracket is kept.

    The outline is the convex hull of the corners as seen, by qhull: it shares nothing with the polygons.
    """
    worst = 0.0
    for stone, view in pairs:
        beams = beams_of(stone, HEAD_SHADOW, view, precision=precision, **options, trace=trace)
        mean = beams.totals.mean
        outline = ConvexHull(silhouette(stone, view)).volume
        worst = max(worst, off(beams.area_mm2 / outline, 1.0, SUM), off(mean[ENTRIES].sum(), 1.0, SUM))
        worst = max(worst, above(precision, mean[ledger.UNTRACED]), 2.0 * beams.lost)
    return worst


def furnace(trace: Trace, pairs: list[Pair]) -> float:
    """Under light of radiance 1 from everywhere every polygon shows 1, less what is still inside: to 1e-12."""
    worst = 0.0
    for stone, view in pairs:
        beams = beams_of(stone, Dome(tray_radiance=1.0), view, precision=0.1, trace=trace)
        worst = max(worst, off(beams.rows[:, ledger.LUMINANCE] + beams.rows[:, ledger.UNTRACED], np.ones(len(beams)), SUM))
    return worst


def wedge_is_whole(trace: Trace, stone: Stone, cases: list[tuple[Dome, View, int]], precision: float = 0.02) -> float:
    """One wedge and its copies against the whole face: the number of copies, the area, and all means, to their brackets."""
    worst = 0.0
    for dome, view, copies in cases:
        part, whole = (beams_of(stone, dome, view, precision=precision, wedge=wedge, trace=trace) for wedge in (True, False))
        if part.copies != copies or whole.copies != 1:
            return math.inf
        between = part.totals.mean[ledger.UNTRACED] + whole.totals.mean[ledger.UNTRACED]
        mean, same = part.totals.mean[: ledger.BOUNCES], whole.totals.mean[: ledger.BOUNCES]
        worst = max(worst, off(part.area_mm2 / whole.area_mm2, 1.0, SUM), off(mean, same, between))
        unfolded = part.unfolded()
        worst = max(worst, off(unfolded.totals.mean, part.totals.mean, SUM), off(unfolded.through, part.through, SUM))
    return worst


WEDGES = [
    (HEAD_SHADOW, View(), 16),
    (HEAD_SHADOW, View(turn_deg=7.0), 16),
    (HEAD_SHADOW, View(tilt_deg=180.0), 16),
    (WINDOWS, View(), 8),
    (WINDOWS, View(turn_deg=7.0), 4),
    (HEAD_SHADOW, View(tilt_deg=25.0, tilt_azimuth_deg=22.5), 2),
    (HEAD_SHADOW, View(tilt_deg=25.0, tilt_azimuth_deg=40.0, turn_deg=17.5), 2),
    (HEAD_SHADOW, View(tilt_deg=25.0, tilt_azimuth_deg=11.25), 1),
    (WINDOWS, View(tilt_deg=25.0, tilt_azimuth_deg=22.5), 1),
    (RICH, View(), 1),
    (Dome(lamps=(Lamp(50.0, 22.5, 4.0),)), View(), 2),
]
"""For stones of eight mains: dome, view, and how many copies of a wedge they have, by hand."""


def tint_through_polygons(trace: Trace, pairs: list[Pair], absorption_per_mm: float = 0.4) -> float:
    """A tinted stone's polygon means against the reference's rows at the nodes of Gauss's rule: to 1e-9.

    The seven-point rule of degree 5 on each triangle (Radon 1948), where the exponent varies by less than 0.05 over the
    polygon, so that the rule's own error stays below 1e-10.
    """
    worst = 0.0
    for key, (stone, view) in enumerate(pairs):
        rng = np.random.default_rng([42, key])
        tinted = body(
            stone.normals,
            stone.distances_mm,
            stone.material.tinted(absorption_per_mm),
            finishes=finishes(np.arange(len(stone)) % 5 == 0),
        )
        beams = beams_of(tinted, RICH, view, precision=0.05, trace=trace)
        extent = np.sqrt(beams.areas_mm2) * absorption_per_mm
        small = np.flatnonzero((extent < 0.02) & (extent > 1e-4))
        for polygon in rng.choice(small, 2):
            facets = beams.path(polygon)
            found = np.concatenate([beams.rows[polygon], beams.moments[polygon, :3]])
            expected = np.zeros(len(found))
            for point, weight in _gauss(beams.vertices_mm[beams.starts[polygon] : beams.starts[polygon + 1]]):
                path = by_reference(tinted, view, point, len(facets) - 1)
                if path.facets != facets:
                    return math.inf
                row = row_of(path, RICH, view)
                swing = row[ledger.DIMMER] + row[ledger.BRIGHTER]
                squares = np.array([row[ledger.LUMINANCE], row[ledger.UNTRACED], swing]) ** 2
                expected += weight * np.concatenate([row[: ledger.ON_POLYGONS], squares])
            worst = max(worst, off(found, expected, 1e-9))
    return worst


def _gauss(corners: np.ndarray) -> list[tuple[np.ndarray, float]]:
    """Points and weights, adding up to 1, of the seven-point rule over a polygon's triangles."""
    root = math.sqrt(15.0)
    nodes = [((1 / 3, 1 / 3, 1 / 3), 0.225)]
    for sign in (-1.0, 1.0):
        b, weight = (6.0 + sign * root) / 21.0, (155.0 + sign * root) / 1200.0
        nodes += [(tuple(np.roll((1.0 - 2.0 * b, b, b), k)), weight) for k in range(3)]
    areas = [_twice(corners[[0, k, k + 1]]) for k in range(1, len(corners) - 1)]
    return [
        (np.array(at) @ corners[[0, k, k + 1]], weight * areas[k - 1] / sum(areas))
        for k in range(1, len(corners) - 1)
        for at, weight in nodes
    ]


def _twice(triangle: np.ndarray) -> float:
    (x0, y0), (x1, y1), (x2, y2) = triangle
    return float((x1 - x0) * (y2 - y0) - (x2 - x0) * (y1 - y0))


# Closed forms. Sources in reference_values.csv.


def slab(trace: Trace) -> float:
    """A wide slab seen at 0 and 60 degrees: R = 2r/(1 + r) for each polarisation goes up, the rest down; to 1e-8 as listed."""
    worst = 0.0
    for tilt, key in ((0.0, "slab.R.2.417.0"), (60.0, "slab.R.2.417.60")):
        view = View(tilt_deg=tilt)
        beams = beams_of(box(400.0, 1.0, 2.417), Dome(tray_radiance=1.0), view, precision=1e-5, trace=trace)
        polygon = int(np.argmax(beams.areas_mm2))
        up = beams.rows[polygon, ledger.SKY]
        worst = max(worst, off(up, ref(key), 1e-8 + beams.rows[polygon, ledger.UNTRACED]))
    return worst


def corner_returns(trace: Trace) -> float:
    """A cube corner sends back what meets its three faces, along itself: into a head of a tenth of a degree; to rounding.

    Of a triangular front face they are two thirds (Eckhardt 1971, Appl. Opt. 10, 1559, from memory).
    """
    beams = beams_of(cube_corner(2.417), Dome(head_half_angle_deg=0.1), View(), precision=1e-6, trace=trace).unfolded()
    three = [k for k in range(len(beams)) if set(beams.path(k)[1:4]) == {0, 1, 2}]
    rows = beams.rows[three]
    returned = off(rows[:, ledger.HEAD] + rows[:, ledger.UNTRACED], np.ones(len(three)), SUM)
    return max(returned, off(beams.areas_mm2[three].sum() / beams.area_mm2, 2.0 / 3.0, SUM))


def column_asymmetry(trace: Trace) -> float:
    """Mean cosine of scattering of a randomly turned hexagonal column: van Diedenhoven et al. 2014, J. Atmos. Sci. 71, 1529.

    n = 1.31, length as wide as the hexagon, ray tracing only. Tolerance 0.02, the size of their polynomial's error as
    reference_values.md found it; our own error, a lattice of 400 orientations, is below 0.003.
    """
    golden, count, forward, area = (math.sqrt(5.0) - 1.0) / 2.0, 400, 0.0, 0.0
    stone = hexagonal_prism(1.0, 1.31)
    for k in range(count):
        z, azimuth = (k + 0.5) / count, 2.0 * math.pi * ((k * golden) % 1.0)
        side = math.sqrt(1.0 - z * z)
        beams = beams_of(
            stone, Dome(), along(np.array([side * math.cos(azimuth), side * math.sin(azimuth), z])), precision=2e-3, trace=trace
        )
        # The view ray runs along -z of the dome, so the cosine is minus the mean outside direction's z.
        forward -= beams.totals.mean[ledger.SOURCE_Z] * beams.area_mm2
        area += beams.area_mm2
    return off(forward / area, ref("ice.g.fit.1.31.1"), 0.02)


# Brackets, maps, samples.


def brackets_nest(trace: Trace) -> float:
    """What a loose precision leaves possible contains what a tight one does, for luminance and each entry; to rounding."""
    worst = 0.0
    for stone, view in [*random_pairs(400, 12), *awkward_pairs()[::20]]:
        loose, *tighter = (beams_of(stone, RICH, view, precision=p, trace=trace).totals.mean for p in (0.2, 0.03, 0.004))
        for tight in tighter:
            for entry in (ledger.LUMINANCE, *ENTRIES[:-1]):
                low, high = loose[entry] - tight[entry], tight[entry] - loose[entry]
                high += tight[ledger.UNTRACED] - loose[ledger.UNTRACED]
                worst = max(worst, off(np.maximum([low, high], 0.0), np.zeros(2), SUM))
            loose = tight
    return worst


def samples_agree(trace: Trace, pairs: list[Pair], rays: int = 4000, precision: float = 2e-3) -> float:
    """Means against the packet tracer's, at random points of the outline: within 4.5 standard errors of these rays.

    What either leaves untraced may belong to any entry; the lamp, the brightest of this dome, has radiance 2. Whether the
    untraced weights themselves agree says nothing: the two end their paths by different rules.
    """
    compared = [channel for channel in range(ledger.BOUNCES) if channel != ledger.UNTRACED]
    brightest = np.where(np.array(compared) == ledger.LUMINANCE, 2.0, 1.0)
    worst = 0.0
    for key, (stone, view) in enumerate(pairs):
        rng = np.random.default_rng([43, key])
        exact = beams_of(stone, RICH, view, precision=precision, trace=trace).totals.mean
        low, high = silhouette(stone, view).min(axis=0), silhouette(stone, view).max(axis=0)
        points = rng.uniform(low, high, (rays, 2))
        rows, hit = sample_points(points, scene_of(stone, RICH, view, min_weight=1e-5), 589.3)
        sampled, error = rows[hit].mean(axis=0), rows[hit].std(axis=0) / math.sqrt(hit.sum())
        untraced = brightest * (exact[ledger.UNTRACED] + sampled[ledger.UNTRACED])
        beyond = np.maximum(np.abs(exact[compared] - sampled[compared]) - untraced, 0.0)
        worst = max(worst, off(beyond, 0.0 * beyond, 4.5 * error[compared] + SUM))
    return worst


def sampled_maps_converge(trace: Trace, stone: Stone, view: View) -> float:
    """Maps from 16 and 64 jittered samples per pixel come nearer to the exact map at the expected rate.

    Four times the samples in each pixel leave 4^(-3/4) = 0.354 of the error where its cause is edges through pixels (Mitchell
    1996, Consequences of stratified sampling in graphics, from memory). Tolerance 0.05: the ratio of two spreads over 1,500
    pixels is uncertain by a few hundredths. The mean difference, of the size of the untraced weight, is left out.
    """
    grid = grid_around(stone, view, 48)
    sums, coverage = beams_of(stone, HEAD_SHADOW, view, precision=1e-3, trace=trace).pixels(grid)
    full = coverage > 1.0 - 1e-9
    exact = sums[full][:, ledger.LUMINANCE]
    spread = []
    for samples in (16, 64):
        scene = scene_of(stone, HEAD_SHADOW, view, samples=samples, min_weight=1e-5, seed=1)
        sampled = sample_image(scene, 589.3, grid)
        spread.append(float(np.std(sampled.fields["luminance"][full] - exact)))
    return off(spread[1] / spread[0], 4.0**-0.75, 0.05)
