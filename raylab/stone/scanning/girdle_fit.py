"""The girdle of a scanned stone: flats one by one, walls by its plan, flats on an even wheel, or a round by tangent planes.

A girdle's flats are small and differ little: with 96 of them the middle of a flat stands back from the corners by 0.05 % of
the radius, 1.7 um on a stone of 6.5 mm. Where points and noise allow it, each flat is a facet like any other. Where too few
points lie on a flat for a plane of its own, an upright wall has fewer unknowns, and the girdle is read from its plan (`walls`).
Where that fails, the flats' common period still may show, because all of them speak at once; then the wheel's number of sides
and its phase are fitted, and a smooth outline. Where not even that shows, the girdle counts as round and is given
`ROUND_SIDES` tangent planes that keep the area of its outline.

All four are put to the same points. Of those whose squared heights are no more than noise makes them the one with the fewest
parameters is taken: least sum of squared heights in noise variances plus log(points) per parameter (Schwarz, Ann. Stat. 6
(1978) 461). Where none explains the points so well, the least of all. A score alone would take a smooth outline that noise
rules out for two hundred parameters of walls, and its lengths would be off by more than is stated.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from ...jit import njit
from ..measuring.plane_uncertainty import SIDES
from .envelope import CUTOFF, NEEDED, Envelope, Planes, edge_distance, envelope, squares
from .girdle_points import LEAST, Seen, points_about
from .mesh import Mesh
from .smooth_girdle import cost_of, even_wheels, smooth_outline, tangents
from .walls import BEND, UNKNOWNS, bend, upright_walls

STEEP = math.sin(math.radians(25.0))
"""A plane is a girdle plane if its normal rises or falls by less than this from the table's plane. Crowns and pavilions are
flatter by far; between them lie only planes laid through points of the girdle and of a half together."""

CLEARLY = 4.0
"""Standard errors by which squares must exceed those of noise, for points not to lie on an outline fitted as a whole."""

NEAR = 8
"""Of a point's highest planes so many are kept in mind, and sought again when all but one of them are left out."""

LEANING = math.sin(math.radians(10.0))
"""A plane that leans by more than this may be a half of a thick stone, where walls are sought by their plan."""


@dataclass(frozen=True)
class Girdle:
    """`kind` is "flats" (planes fitted one by one), "upright flats", "even flats" or "round"; `planes` are in the frame of the
    mesh, the last `fixed` of them fitted as a whole. `price` is what all of them cost, in noise variances: walls by their
    unknowns, a plane fitted by itself what it costs anywhere on the stone (`NEEDED`), for about another axis it may be no plane
    of the girdle. `unexplained` says whether the squares of the points that it was judged by, those `on` it (N,) by their
    numbers in the mesh, are still more than noise makes them."""

    kind: str
    planes: Planes
    fixed: int
    price: float
    unexplained: bool
    on: np.ndarray

    def beside(self, planes: Planes, points: np.ndarray, noise: float) -> Girdle:
        """The same with all planes of the stone as they are now, of points (V, 3): where walls had left some unexplained,
        because a plane beside them was lacking or off, they may be no more. (A whole outline's squares are of it alone.)"""
        if not self.unexplained or self.kind not in ("flats", "upright flats"):
            return self
        return replace(self, unexplained=_exceeds(envelope(points[self.on], planes).height, noise))


def is_steep(planes: Planes, up: np.ndarray) -> np.ndarray:
    """(F,) bool: planes that stand nearly along the axis `up`."""
    return np.abs(planes.normals @ up) < STEEP


