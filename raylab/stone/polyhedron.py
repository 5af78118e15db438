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
    touching = np.abs(vertices @ normals.T - distances) <= 4.0 * tolerance
    loops = []
    areas = np.zeros(len(normals))
    centroids = np.full((len(normals), 3), np.nan)
    for f, normal in enumerate(normals):
        corners = np.flatnonzero(touching[:, f])
        loop, area, centroid = _polygon(vertices, corners, normal)
        if area > tolerance * size:
            areas[f], centroids[f] = area, centroid
        else:
            loop = np.empty(0, dtype=np.int64)
        loops.append(loop)
    _check_closed(loops, len(vertices))
    return Polyhedron(vertices, tuple(loops), areas, centroids)


def _polygon(vertices: np.ndarray, corners: np.ndarray, normal: np.ndarray) -> tuple[np.ndarray, float, np.ndarray]:
    """Corners ordered counter-clockwise about the normal, with the polygon's area and centroid."""
    if len(corners) < 3:
        return corners, 0.0, np.full(3, np.nan)
    points = vertices[corners]
    middle = points.mean(axis=0)
    across = np.eye(3)[np.abs(normal).argmin()]
    u = np.cross(across, normal)
    u /= np.linalg.norm(u)
    w = np.cross(normal, u)
    loop = corners[np.argsort(np.arctan2((points - middle) @ w, (points - middle) @ u), kind="stable")]
    a = vertices[loop] - middle
    b = np.roll(a, -1, axis=0)
    twice = np.cross(a, b) @ normal
    area = float(twice.sum()) / 2.0
    if area <= 0.0:
        return loop, 0.0, np.full(3, np.nan)
    return loop, area, middle + ((a + b) * twice[:, None]).sum(axis=0) / (6.0 * area)


def _check_closed(loops: list[np.ndarray], count: int) -> None:
    """Every edge must be walked once in each direction, or the surface has a hole."""
    walked = np.concatenate([loop * count + np.roll(loop, -1) for loop in loops if len(loop)])
    back = np.concatenate([np.roll(loop, -1) * count + loop for loop in loops if len(loop)])
    if len(np.unique(walked)) != len(walked) or not np.array_equal(np.sort(walked), np.sort(back)):
        raise StoneError("planes or corners coincide so nearly that the surface can't be closed")
