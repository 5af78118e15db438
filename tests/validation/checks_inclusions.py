"""Inclusions against closed forms: where mirror and Snell put their images, and what they take from each segment."""

from __future__ import annotations

import itertools
import math

import numpy as np
from both_tracers import ENTRIES, EVEN, EXACT, RICH, by_rays, by_reference, gem, on_threads
from checks import above, check, off
from polyhedra import box, cube_corner, directions, random_polyhedron, random_rays, visited

from raylab.optics.fresnel import fresnel
from raylab.optics.materials import Material
from raylab.stone.inclusions.inclusion import Inclusion
from raylab.stone.stone import Stone
from raylab.tracers import ledger, reference

N = 2.417
SLAB = box(100.0, 1.0, Material.constant(N))
UP = np.array([0.0, 0.0, 1.0])


def some_inclusions(stone: Stone, key: int) -> Stone:
    """A stone with four random inclusions, one of each shape, which may overlap and reach the surface."""
    rng = np.random.default_rng([40, key])
    size = float(stone.size_mm.max())
    shares = rng.dirichlet(np.full(len(stone.vertices_mm), 0.5), size=4)
    a, b, c, d = shares @ stone.vertices_mm
    r, ways = size * rng.uniform(0.03, 0.25, size=(4, 3)), directions(4, rng)
    tetrahedron = d + size * rng.uniform(-0.3, 0.3, size=(5, 3))
    let = rng.uniform(0.0, 1.0, size=4)
    found = [
        Inclusion.sphere(a, r[0, 0], transmittance=0.0 if key % 2 else let[0]),
        Inclusion.ellipsoid(b, r[1], axis=ways[0], second_axis=ways[1], transmittance=let[1]),
        Inclusion.disc(c, r[2, 0], ways[2], transmittance=let[2]),
        Inclusion.polyhedron(tetrahedron, transmittance=let[3]),
    ]
    middles = np.array([one.center_mm for one in found])
    inside = (middles @ stone.normals.T < stone.distances_mm).all(axis=1)
    return stone.with_inclusions([one for one, held in zip(found, inside, strict=True) if held])


def cut_off(key: int) -> Stone:
    """A stone whose surface cuts off needles and discs that lie across it, most of them outside."""
    stone, rng = random_polyhedron(key, n=1.7), np.random.default_rng([41, key])
    found = []
    for corner in stone.vertices_mm:
        axis, normal = directions(2, rng)
        found.append(Inclusion.ellipsoid(1.2 * corner, (0.6, 0.1, 0.1), axis=axis, transmittance=0.5))
        found.append(Inclusion.disc(1.2 * corner, 0.6, normal, transmittance=0.5))
    return stone.relabeled(inclusions=tuple(found))


def stones(count: int) -> list[Stone]:
    """A brilliant and random polyhedra, clear and tinted, with inclusions of all shapes; one with many that are cut off."""
    bare = [gem(0.2), *(random_polyhedron(k, n=1.4 + 0.2 * k, absorption_per_mm=0.3 * (k % 2)) for k in range(count - 2))]
    return [cut_off(5), *(some_inclusions(stone, key) for key, stone in enumerate(bare))]


def agree_on(bodies: list[Stone], rays: int) -> float:
    """Oracle and packet tracer, every channel of every ray, to 1e-10; they share no test of what a segment crosses."""
    worst = 0.0
    for key, stone in enumerate(bodies):
        origins, ways = random_rays(stone, rays, key)
        slow = by_reference(stone, origins, ways, RICH, polarized=key % 2 == 0, min_weight=1e-3)
        with on_threads(1):
            fast = by_rays(stone, origins, ways, RICH, polarized=key % 2 == 0, min_weight=1e-3)
        worst = max(worst, off(fast, slow, 1e-10), above((fast[:, ledger.INCLUDED] > 0.0).sum(), 1))
    return worst


@check
def tracers_agree() -> float:
    """See `agree_on`."""
    return agree_on(stones(6), 8)


def closes_on(bodies: list[Stone], rays: int) -> float:
    """The six entries of each ray sum to 1, and what inclusions take is a part of what is absorbed; to rounding.

    Under an even sphere of light a ray gathers what is neither absorbed nor untraced (n^2 law, Clausius).
    """
    worst = 0.0
    for key, stone in enumerate(bodies):
        with on_threads(1):
            rows = by_rays(stone, *random_rays(stone, rays, key), EVEN)
        gathered = rows[:, ledger.LUMINANCE] + rows[:, ledger.ABSORBED] + rows[:, ledger.UNTRACED]
        worst = max(worst, off(rows[:, ENTRIES].sum(axis=1), np.ones(rays), EXACT), off(gathered, np.ones(rays), EXACT))
        worst = max(worst, above(rows[:, ledger.ABSORBED] + EXACT, rows[:, ledger.INCLUDED]))
    return worst


