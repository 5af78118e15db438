"""From facet planes to a closed polyhedron: vertices, ordered polygons, volume.

The intersection of half-spaces is found as a convex hull in the dual space (each plane n.x <= d, seen from an interior
point, becomes the point n/d), by scipy's qhull. What we add is what a stone needs: vertices that many facets share are
one vertex, every facet is a polygon counter-clockwise from outside, and the result is checked to be closed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import linprog
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import ConvexHull, QhullError, cKDTree

from ..errors import StoneError

SAME_POINT = 1e-9
"""Points closer than this share of the stone's size are one point."""


@dataclass(frozen=True)
class Polyhedron:
    """A closed convex polyhedron.

    Attributes
    ----------
    vertices : (V, 3) mm.
    loops : for each plane, the indices of its vertices counter-clockwise seen from outside; empty where the plane
        touches the body in less than a polygon.
    areas : (F,) mm^2.
    centroids : (F, 3) mm; NaN for an empty loop.
    """

    vertices: np.ndarray
    loops: tuple[np.ndarray, ...]
    areas: np.ndarray
    centroids: np.ndarray

    def scaled(self, factor: float) -> Polyhedron:
        """The same body with every length multiplied by a positive factor."""
        return Polyhedron(self.vertices * factor, self.loops, self.areas * factor**2, self.centroids * factor)

    def volume(self, distances: np.ndarray) -> float:
        """Volume in mm^3 from the areas and the planes' distances: the sum of d A / 3 (divergence theorem)."""
        return float(np.dot(distances, self.areas)) / 3.0


def interior_point(normals: np.ndarray, distances: np.ndarray) -> np.ndarray:
    """A point (3,) well inside all half-spaces: the origin where it is, else the centre of the largest ball.

    Raises StoneError where the half-spaces have no common interior or the ball grows without bound.
    """
    if distances.min() > 1e-3 * np.abs(distances).max():
        return np.zeros(3)
    matrix = np.column_stack([normals, np.ones(len(normals))])
    found = linprog([0, 0, 0, -1], A_ub=matrix, b_ub=distances, bounds=[(None, None)] * 3 + [(0, None)], method="highs")
    if found.status == 3:
        raise StoneError("the planes do not close: the body is unbounded")
    if found.status != 0 or found.x[3] <= SAME_POINT * np.abs(distances).max():
        raise StoneError("the planes leave no body between them (empty, or inside out)")
    return np.asarray(found.x[:3])


def _vertices(normals: np.ndarray, distances: np.ndarray) -> np.ndarray:
    centre = interior_point(normals, distances)
    depth = distances - normals @ centre
    try:
        hull = ConvexHull(normals / depth[:, None])
    except QhullError as error:
        raise StoneError("the planes do not close: their normals lie in one plane or one half-space") from error
    offsets = hull.equations[:, 3]
    if offsets.max() >= 0.0:
        raise StoneError("the planes do not close: the body is unbounded")
    return centre - hull.equations[:, :3] / offsets[:, None]


def _merged(points: np.ndarray, within: float) -> np.ndarray:
    """Points with near-coincident ones joined; the first of each cluster stands for it."""
    pairs = cKDTree(points).query_pairs(within, output_type="ndarray")
    links = coo_matrix((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(len(points), len(points)))
    _, cluster = connected_components(links, directed=False)
    _, first = np.unique(cluster, return_index=True)
    return points[np.sort(first)]


def intersect(normals: np.ndarray, distances: np.ndarray) -> Polyhedron:
    """The polyhedron of all points x with normals @ x <= distances.

    Parameters
    ----------
    normals : (F, 3) unit vectors pointing outward.
    distances : (F,) mm from the origin along the normals.

    Raises
    ------
    StoneError : the half-spaces are unbounded, empty, or too nearly coincident to give a closed surface.
    """
    raw = _vertices(normals, distances)
    size = float(np.ptp(raw, axis=0).max())
    tolerance = SAME_POINT * size
    vertices = _merged(raw, tolerance)
    corner, facet = np.nonzero(np.abs(vertices @ normals.T - distances) <= 4.0 * tolerance)
    corner, facet = _ordered(vertices, normals, corner, facet)
    following = _following(corner, facet)
    areas, centroids = _areas(vertices, normals, corner, following, facet)
    real = areas > tolerance * size
    areas[~real], centroids[~real] = 0.0, np.nan
    solid = real[facet]
    _check_closed(corner[solid], following[solid], len(vertices))
    loops = np.split(corner, np.cumsum(np.bincount(facet, minlength=len(normals)))[:-1])
    return Polyhedron(vertices, tuple(loop if real[f] else loop[:0] for f, loop in enumerate(loops)), areas, centroids)


def _ordered(vertices: np.ndarray, normals: np.ndarray, corner: np.ndarray, facet: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Incidences (corner, facet) sorted by facet, and counter-clockwise from outside within each."""
    count = np.maximum(np.bincount(facet, minlength=len(normals)), 1)
    middle = np.stack([np.bincount(facet, vertices[corner, k], len(normals)) for k in range(3)], axis=1) / count[:, None]
    u = np.cross(np.eye(3)[np.abs(normals).argmin(axis=1)], normals)
    w = np.cross(normals, u)
    out = vertices[corner] - middle[facet]
    angle = np.arctan2((out * w[facet]).sum(axis=1), (out * u[facet]).sum(axis=1))
    order = np.lexsort((angle, facet))
    return corner[order], facet[order]


def _following(corner: np.ndarray, facet: np.ndarray) -> np.ndarray:
    """The next corner around each polygon."""
    first = np.flatnonzero(np.r_[True, facet[1:] != facet[:-1]])
    following = np.roll(corner, -1)
    following[np.r_[first[1:] - 1, len(corner) - 1]] = corner[first]
    return following


def _areas(
    vertices: np.ndarray, normals: np.ndarray, corner: np.ndarray, following: np.ndarray, facet: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Areas (F,) and centroids (F, 3) of the ordered polygons."""
    first = np.searchsorted(facet, np.arange(len(normals)))
    start = vertices[corner[np.minimum(first, len(corner) - 1)]]
    a, b = vertices[corner] - start[facet], vertices[following] - start[facet]
    twice = (np.cross(a, b) * normals[facet]).sum(axis=1)
    areas = np.bincount(facet, twice, len(normals)) / 2.0
    moment = np.stack([np.bincount(facet, (a + b)[:, k] * twice, len(normals)) for k in range(3)], axis=1)
    with np.errstate(invalid="ignore", divide="ignore"):
        return areas, start + moment / (6.0 * areas[:, None])


def _check_closed(corner: np.ndarray, following: np.ndarray, count: int) -> None:
    """Every edge must be walked once in each direction, or the surface has a hole."""
    walked, back = corner * count + following, following * count + corner
    if len(np.unique(walked)) != len(walked) or not np.array_equal(np.sort(walked), np.sort(back)):
        raise StoneError("planes or corners coincide so nearly that the surface can't be closed")
