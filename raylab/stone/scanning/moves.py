"""Rearranging planes that stand in each other's way: one split in two, one put in between two, two made one.

The alternating fit (`plane_fit`) only ever slides planes about; where a facet has been shared out among its neighbours, or
two planes share one facet, it stays stuck. So each plane, and each pair of neighbours, is tried with one plane more or less:
the points concerned are shared out and fitted again among the new planes, all others staying as they are, and the change is
made if the measure of `facets` falls.
"""

from __future__ import annotations

import numpy as np

from .envelope import CUTOFF, NEEDED, Envelope, Planes, edge_distance, squares

CLOSE_DEG = 3.0
"""Neighbours at a smaller angle, or at one of fewer than `CLEARLY` of its errors, may be one facet that was split."""

CLEARLY = 4.0
"""Standard errors by which the squares of points beside an edge must exceed those of noise."""

FEWEST = 4
"""Points that each of the new planes must have."""

FEW = 48
"""Planes with fewer points are tried with those points alone that are furthest from a neighbor."""


NEARER = (0.5, 0.25, 0.75)
"""Shares of its points, the nearest to a neighbor, that such a plane is tried without: the first, and all if it is suspect."""


def rearranged(points: np.ndarray, planes: Planes, found: Envelope, free: int, noise: float) -> Planes:
    """Planes after all changes for the better, each plane taking part in one at most; the last ones stay after `free`.

    `points` (V, 3) are the vertices and `found` (of as many points or more) where they lie.
    """
    tried = _Trial(points, planes, found, noise)
    near = np.unique(np.sort(found.order[: len(points), :2], axis=1), axis=0)
    near = near[(near[:, 0] >= 0) & (near[:, 0] != near[:, 1]) & (near[:, 1] < free)]
    for f, g in near[_may_be_one(planes, near, noise)].tolist():
        tried.change([f, g], [tried.mean_plane(f, g)])
    for f in np.flatnonzero(tried.suspect[:free]).tolist():
        tried.change([f], tried.halves(f))
    for f, g in near[tried.suspect[near].any(axis=1)].tolist():
        tried.change([f, g], [*tried.rows([f, g]), tried.chamfer(f, g)])
    for f, g in [*near.tolist(), *near[:, ::-1].tolist()]:
        if len(tried.members[f]) < FEW:
            for share in NEARER if tried.suspect[f] else NEARER[:1]:
                tried.change([f, g], tried.swung(f, g, share))
    for f, g in tried.sunken_edges(free):
        tried.change([f, g], tried.sunken(f, g))
    return tried.result()


def _may_be_one(planes: Planes, pairs: np.ndarray, noise: float) -> np.ndarray:
    """(N,) bool: pairs (N, 2) of planes at a small angle, or at one that noise can make of none."""
    normals, turns = planes.normals[pairs], np.zeros(len(pairs))
    cosine = (normals[:, 0] * normals[:, 1]).sum(axis=1)
    apart = normals[:, 1] - cosine[:, None] * normals[:, 0]
    apart /= np.maximum(np.linalg.norm(apart, axis=1), 1e-300)[:, None]
    for f in pairs.T:
        along = np.einsum("fi,fik->fk", apart, planes.axes[f])
        turns += np.einsum("fi,fij,fj->f", along, planes.covariance[f][:, 1:, 1:], along)
    angle = np.arccos(cosine.clip(-1.0, 1.0))
    return angle < np.maximum(np.radians(CLOSE_DEG), CLEARLY * noise * np.sqrt(turns))