@check
def energy_closes() -> float:
    """See `closes_on`."""
    return closes_on(stones(8), 100)


def _into_slab(angle_deg: float, places: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Rays that meet the slab's top at (places, 0), leaning towards +x by an angle in air."""
    lean = math.radians(angle_deg)
    way = np.array([math.sin(lean), 0.0, -math.cos(lean)])
    top = np.column_stack([places, np.zeros(len(places)), np.full(len(places), 0.5)])
    return top - way, np.broadcast_to(way, top.shape)


def _images_in_slab(disc: Inclusion, depth: float, orders: int) -> float:
    """How far what an opaque disc takes is from the closed form, at 0, 20, 45 and 70 degrees in air."""
    worst, radius = 0.0, disc.shape.reach_mm
    stone, places = SLAB.with_inclusions(disc), np.linspace(-5.0, 0.2, 400)
    for angle in (0.0, 20.0, 45.0, 70.0):
        inside = math.asin(math.sin(math.radians(angle)) / N)
        surface = fresnel(angle, 1.0, N)
        expected = np.zeros(len(places))
        waiting = np.ones(len(places), bool)
        for order in range(orders):
            # After k reflections light has come down k slabs: at the disc once more by the depth from the side it comes from.
            down = order + depth if order % 2 == 0 else order + 1.0 - depth
            hits = waiting & (np.abs(places + down * math.tan(inside)) < radius)
            for R in (float(surface.reflectance_s), float(surface.reflectance_p)):
                expected[hits] += 0.5 * (1.0 - R) * R**order
            waiting &= ~hits
        rows = by_rays(stone, *_into_slab(angle, places), EVEN, min_weight=0.0, max_bounces=orders)
        worst = max(worst, off(rows[:, ledger.INCLUDED], expected, 1e-12), above(expected.max(), 0.1))
    return worst


@check
def disc_in_a_slab() -> float:
    """Images of a level opaque disc in a slab, one for each order of reflection, beside each other by Snell's law.

    Seen at an angle i its image of order k lies (k + depth) tan r before it, or (k + 1 - depth) tan r for odd k, with
    sin i = n sin r: the apparent depth of the direct one is depth tan r / tan i. It takes (1 - R) R^k of the light.
    """
    depth, radius = 0.3, 0.02
    disc = Inclusion.disc((0.0, 0.0, 0.5 - depth), radius)
    return _images_in_slab(disc, depth, 6)


@check
def images_in_a_cube_corner() -> float:
    """A small sphere in the corner of a cube, seen along the diagonal through a level front: eight images.

    Straight light runs through all eight octants of the unfolded corner, so the images are the places of the point with any of
    its coordinates' signs changed, seen along the diagonal. The three reflections are total: what enters, (1 - R), is taken.
    """
    stone, radius = cube_corner(N), 0.006
    faces = stone.normals[:3]
    apex = np.linalg.solve(faces, stone.distances_mm[:3])
    heights = np.array([0.21, 0.27, 0.34])  # below each face of the corner
    center = apex - faces.T @ heights
    images = [apex - faces.T @ (np.array(signs) * heights) for signs in itertools.product((1.0, -1.0), repeat=3)]
    spots = np.array(images)[:, :2]
    # A fine grid around each predicted place and between them; rays on an edge of the corner are left out.
    steps = np.linspace(-1.5 * radius, 1.5 * radius, 24)
    near = (spots[:, None, :] + np.stack(np.meshgrid(steps, steps), axis=-1).reshape(1, -1, 2)).reshape(-1, 2)
    coarse = np.linspace(-0.2, 0.2, 60)
    points = np.concatenate([near, np.stack(np.meshgrid(coarse, coarse), axis=-1).reshape(-1, 2)])
    hit = (np.linalg.norm(points[:, None, :] - spots, axis=2) < radius).any(axis=1)
    origins = np.column_stack([points, np.ones(len(points))])
    rows = by_rays(stone.with_inclusions(Inclusion.sphere(center, radius)), origins, np.broadcast_to(-UP, origins.shape), EVEN)
    entered = 1.0 - ((N - 1.0) / (N + 1.0)) ** 2
    apart = min(float(np.linalg.norm(a - b)) for a, b in itertools.combinations(spots, 2))
    return max(off(rows[:, ledger.INCLUDED], entered * hit, 1e-12), above(apart, 2.0 * radius))


@check
def shadow_in_parallel_light() -> float:
    """A sphere that lets T pass, in a clear slab under an even sky, looked at straight down: the sum of a geometric series.

    All its images coincide. It takes (1 - R)(1 - T) of the light at once, and R T of that again and again:
    (1 - R)(1 - T) / (1 - R T); the rest comes to the eye.
    """
    rng = np.random.default_rng(41)
    points = rng.uniform(-0.4, 0.4, size=(2000, 2))
    origins = np.column_stack([points, np.ones(len(points))])
    R, worst = ((N - 1.0) / (N + 1.0)) ** 2, 0.0
    for T in (0.0, 0.3, 0.9):
        stone = SLAB.with_inclusions(Inclusion.sphere((0.1, -0.05, 0.1), 0.2, transmittance=T))
        taken = (1.0 - R) * (1.0 - T) / (1.0 - R * T) * (np.hypot(points[:, 0] - 0.1, points[:, 1] + 0.05) < 0.2)
        rows = by_rays(stone, origins, np.broadcast_to(-UP, origins.shape), EVEN, min_weight=1e-14)
        worst = max(worst, off(rows[:, ledger.INCLUDED], taken, 1e-12), off(rows[:, ledger.LUMINANCE], 1.0 - taken, 1e-12))
    return worst


def _segments(stone: Stone, origin: np.ndarray, way: np.ndarray) -> list[tuple[np.ndarray, np.ndarray, float]]:
    """Start, end and weight of each segment of a path in the bare stone: what entered, less what has left."""
    path = reference.trace_path(origin, way, stone, min_weight=1e-3)
    points, _ = visited(stone, origin, way, path)
    left = {bounces: weight for weight, _, bounces in path.exits[1:]}
    weight, found = 1.0 - path.glare, []
    for k in range(len(points) - 1):
        found.append((points[k], points[k + 1], weight))
        weight -= left.get(k, 0.0)
    return found


@check
def light_lost_to_a_faint_sphere() -> float:
    """A sphere that takes 1e-6 of what crosses it takes that share of the weights of the segments within its radius.

    Weights are those of the bare stone; the second order, 1e-6 of the first for each further crossing, is the tolerance.
    """
    worst, met = 0.0, 0
    for key in range(3):
        stone = gem() if key == 0 else random_polyhedron(key, n=1.9)
        center = stone.vertices_mm.mean(axis=0)
        radius = 0.15 * float(stone.size_mm.max())
        faint = stone.with_inclusions(Inclusion.sphere(center, radius, transmittance=1.0 - 1e-6))
        origins, ways = random_rays(stone, 12, key)
        rows = by_rays(faint, origins, ways, EVEN, min_weight=1e-3)
        for row, origin, way in zip(rows, origins, ways, strict=True):
            expected = 0.0
            for start, end, weight in _segments(stone, origin, way):
                share = np.clip((center - start) @ (end - start) / ((end - start) @ (end - start)), 0.0, 1.0)
                expected += weight * (np.linalg.norm(start + share * (end - start) - center) < radius)
            met += expected > 0.0
            worst = max(worst, off(row[ledger.INCLUDED], 1e-6 * expected, 2e-11))
    return max(worst, above(met, 15))


@check
def reciprocity() -> float:
    """Light that runs a path backwards past inclusions loses the same share (Helmholtz); tolerance as in `checks_symmetry`."""
    worst, count = 0.0, 0
    for key, stone in enumerate(stones(4)):
        for origin, way in zip(*random_rays(stone, 4, key), strict=True):
            path = reference.trace_path(origin, way, stone, min_weight=1e-3)
            points, _ = visited(stone, origin, way, path)
            for weight, leaves, bounces in path.exits[1:]:
                if weight < 1e-3 or path.included == 0.0:
                    continue
                start = points[bounces + 1] + 5.0 * float(stone.size_mm.max()) * leaves
                back = reference.trace_path(start, -leaves, stone, min_weight=1e-5)
                returned = [w for w, _, b in back.exits[1:] if b == bounces]
                worst = max(worst, off(returned, [weight], 1e-9))
                count += 1
    return max(worst, above(count, 10))
