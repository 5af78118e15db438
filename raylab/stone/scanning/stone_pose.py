"""How a scanned stone must be turned and shifted to stand in raylab's frame.

The table is turned up: its normal is +z. It is the largest facet under which the girdle stands upright, nearly as far around as
under any (walls may be lost), and a known cut is found; of a step cut a pavilion facet can be larger, and a few of its facets
can pass for another cut's. Of a stone of no known cut it is the largest of the first kind. A largest facet that borders the
girdle alone, the whole of its side, under a dome of smaller ones, is the flat base of a rose cut and is turned down. The stone
is then turned about z by the smallest angle that brings its mains to 0, 45, 90, ... degrees (for eight mains; their mean,
crown and pavilion together, weighted by area), or the length of any other stone to +x. The axis is put through the middle of
the outline's area (of a long stone: of its length and width; of a pear, where it is widest), and z = 0 halfway between the
girdle's two edges, on average over the mains' azimuths. A stone that stands in the frame already is not moved.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from ...plane_geometry import centroid, convex_outline, rotation_about_z
from ..polyhedron import intersect
from ..recognition import Tiers, name_tiers
from ..recognizing.rose import is_base
from ..recognizing.shape import STEEP_DEG, Shape

TRIED, LARGE = 10, 0.3
"""So many of the largest facets may be the table, each of at least this share of the largest one's area."""

NEARLY = 0.7
"""Of the largest share of an outline that is walled about any large facet, what is as good: a wall or two may be lacking."""

SAME_DEG = 1.0
"""Girdles that lean by angles closer than this are equally upright, as they are over a table and under a culet."""


@dataclass(frozen=True)
class Pose:
    """How a stone must be turned and shifted.

    Place in the stone = `rotation` (3, 3) @ place in the scan + `shift_mm` (3,). `tiers`: what the facets are called there.
    `level`: number of the facet that was turned level, the table or the base.
    """

    rotation: np.ndarray
    shift_mm: np.ndarray
    tiers: Tiers
    level: int


def stone_pose(normals: np.ndarray, distances_mm: np.ndarray) -> Pose:
    """The frame of a stone of planes (F, 3), (F,) mm, each of which must be a facet of the body."""
    level, up = _level(normals, distances_mm)
    body = intersect(normals @ up.T, distances_mm)
    tiers = name_tiers(normals @ up.T, distances_mm, body=body)
    turn = rotation_about_z(-math.radians(tiers.azimuth_deg)) @ up
    turned = normals @ turn.T
    body = replace(body, vertices=body.vertices @ (turn @ up.T).T, centroids=body.centroids @ (turn @ up.T).T)
    axis = _axis(convex_outline(body.vertices[:, :2]), tiers)
    order = tiers.symmetry.order if tiers.symmetry.order > 2 else 16
    edges = [_girdle_at(turned, distances_mm - turned[:, :2] @ axis, 2.0 * math.pi * k / order) for k in range(order)]
    shift = -np.array([*axis, float(np.mean(edges))])
    # the numbers of a tier count from azimuth 0, which has just been settled
    return Pose(turn, shift, name_tiers(turned, distances_mm, body=body), level)


def _level(normals: np.ndarray, distances_mm: np.ndarray) -> tuple[int, np.ndarray]:
    """The facet to turn level, and the rotation (3, 3) that does so.

    It is the first under which a cut is known and the girdle goes nearly as far around as under any; else the first under which
    a cut is known; else the first under which the girdle stands as upright as under any, of those of the first rule.
    """
    area = np.asarray(intersect(normals, distances_mm).areas)
    large = [f for f in np.argsort(-area, kind="stable")[:TRIED].tolist() if area[f] > LARGE * area.max()]
    upright = {f: _onto_base(f, _upright(normals[f]), normals, distances_mm) for f in large}
    shapes = {f: Shape(normals @ up.T, intersect(normals @ up.T, distances_mm)) for f, up in upright.items()}
    walled = {f: shape.walled(shape.steep) for f, shape in shapes.items()}
    around = [f for f in large if walled[f] >= NEARLY * min(max(walled.values()), 1.0)]
    for f in [*around, *(f for f in large if f not in around)]:
        if name_tiers(normals @ upright[f].T, distances_mm).cut is not None:
            return f, upright[f]
    lean = {f: _girdle_lean_deg(shapes[f]) for f in around}
    level = next(f for f in around if lean[f] <= min(lean.values()) + SAME_DEG)
    return level, upright[level]