def fit_girdle(mesh: Mesh, planes: Planes, free: int, up: np.ndarray, noise: float, scatter: float) -> Girdle | None:
    """The girdle about the axis `up` (3,); None where no band of the mesh's points lies between crown and pavilion.

    `planes` are all facets so far, the first `free` of them fitted one by one. `noise` (mm) is what planes are chosen with,
    `scatter` that of the vertices, less where edges are round.
    """
    surface = mesh.vertices
    steep = is_steep(planes, up)
    rest = planes.only(~steep)
    if len(rest) < 2 or not steep.any():
        return None
    seen = points_about(mesh, rest, up, noise)
    if seen is None:
        return None
    band, on_band = seen.band, seen.near[seen.chosen]
    smooth = smooth_outline(band, 0, 0.0, noise)
    whole = min([smooth, *even_wheels(band, smooth, noise)], key=lambda outline: outline.score(band, noise))
    explained = band.weight.sum() + CLEARLY * math.sqrt(2.0 * (band.weight**2).sum())

    def price(walls: Planes, fixed: int) -> float:
        return NEEDED * (len(walls) - fixed) + UNKNOWNS * fixed * math.log(len(on_band))

    def of_walls(walls: Planes, fixed: int) -> tuple[bool, float]:
        heights = envelope(surface[on_band], rest.with_(walls)).height
        unknowns = UNKNOWNS * len(walls) + len(walls) - fixed  # a plane by itself may lean too
        score = cost_of(heights, band.weight, noise) + unknowns * math.log(len(on_band))
        return _exceeds(heights, noise), score

    flats = planes.only(steep & (np.arange(len(planes)) < free))
    least, misfit = of_walls(flats, 0), whole.misfit(band, noise)
    of_whole = misfit > explained, misfit + whole.price
    found = Girdle("flats", flats, 0, price(flats, 0), least[0], on_band)
    sought = min(least, of_whole)[0] or (steep.sum() > SIDES and least < of_whole)
    for lean in (STEEP, LEANING) if sought else ():
        beside = flats.only(np.abs(flats.normals @ up) > lean)  # halves of a thick stone can be as steep
        walls = _walls(seen, surface, rest.with_(beside), noise, scatter)
        if walls is None:
            continue
        upright = beside.with_(walls)
        cost = of_walls(upright, len(walls))
        if cost < least:
            found, least = Girdle("upright flats", upright, len(walls), price(upright, len(walls)), cost[0], on_band), cost
    if least <= of_whole:
        return found
    kind = "even flats" if whole.sides else "round"
    fitted = _moved(tangents(whole, band, noise, scatter), seen.turn, seen.origin)
    return Girdle(kind, fitted, len(fitted), whole.price, of_whole[0], on_band)


def _exceeds(heights: np.ndarray, noise: float) -> bool:
    """Whether squares of heights (N,) are clearly more than noise makes them.

    Every point counts the same, as where walls are sought: few that stand for large areas exceed by chance.
    """
    count = len(heights)
    return float(squares(heights, noise).sum()) > count + CLEARLY * math.sqrt(2.0 * count)


def _walls(seen: Seen, surface: np.ndarray, others: Planes, noise: float, scatter: float) -> Planes | None:
    """Walls between planes `others`, of the surface's points (V, 3); None for too few points.

    First those through points clearly below all others, then those through the points that lie on the walls found, as long as
    all points together are explained better. Where a girdle is thin, the points beside crown and pavilion show which of its
    corners a wall cuts off.
    """
    on = seen.near[envelope(surface[seen.near], others).height < -CUTOFF * noise]  # no edge is rounder than this
    price, walls, least = UNKNOWNS * math.log(max(len(on), 1)), None, np.inf
    while len(on) >= LEAST:
        through = upright_walls(surface[on] @ seen.turn.T - seen.origin, noise, scatter)
        again = _needed(_moved(through, seen.turn, seen.origin), surface, others, len(on), noise)
        found = envelope(surface, others.with_(again))
        cost = float(squares(found.height, noise).sum()) + price * len(again)
        if cost >= least:
            break
        walls, least, on = again, cost, np.flatnonzero(found.facet >= len(others))
    return walls


def _needed(walls: Planes, surface: np.ndarray, others: Planes, sought: int, noise: float) -> Planes:
    """Walls without those that take less off the squares of the surface's points (V, 3) than they cost, `others` standing.

    One may be laid through two of the points, so many `sought`, that only happen to lie off all others. Or through points on
    either side of a place where the girdle is too thin for any: it is a chord, and points of crown and pavilion stand out.
    """
    planes = others.with_(walls)
    on = surface[envelope(surface, planes).facet >= len(others)]
    stands = _standing(on, planes.normals, planes.distances, len(others), UNKNOWNS * math.log(sought), noise)
    return planes.only(stands & (np.arange(len(planes)) >= len(others)))


