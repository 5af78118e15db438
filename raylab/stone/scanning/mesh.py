"""A closed triangle mesh, checked: every edge shared by two triangles that agree about which side is out, one body.

The caller's arrays are never edited: what is merged or left out here is merged in a copy.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from ...errors import InputError, StoneError
from ...jit import njit

CRACK = 1e-5
"""Open edges whose ends lie closer than this share of the size are sewn together (numbers rounded in the file)."""


@dataclass(frozen=True)
class Mesh:
    """A closed mesh of one body.

    Attributes
    ----------
    vertices : (V, 3) mm.
    triangles : (T, 3) indices of vertices, counter-clockwise from outside.
    pairs : (E, 2) triangles that share an edge, each edge once.
    apexes : (E, 2) for each edge, the vertex of either triangle that is not on it.
    edges : (E, 2) the vertices of each edge.
    area : (T,) mm^2.
    centroid : (T, 3) mm.
    volume : enclosed volume, mm^3.
    """

    vertices: np.ndarray
    triangles: np.ndarray
    pairs: np.ndarray
    apexes: np.ndarray
    edges: np.ndarray
    area: np.ndarray
    centroid: np.ndarray
    volume: float

    @property
    def size(self) -> float:
        """Largest extent along an axis, mm."""
        return float(np.ptp(self.vertices, axis=0).max())

    @cached_property
    def vertex_area(self) -> np.ndarray:
        """(V,) a third of the area of the triangles around each vertex, mm^2."""
        return np.bincount(self.triangles.ravel(), np.repeat(self.area / 3.0, 3), len(self.vertices))

    @cached_property
    def incidence(self) -> tuple[np.ndarray, np.ndarray]:
        """Where each vertex's part of a list of triangles starts (V + 1,), and the list (3T,)."""
        corners = self.triangles.ravel()
        start = np.r_[0, np.cumsum(np.bincount(corners, minlength=len(self.vertices)))]
        return start, np.argsort(corners, kind="stable") // 3


