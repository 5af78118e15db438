"""Planes of few points sought anew, each among planes through three of the points about it.

The alternating fit and the moves (`moves`) lead from a plane to the next better one near it. A plane of a dozen points that
was first laid across two facets can have no better one near, though another one far from it explains the surface better. So
starts are taken that depend on no plane: triples of points, as in the random sample consensus of M. A. Fischler, R. C. Bolles,
Comm. ACM 24 (1981) 381 (from memory). Those that explain the points about the plane most closely, the other planes standing,
are fitted to the points that they are highest at, and one that explains the surface better than the plane did takes its place.
"""

from __future__ import annotations

import numpy as np

from .envelope import CUTOFF, Envelope, Planes, envelope, squares
from .moves import FEWEST, shared_out

FEW = 64
"""Planes with fewer points are sought anew."""

AROUND = 2.0
"""Triples are of so many times as many points as a plane has: its own and the nearest others."""

TRIPLES = 256
"""Triples that are drawn: of a facet that has a third of these points every 27th is its own."""

FITTED = 6
"""So many of them, the closest, are fitted."""

GAIN = 6.0
"""Noise variances that another plane must take off the sum of squares. One that takes off less is hardly more likely, and of
little else than how points are weighted."""


def sought_anew(points: np.ndarray, planes: Planes, free: int, noise: float) -> Planes:
    """Planes, of whose first `free` those with few of the points (V, 3) are replaced where others explain all better.

    The same `planes` where none is. `noise` (mm) is what planes are chosen with.
    """
    under = envelope(points, planes)
    count = np.bincount(under.facet, minlength=len(planes))
    draws = np.random.default_rng(0)  # the same whenever a scan is read
    for f in np.flatnonzero((count < FEW) & (np.arange(len(planes)) < free)).tolist():
        row = _better(points, under, f, planes.normals[f], noise, draws)
        if row is not None:
            planes = planes.only(np.arange(len(planes)))  # a copy
            planes.normals[f], planes.distances[f] = row[:3], row[3]
            under = envelope(points, planes)
    return planes


def _better(
    points: np.ndarray, under: Envelope, f: int, normal: np.ndarray, noise: float, draws: np.random.Generator
) -> np.ndarray | None:
    """Normal and distance (4,) of a plane in the place of number `f`, whose `normal` (3,) says where is outward; else None."""
    on = under.facet == f
    others = np.where(on, under.heights[:, 1], under.height)
    usable = np.abs(under.height) < 4.0 * CUTOFF * noise
    own, near = np.flatnonzero(on & usable), np.flatnonzero((under.order == f).any(axis=1) & usable)
    if len(own) < FEWEST:
        return None
    away = np.linalg.norm(points[near][:, None] - points[own], axis=2).min(axis=1)
    about = points[near[np.argsort(away, kind="stable")[: round(AROUND * len(own))]]]
    a, b, c = about[draws.integers(len(about), size=(3, TRIPLES))]
    normals = np.cross(b - a, c - a)
    size = np.linalg.norm(normals, axis=1)
    proper = size > 0.0  # three points, not on one line
    a, normals = a[proper], normals[proper] / size[proper, None]
    normals *= np.where(normals @ normal < 0.0, -1.0, 1.0)[:, None]
    rows = np.column_stack([normals, (normals * a).sum(axis=1)])
    heights = np.maximum(points[near] @ normals.T - rows[:, 3], others[near, None])
    found, least = None, float(squares(under.height, noise).sum()) - GAIN
    for k in np.argsort(squares(heights, noise).sum(axis=0), kind="stable")[:FITTED].tolist():
        fitted = shared_out(points[near], rows[[k]], others[near])
        if fitted is None:
            continue
        cost = float(squares(np.maximum(points @ fitted[0, :3] - fitted[0, 3], others), noise).sum())
        if cost < least:
            found, least = fitted[0], cost
    return found
