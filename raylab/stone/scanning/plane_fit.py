"""Planes fitted to the points of a convex surface: which point is whose, the best plane of each group, and its uncertainty.

Planes are refined alternately: points to planes (`envelope`), planes to points.

Vertices count with the area they stand for. A facet is fitted to the vertices that lie well inside it: far enough from its
edges, measured *within* the facet, that neither noise nor an edge rounded by polishing or by the scanner can bring in a
vertex of the next. Distance within the facet does not depend on a vertex's height above it, so the choice favours neither
high nor low ones. A facet too small or too coarsely meshed for that is fitted to the corners of its own triangles.
"""

from __future__ import annotations

import numpy as np

from ...jit import njit
from .envelope import CUTOFF, Envelope, Planes
from .mesh import Mesh

EDGE_MM = 0.02
"""Width of the strip along an edge that is left out of a facet's fit, beyond the noise, mm."""

WORSE = 2.0
"""A facet whose vertices well inside fix its tilt this many times worse than all its vertices is fitted to all."""

SIX = ((0, 0), (1, 1), (2, 2), (0, 1), (0, 2), (1, 2))
"""Order of the six second moments: xx, yy, zz, xy, xz, yz."""

LEAST = 6
"""A facet with fewer vertices inside is fitted to the corners of its triangles in a drawn mesh, and none in a scan."""


def fit_planes(mesh: Mesh, planes: Planes, found: Envelope, noise_mm: float, *, free: int, drawn: bool) -> Planes:
    """The best plane through each facet's vertices, by total least squares; facets that keep too few are left out.

    Triangles of a `drawn` mesh keep within facets, those of a scan may span an edge. Only the first `free` planes are fitted
    and given back. `found` is the envelope of all at the mesh's vertices (and possibly at further points, not used).
    """
    near, first = _neighbors(found, len(planes))
    cut = CUTOFF * noise_mm
    args = (mesh.vertices, mesh.vertex_area, planes.normals, planes.distances, planes.center, found.facet, found.height)
    wide, narrow = (_inner_moments(*args, near, first, margin, cut) for margin in (CUTOFF * noise_mm + EDGE_MM, 0.0))
    poor = _tilt(wide) > WORSE * _tilt(narrow)
    moments = np.where(poor[:, None], narrow, wide)
    few = (moments[:, 0] < LEAST) & (np.arange(len(planes)) < free) & drawn
    if few.any():
        owner = _owners(mesh.centroid, planes.normals, planes.distances, mesh.triangles, found.facet, found.rival)
        outer = _corner_moments(
            mesh.vertices, *mesh.incidence, mesh.area, owner, few, planes.normals, planes.distances, planes.center, cut
        )
        moments = np.where(few[:, None], outer, moments)
    enough = (moments[:, 0] >= (3 if drawn else LEAST)) & (_tilt(moments) < np.inf) & (np.arange(len(planes)) < free)
    return _solved(moments[enough], planes.only(enough))


def _tilt(moments: np.ndarray) -> np.ndarray:
    """(F,) how surely points fix a plane's tilt: about its standard error for unit noise; infinite for under three points."""
    weight = np.maximum(moments[:, 1], 1e-300)
    mean = moments[:, 2:5] / weight[:, None]
    scatter = symmetric(moments[:, 5:11]) / weight[:, None, None] - mean[:, :, None] * mean[:, None, :]
    middle = np.linalg.eigvalsh(scatter)[:, 1]
    usable = (moments[:, 0] >= 3.0) & (middle > 0.0)
    return np.where(usable, 1.0 / np.sqrt(np.where(usable, moments[:, 0] * middle, 1.0)), np.inf)


def _neighbors(found: Envelope, facets: int) -> tuple[np.ndarray, np.ndarray]:
    """For each plane the planes that come second to it anywhere, as a list and where each plane's part starts."""
    seen = np.zeros((facets, facets), dtype=bool)
    seen[found.facet, found.rival] = True
    facet, other = np.nonzero(seen | seen.T)
    return other.astype(np.int32), np.searchsorted(facet, np.arange(facets + 1)).astype(np.int32)


@njit()
def _inner_moments(points, area, normals, distances, center, facet, height, near, first, margin, cut):
    """Moments (F, 21) of the vertices that lie `margin` inside every edge of their facet; see `_add`.

    Parameters
    ----------
    place, area : (V, 3), (V,) vertices. normals, distances, center : (F, 3), (F,), (F, 3) planes.
    facet, height : (V,) each vertex's highest plane and its height over it. near, first : see `_neighbors`.
    cut : vertices farther from their plane are left out, mm.
    """
    found = np.zeros((len(normals), 21))
    for v in range(len(points)):
        f = facet[v]
        if abs(height[v]) > cut:
            continue
        x, y, z = points[v]
        inside = True
        for k in range(first[f], first[f + 1]):
            g = near[k]
            cosine = normals[f, 0] * normals[g, 0] + normals[f, 1] * normals[g, 1] + normals[f, 2] * normals[g, 2]
            h = normals[g, 0] * x + normals[g, 1] * y + normals[g, 2] * z - distances[g]
            if cosine * height[v] - h < margin * np.sqrt(max(1.0 - cosine * cosine, 1e-12)):
                inside = False
                break
        if inside:
            _add(found[f], area[v], x - center[f, 0], y - center[f, 1], z - center[f, 2])
    return found


