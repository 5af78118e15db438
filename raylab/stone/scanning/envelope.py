"""The upper envelope of planes: which plane each point of a convex surface is on.

The surface of a convex body is the upper envelope of its planes: a point on it lies on the plane it is highest above, and
below all others. So once the planes are roughly known each point finds its facet by itself, without walking the mesh.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ...jit import njit

CUTOFF = 5.0
"""Noise standard deviations within which a point counts as lying on a plane."""

NEEDED = 40.0
"""What a plane must take off the sum of squared heights, in noise variances, to be a facet."""

MOST_ROUND_MM = 0.06
"""Largest half-width of a rounded edge that is looked for, mm."""


@dataclass(frozen=True)
class Planes:
    """Fitted planes ``normals @ x = distances``, mm.

    `centre` (F, 3) weighted mean of the vertices used; `count` (F,) of them; `rms` (F,) mm; `axes` (F, 3, 2) two directions
    in the plane; `covariance` (F, 3, 3) of height at the centre (mm) and slope along either axis (mm per mm), for
    independent noise of unit variance at each vertex.
    """

    normals: np.ndarray
    distances: np.ndarray
    center: np.ndarray
    count: np.ndarray
    rms: np.ndarray
    axes: np.ndarray
    covariance: np.ndarray

    def __len__(self) -> int:
        return len(self.normals)

    def only(self, which: np.ndarray) -> Planes:
        """Some of the planes, by index or mask."""
        return Planes(*(getattr(self, name)[which] for name in self.__dataclass_fields__))

    def with_(self, others: Planes) -> Planes:
        """These planes and then the others."""
        return Planes(*(np.concatenate([getattr(self, n), getattr(others, n)]) for n in self.__dataclass_fields__))


@dataclass(frozen=True)
class Envelope:
    """Where points lie under the planes' envelope.

    `order` (V, 3) the highest three planes at each point, -1 where there are fewer; `heights` (V, 3) mm of the point above
    each of them, falling.
    """

    order: np.ndarray
    heights: np.ndarray

    @property
    def facet(self) -> np.ndarray:
        """(V,) plane that a point is highest above."""
        return self.order[:, 0]

    @property
    def height(self) -> np.ndarray:
        """(V,) mm above that plane."""
        return self.heights[:, 0]

    @property
    def rival(self) -> np.ndarray:
        """(V,) the next highest plane."""
        return self.order[:, 1]


def envelope(points: np.ndarray, planes: Planes, before: Envelope | None = None) -> Envelope:
    """Each point's highest planes; sought near those of an earlier state of the same planes, if one is given."""
    if before is None:
        return Envelope(*_raised(points, planes.normals, planes.distances))
    beside = np.eye(len(planes), dtype=bool)
    for other in (1, 2):
        beside[before.order[:, 0], before.order[:, other]] = True
    beside |= beside.T
    facet, near = np.nonzero(beside.astype(np.float32) @ beside.astype(np.float32))  # neighbours and theirs
    first = np.searchsorted(facet, np.arange(len(planes) + 1))
    return Envelope(*_followed(points, planes.normals, planes.distances, before.order, near, first))


@njit()
def _followed(points, normals, distances, before, near, first):
    """The envelope, found by climbing from each point's old highest plane to neighbours that are higher.

    Parameters
    ----------
    place : (N, 3) points. normals, distances : (F, 3), (F,). before : (N, 3) the planes that were highest.
    near, first : planes near each plane, end to end, and where each plane's part starts (F + 1,).

    Returns `order` and `heights` (N, 3).
    """
    order = np.empty_like(before)
    heights = np.empty(before.shape)
    for v in range(len(points)):
        x, y, z = points[v]
        i, start = before[v, 0], -1
        for _ in range(len(normals)):  # each step goes up; equal heights end it
            if i == start:
                break
            start = i
            a, b, c = -np.inf, -np.inf, -np.inf
            i, j, k = -1, -1, -1
            for e in range(first[start], first[start + 1]):
                f = near[e]
                h = normals[f, 0] * x + normals[f, 1] * y + normals[f, 2] * z - distances[f]
                if h > c:
                    if h > a:
                        a, b, c, i, j, k = h, a, b, f, i, j
                    elif h > b:
                        b, c, j, k = h, b, f, j
                    else:
                        c, k = h, f
        heights[v, 0], heights[v, 1], heights[v, 2] = a, b, c
        order[v, 0], order[v, 1], order[v, 2] = i, j, k
    return order, heights


