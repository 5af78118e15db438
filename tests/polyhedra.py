"""What the tests share: published values, bodies to trace through, rays to trace, and the points a path visits."""

from __future__ import annotations

import csv
import functools
import math
from collections.abc import Callable
from pathlib import Path

import numpy as np

from raylab.optics.materials import Material
from raylab.stone.stone import Stone
from raylab.tracers import reference

N_DIAMOND = 2.417
"""Index of diamond in the closed forms; Tolkowsky's (1919, from memory, consistent with his angles)."""

EDGE_ON = 1e-9
"""Rays in the plane of a main keep this far from it, in girdle radii, so that they meet no edge by accident."""

VALUES = Path(__file__).parent / "data" / "reference_values.csv"


@functools.cache
def published() -> dict[str, dict[str, str]]:
    """The rows of reference_values.csv by id: quantity, value, unit, conditions, source, how_obtained."""
    with VALUES.open(newline="", encoding="utf-8") as lines:
        return {row["id"]: row for row in csv.DictReader(lines)}


def ref(key: str) -> float:
    """A published value by its id in reference_values.csv, where its source stands."""
    return float(published()[key]["value"])


# Bodies. All are closed and convex, about 1 mm in size, with z = 0 inside.


def body(normals: object, distances_mm: object, material: str | Material = "diamond", **options: object) -> Stone:
    """A stone from planes; a plain number as material is a constant index."""
    index = Material.constant(material) if isinstance(material, float) else material
    return Stone.from_planes(np.array(normals, dtype=float), np.array(distances_mm, dtype=float), material=index, **options)


def finishes(absorbing: np.ndarray) -> list[str]:
    """Names of finishes: absorbing where `absorbing` (F,) is True, polished elsewhere."""
    return ["absorbing" if one else "polished" for one in absorbing]


def many_facets(count: int) -> Stone:
    """A ball of 3 mm radius cut by so many tangent planes in random directions: beams are split at every hit."""
    normals = np.random.default_rng(5).normal(size=(count, 3))
    return body(normals / np.linalg.norm(normals, axis=1)[:, None], np.full(count, 3.0), name="many facets (invented)")


def box(width_mm: float, height_mm: float, material: float | Material) -> Stone:
    """A square box about the origin; wide and flat, it is a slab."""
    return body(np.vstack([np.eye(3), -np.eye(3)]), [width_mm / 2, width_mm / 2, height_mm / 2] * 2, material)


def prism(sides_deg: list[float], distances_mm: list[float], length_mm: float, n: float) -> Stone:
    """A straight prism along y: side planes by the elevation of their normals in the x-z plane."""
    sides = [(math.cos(math.radians(e)), 0.0, math.sin(math.radians(e))) for e in sides_deg]
    return body([*sides, (0, 1, 0), (0, -1, 0)], [*distances_mm, length_mm / 2, length_mm / 2], n)


def hexagonal_prism(aspect: float, n: float) -> Stone:
    """A hexagonal prism along z whose length over the hexagon's corner-to-corner width is `aspect`."""
    azimuth = np.radians(60.0 * np.arange(6))
    sides = np.column_stack([np.cos(azimuth), np.sin(azimuth), np.zeros(6)])
    normals = np.vstack([sides, [[0, 0, 1], [0, 0, -1]]])
    return body(normals, [math.sqrt(0.75) / 2] * 6 + [aspect / 2] * 2, n)


def cube_corner(n: float) -> Stone:
    """A cube's corner pointing down, cut off by a level front face above it."""
    azimuth = np.radians(120.0 * np.arange(3))
    down = -1.0 / math.sqrt(3.0)
    flat = math.sqrt(2.0 / 3.0)
    corner = np.column_stack([flat * np.cos(azimuth), flat * np.sin(azimuth), np.full(3, down)])
    return body(np.vstack([corner, [[0, 0, 1]]]), [0.5, 0.5, 0.5, 0.1], n)


def random_polyhedron(key: int, n: float = 2.417, *, absorption_per_mm: float = 0.0, absorbing_share: float = 0.0) -> Stone:
    """A random convex polyhedron of 5 to 25 facets; the same for the same key."""
    rng = np.random.default_rng([20, key])
    count = int(rng.integers(5, 20))
    normals = np.vstack([rng.normal(size=(count, 3)), np.eye(3), -np.eye(3)])
    distances = np.concatenate([rng.uniform(0.3, 1.0, count), rng.uniform(0.7, 1.0, 6)])
    material = Material.constant(n)
    if absorption_per_mm > 0.0:
        material = material.tinted(absorption_per_mm)
    return body(normals, distances, material, redundant="drop", finishes=finishes(rng.random(len(normals)) < absorbing_share))