@njit()
def _owners(centroid, normals, distances, triangles, facet, rival):
    """(T,) the highest plane at each triangle's centroid, sought among those of its corners; among all in a coarse mesh.

    Parameters
    ----------
    centroid, triangles : (T, 3). normals, distances : (F, 3), (F,) planes.
    facet, rival : (V,) highest and second plane of each vertex.
    """
    owner = np.zeros(len(centroid), dtype=np.int32)
    coarse = len(triangles) < 20_000
    for t in range(len(centroid)):
        x, y, z = centroid[t]
        top = -np.inf
        if coarse:
            for f in range(len(normals)):
                h = normals[f, 0] * x + normals[f, 1] * y + normals[f, 2] * z - distances[f]
                if h > top:
                    top, owner[t] = h, f
        else:
            for k in range(6):
                v = triangles[t, k % 3]
                f = facet[v] if k < 3 else rival[v]
                h = normals[f, 0] * x + normals[f, 1] * y + normals[f, 2] * z - distances[f]
                if h > top:
                    top, owner[t] = h, f
    return owner


@njit()
def _corner_moments(points, start, around, area, owner, wanted, normals, distances, center, cut):
    """Moments (F, 21) of the corners of the triangles of each wanted facet; a vertex counts once for each of its facets.

    Parameters
    ----------
    place : (V, 3) vertices. start, around : (V + 1,) where the triangles around each vertex start in `around`.
    area, owner : (T,) of each triangle. wanted : (F,) bool. normals, distances, center, cut : see `_inner_moments`.
    """
    found = np.zeros((len(normals), 21))
    for v in range(len(points)):
        x, y, z = points[v]
        for i in range(start[v], start[v + 1]):
            f = owner[around[i]]
            if not wanted[f]:
                continue
            weight = 0.0
            for k in range(start[v], start[v + 1]):
                if owner[around[k]] == f:
                    if k < i:
                        weight = -1.0  # counted already
                        break
                    weight += area[around[k]] / 3.0
            if weight > 0.0 and abs(normals[f, 0] * x + normals[f, 1] * y + normals[f, 2] * z - distances[f]) <= cut:
                _add(found[f], weight, x - center[f, 0], y - center[f, 1], z - center[f, 2])
    return found


@njit()
def _add(row, w, x, y, z):
    """Add a point to a row (21,): its count, then with weight w and again with w^2: sum, first (3) and second (6) moments."""
    row[0] += 1.0
    for start, u in ((1, w), (11, w * w)):
        row[start] += u
        row[start + 1] += u * x
        row[start + 2] += u * y
        row[start + 3] += u * z
        row[start + 4] += u * x * x
        row[start + 5] += u * y * y
        row[start + 6] += u * z * z
        row[start + 7] += u * x * y
        row[start + 8] += u * x * z
        row[start + 9] += u * y * z


def symmetric(six: np.ndarray) -> np.ndarray:
    """(F, 3, 3) matrices from (F, 6) xx, yy, zz, xy, xz, yz."""
    return six[:, [0, 3, 4, 3, 1, 5, 4, 5, 2]].reshape(-1, 3, 3)


def _solved(moments: np.ndarray, old: Planes) -> Planes:
    """Planes from their points' moments, with the covariance that independent noise of unit variance at each point gives.

    With heights h = a + b u + c v over axes u, v in the plane, the weighted normal matrix M and the matrix B of squared
    weights, the parameters' covariance is M^-1 B M^-1.
    """
    count, weight = moments[:, 0], moments[:, 1]
    mean = moments[:, 2:5] / weight[:, None]
    scatter = symmetric(moments[:, 5:11]) / weight[:, None, None] - mean[:, :, None] * mean[:, None, :]
    spread, axes = np.linalg.eigh(scatter)
    normals = axes[:, :, 0]
    normals *= np.where((normals * old.normals).sum(axis=1) < 0.0, -1.0, 1.0)[:, None]
    in_plane = axes[:, :, 1:]
    center = old.center + mean
    # second moments of (1, u, v) with squared weights, about the weighted mean
    square, first = moments[:, 11], moments[:, 12:15]
    moved = first - square[:, None] * mean
    second = symmetric(moments[:, 15:21]) - first[:, :, None] * mean[:, None, :] - mean[:, :, None] * first[:, None, :]
    second += square[:, None, None] * mean[:, :, None] * mean[:, None, :]
    B = np.empty((len(count), 3, 3))
    B[:, 0, 0] = square
    B[:, 0, 1:] = B[:, 1:, 0] = np.einsum("fi,fik->fk", moved, in_plane)
    B[:, 1:, 1:] = np.einsum("fik,fij,fjl->fkl", in_plane, second, in_plane)
    M = np.column_stack([weight, weight * spread[:, 1], weight * spread[:, 2]])
    covariance = B / (M[:, :, None] * M[:, None, :])
    rms = np.sqrt(np.maximum(spread[:, 0], 0.0) * count / np.maximum(count - 3.0, 1.0))
    return Planes(normals, (normals * center).sum(axis=1), center, count, rms, in_plane, covariance)
