"""Which patches of a mesh are facets: largest first, each taken up if the surface is better explained with its plane.

A plane that stands in a hollow would cut away more than it explains and is not taken up.
"""

from __future__ import annotations

import numpy as np

from ...errors import StoneError
from ...jit import njit
from .envelope import CUTOFF, NEEDED, Planes, envelope, squares
from .mesh import Mesh
from .patches import Patches
from .plane_fit import symmetric

MAX_FACETS = 1000
"""A surface that needs more planes than this is not faceted."""

DRAWN = 5000
"""A mesh of fewer triangles is taken as a drawing of the facets: points inside its triangles are points of the surface too. In
a finer one a triangle may span an edge of the stone."""

LARGE = 0.004
"""A facet with this share of the surface's area is large enough to show how round its edges are. (Not of its vertices: a
drawing that is finest at the girdle would have flats count and mains not, and mains overlooked look like very round edges.)"""


class Surface:
    """A mesh and points on it: the vertices, and in a drawn mesh three points inside each triangle."""

    def __init__(self, mesh: Mesh) -> None:
        self.mesh = mesh
        self.drawn = len(mesh.triangles) < DRAWN
        inner = [(mesh.centroid + mesh.vertices[mesh.triangles[:, k]]) / 2.0 for k in range(3)] if self.drawn else []
        self.points = np.concatenate([mesh.vertices, *inner])


def patch_planes(patches: Patches) -> Planes:
    """The patches' own planes."""
    scatter = symmetric(patches.scatter) / patches.weight[:, None, None]
    spread, axes = np.linalg.eigh(scatter)
    inside = np.average(patches.center, weights=patches.weight, axis=0)
    normals = axes[:, :, 0]
    normals = normals * np.where(((patches.center - inside) * normals).sum(axis=1) < 0.0, -1.0, 1.0)[:, None]
    distances = (normals * patches.center).sum(axis=1)
    rms = np.sqrt(spread[:, 0].clip(0.0))
    nothing = np.zeros((len(distances), 3, 3))
    return Planes(normals, distances, patches.center, patches.count / 2.0 + 1.0, rms, axes[:, :, 1:], nothing)


class Candidates:
    """A mesh's patches as candidates for facets: points in the order of their patches, and a ball around each patch."""

    def __init__(self, surface: Surface, patches: Patches) -> None:
        self.surface = surface
        label = np.empty(len(surface.mesh.vertices), dtype=np.int64)
        label[surface.mesh.triangles.ravel()] = np.repeat(patches.label, 3)
        label = np.r_[label, np.tile(patches.label, 3)] if surface.drawn else label
        member = np.argsort(label, kind="stable")
        self.points = surface.points[member]
        self.first = np.searchsorted(label[member], np.arange(len(patches.weight) + 1))
        self.planes = patch_planes(patches)
        self.order = np.argsort(-patches.weight, kind="stable")
        arm = np.linalg.norm(self.points - patches.center[label[member]], axis=1)
        self.radius = np.zeros(len(patches.weight))
        np.maximum.at(self.radius, label[member], arm)

    def large(self, planes: Planes) -> Planes:
        """Those of the planes whose facets are more than `LARGE` of the surface."""
        mesh = self.surface.mesh
        area = np.bincount(envelope(mesh.vertices, planes).facet, mesh.vertex_area, len(planes))
        return planes.only(area > LARGE * area.sum())

    def taken_up(self, start: Planes | None, noise: float) -> Planes:
        """Planes of patches, largest first, each taken up if the surface is better explained with it; then those of `start`."""
        cap = CUTOFF * noise
        candidates = self.planes if start is None else self.planes.with_(start)
        given = np.arange(len(self.planes), len(candidates))
        state = envelope(self.points, candidates.only(given))
        order = np.where(state.order < 0, -1, state.order + len(self.planes)).astype(np.int32)
        lowest = np.full(len(self.planes), -np.inf)
        body = (self.points, self.first, self.planes.center, self.radius, lowest, state.heights)
        taken: list[int] = []
        for p in self.order:
            own = slice(self.first[p], self.first[p + 1])
            if squares(state.heights[own, 0], noise).sum() <= NEEDED:
                continue
            n, d = candidates.normals[p], candidates.distances[p]
            if _gain(*body, n, d, cap) > NEEDED * noise**2:
                taken.append(int(p))
                _join(*body, order, n, d, p)
                if len(taken) > MAX_FACETS:
                    raise StoneError("the surface is not faceted", expected=f"at most {MAX_FACETS} facets")
        planes = candidates.only(np.r_[np.array(taken, dtype=np.int64), given])
        if len(planes) < 4:
            raise StoneError("fewer than four flat facets found with the rest of the surface below them")
        return planes


@njit()
def _gain(points, first, center, radius, lowest, heights, n, d, cap):
    """By how much the capped sum of squared heights shrinks when a plane joins the envelope.

    Patches whose ball (`center`, `radius`) lies below the `lowest` third height of their points are passed over.

    Parameters
    ----------
    points : (N, 3) in the order of their patches. first : (P + 1,) where each patch's points start.
    center, radius, lowest : (P, 3), (P,), (P,). heights : (N, 3) the three largest heights over each point's planes.
    n, d : (3,) normal and distance of the plane. cap : largest height that counts.
    """
    gain = 0.0
    for q in range(len(center)):
        if np.dot(n, center[q]) - d + radius[q] <= lowest[q]:
            continue
        for v in range(first[q], first[q + 1]):
            h = n[0] * points[v, 0] + n[1] * points[v, 1] + n[2] * points[v, 2] - d
            if h > heights[v, 0]:
                gain += min(heights[v, 0] ** 2, cap * cap) - min(h * h, cap * cap)
    return gain


@njit()
def _join(points, first, center, radius, lowest, heights, order, n, d, p):
    """Let plane number p, (n, d), join the envelope: `heights` and `order` (N, 3) and `lowest` (P,) are brought up to date.

    The other arguments are those of `_gain`.
    """
    for q in range(len(center)):
        if np.dot(n, center[q]) - d + radius[q] <= lowest[q]:
            continue
        low = np.inf
        for v in range(first[q], first[q + 1]):
            h = n[0] * points[v, 0] + n[1] * points[v, 1] + n[2] * points[v, 2] - d
            k = 3
            while k > 0 and h > heights[v, k - 1]:
                k -= 1
            if k < 3:
                for i in range(2, k, -1):
                    heights[v, i], order[v, i] = heights[v, i - 1], order[v, i - 1]
                heights[v, k], order[v, k] = h, p
            low = min(low, heights[v, 2])
        lowest[q] = low