@njit()
def _raised(points, normals, distances):
    """The envelope of all planes (F, 3), (F,) at every point of `points` (N, 3): `order` and `heights` (N, 3)."""
    order = np.empty((len(points), 3), dtype=np.int32)
    heights = np.empty((len(points), 3))
    nx, ny, nz = normals[:, 0].copy(), normals[:, 1].copy(), normals[:, 2].copy()
    above = np.empty(len(distances))
    for v in range(len(points)):
        x, y, z = points[v]
        for f in range(len(distances)):  # on its own, so that it becomes vector instructions
            above[f] = nx[f] * x + ny[f] * y + nz[f] * z - distances[f]
        a, b, c = -np.inf, -np.inf, -np.inf
        i, j, k = -1, -1, -1
        for f in range(len(distances)):
            h = above[f]
            if h > c:
                if h > a:
                    a, b, c, i, j, k = h, a, b, f, i, j
                elif h > b:
                    b, c, j, k = h, b, f, j
                else:
                    c, k = h, f
        heights[v, 0], heights[v, 1], heights[v, 2] = a, b, c
        order[v, 0], order[v, 1], order[v, 2] = i, j, k
    return order, heights


def squares(heights: np.ndarray, noise: float) -> np.ndarray:
    """Squared heights in noise variances, each at most `CUTOFF` squared."""
    return np.minimum((heights / noise) ** 2, CUTOFF**2)


def edge_distance(found: Envelope, planes: Planes) -> tuple[np.ndarray, np.ndarray]:
    """For each point its distance (mm) from the edge between its two highest planes, within its facet, and the tangent of
    half the angle between them."""
    f, g = found.order[:, 0], found.order[:, 1]
    cosine = (planes.normals[f] * planes.normals[g]).sum(axis=1)
    sine = np.sqrt(np.maximum(1.0 - cosine**2, 1e-12))
    return (cosine * found.heights[:, 0] - found.heights[:, 1]) / sine, sine / np.maximum(1.0 + cosine, 1e-12)


def edge_rounding(points: np.ndarray, planes: Planes, noise_mm: float) -> float:
    """Half-width (mm) of the strip in which edges are rounded; 0 where the surface is as deep at the edges as elsewhere.

    `planes` are the large facets. At an edge blurred by a Gaussian of standard deviation b the surface lies
    0.8 b tan(angle / 2) too deep, and it comes back to its planes within about 3 b; hence the factor of 4.
    """
    found = envelope(points, planes)
    inside, tangent = edge_distance(found, planes)
    third = found.heights[:, 0] - found.heights[:, 2]
    depth = -found.heights[:, 0]
    at = (
        (inside < MOST_ROUND_MM / 6.0)
        & (third > 2.0 * MOST_ROUND_MM * tangent)
        & (depth < MOST_ROUND_MM * tangent + CUTOFF * noise_mm)
    )
    at &= (depth > -CUTOFF * noise_mm) & (tangent > 0.05)
    pair = np.sort(found.order[at, :2], axis=1).astype(np.int64)
    _, edge = np.unique(pair[:, 0] * len(planes) + pair[:, 1], return_inverse=True)
    weight = np.bincount(edge, tangent[at] ** 2)
    if len(weight) < 8:
        return 0.0
    # each edge's width by least squares (depth = width x tangent), and the median edge: a facet overlooked between two large
    # ones looks like one very round edge. Where few edges are seen most of them may be such; those of a blurred scan are all
    # round, so that three quarters must be.
    widths = np.bincount(edge, depth[at] * tangent[at]) / weight
    order = np.argsort(widths)
    upto = np.cumsum(weight[order]) / weight.sum()
    sharper, width = widths[order][np.searchsorted(upto, [0.25, 0.5])]
    error = 1.25 * noise_mm / np.sqrt(weight.sum())  # of a median
    half_width = min(4.0 * float(width), MOST_ROUND_MM)
    return half_width if sharper > CUTOFF * error and half_width > 0.1 * MOST_ROUND_MM else 0.0
