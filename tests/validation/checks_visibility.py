"""The field of visibility against closed forms, and against tracing a speck."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from both_tracers import EVEN, UPPER, gem
from checks import above, check, off
from polyhedra import body, box, cube_corner, entering_rays, finishes, random_polyhedron

from raylab.lighting.dome import Dome
from raylab.optics.fresnel import fresnel
from raylab.optics.materials import Material
from raylab.scene.scene import Scene
from raylab.scene.settings import TraceSettings
from raylab.scene.view import View, extent
from raylab.stone.inclusions.inclusion import Inclusion
from raylab.stone.stone import Stone
from raylab.tracers import ledger
from raylab.tracers import stone_table as tables
from raylab.tracers.packets import PathRules
from raylab.tracers.sampled import visibility_rays, visibility_sums
from raylab.tracers.sampled.view_rays import sample_points
from raylab.tracers.voxels import VoxelGrid, voxels_of_box
from raylab.tracers.wedges import wedges_in

N = 2.417
R = ((N - 1.0) / (N + 1.0)) ** 2
SE = 4.5
"""Tolerance in standard errors."""
BATCHES = 8


def around(stone: Stone, counts: tuple[int, int, int]) -> VoxelGrid:
    """Voxels of the box around a stone."""
    corners = stone.vertices_mm
    return voxels_of_box(corners.min(axis=0), corners.max(axis=0), counts)


def path_in_isotropic_light(stone: Stone, rays: int, key: int) -> tuple[float, float]:
    """Mean path of isotropic light in the stone, each piece weighted by what it carries, in units of 4V/S; its error.

    It is the field `taken` summed over the stone.
    """
    table, rng, grid = tables.stone_table(stone, 589.3), np.random.default_rng([60, key]), around(stone, (3, 4, 5))
    rules, count, found = PathRules(True, 0.0, 20_000, seed=key), rays // BATCHES, []
    chord = 4.0 * stone.volume_mm3 / stone.polyhedron.areas.sum()
    for batch in range(BATCHES):
        sums, totals = np.zeros((60, visibility_rays.SUMS)), np.zeros(2)
        light = (table, wedges_in(table), EVEN.table, np.eye(3), rules)
        visibility_rays.leave_in_voxels(
            *entering_rays(stone, count, rng), np.zeros(count), 1.0, *light, batch * count, grid, sums, totals
        )
        found.append(sums[:, visibility_rays.TAKEN].sum() / (totals[visibility_rays.FACE_AREA] * chord))
    return float(np.mean(found)), float(np.std(found, ddof=1) / math.sqrt(BATCHES))


@check
def path_in_bodies_without_trapped_light() -> float:
    """n^2 4V/S: phase space holds n^2 as many states inside, and light enters and leaves all of them (n^2 law, Clausius)."""
    worst = 0.0
    for key, stone in enumerate((random_polyhedron(3, 1.5), random_polyhedron(4, 2.0), gem(girdle_facets=32))):
        path, error = path_in_isotropic_light(stone, 12_000, key)
        worst = max(worst, off(path, stone.material.n(589.3) ** 2, SE * error), above(0.02, error / path))
    return worst


@check
def path_in_cuboids() -> float:
    """1.570354 x 4V/S at n = 2.417, 1.718847 at 1.5, for any sides: n^2 less the states that total reflection keeps out.

    Derived for this project from conservation of phase space (no published source).
    """
    worst = 0.0
    for key, (n, expected) in enumerate(((2.417, 1.570354), (1.5, 1.718847))):
        path, error = path_in_isotropic_light(box(2.0, 0.7, n), 64_000, key)
        worst = max(worst, off(path, expected, SE * error), above(0.005, error / path))
    return worst


def field_of(stone: Stone, dome: Dome, grid: VoxelGrid, rays: int, view: View | None = None) -> tuple[np.ndarray, np.ndarray]:
    """(voxels, SUMS) means over the voxels of the four fields and their errors: area and light still times area of the face."""
    scene = Scene(stone, dome, view or View(), TraceSettings())
    sums = visibility_sums.visibility_sums(scene, 589.3, grid, rays)
    per = np.array([1.0, 1.0, sums.face_mm2, sums.face_luminance]) * grid.voxel_mm3
    return sums.mean / per, sums.error / per


def straight_down(rays: int) -> float:
    """See `slab_looked_at_straight_down`."""
    slab = box(4.0, 1.0, N)
    weights = (1.0 - R) * R ** np.arange(60)
    light = np.where(np.arange(60) % 2 == 1, (1.0 - R) * weights, 0.0)
    lost = light[::-1].cumsum()[::-1].sum() / (R + light.sum())
    found, error = field_of(slab, UPPER, around(slab, (1, 1, 5)), rays)
    expected = np.broadcast_to([3.0, 3.0, 1.0 / 16.0, lost / 16.0], found.shape)
    return off(found, expected, SE * error + 1e-9)


@check
def slab_looked_at_straight_down() -> float:
    """All images of a point coincide; that of order k carries w = (1 - R) R^k, so three carry at least 0.01.

    An opaque speck takes sum w = 1 of its cross-section. Under a light sky and a dark tray only what leaves upwards is seen:
    R + sum over odd k of (1 - R) w_k, and of that a speck takes the terms of k and later from each segment k.
    """
    return straight_down(20_000)


def _down_the_slab(way: np.ndarray, eye: np.ndarray, order: int, depth: float) -> tuple[np.ndarray, np.ndarray]:
    """Place and direction of a ray from the eye, by Snell's law and mirrors, at a depth of its way number `order` in a slab
    1 mm thick; the slab is unfolded downwards."""
    inside = np.array([way[0] / N, way[1] / N, -math.sqrt(1.0 - (way[0] ** 2 + way[1] ** 2) / N**2)])
    top = eye + (0.5 - eye[2]) / way[2] * way
    return top - (order + depth) / inside[2] * inside, inside


@check
def beams_spread_as_neighbouring_rays_do() -> float:
    """What single rays leave in the layers of a slab: lengths, and cross-sections by the places of three neighbouring rays.

    The tolerance is that of the differences, 1e-6 of the eye's distance to the side.
    """
    slab, eye, worst, tiny, layers = box(400.0, 1.0, N), np.array([3.0, -2.0, 9.0]), 0.0, 1e-6, 5
    table, grid = tables.stone_table(slab, 589.3), around(slab, (1, 1, layers))
    for aim in ((0.0, 0.0), (9.0, 4.0), (-14.0, 3.0)):
        way = np.array([*aim, 0.5]) - eye
        way /= np.linalg.norm(way)
        u = np.cross(way, [1.0, 0.0, 0.0])
        u /= np.linalg.norm(u)
        near = [way, *(one / np.linalg.norm(one) for one in (way + tiny * u, way + tiny * np.cross(way, u)))]
        sums, spread = np.zeros((layers, visibility_rays.SUMS)), 2e-3
        light = (table, wedges_in(table), EVEN.table, np.eye(3), PathRules(True, 0.0, 12))
        visibility_rays.leave_in_voxels(eye[None], way[None], np.array([spread]), 0.7, *light, 0, grid, sums, np.zeros(2))
        surface = fresnel(math.degrees(math.acos(-way[2])), 1.0, N)
        expected = np.zeros((layers, 2))
        for order in range(5):
            carried = sum(0.5 * (1.0 - R) * R**order for R in (float(surface.reflectance_s), float(surface.reflectance_p)))
            for layer in range(layers) if carried >= 0.01 else ():
                depth = (layer + 0.5) / layers
                (at, inside), *others = (_down_the_slab(one, eye, order, depth) for one in near)
                aside = [place + ((at - place) @ inside) / (way_there @ inside) * way_there - at for place, way_there in others]
                section = float(np.linalg.norm(np.cross(*aside))) / tiny**2 * spread
                here = layers - 1 - layer if order % 2 == 0 else layer
                expected[here] += np.array([section, 1.0]) * 0.7 / (layers * -inside[2])
        worst = max(worst, off(sums[:, :2], expected, 2e-5 * expected))
    return worst


@check
def slab_looked_at_from_near() -> float:
    """From an eye at 12 mm three images of each point are seen in the middle of a slab, whatever the beams' spread inside."""
    slab = box(6.0, 1.0, N)
    grid = voxels_of_box(np.array([-1.0, -0.8, -0.5]), np.array([0.9, 1.0, 0.5]), (2, 2, 4))
    found, error = field_of(slab, EVEN, grid, 60_000, View(distance_mm=12.0, aside_mm=2.0))
    return max(off(found[:, 0], np.full(16, 3.0), SE * error[:, 0]), above(0.03, float(error[:, 0].max())))