@njit()
def _standing(points, normals, distances, given, price, noise):
    """(F,) bool: planes without those after the first `given` that are left out, the least needed first, down to two.

    Parameters
    ----------
    points : (N, 3) mm, each on the highest plane. normals, distances : (F, 3), (F,) planes.
    price : what a plane must take off the sum of squares, in noise variances. noise : mm.
    """
    planes, count = len(distances), len(points)
    stands = np.ones(planes, dtype=np.bool_)
    near, heights = np.full((count, NEAR), -1), np.full((count, NEAR), -np.inf)
    two, gain = np.full((count, 2), -1), np.zeros(count)
    gone = -1  # at first all points are looked at, then those by the plane just left out
    for _ in range(planes - given - 1):
        for v in range(count):
            if two[v, 0] == gone or two[v, 1] == gone:
                i, j = _two(near, v, stands)
                if j < 0:
                    _fill(points, v, normals, distances, stands, near, heights)
                    i, j = 0, 1
                two[v, 0], two[v, 1] = near[v, i], near[v, j]
                gain[v] = min((heights[v, j] / noise) ** 2, CUTOFF**2) - min((heights[v, i] / noise) ** 2, CUTOFF**2)
        loss = np.zeros(planes)
        for v in range(count):
            loss[two[v, 0]] += gain[v]
        gone = given
        for f in range(given, planes):
            if stands[f] and (loss[f] < loss[gone] or not stands[gone]):
                gone = f
        if loss[gone] >= price or stands.sum() <= given + 2:
            break
        stands[gone] = False
    return stands


@njit()
def _two(near, v, stands):
    """Places of the two first planes that stand in row v of `near` (N, K); the second is -1 where there are fewer."""
    i = -1
    for k in range(near.shape[1]):
        if near[v, k] >= 0 and stands[near[v, k]]:
            if i >= 0:
                return i, k
            i = k
    return i, -1


@njit()
def _fill(points, v, normals, distances, stands, near, heights):
    """Fill row v of `near` and `heights` (N, K) with the highest planes (F, 3), (F,) that stand at point v, falling."""
    last = near.shape[1] - 1
    for k in range(last + 1):
        near[v, k], heights[v, k] = -1, -np.inf
    for f in range(len(distances)):
        h = normals[f, 0] * points[v, 0] + normals[f, 1] * points[v, 1] + normals[f, 2] * points[v, 2] - distances[f]
        if stands[f] and h > heights[v, last]:
            k = last
            while k > 0 and h > heights[v, k - 1]:
                near[v, k], heights[v, k] = near[v, k - 1], heights[v, k - 1]
                k -= 1
            near[v, k], heights[v, k] = f, h


def may_bend(planes: Planes, up: np.ndarray) -> np.ndarray:
    """(F,) bool: flats of a girdle that has more than `SIDES`, whose errors `bent` states."""
    steep = is_steep(planes, up)
    return steep & (steep.sum() > SIDES)


def bent(mesh: Mesh, planes: Planes, under: Envelope, up: np.ndarray, noise: float, edge_mm: float) -> Planes:
    """Planes whose girdle flats, where there are more than `SIDES`, are as uncertain as the bend makes them that their points
    show: two flats that noise doesn't tell apart are one plane, which meets the next outside the outline.

    `under` is the planes' envelope at the mesh's vertices, `noise` (mm) theirs; points nearer than `edge_mm` to an edge with
    crown or pavilion don't count.
    """
    steep = may_bend(planes, up)
    if not steep.any():
        return planes
    inside, _ = edge_distance(under, planes)
    on = steep[under.facet] & (steep[under.rival] | (inside > edge_mm)) & (np.abs(under.height) < CUTOFF * noise)
    if not on.any():
        return planes
    _, wall = np.unique(under.facet[on], return_inverse=True)
    level = np.cross(up, planes.normals[under.facet[on]])
    arm = mesh.vertices[on] - planes.center[under.facet[on]]
    along = (arm * level).sum(axis=1) / np.linalg.norm(level, axis=1)
    covariance = planes.covariance.copy()
    covariance[steep] *= 1.0 + BEND * bend(along, under.height[on], wall, noise)
    return replace(planes, covariance=covariance)


def _moved(planes: Planes, turn: np.ndarray, origin: np.ndarray) -> Planes:
    """Planes from the girdle's own frame into the mesh's: x there = turn @ x here - origin."""
    normals = planes.normals @ turn
    center = (planes.center + origin) @ turn
    axes = np.einsum("ij,fik->fjk", turn, planes.axes)
    return Planes(normals, (normals * center).sum(axis=1), center, planes.count, planes.rms, axes, planes.covariance)
