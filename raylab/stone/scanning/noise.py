"""The noise of a mesh's vertices, found together with its planar patches."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from ...jit import njit
from .envelope import CUTOFF, Envelope, Planes
from .mesh import Mesh
from .patches import Patches, merge_patches, single_patches

ROUNDING = 2e-7
"""Rounding of the numbers in a file, as a share of the mesh's size (32-bit floats: 6e-8 of the largest number)."""

LEAST_NOISE_MM = 2e-4
"""A mesh that is not convex as it stands is taken to be no better than this, mm: no polish is flat, and no edge sharp, to
less. Without a floor a perfectly smooth surface would be cut up along its rounded edges."""


ENOUGH = 12.0
"""Points beyond three that a plane needs to show the noise to about 20 %: 1 / sqrt(2 x 12). With fewer, the points lie near the
plane because it was laid through them, and the noise looks too small."""


def patches_and_noise(mesh: Mesh, noise_mm: float | None) -> tuple[Patches, float, float]:
    """Patches, the noise, and the least it may be said to be, mm.

    An unknown noise is found together with the patches: a low first guess, then alternately noise from patches and patches
    from noise.
    """
    patches, least = single_patches(mesh), ROUNDING * mesh.size
    if noise_mm is not None:
        noise = max(noise_mm, least)
        return merge_patches(patches, noise), noise, noise
    heights = edge_heights(mesh.vertices, mesh.edges, mesh.apexes)
    if heights.max() <= 4.0 * least:
        return merge_patches(patches, least), least, least  # convex as it stands: the mesh is the stone
    least = max(least, LEAST_NOISE_MM)
    # the smallest tenth of Gaussian heights ends at 0.126 standard deviations; a quarter of that guess is safely low
    noise = max(0.25 * float(np.quantile(np.abs(heights), 0.1)) / 0.126, least)
    while True:
        patches = merge_patches(patches, noise)
        estimate = _patch_noise(patches)
        if estimate <= 1.05 * noise:
            return patches, noise, least
        noise = estimate


def _patch_noise(patches: Patches) -> float:
    """Noise of a vertex from the misfit of the patches: that of the median point, by area."""
    vertices = patches.count / 2.0 + 1.0
    free = np.maximum(1.0 - 3.0 / vertices, 0.0) * patches.weight
    with np.errstate(divide="ignore", invalid="ignore"):
        noise = np.where(free > 0.0, np.sqrt(patches.misfit / free), np.inf)
    order = np.argsort(noise)
    total = np.cumsum(patches.weight[order])
    found = float(noise[order][np.searchsorted(total, total[-1] / 2.0)])
    return found if np.isfinite(found) else 0.0


def redundancy(planes: Planes) -> float:
    """Points beyond the three that fix it, of the plane on which the median such point lies; 0 where there is none."""
    free = np.sort(np.maximum(planes.count - 3.0, 0.0))
    return float(free[np.searchsorted(np.cumsum(free), free.sum() / 2.0)]) if free.sum() else 0.0


def pooled_noise(planes: Planes) -> float:
    """Noise of the points, mm: the rms distance from a plane of the median point among those used in fits."""
    order = np.argsort(planes.rms)
    free = np.maximum(planes.count - 3.0, 0.0)[order]
    if not free.sum():
        return 0.0
    return float(planes.rms[order][np.searchsorted(np.cumsum(free), free.sum() / 2.0)])


def by_own_scatter(planes: Planes, under: Envelope, stated: np.ndarray, noise: float) -> Planes:
    """Planes whose errors are larger by as much as their points scatter more than the noise, but of those `stated` otherwise.

    Beside a facet that is lost, or a wall that stands too far out, a plane has points that are not its own, and is off by more
    than its points' noise makes it; what shows is their scatter. So the ratio of R. T. Birge, Phys. Rev. 40 (1932) 207 (from
    memory): squares over those expected, where that is more than 1. `under` is where points lie, `noise` (mm) theirs.
    """
    facet, height = under.facet, under.height / noise
    on = np.abs(height) <= CUTOFF  # others, such as a chip's, are in no fit
    count = np.bincount(facet[on], minlength=len(planes))
    ratio = np.bincount(facet[on], height[on] ** 2, len(planes)) / np.maximum(count - 3.0, 1.0)
    ratio[stated] = 1.0
    return replace(planes, covariance=planes.covariance * np.maximum(ratio, 1.0)[:, None, None])


@njit()
def edge_heights(vertices, edges, apexes):
    """(E,) for each edge, the height (mm) of one triangle's apex over the other's plane, scaled to the noise of one vertex.

    With the apex written as a sum of the other three points times a, b, c, a height due to vertex noise s has the
    variance (1 + a^2 + b^2 + c^2) s^2. Positive where the mesh is reflex; 0 where a triangle has no area.

    `vertices` (V, 3), mm; `edges` (E, 2) and `apexes` (E, 2) numbers of vertices.
    """
    heights = np.zeros(len(edges))
    for e in range(len(edges)):
        p, r, s = edges[e, 0], apexes[e, 0], apexes[e, 1]
        ux, uy, uz = _arm(vertices, p, edges[e, 1])
        vx, vy, vz = _arm(vertices, p, r)
        wx, wy, wz = _arm(vertices, p, s)
        nx, ny, nz = uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx
        square = nx * nx + ny * ny + nz * nz
        if square > 0.0:
            # s = p + b (q - p) + c (r - p) + height, by the areas of the triangles p-s-r and p-q-s
            b = ((wy * vz - wz * vy) * nx + (wz * vx - wx * vz) * ny + (wx * vy - wy * vx) * nz) / square
            c = ((uy * wz - uz * wy) * nx + (uz * wx - ux * wz) * ny + (ux * wy - uy * wx) * nz) / square
            scale = math.sqrt(square * (1.0 + (1.0 - b - c) ** 2 + b * b + c * c))
            heights[e] = (wx * nx + wy * ny + wz * nz) / scale
    return heights


@njit()
def _arm(vertices, a, b):
    """The vector from vertex a to vertex b of vertices (V, 3)."""
    return vertices[b, 0] - vertices[a, 0], vertices[b, 1] - vertices[a, 1], vertices[b, 2] - vertices[a, 2]
