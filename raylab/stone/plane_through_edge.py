"""The planes through an edge: of all of them, the one whose facet faces a given azimuth."""

from __future__ import annotations

import math

import numpy as np

LEAST = 1e-9
"""A plane whose azimuth runs along the edge to within this share has no slope."""


def plane_through(start: np.ndarray, end: np.ndarray, azimuth: float, side: float) -> tuple[np.ndarray, float] | None:
    """The plane through two points, (3,) mm each, whose outward normal has an azimuth (radians) and faces up or down.

    A normal (t cos a, t sin a, side) is perpendicular to the edge (ex, ey, ez) where t = -side ez / (ex cos a + ey sin a).

    Returns unit normal and distance, mm; None where no plane faces that way (t negative or without bound).
    """
    edge = end - start
    along = float(edge[0] * math.cos(azimuth) + edge[1] * math.sin(azimuth))
    if abs(along) < LEAST * float(np.linalg.norm(edge)):
        return None
    outward = -math.copysign(1.0, side) * float(edge[2]) / along
    if outward < 0.0:
        return None
    normal = np.array([outward * math.cos(azimuth), outward * math.sin(azimuth), math.copysign(1.0, side)])
    normal /= np.linalg.norm(normal)
    return normal, float(normal @ (start + end) / 2.0)