def mains_only(table_pct: float, crown_height_pct: float, pavilion_depth_pct: float, material: str | Material) -> Stone:
    """Table and eight mains above and below a knife-edge girdle of radius 1: the section through a main is Tolkowsky's."""
    R, table = 1.0, table_pct / 100.0
    crown, pavilion = crown_height_pct / 50.0 / (R - table), pavilion_depth_pct / 50.0
    normals, tiers = [np.array([0.0, 0.0, 1.0])], ["table"]
    distances = [crown_height_pct / 50.0]
    for tier, slope, side in (("crown main", crown, 1.0), ("pavilion main", pavilion, -1.0)):
        for azimuth in np.radians(45.0 * np.arange(8)):
            normals.append(np.array([slope * math.cos(azimuth), slope * math.sin(azimuth), side]) / math.hypot(slope, 1.0))
            distances.append(slope * R / math.hypot(slope, 1.0))
            tiers.append(tier)
    return body(normals, distances, material, tiers=tiers)


# Rays.


def directions(count: int, rng: np.random.Generator) -> np.ndarray:
    """(count, 3) unit vectors, uniform over the sphere."""
    vectors = rng.normal(size=(count, 3))
    return vectors / np.linalg.norm(vectors, axis=1)[:, None]


def isotropic_rays(stone: Stone, count: int, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray, float]:
    """Origins and directions (count, 3) of isotropic light, and the area in mm^2 over which each direction is spread.

    Each ray crosses a disc across its direction, as large as the sphere about the stone; many miss the stone.
    """
    radius = 1.001 * float(np.linalg.norm(stone.vertices_mm, axis=1).max())
    ways = directions(count, rng)
    helper = np.eye(3)[np.abs(ways).argmin(axis=1)]
    u = np.cross(helper, ways)
    u /= np.linalg.norm(u, axis=1)[:, None]
    w = np.cross(ways, u)
    distance, angle = radius * np.sqrt(rng.random(count)), 2.0 * math.pi * rng.random(count)
    across = distance[:, None] * (np.cos(angle)[:, None] * u + np.sin(angle)[:, None] * w)
    return across - 2.0 * radius * ways, ways, math.pi * radius**2


def entering_rays(stone: Stone, count: int, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """Origins and directions (count, 3) of isotropic light that meets the stone: Lambert's cosine law on every facet."""
    corners, triangles = stone.triangles()
    a, b, c = (corners[triangles[:, k]] for k in range(3))
    across = np.cross(b - a, c - a)
    twice = np.linalg.norm(across, axis=1)
    chosen = rng.choice(len(triangles), size=count, p=twice / twice.sum())
    u, v = np.sqrt(rng.random(count)), rng.random(count)
    points = a[chosen] + (u * (1.0 - v))[:, None] * (b - a)[chosen] + (u * v)[:, None] * (c - a)[chosen]
    ways = directions(count, rng) - (across / twice[:, None])[chosen]  # a sphere standing on the facet: cosine law
    ways /= np.linalg.norm(ways, axis=1)[:, None]
    return points - 3.0 * float(stone.size_mm.max()) * ways, ways


def random_rays(stone: Stone, count: int, key: int) -> tuple[np.ndarray, np.ndarray]:
    """Origins and directions (count, 3) of rays from all sides, each aimed at a random point inside the stone."""
    rng = np.random.default_rng([30, key])
    ways = directions(count, rng)
    shares = rng.dirichlet(np.ones(len(stone.vertices_mm)), size=count)
    return shares @ stone.vertices_mm - 3.0 * float(stone.size_mm.max()) * ways, ways


def visited(stone: Stone, origin: np.ndarray, way: np.ndarray, path: reference.Path) -> tuple[np.ndarray, np.ndarray]:
    """Points (H, 3) and incoming directions (H, 3) at each facet of a path, replayed by plain geometry.

    Snell's law at the entry, mirrors after it; written apart from the tracers.
    """
    n = stone.material.n(589.3)
    points, ways = [], []
    here = np.asarray(origin, dtype=float)
    for hit, f in enumerate(path.facets):
        normal, d = stone.normals[f], stone.distances_mm[f]
        here = here + (d - normal @ here) / (normal @ way) * way
        points.append(here)
        ways.append(way)
        along = way - (way @ normal) * normal
        way = along / n - math.sqrt(1.0 - along @ along / n**2) * normal if hit == 0 else way - 2.0 * (way @ normal) * normal
    return np.array(points), np.array(ways)


def look_down(stone: Stone, x: float, lean_deg: float = 0.0, wavelength_nm: float = 589.3) -> reference.Path:
    """Trace a ray that meets the table at x in the plane of a main, leaning outward by an angle in air."""
    way = np.array([math.sin(math.radians(lean_deg)), 0.0, -math.cos(math.radians(lean_deg))])
    start = np.array([x, EDGE_ON, stone.vertices_mm[:, 2].max()])
    return reference.trace_path(start - way, way, stone, wavelength_nm=wavelength_nm, min_weight=1e-3)


def tiers_met(stone: Stone, path: reference.Path) -> list[str]:
    return [stone.tiers[f] for f in path.facets]


def bisect(low: float, high: float, is_high: Callable[[float], bool]) -> float:
    """Where `is_high` turns from False to True between low and high, to rounding."""
    if is_high(low) or not is_high(high):
        return math.nan
    for _ in range(48):
        middle = (low + high) / 2.0
        low, high = (low, middle) if is_high(middle) else (middle, high)
    return (low + high) / 2.0