def corner_in_a_pipe(n: float) -> Stone:
    """A cube's corner below a level front, in a black pipe so narrow that all light meets the corner's three faces."""
    stone, azimuth = cube_corner(n), np.radians(60.0 * np.arange(6))
    walls = np.column_stack([np.cos(azimuth), np.sin(azimuth), np.zeros(6)])
    black = finishes(np.arange(10) >= 4)
    return body(np.vstack([stone.normals, walls]), [*stone.distances_mm, *[0.58] * 6], n, finishes=black)


@check
def cube_corner_has_eight_images() -> float:
    """Eight images of a point by the corner's mirrors, three times over by the level front, which mirrors R of the rest."""
    stone = corner_in_a_pipe(N)
    faces = stone.normals[:3]
    middle = np.linalg.solve(faces, stone.distances_mm[:3]) - faces.T @ np.array([0.1, 0.16, 0.23])
    grid = voxels_of_box(middle - 0.03, middle + 0.03, (1, 1, 1))
    found, error = field_of(stone, EVEN, grid, 80_000)
    return max(off(found[0, :2], [24.0, 24.0], SE * error[0, :2]), above(0.5, float(error[0, :2].max())))


def of_a_ball(grid: VoxelGrid, middle: np.ndarray, radius: float) -> np.ndarray:
    """(voxels,) mm^2: weights by which a field gives what a sphere takes: 1/(pi sqrt(r^2 - d^2)), 1 along each chord."""
    fine = VoxelGrid(*grid[:3], *(step / 6.0 for step in grid[3:6]), *(6 * count for count in grid.shape))
    x, y, z = np.meshgrid(*fine.middles_mm, indexing="ij")
    room = radius**2 - (x - middle[0]) ** 2 - (y - middle[1]) ** 2 - (z - middle[2]) ** 2
    density = np.where(room > 0.0, 1.0 / (math.pi * np.sqrt(np.where(room > 0.0, room, 1.0))), 0.0)
    nx, ny, nz = grid.shape
    weights = density.reshape(nx, 6, ny, 6, nz, 6).sum(axis=(1, 3, 5)).ravel()
    return np.asarray(weights * math.pi * radius**2 / weights.sum())


