"""Triangles grouped into planar patches, bottom up.

Every triangle starts as a patch of its own. The patch pair that shares an edge and whose merger costs least is merged, where
the cost is the growth of the sum of squared distances from the patches' own best planes (total least squares, weighted by
area; Ward's criterion with planes in place of centres). Under vertex noise of standard deviation s the merger of two
patches of *one* plane costs about 3 s^2, three parameters fewer, whatever the patches' size; across an edge between two
facets it grows with their size and soon costs hundreds. So one threshold in units of s^2 serves for 10^3 as for 10^6
triangles, small patches grow first, and a patch's normal is judged only as sharply as its size allows.

Pairs that are each other's cheapest are merged together, round by round, which gives nearly the order of one-by-one
merging at a fraction of its cost.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ...jit import njit
from .mesh import Mesh
from .plane_fit import SIX

MERGE_COST = 25.0
"""Two patches are of one plane while their merger costs less than this many noise variances. By chance one merger in 65,000
costs more (chi-squared, 3 degrees of freedom); what stays apart by chance is joined later, by its planes."""


@dataclass
class Patches:
    """A partition of a mesh's triangles into patches, with what is needed to merge on.

    `label` (T,) patch of each triangle; `pairs` (E, 2) patches that touch; per patch: `count` of triangles, `weight` mm^2,
    `centre` (P, 3), `scatter` (P, 6) weighted second moments about the centre (xx, yy, zz, xy, xz, yz), `misfit` (P,)
    weighted sum of squared distances from the best plane.
    """

    label: np.ndarray
    pairs: np.ndarray
    count: np.ndarray
    weight: np.ndarray
    center: np.ndarray
    scatter: np.ndarray
    misfit: np.ndarray


def single_patches(mesh: Mesh) -> Patches:
    """Each triangle a patch of its own, its area shared by its corners."""
    a, b, c = (mesh.vertices[mesh.triangles[:, k]] - mesh.centroid for k in range(3))
    weight = np.maximum(mesh.area, 1e-12 * mesh.area.sum() / len(mesh.area))
    scatter = np.stack([weight / 3.0 * sum(p[:, i] * p[:, j] for p in (a, b, c)) for i, j in SIX], axis=1)
    count = np.ones(len(weight), dtype=np.int64)
    label = np.arange(len(weight), dtype=np.int32)
    return Patches(label, mesh.pairs.astype(np.int32), count, weight, mesh.centroid.copy(), scatter, np.zeros(len(weight)))


def merge_patches(patches: Patches, noise_mm: float) -> Patches:
    """Patches merged until every further merger costs more than `MERGE_COST` noise variances."""
    limit = MERGE_COST * noise_mm**2
    label, pairs = patches.label, patches.pairs
    state = (patches.count, patches.weight, patches.center, patches.scatter, patches.misfit)
    cost = np.full(len(pairs), -1.0)
    pending = np.arange(len(patches.count), dtype=np.int32)  # numbers since the labels were last rewritten
    while len(pairs):
        _costs(pairs, *state, cost)
        number, mates = _matches(pairs, cost, len(state[0]), limit)
        if not len(mates):
            break
        pairs, cost = _relinked(pairs, cost, number, _changed(number, mates, len(state[0])))
        state = _merged(number, mates, *state)
        pending = number[pending]
        if 2 * len(state[0]) < len(pending):
            label, pending = pending[label], np.arange(len(state[0]), dtype=np.int32)
    return Patches(pending[label], pairs, *state)


def _changed(number: np.ndarray, mates: np.ndarray, patches: int) -> np.ndarray:
    changed = np.zeros(patches, dtype=np.bool_)
    changed[number[mates[:, 0]]] = True
    return changed


def _relinked(pairs: np.ndarray, cost: np.ndarray, number: np.ndarray, changed: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Pairs between new patches, each once; the cost is kept where neither patch has changed, else -1."""
    a, b = number[pairs[:, 0]], number[pairs[:, 1]]
    key = np.minimum(a, b).astype(np.int64) * len(changed) + np.maximum(a, b)
    keep = a != b
    key, first = np.unique(key[keep], return_index=True)
    pairs = np.stack([key // len(changed), key % len(changed)], axis=1).astype(np.int32)
    return pairs, np.where(changed[pairs].any(axis=1), -1.0, cost[keep][first])


@njit()
def smallest_eigenvalue(xx, yy, zz, xy, xz, yz):
    """Smallest eigenvalue of a symmetric 3x3 matrix, by Jacobi rotations (exact to rounding also where two are equal)."""
    a = np.empty((3, 3))
    a[0, 0], a[1, 1], a[2, 2] = xx, yy, zz
    a[0, 1], a[0, 2], a[1, 2] = xy, xz, yz
    small = 1e-32 * (xx + yy + zz) ** 2
    for _ in range(12):
        if a[0, 1] ** 2 + a[0, 2] ** 2 + a[1, 2] ** 2 <= small:
            break
        for p in range(2):
            for q in range(p + 1, 3):
                if a[p, q] == 0.0:
                    continue
                theta = (a[q, q] - a[p, p]) / (2.0 * a[p, q])
                t = math.copysign(1.0, theta) / (abs(theta) + math.sqrt(theta * theta + 1.0))
                c = 1.0 / math.sqrt(t * t + 1.0)
                s = t * c
                r = 3 - p - q
                a[p, p] -= t * a[p, q]
                a[q, q] += t * a[p, q]
                a[p, q] = 0.0
                rp = a[min(r, p), max(r, p)]
                rq = a[min(r, q), max(r, q)]
                a[min(r, p), max(r, p)] = c * rp - s * rq
                a[min(r, q), max(r, q)] = s * rp + c * rq
    return max(min(a[0, 0], a[1, 1], a[2, 2]), 0.0)


@njit()
def _costs(pairs, count, weight, center, scatter, misfit, cost):
    """Fill in the missing (negative) costs (E,): growth of the misfit, over the mean weight of a vertex.

    A patch has half as many vertices as triangles, so a vertex weighs two mean triangles. For the shapes see `Patches`.
    """
    for e in range(len(pairs)):
        if cost[e] >= 0.0:
            continue
        a, b = pairs[e]
        whole = weight[a] + weight[b]
        share = weight[a] * weight[b] / whole
        x, y, z = center[a, 0] - center[b, 0], center[a, 1] - center[b, 1], center[a, 2] - center[b, 2]
        together = smallest_eigenvalue(
            scatter[a, 0] + scatter[b, 0] + share * x * x,
            scatter[a, 1] + scatter[b, 1] + share * y * y,
            scatter[a, 2] + scatter[b, 2] + share * z * z,
            scatter[a, 3] + scatter[b, 3] + share * x * y,
            scatter[a, 4] + scatter[b, 4] + share * x * z,
            scatter[a, 5] + scatter[b, 5] + share * y * z,
        )
        cost[e] = max(together - misfit[a] - misfit[b], 0.0) * (count[a] + count[b]) / (2.0 * whole)


@njit()
def _shuffled(a, b):
    """A fixed scrambling of a pair of numbers, to settle ties without a long chain of them."""
    key = np.uint64(a) * np.uint64(0x9E3779B97F4A7C15) ^ np.uint64(b) * np.uint64(0xC2B2AE3D27D4EB4F)
    key ^= key >> np.uint64(29)
    return key * np.uint64(0xBF58476D1CE4E5B9)


@njit()
def _matches(pairs, cost, patches, limit):
    """Pairs (M, 2) that are each other's cheapest and affordable, and the new number (P,) of every old patch.

    `pairs` (E, 2) and their `cost` (E,); `patches` is P.
    """
    best = np.full(patches, -1, dtype=np.int64)
    for e in range(len(pairs)):
        if cost[e] > limit:
            continue
        for k in range(2):
            p = pairs[e, k]
            o = best[p]
            if o >= 0 and cost[o] == cost[e]:
                if _shuffled(pairs[e, 0], pairs[e, 1]) < _shuffled(pairs[o, 0], pairs[o, 1]):
                    best[p] = e
            elif o < 0 or cost[e] < cost[o]:
                best[p] = e
    number = np.full(patches, -1, dtype=np.int32)
    mates = np.empty((patches // 2 + 1, 2), dtype=np.int32)
    found = 0
    fresh = 0
    for p in range(patches):
        if number[p] >= 0:
            continue
        number[p] = fresh
        e = best[p]
        if e >= 0:
            other = pairs[e, 0] + pairs[e, 1] - p
            if best[other] == e:
                number[other] = fresh
                mates[found, 0], mates[found, 1] = p, other
                found += 1
        fresh += 1
    return number, mates[:found]


@njit()
def _merged(number, mates, count, weight, center, scatter, misfit):
    """The patches' moments after the mergers, by the parallel-axis rule.

    `number` (P,) and `mates` (M, 2) as `_matches` returns them; for the other shapes see `Patches`.
    """
    patches = number.max() + 1
    new_count = np.empty(patches, dtype=np.int64)
    new_weight = np.empty(patches)
    new_center = np.empty((patches, 3))
    new_scatter = np.empty((patches, 6))
    new_misfit = np.empty(patches)
    for p in range(len(number)):
        n = number[p]
        new_count[n], new_weight[n], new_misfit[n] = count[p], weight[p], misfit[p]
        new_center[n] = center[p]
        new_scatter[n] = scatter[p]
    for a, b in mates:
        n = number[a]
        whole = weight[a] + weight[b]
        share = weight[a] * weight[b] / whole
        x, y, z = center[a, 0] - center[b, 0], center[a, 1] - center[b, 1], center[a, 2] - center[b, 2]
        new_count[n] = count[a] + count[b]
        new_weight[n] = whole
        moments = (x * x, y * y, z * z, x * y, x * z, y * z)
        for k in range(6):
            new_scatter[n, k] = scatter[a, k] + scatter[b, k] + share * moments[k]
        for k in range(3):
            new_center[n, k] = (weight[a] * center[a, k] + weight[b] * center[b, k]) / whole
        m = new_scatter[n]
        new_misfit[n] = smallest_eigenvalue(m[0], m[1], m[2], m[3], m[4], m[5])
    return new_count, new_weight, new_center, new_scatter, new_misfit
