"""Upright walls of a girdle, each from as few as two points: the sides of the polygon that it is when seen along its axis.

A flat at the end of a long stone is short, and a scan puts three to seven points on it. A plane through them has three
unknowns and is hardly known; an upright wall has two, azimuth and distance. Sorted by azimuth about a point inside, the points
of a convex outline lie on its walls one run after another. So the runs are found that explain the points with the fewest
walls: least sum of squared distances in noise variances plus a price for each wall, by dynamic programming (R. Bellman, Comm.
ACM 4 (1961) 284), starts that can't come back left out (R. Killick, P. Fearnhead, I. Eckley, J. Am. Stat. Assoc. 107 (2012)
1590). A point on no wall, such as a chip's, costs `CUTOFF` squared as everywhere.

All walls together may lean, outward or with an axis that is not the table's, but none by itself.

Every point counts the same here, not with the area that it stands for: noise is each vertex's own. At the ends of a long stone
points are far apart, and two of them that stand for eight times the area of others would be a wall by chance.
"""

from __future__ import annotations

import math

import numpy as np

from ...jit import njit
from .envelope import CUTOFF, Planes

FEWEST = 2
"""Points of a wall: as many as its unknowns."""

BEND = 5.0
"""Over an arc of sagitta s the nearest line has its ends 2/3 s outside, and n points of unit noise give s the variance
45/(4n): (2/3)^2 x 45/4 is what a bend as large as noise adds to a wall's variance, in units of its own."""

BESIDE = 10
"""Points on either side of a wall's that may not be outside of it: few points, one above the other, tell no direction."""

UNKNOWNS = 3
"""What a wall costs, in logarithms of the number of points: its azimuth, its distance, and where it ends."""