def predicted(scene: Scene, middle: np.ndarray, radius: float, rays: int) -> tuple[np.ndarray, np.ndarray]:
    """(2,) `taken` and `lost` of an opaque sphere by the field, and their standard errors."""
    grid = voxels_of_box(middle - radius, middle + radius, (8, 8, 8))
    weights, found = of_a_ball(grid, middle, radius) / grid.voxel_mm3, []
    for sums, (face, luminance) in visibility_sums.runs_of(scene, 589.3, grid, rays):
        found.append(weights @ sums[:, [visibility_rays.TAKEN, visibility_rays.LOST]] / [face, luminance])
    return np.mean(found, axis=0), np.std(found, axis=0, ddof=1) / math.sqrt(len(found))


def traced(
    scene: Scene, middle: np.ndarray, radius: float, rays: int, key: int, batches: int = BATCHES
) -> tuple[np.ndarray, np.ndarray]:
    """(2,) the same by tracing the stone with the sphere and without it along the same random rays, in so many batches."""
    rng, low, high = np.random.default_rng([61, key]), *(f(extent(scene.stone, scene.view), axis=0) for f in (np.min, np.max))
    spotted = replace(scene, stone=scene.stone.with_inclusions(Inclusion.sphere(middle, radius)))
    found = []
    for _ in range(batches):
        points = rng.uniform(low, high, (rays // batches, 2))
        rows, hit = sample_points(points, spotted, 589.3)
        bare, _ = sample_points(points, scene, 589.3)
        lost = 1.0 - rows[hit, ledger.LUMINANCE].sum() / bare[hit, ledger.LUMINANCE].sum()
        found.append((rows[hit, ledger.INCLUDED].mean(), lost))
    return np.mean(found, axis=0), np.std(found, axis=0, ddof=1) / math.sqrt(batches)


def places_in(stone: Stone, count: int, clearance: float, rng: np.random.Generator) -> np.ndarray:
    """(count, 3) random places, evenly in the volume, at least so far below the surface."""
    found: list[np.ndarray] = []
    while len(found) < count:
        one = rng.uniform(stone.vertices_mm.min(axis=0), stone.vertices_mm.max(axis=0))
        if (stone.distances_mm - stone.normals @ one).min() > clearance:
            found.append(one)
    return np.array(found)


@check
def field_tells_what_a_speck_takes() -> float:
    """At two places of a brilliant under a dome with a head; `specks_by_field.py` looks at 200 in five cuts."""
    worst, scene = 0.0, Scene(gem(girdle_facets=32), Dome(head_half_angle_deg=12.0, tray_radiance=0.2))
    for key, middle in enumerate(places_in(scene.stone, 2, 0.1, np.random.default_rng(62))):
        by_field, one = predicted(scene, middle, 0.1, 16_000)
        by_rays, other = traced(scene, middle, 0.1, 16_000, key)
        worst = max(worst, off(by_field, by_rays, 5.0 * np.hypot(one, other)), above(0.2, float((one / by_field).max())))
    return worst


def tinted(rays: int) -> float:
    """The field of a tinted slab: `taken` falls with the depth as the light does (Beer and Lambert), `lost` does not."""
    a, n = 0.25, 1.5
    slab = box(4.0, 1.0, Material.constant(n).tinted(a))
    r, left = ((n - 1.0) / (n + 1.0)) ** 2, math.exp(-a)
    found, error = field_of(slab, EVEN, around(slab, (1, 1, 6)), rays)
    orders = np.arange(30)
    edges = np.linspace(0.0, 1.0, 7)
    down = (np.exp(-a * edges[:-1]) - np.exp(-a * edges[1:])) * 6.0 / a  # mean of exp(-a s) per voxel, from the top
    up = down[::-1]
    begins = (1.0 - r) * (r * left) ** orders
    taken = (begins[::2].sum() * down + begins[1::2].sum() * up)[::-1] / 16.0
    leaves = begins * left * (1.0 - r)
    lost = leaves[::-1].cumsum()[::-1].sum() / (r + leaves.sum()) / 16.0
    return max(
        off(found[:, 2], taken, SE * error[:, 2] + 1e-4 * taken), off(found[:, 3], np.full(6, lost), SE * error[:, 3] + 1e-9)
    )


@check
def tinted_slab() -> float:
    """See `tinted`; a voxel's light is taken at the middle of its segment, off by (a d)^2/24 of it: below 1e-4 here."""
    return tinted(20_000)
