"""From facet planes to a closed polyhedron: vertices, ordered polygons, volume.

The intersection of half-spaces is found as a convex hull in the dual space (each plane n.x <= d, seen from an interior
point, becomes the point n/d), by scipy's qhull. Every triangle of the dual hull is a corner where three planes meet; the
triangles around a dual point, in order, are the corners of that plane's polygon. The polygons are read off from this
net and never from distances, so the surface is closed however nearly planes and corners coincide. Corners joined by an
edge too short to matter then become one corner, which leaves the surface closed.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from ..convex_hulls import ConvexHull, QhullError
from ..errors import StoneError
from ..jit import njit

SAME_POINT = 1e-9
"""Corners joined by an edge shorter than this share of the stone's size are one corner."""


@dataclass(frozen=True)
class Polyhedron:
    """A closed convex polyhedron.

    Attributes
    ----------
    vertices : (V, 3) mm.
    corners : (C,) the indices of the planes' vertices, plane after plane, each plane's counter-clockwise seen from outside.
    starts : (F + 1,) plane f has the corners starts[f] to starts[f + 1]; none where it touches the body in less than a polygon.
    areas : (F,) mm^2, 0 for a plane without corners.
    centroids : (F, 3) mm, NaN for a plane without corners.
    """

    vertices: np.ndarray
    corners: np.ndarray
    starts: np.ndarray
    areas: np.ndarray
    centroids: np.ndarray

    @cached_property
    def loops(self) -> tuple[np.ndarray, ...]:
        """For each plane the indices of its vertices."""
        ends = self.starts.tolist()
        return tuple(self.corners[start:end] for start, end in itertools.pairwise(ends))

    def scaled(self, factor: float) -> Polyhedron:
        """The same body with every length multiplied by a positive factor."""
        return replace(self, vertices=self.vertices * factor, areas=self.areas * factor**2, centroids=self.centroids * factor)

    def volume(self, distances: np.ndarray) -> float:
        """Volume in mm^3 from the areas and the planes' distances: the sum of d A / 3 (divergence theorem)."""
        return float(np.dot(distances, self.areas)) / 3.0


def interior_point(normals: np.ndarray, distances: np.ndarray) -> np.ndarray:
    """A point (3,) well inside all half-spaces: the origin where it is, else the centre of the largest ball.

    Raises StoneError where the half-spaces have no common interior or the ball grows without bound.
    """
    if distances.min() > 1e-3 * np.abs(distances).max():
        return np.zeros(3)
    from scipy.optimize import linprog  # a tenth of a second to import: only when used

    matrix = np.column_stack([normals, np.ones(len(normals))])
    found = linprog([0, 0, 0, -1], A_ub=matrix, b_ub=distances, bounds=[(None, None)] * 3 + [(0, None)], method="highs")
    if found.status == 3:
        raise StoneError("the planes enclose no body; it is unbounded")
    if found.status != 0 or found.x[3] <= SAME_POINT * np.abs(distances).max():
        raise StoneError("the planes enclose no body; it is empty or inside out")
    return np.asarray(found.x[:3])


def intersect(normals: np.ndarray, distances: np.ndarray) -> Polyhedron:
    """The polyhedron of all points x with normals @ x <= distances.

    Parameters
    ----------
    normals : (F, 3) unit vectors pointing outward.
    distances : (F,) mm from the origin along the normals.

    Raises
    ------
    StoneError : the half-spaces are unbounded or empty.
    """
    center = interior_point(normals, distances)
    dual = normals / (distances - normals @ center)[:, None]
    try:
        hull = ConvexHull(dual)
    except QhullError as error:
        raise StoneError("the planes enclose no body; their normals lie in one plane or one half-space") from error
    offsets = hull.equations[:, 3]
    if offsets.max() >= 0.0:
        raise StoneError("the planes enclose no body; it is unbounded")
    points = center - hull.equations[:, :3] / offsets[:, None]
    neighbors = hull.neighbors.astype(np.int64)
    triangles = _facing_out(hull.simplices.astype(np.int64), neighbors, dual, hull.equations)
    corner, facet = _around(triangles, neighbors, len(normals))
    if not len(corner):
        raise StoneError("nearly coincident planes; the surface cannot be closed")
    first, merged = _joined(points, neighbors)
    vertices = points[first]
    corners, starts = _polygons(merged, corner, facet, len(normals))
    return Polyhedron(vertices, corners, starts, *_areas(vertices, normals, corners, starts))


@njit()
def _facing_out(simplices, neighbors, dual, equations):
    """The dual triangles (T, 3), all turned counter-clockwise from outside.

    The largest one is turned by its normal; the others follow across shared edges, which is safe for slivers too.

    Parameters
    ----------
    simplices, neighbors : (T, 3) corners of each triangle and the triangles beside it. dual : (F, 3) points.
    equations : (T, 4) planes of the triangles.
    """
    triangles = simplices.copy()
    best, first = 0.0, 0
    for t in range(len(triangles)):
        a, b, c = dual[triangles[t, 0]], dual[triangles[t, 1]], dual[triangles[t, 2]]
        u, v, n = b - a, c - a, equations[t]
        size = (u[1] * v[2] - u[2] * v[1]) * n[0] + (u[2] * v[0] - u[0] * v[2]) * n[1] + (u[0] * v[1] - u[1] * v[0]) * n[2]
        if abs(size) > abs(best):
            best, first = size, t
    if best < 0.0:
        triangles[first, 1], triangles[first, 2] = triangles[first, 2], triangles[first, 1]
    done = np.zeros(len(triangles), dtype=np.bool_)
    done[first] = True
    stack = [first]
    while len(stack):
        t = stack.pop()
        for n in neighbors[t]:
            if done[n]:
                continue
            done[n] = True
            stack.append(n)
            for k in range(3):  # a shared edge must be walked in opposite directions
                a, b = triangles[t, k], triangles[t, (k + 1) % 3]
                for m in range(3):
                    if triangles[n, m] == a and triangles[n, (m + 1) % 3] == b:
                        triangles[n, m], triangles[n, (m + 1) % 3] = b, a
    return triangles