def upright_walls(points: np.ndarray, noise: float, scatter: float) -> Planes:
    """Walls about +z through points (N, 3) mm around the origin; possibly none.

    `noise` (mm) is what walls are chosen with, `scatter` that of the points, less where edges are
    round. Flats that the points can't tell apart are one wall, which then meets the next outside the outline. So a wall's
    errors are those of noise, of the bend that the walls' points show on average, and of how far its corners stand out over
    their nearest points, where a further wall may hide.
    """
    order = np.argsort(np.arctan2(points[:, 1], points[:, 0]), kind="stable")
    price = UNKNOWNS * math.log(len(points))
    wall = _runs(points[order, 0], points[order, 1], noise, price)
    order = np.roll(order, -int(np.argmax(wall == wall.max() // 2)))  # so that no wall lies across the seam
    points = points[order]
    flat, height = points[:, :2].copy(), points[:, 2]
    outward = flat / np.linalg.norm(flat, axis=1)[:, None]
    lean = np.zeros(3)
    for last in (False, True):
        wall = _runs(flat[:, 0], flat[:, 1], noise, price)
        on = wall >= 0
        wall, z = wall[on], height[on]
        sides = _Sides(flat[on], z, wall)
        A = np.column_stack([(sides.normals[wall] * outward[on]).sum(axis=1), sides.normals[wall]])
        A *= (z - sides.center[wall, 2])[:, None]
        M = np.linalg.pinv(A.T @ A)
        more = M @ (A.T @ sides.off)
        if last or more @ (A.T @ sides.off) < 3.0 * math.log(len(points)) * noise**2:
            break
        lean = more  # made upright, and the walls are sought again
        flat -= height[:, None] * (lean[0] * outward + lean[1:])
    return sides.planes(lean, M, noise, scatter)


def bend(along: np.ndarray, off: np.ndarray, wall: np.ndarray, noise: float) -> float:
    """What a bend of each wall takes off its points' squares, mean over the walls, in noise variances: 1 for flat ones.

    Parameters
    ----------
    along, off : (N,) each point's place along its wall and distance from it, mm.
    wall : (N,) the wall that each point is on; each number to the largest has points.
    noise : mm.
    """
    square = along**2 - (np.bincount(wall, along**2) / np.bincount(wall))[wall]
    size = np.bincount(wall, square**2)
    shown = (np.bincount(wall) > FEWEST + 1) & (size > 0.0)
    if not shown.any():
        return UNKNOWNS * math.log(max(len(wall), 2))  # the largest that isn't parted by another wall
    taken = np.bincount(wall, square * off)[shown] ** 2 / size[shown]
    return float(taken.mean()) / noise**2


class _Sides:
    """Lines nearest to the points of each wall, by total least squares.

    `flat` (N, 2) and `height` (N,) mm, `wall` (N,) of each point. `count` (K,) points, `normals` (K, 2) outward, `center`
    (K, 3) the points' mean, `off` (N,) their distances from their lines.
    """

    def __init__(self, flat: np.ndarray, height: np.ndarray, wall: np.ndarray) -> None:
        self.flat, self.wall, self.count = flat, wall, np.bincount(wall)
        self.center = np.column_stack([self.sums(x) / self.count for x in (*flat.T, height)])
        arm = flat - self.center[wall, :2]
        scatter = [[self.sums(a * b) for a in arm.T] for b in arm.T]
        spread, axes = np.linalg.eigh(np.transpose(scatter, (2, 0, 1)))
        normals, self.spread = axes[:, :, 0], spread[:, 1]
        self.normals = normals * np.where((normals * self.center[:, :2]).sum(axis=1) < 0.0, -1.0, 1.0)[:, None]
        self.sides = np.column_stack([-self.normals[:, 1], self.normals[:, 0]])
        self.along = (arm * self.sides[wall]).sum(axis=1)
        self.off = (arm * self.normals[wall]).sum(axis=1)

    def sums(self, values: np.ndarray) -> np.ndarray:
        """(K,) sums over the points of each wall."""
        return np.bincount(self.wall, values)

    def corners(self) -> np.ndarray:
        """(K,) mm that the corner of each wall with the next can stand out over their nearest points: the largest height of a
        triangle over a given base, opposite a given angle."""
        walls = np.arange(len(self.count))
        last, first = np.searchsorted(self.wall, walls, side="right") - 1, np.searchsorted(self.wall, np.roll(walls, -1))
        gap = np.linalg.norm(self.flat[first] - self.flat[last], axis=1)
        cosine = (self.normals * np.roll(self.normals, -1, axis=0)).sum(axis=1)
        return gap / 2.0 * np.sqrt((1.0 - cosine).clip(0.0) / (1.0 + cosine).clip(1e-12))

    def across_corners(self) -> np.ndarray:
        """(K,) mm that the walls beside each one reach out over it, where its points leave its middle half empty, else 0.

        Such a wall may be none: two columns of points, on either side of a corner, give a chord across it.
        """
        first, last = (np.searchsorted(self.wall, np.arange(len(self.count)), side=side) for side in ("left", "right"))
        low, high = self.along[first], self.along[last - 1]
        inside = np.abs(self.along - (low + high)[self.wall] / 2.0) < np.abs(high - low)[self.wall] / 4.0
        (ax, ay), (bx, by) = np.roll(self.normals, 1, axis=0).T, np.roll(self.normals, -1, axis=0).T
        level = (self.normals * self.center[:, :2]).sum(axis=1)
        a, b, sine = np.roll(level, 1), np.roll(level, -1), ax * by - ay * bx
        meet = np.column_stack([a * by - b * ay, b * ax - a * bx]) / np.where(sine > 0.0, sine, np.inf)[:, None]
        out = (self.normals * meet).sum(axis=1) - level
        return np.where((sine > 0.0) & (self.sums(inside) == 0.0), out.clip(0.0), 0.0)

    def planes(self, lean: np.ndarray, covariance: np.ndarray, noise: float, scatter: float) -> Planes:
        """The walls as planes; `lean` (3,) mm per mm outward and towards x and y, and its `covariance` for unit noise. For
        `noise` and `scatter` see `upright_walls`."""
        level = np.zeros(len(self.count))
        out = self.center[:, :2] / np.linalg.norm(self.center[:, :2], axis=1)[:, None]
        towards = np.column_stack([(self.normals * out).sum(axis=1), self.normals])
        center = self.center + np.column_stack([self.center[:, 2:] * (lean[0] * out + lean[1:]), level])
        normals = np.column_stack([self.normals, -towards @ lean])
        normals /= np.linalg.norm(normals, axis=1)[:, None]
        rms = np.sqrt(self.sums(self.off**2) / np.maximum(self.count - 2.0, 1.0))
        errors = np.zeros((len(level), 3, 3))
        errors[:, 0, 0], errors[:, 1, 1] = 1.0 / self.count, 1.0 / self.spread
        errors *= 1.0 + BEND * bend(self.along, self.off, self.wall, noise)
        out_of = self.corners() ** 2 / 3.0  # anything from nothing to that is as likely
        errors[:, 0, 0] += (out_of + np.roll(out_of, 1) + self.across_corners() ** 2 / 3.0) / scatter**2
        errors[:, 2, 2] = np.einsum("ki,ij,kj->k", towards, covariance, towards)
        upward = np.broadcast_to([0.0, 0.0, 1.0], (len(level), 3))
        axes = np.stack([np.column_stack([self.sides, level]), upward], axis=2)
        return Planes(normals, (normals * center).sum(axis=1), center, self.count, rms, axes, errors)


@njit()
def _runs(x, y, noise, price):
    """(N,) number of the wall that each point is on, in order; -1 for none.

    Parameters
    ----------
    x, y : (N,) points in the order of their azimuths, mm.
    noise : mm. price : what a wall costs, in noise variances.
    """
    n = len(x)
    sums = np.zeros((n + 1, 5))
    best, start = np.zeros(n + 1), np.full(n + 1, -1)  # least cost of the first points, and where their last wall begins
    open_, count = np.zeros(n + 1, dtype=np.int64), 1  # where a wall may have begun
    for j in range(1, n + 1):
        u, v = x[j - 1], y[j - 1]
        for k, term in enumerate((u, v, u * u, v * v, u * v)):
            sums[j, k] = sums[j - 1, k] + term
        best[j] = best[j - 1] + CUTOFF**2
        kept = 0
        for k in range(count):
            i = open_[k]
            cost = best[i]
            if j - i >= FEWEST:
                m = float(j - i)
                u, v = (sums[j, 0] - sums[i, 0]) / m, (sums[j, 1] - sums[i, 1]) / m
                xx = (sums[j, 2] - sums[i, 2]) / m - u * u
                yy = (sums[j, 3] - sums[i, 3]) / m - v * v
                xy = (sums[j, 4] - sums[i, 4]) / m - u * v
                least = 0.5 * (xx + yy) - math.sqrt(0.25 * (xx - yy) ** 2 + xy * xy)
                cost += max(least, 0.0) * m / noise**2
                if cost + price < best[j]:
                    half = 0.5 * math.atan2(2.0 * xy, xx - yy)
                    a, b = math.sin(half), -math.cos(half)  # the line's normal, and outward:
                    a, b = (a, b) if a * u + b * v > 0.0 else (-a, -b)
                    above = 0.0
                    for away in range(1, BESIDE + 1):
                        for other in ((i - away) % n, (j - 1 + away) % n):
                            above = max(above, a * (x[other] - u) + b * (y[other] - v))
                    if above < CUTOFF * noise:
                        best[j], start[j] = cost + price, i
            if j - i < FEWEST or cost <= best[j]:
                open_[kept] = i
                kept += 1
        open_[kept] = j
        count = kept + 1
    wall, walls, j = np.full(n, -1), 0, n
    while j > 0:
        i = start[j]
        if i < 0:
            j -= 1
        else:
            wall[i:j] = walls
            walls, j = walls + 1, i
    for k in range(n):
        if wall[k] >= 0:
            wall[k] = walls - 1 - wall[k]
    return wall