def _girdle_lean_deg(shape: Shape) -> float:
    """How far the girdle of a stone leans, a mean over its width; 90 where there is none."""
    if not shape.steep.any():
        return 90.0
    return float(np.average(90.0 - shape.slope_deg[shape.steep], weights=shape.width[shape.steep]))


def _onto_base(facet: int, up: np.ndarray, normals: np.ndarray, distances_mm: np.ndarray) -> np.ndarray:
    """The rotation `up` (3, 3) that turns a facet up, or the one that turns it down where it is a base."""
    shape = Shape(normals @ up.T, intersect(normals @ up.T, distances_mm))
    return np.diag([1.0, -1.0, -1.0]) @ up if is_base(shape, facet) else up


def _axis(outline: np.ndarray, tiers: Tiers) -> np.ndarray:
    """(2,) where the axis passes through an outline (K, 2)."""
    middle = centroid(outline)
    if tiers.cut is None or not tiers.cut.of_width or tiers.symmetry.order > 2:
        return middle
    across = (outline.max(axis=0) + outline.min(axis=0)) / 2.0
    if tiers.symmetry.order == 2:
        return np.asarray(across)
    if tiers.cut.mains():  # a pear's axis stands where it is widest, half the width from its round end
        across[0] = outline[:, 0].min() + np.ptp(outline[:, 1]) / 2.0
    return np.asarray(across)


def _upright(n: np.ndarray) -> np.ndarray:
    """The smallest rotation that turns a unit vector to +z (Rodrigues); about x where it points straight down."""
    x, y, z = n
    if z < -1.0 + 1e-12:
        return np.diag([1.0, -1.0, -1.0])
    skew = np.array([[0.0, 0.0, -x], [0.0, 0.0, -y], [x, y, 0.0]])
    return np.eye(3) + skew + skew @ skew / (1.0 + z)


def _girdle_at(normals: np.ndarray, distances: np.ndarray, azimuth: float) -> float:
    """Height halfway between the girdle's edges in the half-plane at an azimuth from the axis, mm.

    The body cut by the half-plane is ``reach . (radius, height) <= distances``. Without a girdle its outermost corner counts.
    """
    along = normals[:, 0] * math.cos(azimuth) + normals[:, 1] * math.sin(azimuth)
    up = normals[:, 2]
    steep = np.abs(up) < math.cos(math.radians(STEEP_DEG))
    crown, pavilion = (up > 0.0) & ~steep, (up < 0.0) & ~steep
    wall = steep & (along > 0.0)
    if not wall.any():
        return _outermost(along, up, distances)
    height = 0.0
    for _ in range(3):  # the wall may lean: its radius where it is halfway up
        radius = float(((distances - up * height)[wall] / along[wall]).min())
        top = float(((distances - along * radius)[crown] / up[crown]).min(initial=math.inf))
        bottom = float(((distances - along * radius)[pavilion] / up[pavilion]).max(initial=-math.inf))
        height = (top + bottom) / 2.0
    return height


def _outermost(along: np.ndarray, up: np.ndarray, distances: np.ndarray) -> float:
    """Height of the corner with the largest radius of the cut body, where a plane from above meets one from below."""
    f, g = (i.ravel() for i in np.meshgrid(np.flatnonzero(up > 0.0), np.flatnonzero(up < 0.0)))
    closing = along[f] / up[f] - along[g] / up[g]
    f, g, closing = f[closing > 0.0], g[closing > 0.0], closing[closing > 0.0]
    radius = (distances[f] / up[f] - distances[g] / up[g]) / closing
    height = (distances[f] - along[f] * radius) / up[f]
    excess = np.outer(radius, along) + np.outer(height, up) - distances
    best = excess.max(axis=1).argmin() if len(radius) else -1
    return float(height[best]) if best >= 0 else 0.0