@njit()
def _around(triangles, neighbors, planes):
    """Corners (dual triangles) around each of `planes` planes, in order: arrays (C,) corner and facet.

    `triangles` and `neighbors` (T, 3) as in `_facing_out`. Both arrays are empty if the net does not close.
    """
    count = len(triangles)
    start = np.full(planes, -1, dtype=np.int64)
    for t in range(count):
        for k in range(3):
            start[triangles[t, k]] = t
    corner = np.empty(3 * count, dtype=np.int64)
    facet = np.empty(3 * count, dtype=np.int64)
    filled = 0
    for f in range(planes):
        t = start[f]
        steps = 0
        while t >= 0 and (t != start[f] or steps == 0):
            if filled == 3 * count:
                return corner[:0], facet[:0]
            corner[filled], facet[filled] = t, f
            filled += 1
            steps += 1
            for k in range(3):
                if triangles[t, k] == f:
                    across = triangles[t, (k + 2) % 3]  # the next triangle shares the edge from f to here
            following = -1
            for n in neighbors[t]:
                for k in range(3):
                    if triangles[n, k] == f and triangles[n, (k + 1) % 3] == across:
                        following = n
            if following < 0:
                return corner[:0], facet[:0]
            t = following
    return corner[:filled], facet[:filled]


@njit()
def _joined(points, neighbors):
    """Points at the two ends of a too short edge are one vertex: which of the points (P, 3) are vertices, and the number of
    each point's vertex (P,). `neighbors` (P, K) points beside each point."""
    size = 0.0
    for axis in range(3):
        low = high = points[0, axis]
        for point in range(len(points)):
            low, high = min(low, points[point, axis]), max(high, points[point, axis])
        size = max(size, high - low)
    least = SAME_POINT * size
    linked = np.zeros(neighbors.shape, dtype=np.bool_)
    for point in range(len(neighbors)):
        for k in range(neighbors.shape[1]):
            apart = 0.0
            for axis in range(3):
                apart = max(apart, abs(points[point, axis] - points[neighbors[point, k], axis]))
            linked[point, k] = apart <= least
    cluster = _clusters(neighbors, linked)
    first, merged, count = np.empty(len(points), np.int64), np.empty(len(points), np.int64), 0
    for point in range(len(points)):
        if cluster[point] == point:
            first[count], merged[point] = point, count
            count += 1
        else:
            merged[point] = merged[cluster[point]]
    return first[:count], merged


@njit()
def _clusters(neighbors, linked):
    """(P,) for each point the first of those that links join with it, directly or by way of others.

    `neighbors` (P, K) points beside each point; `linked` (P, K) bool.
    """
    first = np.arange(len(neighbors))
    for point in range(len(neighbors)):
        for k in range(neighbors.shape[1]):
            if linked[point, k]:
                a, b = point, neighbors[point, k]
                while first[a] != a:
                    a = first[a]
                while first[b] != b:
                    b = first[b]
                first[max(a, b)] = min(a, b)
    for point in range(len(neighbors)):
        first[point] = first[first[point]]  # those before it are settled
    return first


@njit()
def _polygons(merged, corner, facet, planes):
    """Vertices around each of `planes` planes end to end (C,), and where each plane's begin (planes + 1,).

    Repeated neighbours are left out, and polygons that keep fewer than three vertices. `corner`, `facet` as from `_around`;
    `merged` as from `_joined`.
    """
    corners, starts, kept, place = np.empty(len(corner), np.int64), np.zeros(planes + 1, np.int64), 0, 0
    for f in range(planes):
        begin = place
        while place < len(corner) and facet[place] == f:
            place += 1
        count = kept
        for k in range(begin, place):
            vertex = merged[corner[k]]
            if place - begin == 1 or vertex != merged[corner[k + 1 if k + 1 < place else begin]]:
                corners[count] = vertex
                count += 1
        kept = count if count - kept >= 3 else kept
        starts[f + 1] = kept
    return corners[:kept], starts


@njit()
def _areas(vertices, normals, corners, starts):
    """Areas (F,) and centroids (F, 3) of the polygons."""
    planes = len(normals)
    areas, centroids, a, b = np.empty(planes), np.empty((planes, 3)), np.empty(3), np.empty(3)
    for f in range(planes):
        begin, end = starts[f], starts[f + 1]
        total, centroids[f] = 0.0, 0.0
        for k in range(begin, end):
            after = k + 1 if k + 1 < end else begin
            for axis in range(3):
                origin = vertices[corners[begin], axis]
                a[axis], b[axis] = vertices[corners[k], axis] - origin, vertices[corners[after], axis] - origin
            twice = (
                (a[1] * b[2] - a[2] * b[1]) * normals[f, 0]
                + (a[2] * b[0] - a[0] * b[2]) * normals[f, 1]
                + (a[0] * b[1] - a[1] * b[0]) * normals[f, 2]
            )
            total += twice
            for axis in range(3):
                centroids[f, axis] += (a[axis] + b[axis]) * twice
        areas[f] = total / 2.0
        for axis in range(3):
            moment = centroids[f, axis] / (6.0 * areas[f])  # NaN without corners
            centroids[f, axis] = vertices[corners[begin], axis] + moment if end > begin else np.nan
    return areas, centroids
