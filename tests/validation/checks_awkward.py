"""Rays that meet a stone exactly where facets meet, or within a facet's plane."""

from __future__ import annotations

import numpy as np
from both_tracers import ENTRIES, EXACT, LEAN, RICH, by_reference, gem
from checks import above, check, off
from polyhedra import box, hexagonal_prism, random_polyhedron

from raylab.optics.materials import Material
from raylab.stone.stone import Stone
from raylab.tracers import ledger
from raylab.tracers import stone_table as tables
from raylab.tracers.sampled import rays


def _awkward_rays(stone: Stone, key: int) -> tuple[np.ndarray, np.ndarray]:
    """Rays aimed exactly at corners and edges, along edges, and within facet planes, from many sides."""
    rng = np.random.default_rng([60, key])
    corners, far = stone.vertices_mm, 3.0 * float(stone.size_mm.max())
    loops = stone.polyhedron.loops
    start = np.concatenate([corners[loop] for loop in loops])
    end = np.concatenate([corners[np.roll(loop, -1)] for loop in loops])
    normal = np.repeat(stone.normals, [len(loop) for loop in loops], axis=0)
    middle, along = (start + end) / 2.0, end - start
    along = along / np.linalg.norm(along, axis=1)[:, None]
    down, aside = np.tile([0.0, 0.0, -1.0], (len(start), 1)), np.cross(normal, along)
    inward = -normal + 0.5 * rng.normal(size=normal.shape)
    targets = [corners, corners, start, middle, middle, middle, middle, middle]
    directions = [-corners, rng.normal(size=corners.shape), down, down, along, inward, aside, -normal]
    aims, bent = np.concatenate(targets), np.concatenate(directions)
    bent = bent / np.linalg.norm(bent, axis=1)[:, None]
    return aims - far * bent, bent


@check
def awkward_rays_are_kept() -> float:
    """No NaN, nothing below zero but for rounding, no lost ray: what hits closes its ledger, untraced weight has a reason.

    The reasons are two: less than `min_weight` was left, or the path went all the way to the bounce cap (rays aimed exactly
    at a prism's corner can fall into a closed orbit). A ray that found no facet to go to would stop short of the cap.
    """
    worst, cap = 0.0, 1000
    stones = [gem(), gem(girdle_facets=16), gem(0.1), box(1.0, 1.0, Material.constant(2.417)), hexagonal_prism(1.0, 1.31)]
    for key, stone in enumerate([*stones, *map(random_polyhedron, range(5))]):
        origins, directions = _awkward_rays(stone, key)
        lowered = tables.stone_table(stone, 589.3)
        rows, hit, _ = rays.trace_rays(
            origins, directions, lowered, RICH.table, LEAN, rules=rays.PathRules(min_weight=1e-4, max_bounces=cap)
        )
        worst = max(worst, off(rows[:, ENTRIES].sum(axis=1), hit.astype(float), EXACT), above(rows[:, ENTRIES], -EXACT))
        worst = max(worst, off(rows[~hit], np.zeros_like(rows[~hit]), EXACT), above(hit.mean(), 0.5))
        for r in np.flatnonzero(rows[:, ledger.UNTRACED] >= 1e-4):
            alone = rays.trace_rays(
                origins[[r]], directions[[r]], lowered, RICH.table, LEAN, rules=rays.PathRules(min_weight=1e-4, max_bounces=cap)
            )
            worst = max(worst, off(alone[2], cap, 0.5))
    return worst


@check
def awkward_rays_in_the_reference() -> float:
    """The same rays, some of them, through the reference tracer: each closes its ledger or misses."""
    worst = 0.0
    for key, stone in enumerate(
        [gem(girdle_facets=16), box(1.0, 1.0, Material.constant(2.417)), *map(random_polyhedron, range(3))]
    ):
        origins, directions = _awkward_rays(stone, key)
        some = slice(None, None, len(origins) // 25)
        total = by_reference(stone, origins[some], directions[some], RICH)[:, ENTRIES].sum(axis=1)
        worst = max(
            worst, off(np.minimum(np.abs(total), np.abs(total - 1.0)), np.zeros(len(total)), EXACT), above(total.mean(), 0.5)
        )
    return worst
