"""The points of a mesh about its girdle, and which of them are on no plane of crown or pavilion."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ...convex_hulls import ConvexHull
from .envelope import CUTOFF, Planes, envelope
from .girdle_ellipse import Band, around_axis, band_of
from .mesh import Mesh
from .plane_fit import EDGE_MM
from .smooth_girdle import smooth_outline

LEAST = 12
"""Points without which no girdle is fitted."""

RIM = 0.02
"""Share of the stone's width within which girdle points lie inside its outline."""


@dataclass(frozen=True)
class Seen:
    """The points of a mesh about its girdle, and the frame that they are given in: x there = `turn` @ x - `origin`.

    `points` (N, 3) mm near the girdle, `near` (N,) their numbers in the mesh, `chosen` (N,) bool those clearly on no plane of
    crown or pavilion, `band` these.
    """

    turn: np.ndarray
    origin: np.ndarray
    points: np.ndarray
    near: np.ndarray
    chosen: np.ndarray
    band: Band


def points_about(mesh: Mesh, rest: Planes, up: np.ndarray, noise: float) -> Seen | None:
    """The points about the girdle of a mesh; None for too few. `rest` are the planes of crown and pavilion."""
    surface, area = mesh.vertices, mesh.vertex_area
    x = np.cross(np.eye(3)[np.abs(up).argmin()], up)
    x /= np.linalg.norm(x)
    turn = np.stack([x, np.cross(up, x), up])
    low = envelope(surface, rest).height
    margin = CUTOFF * noise + EDGE_MM
    if (low < -margin).sum() < 2 * LEAST:
        margin = 2.0 * noise
    near = np.flatnonzero(low < -min(0.5 * margin, CUTOFF * noise))  # walls of a thin girdle are sought in the latter
    if len(near) < LEAST:
        return None
    flat = surface[near] @ turn.T
    rim = _within_outline(surface @ turn[:2].T, flat[:, :2]) < RIM * np.ptp(flat[:, :2], axis=0).max()
    near, flat = near[rim], flat[rim]
    inside = low[near] < -margin
    if inside.sum() < LEAST:
        return None
    origin = np.r_[_circle_center(flat[inside, :2]), flat[inside, 2].mean()]
    smooth = smooth_outline(band_of(flat[inside] - origin, area[near[inside]]), 0, 0.0, noise)
    # choose the points again by where the outline stands, not by their own noise
    points = flat - origin
    radius = np.hypot(points[:, 0], points[:, 1]).clip(1e-9)
    fitted = smooth.radius(*around_axis(points))
    level = points * np.column_stack([fitted / radius, fitted / radius, np.ones_like(radius)])
    chosen = envelope((level + origin) @ turn, rest).height < -margin
    if chosen.sum() < LEAST:
        return None
    return Seen(turn, origin, points, near, chosen, band_of(points[chosen], area[near[chosen]]))


def _within_outline(flat: np.ndarray, points: np.ndarray) -> np.ndarray:
    """(N,) how far points (N, 2) lie inside the convex outline of others (V, 2)."""
    sides = ConvexHull(flat).equations
    return -(points @ sides[:, :2].T + sides[:, 2]).max(axis=1)


def _circle_center(flat: np.ndarray) -> np.ndarray:
    """Centre (2,) of the circle nearest to points (N, 2): least squares of x^2 + y^2 = 2 a x + 2 b y + c."""
    solved = np.linalg.lstsq(np.column_stack([2.0 * flat, np.ones(len(flat))]), (flat**2).sum(axis=1), rcond=None)[0]
    return np.asarray(solved[:2])