class _Trial:
    """Planes with changes to be made, in the order in which they were found good."""

    def __init__(self, points: np.ndarray, planes: Planes, found: Envelope, noise: float) -> None:
        self.planes, self.noise = planes, noise
        self.order, self.heights = found.order[: len(points)], found.heights[: len(points)]
        facet, height = self.order[:, 0], self.heights[:, 0]
        usable = np.abs(height) < 4.0 * CUTOFF * noise
        excess = np.bincount(facet, (squares(height, noise) - 1.0) * usable, len(planes))
        # a plane's excess over its count of points is uncertain by the root of twice the count (chi-squared)
        self.suspect = excess > np.sqrt(2.0 * np.bincount(facet, minlength=len(planes)))
        self.suspect |= self._uneven(edge_distance(found, planes)[0][: len(points)])
        usable = np.flatnonzero(usable)
        self.members, self.beside = (self._of_each(usable, self.order[:, k]) for k in (0, 1))
        self.points = points
        self.changes: dict[int, np.ndarray] = {}

    def _of_each(self, usable: np.ndarray, facet: np.ndarray) -> list[np.ndarray]:
        """Of points `usable` (N,) those that belong to each plane, by the number (V,) of each point's plane."""
        own = usable[np.argsort(facet[usable], kind="stable")]
        return np.split(own, np.searchsorted(facet[own], np.arange(len(self.planes) + 1)))[1:-1]

    def _uneven(self, inside: np.ndarray) -> np.ndarray:
        """(F,) bool: planes of whose points those nearest to the edge with a neighbour lie clearly above or below, in the mean.

        `inside` (V,) distance from that edge; any number of points may be the nearest (E. S. Page, Biometrika 41 (1954) 100).
        A facet lost to a large one, at a small angle to it, tilts that one a little: of a thousand points none lies far off.
        """
        usable = np.flatnonzero((self.order[:, 1] >= 0) & (np.abs(self.heights[:, 0]) < 4.0 * CUTOFF * self.noise))
        facet, rival = self.order[usable, 0].astype(np.int64), self.order[usable, 1]
        pair = facet * len(self.planes) + rival
        order = np.lexsort((inside[usable], pair))
        first = np.flatnonzero(np.diff(pair[order], prepend=-1))
        run = np.repeat(first, np.diff(first, append=len(order)))
        sums = np.r_[0.0, np.cumsum((self.heights[usable[order], 0] / self.noise).clip(-CUTOFF, CUTOFF))]
        count = np.arange(1, len(order) + 1) - run
        off = (count >= FEWEST) & (np.abs(sums[1:] - sums[run]) > CLEARLY * np.sqrt(count))
        found = np.zeros(len(self.planes), dtype=bool)
        found[facet[order[off]]] = True
        return found

    def change(self, old: list[int], start: np.ndarray | list[np.ndarray] | None) -> None:
        """Replace planes `old` by others that start as rows (normal, distance), if that is for the better."""
        if start is None or any(f in self.changes for f in old):
            return
        own = np.unique(np.concatenate([one[f] for f in old for one in (self.members, self.beside)]))
        center = self.planes.center[old[0]]
        points = self.points[own] - center
        rows = np.array(start)
        rows[:, 3] -= rows[:, :3] @ center
        others = np.where(np.isin(self.order[own], old), -np.inf, self.heights[own]).max(axis=1)
        fitted = shared_out(points, rows, others)
        if fitted is None:
            return
        heights = np.maximum((points @ fitted[:, :3].T - fitted[:, 3]).max(axis=1), others)
        gain = self._cost(self._alone(old, own, points, others)) - self._cost(heights)
        if gain > NEEDED * (len(fitted) - len(old)):
            fitted[:, 3] += fitted[:, :3] @ center
            self.changes |= dict.fromkeys(old, fitted[:0]) | {old[0]: fitted}

    def _alone(self, old: list[int], own: np.ndarray, points: np.ndarray, others: np.ndarray) -> np.ndarray:
        """Heights above the old planes, after the same treatment that the new ones get."""
        rows = self.rows(old)
        rows[:, 3] -= rows[:, :3] @ self.planes.center[old[0]]
        fitted = shared_out(points, rows, others)
        heights = self.heights[own, 0]
        if fitted is None:
            return heights
        again = np.maximum((points @ fitted[:, :3].T - fitted[:, 3]).max(axis=1), others)
        return again if self._cost(again) < self._cost(heights) else heights

    def _cost(self, heights: np.ndarray) -> float:
        return float(squares(heights, self.noise).sum())

    def rows(self, which: list[int]) -> np.ndarray:
        """(N, 4) normals and distances of planes."""
        return np.column_stack([self.planes.normals[which], self.planes.distances[which]])

    def mean_plane(self, f: int, g: int) -> np.ndarray:
        """The better founded of two planes."""
        return self.rows([f if self.planes.count[f] >= self.planes.count[g] else g])[0]

    def chamfer(self, f: int, g: int) -> np.ndarray:
        """A plane halfway between two, as deep as the points beside their edge."""
        n = self.planes.normals[f] + self.planes.normals[g]
        n /= np.linalg.norm(n)
        heights = np.concatenate([self.points[self.members[i]] for i in (f, g)]) @ n
        return np.array([*n, np.quantile(heights, 0.9) if len(heights) else self.planes.distances[f]])

    def sunken_edges(self, free: int) -> list[tuple[int, int]]:
        """Pairs of planes, both among the first `free`: points of the one beside the other lie clearly off it.

        A small facet lost to a large one hardly shows in the whole of that one's points.
        """
        facet, rival = self.order[:, 0].astype(np.int64), self.order[:, 1]
        usable = (facet < free) & (rival >= 0) & (rival < free) & (np.abs(self.heights[:, 0]) < 4.0 * CUTOFF * self.noise)
        pairs, number = np.unique(facet[usable] * len(self.planes) + rival[usable], return_inverse=True)
        excess = np.bincount(number, squares(self.heights[usable, 0], self.noise) - 1.0)
        off = excess > CLEARLY * np.sqrt(2.0 * np.bincount(number))
        return [divmod(int(pair), len(self.planes)) for pair in pairs[off]]

    def sunken(self, f: int, g: int) -> list[np.ndarray] | None:
        """Two planes and a third through the points of the first, beside the second, that lie below it."""
        own = self.members[f]
        low = own[(self.order[own, 1] == g) & (self.heights[own, 0] < -self.noise)]
        return None if len(low) < FEWEST else [*self.rows([f, g]), best_plane(self.points[low], self.planes.normals[f])]

    def swung(self, f: int, g: int, share: float) -> list[np.ndarray] | None:
        """Two planes, the first without that share of its points which is nearest to the second.

        A plane of few points may lie across two facets, and then slides no further.
        """
        own = self.members[f]
        if len(own) < 2 * FEWEST:
            return None
        below = self.planes.distances[g] - self.points[own] @ self.planes.normals[g]
        far = own[below >= np.quantile(below, share)]
        if len(far) < FEWEST:
            return None
        return [best_plane(self.points[far], self.planes.normals[f]), self.rows([g])[0]]

    def halves(self, f: int) -> np.ndarray | None:
        """Two planes of a plane's points, parted where they bend down most; None where they don't."""
        points = self.points[self.members[f]] - self.planes.center[f]
        if len(points) < 2 * FEWEST:
            return None
        flat, height = points @ self.planes.axes[f], points @ self.planes.normals[f]
        u, v = flat.T
        c = np.linalg.lstsq(np.column_stack([np.ones(len(u)), u, v, u * u, v * v, u * v]), height, rcond=None)[0]
        bend, axes = np.linalg.eigh([[2.0 * c[3], c[5]], [c[5], 2.0 * c[4]]])
        if bend[0] >= 0.0:
            return None
        across = flat @ axes[:, 0]
        side = across > np.median(across)
        if min(side.sum(), (~side).sum()) < FEWEST:
            return None
        rows = np.array([best_plane(points[half], self.planes.normals[f]) for half in (side, ~side)])
        rows[:, 3] += rows[:, :3] @ self.planes.center[f]
        return rows

    def result(self) -> Planes:
        """The planes as changed: new ones first, then those kept, in their order."""
        if not self.changes:
            return self.planes
        rows = np.concatenate(list(self.changes.values()))
        source = np.repeat(list(self.changes), [len(new) for new in self.changes.values()])
        fresh = self.planes.only(source)
        fresh.normals[:], fresh.distances[:] = rows[:, :3], rows[:, 3]
        kept = np.ones(len(self.planes), dtype=bool)
        kept[list(self.changes)] = False
        return fresh.with_(self.planes.only(kept))


def best_plane(points: np.ndarray, normal: np.ndarray) -> np.ndarray:
    """(4,) unit normal, on the side of `normal`, and distance of the plane nearest to points (N, 3)."""
    center = points.mean(axis=0)
    arm = points - center
    n = np.linalg.eigh(arm.T @ arm)[1][:, 0]
    n = n if n @ normal > 0.0 else -n
    return np.array([*n, n @ center])


def shared_out(points: np.ndarray, rows: np.ndarray, others: np.ndarray | None = None) -> np.ndarray | None:
    """Planes (K, 4) fitted to points (N, 3) that are each on the highest, alternately; None if one runs out of points.

    Points that are higher above planes that stand, by heights `others` (N,), are on none of these.
    """
    rows, side = np.array(rows), None
    above = np.full((len(points), 1), -np.inf) if others is None else others[:, None]
    for _ in range(15):
        highest = np.hstack([points @ rows[:, :3].T - rows[:, 3], above]).argmax(axis=1)
        if side is not None and np.array_equal(side, highest):
            break
        side = highest
        if np.bincount(side, minlength=len(rows))[: len(rows)].min() < FEWEST:
            return None
        rows = np.array([best_plane(points[side == k], rows[k, :3]) for k in range(len(rows))])
    return rows