def closed_mesh(vertices_mm: np.ndarray, triangles: np.ndarray) -> Mesh:
    """A `Mesh` from vertices (V, 3) in mm and triangles (T, 3).

    Raises
    ------
    InputError : shapes that don't fit, indices out of range, numbers that aren't finite.
    StoneError : an open or inside-out mesh, triangles that disagree about which side is out, more than one body.
    """
    vertices, corners = _arrays(vertices_mm, triangles)
    corners, first = _welded(vertices, corners)
    vertices, corners = vertices[first], _without_collapsed(corners)
    half = _half_edges(corners)
    twins = _twins(half)
    if twins is None:
        vertices, corners = _sewn(vertices, corners, half)
        half = _half_edges(corners)
        twins = _twins(half)
        if twins is None:
            raise _open_error(vertices, half)
    once = half[twins[:, 0], 0] < half[twins[:, 0], 1]
    here, there = twins[once].T
    off = np.roll(corners, -2, axis=1).ravel()  # for the edge from corner k, corner k + 2
    pairs, apexes = np.stack([here // 3, there // 3], axis=1), np.stack([off[here], off[there]], axis=1)
    _check_one_body(pairs, len(corners))
    a, b, c = (vertices[corners[:, k]] for k in range(3))
    normal = np.cross(b - a, c - a)
    centroid = (a + b + c) / 3.0
    volume = float(np.einsum("ij,ij->", centroid - vertices[0], normal)) / 6.0
    if volume <= 0.0:
        raise StoneError("the mesh is inside out; its triangles run clockwise seen from outside")
    return Mesh(vertices, corners, pairs, apexes, half[here], np.linalg.norm(normal, axis=1) / 2.0, centroid, volume)


def _check_one_body(pairs: np.ndarray, triangles: int) -> None:
    links = coo_matrix((np.ones(len(pairs), dtype=np.int8), pairs.T), shape=(triangles, triangles))
    bodies, body = connected_components(links, directed=False)
    if bodies > 1:
        most = np.sort(np.bincount(body))[::-1]
        raise StoneError(f"{bodies} separate bodies ({', '.join(map(str, most[:4]))} triangles)", expected="one stone")


def _arrays(vertices_mm: np.ndarray, triangles: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    try:
        vertices, corners = np.array(vertices_mm, dtype=float), np.array(triangles)
    except (TypeError, ValueError) as error:
        raise InputError(f"not arrays of numbers: {error}", key="mesh") from error
    if vertices.ndim != 2 or corners.ndim != 2 or vertices.shape[1] != 3 or corners.shape[1] != 3:
        raise InputError(
            f"shapes {vertices.shape} and {corners.shape} do not match",
            key="mesh",
            expected="(V, 3) vertices and (T, 3) triangles",
        )
    if len(corners) < 4:
        raise StoneError("too few triangles to close a body", key="triangles", value=len(corners), expected="4 or more")
    if not np.issubdtype(corners.dtype, np.integer) or corners.min() < 0 or corners.max() >= len(vertices):
        raise InputError("a triangle refers to a missing vertex", key="triangles", expected=f"0 to {len(vertices) - 1}")
    corners = corners.astype(np.int64)
    bad = np.flatnonzero(~np.isfinite(vertices).all(axis=1))
    if len(bad):
        raise InputError(f"{len(bad)} vertices are not finite", key=f"vertex {bad[0]}", value=vertices[bad[0]].tolist())
    return vertices, corners


@njit()
def _welded(vertices, corners):
    """Corners (T, 3) renumbered so that vertices (V, 3) at exactly one place are one, and the first vertex of each new number.

    A hash table with open addressing; places are compared exactly. Unused vertices get no number.
    """
    size = 1
    while size < 4 * len(vertices):
        size *= 2
    table = np.full(size, -1, dtype=np.int64)
    number = np.full(len(vertices), -1, dtype=np.int64)
    first = np.empty(len(vertices), dtype=np.int64)
    renumbered = np.empty_like(corners)
    bits = np.empty(3)
    words = bits.view(np.uint64)
    count = 0
    for t in range(len(corners)):
        for k in range(3):
            v = corners[t, k]
            if number[v] < 0:
                key = np.uint64(0)
                for i in range(3):
                    bits[i] = vertices[v, i] + 0.0  # no negative zero
                    key = (key ^ words[i]) * np.uint64(0x9E3779B97F4A7C15)
                    key ^= key >> np.uint64(29)
                slot = np.int64(key & np.uint64(size - 1))
                while table[slot] >= 0:
                    o = first[table[slot]]
                    if (
                        vertices[o, 0] == vertices[v, 0]
                        and vertices[o, 1] == vertices[v, 1]
                        and vertices[o, 2] == vertices[v, 2]
                    ):
                        break
                    slot = (slot + 1) & (size - 1)
                if table[slot] < 0:
                    table[slot] = count
                    first[count] = v
                    count += 1
                number[v] = table[slot]
            renumbered[t, k] = number[v]
    return renumbered, first[:count]


def _without_collapsed(corners: np.ndarray) -> np.ndarray:
    """Triangles two of whose corners are one vertex left out: their other two edges coincide, so no hole opens."""
    a, b, c = corners.T
    return corners[(a != b) & (b != c) & (c != a)]


def _half_edges(corners: np.ndarray) -> np.ndarray:
    """(3T, 2) directed edges; row 3t+k leads from corner k to the next of triangle t."""
    return np.stack([corners, np.roll(corners, -1, axis=1)], axis=2).reshape(-1, 2)


def _keys(half: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    count = int(half.max(initial=0)) + 1
    return half[:, 0] * count + half[:, 1], half[:, 1] * count + half[:, 0]


def _twins(half: np.ndarray) -> np.ndarray | None:
    """(3T, 2) each directed edge and the one that runs the other way; None if any occurs twice or has no twin."""
    if not len(half):
        return None
    there, back = _keys(half)
    here, twin = np.argsort(there, kind="stable"), np.argsort(back, kind="stable")
    there = there[here]
    if not np.array_equal(there, back[twin]) or (np.diff(there) == 0).any():
        return None
    return np.stack([here, twin], axis=1)


def _sewn(vertices: np.ndarray, corners: np.ndarray, half: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Vertices of unmatched edges that lie within rounding of one another made one."""
    there, back = _keys(half)
    rim = np.unique(half[~np.isin(there, back)])
    if not len(rim):
        return vertices, corners
    close = cKDTree(vertices[rim]).query_pairs(CRACK * np.ptp(vertices, axis=0).max(), output_type="ndarray")
    links = coo_matrix((np.ones(len(close)), rim[close].T), shape=(len(vertices), len(vertices)))
    _, cluster = connected_components(links, directed=False)
    _, first, number = np.unique(cluster, return_index=True, return_inverse=True)
    return vertices[first], _without_collapsed(number[corners])


def _open_error(vertices: np.ndarray, half: np.ndarray) -> StoneError:
    """Which edges keep the surface from being closed, and where the first of them is."""
    if not len(half):
        return StoneError("no triangle is left after joining equal vertices")
    low, high = half.min(axis=1), half.max(axis=1)
    _, first, count = np.unique(low * len(vertices) + high, return_index=True, return_counts=True)
    for problem, wrong in (
        ("edges with one triangle (open mesh)", count == 1),
        ("edges with more than two triangles", count > 2),
        ("edges whose two triangles have opposite orientation", count == 2),
    ):
        if wrong.any():
            if count.max() == 2 and count.min() == 2:
                there, back = _keys(half)
                wrong = ~np.isin(there[first], back)
            edge = half[first[wrong][0]]
            position = ", ".join(f"{x:.3f}" for x in vertices[edge].mean(axis=0))
            return StoneError(f"{int(wrong.sum())} {problem}, the first at ({position}) mm", expected="a closed surface")
    raise AssertionError("unreachable: every edge has two triangles, one each way")
