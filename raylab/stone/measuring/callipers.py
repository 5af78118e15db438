"""Callipers for a stone: lengths and angles taken from its polygons, place by place.

**The girdle diameter** is measured as with callipers whose jaws sit on the girdle's corners: the width of the outline
along the direction from its centre to each corner, every corner counting for the angle between its neighbours. A girdle
ground in flats thus has the diameter of the circle through its corners, whatever the number of flats, and a brilliant
gives back the proportions it was built from. (The mean width over *all* directions, the outline's perimeter over pi, is
smaller by the flats' sagitta: 0.018 % with 96 flats, 0.64 % with 16.) Percentages are of the mean girdle diameter; of a cut
with length and width, or of no known cut, they are of the width, as the trade gives depth and table of long stones (common
practice, from memory).

**The length** runs along the stone's nominal mirror plane, or as its outline says where it states none; the width across it.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from ...plane_geometry import centroid, distance_to_edge, following, unit_vector
from ..stone import Stone
from ..tier import CULET, TABLE, Tier
from .length import extents, length_deg_of
from .pattern import Pattern

CHAMFER = 0.1
"""A side shorter than this share of a polygon's longest is a chamfered corner, not a side."""

CLOSE = 1e-9
"""Lengths under this share of the stone's size are zero."""


@dataclass(frozen=True)
class Quantity:
    """A quantity measured at several places.

    Attributes: `mean`, `unit`, `values` (one per place) and `at` (what or where the places are).
    """

    mean: float
    unit: str
    values: tuple[float, ...]
    at: tuple[str, ...]

    @property
    def min(self) -> float:
        """The smallest value."""
        return min(self.values)

    @property
    def max(self) -> float:
        """The largest value."""
        return max(self.values)

    @property
    def spread(self) -> float:
        """Largest minus smallest value."""
        return self.max - self.min

    def to_dict(self) -> dict[str, Any]:
        """Plain numbers and lists, ready for JSON."""
        values = dict(zip(self.at, self.values, strict=True))
        return {"mean": self.mean, "min": self.min, "max": self.max, "spread": self.spread, "unit": self.unit, "values": values}


class Callipers:
    """A stone with what its measurements share: polygons, outline, centre, edges, the mains' azimuths and the girdle there."""

    def __init__(self, stone: Stone, tiers: Sequence[Tier], *, of_width: bool = False) -> None:
        """Callipers for a stone of a cut that has these tiers; percentages are of the width where `of_width` says so."""
        self.stone = stone
        self.pattern = Pattern(stone, tiers)
        self.loops = [stone.vertices_mm[loop] for loop in stone.polyhedron.loops]
        self.outline = stone.outline_mm
        self.center = centroid(self.outline)
        self.close = CLOSE * float(stone.size_mm.max())
        self.start = np.concatenate(self.loops)
        self.end = np.concatenate([following(loop) for loop in self.loops])
        self.on_girdle = np.repeat(stone.on_girdle, [len(loop) for loop in self.loops])
        self.mains = np.sort(self.pattern.azimuth[self.pattern.mains("crown") or self.pattern.mains("pavilion")])
        self.rim = self.girdle_at(self.mains) if self.on_girdle.any() else np.empty((0, 2))
        self.diameter = self._diameter()
        self.length_deg = length_deg_of(stone)
        self.base_mm = self.extent(self.outline)[1] if of_width else self.diameter.mean

    def extent(self, points: np.ndarray) -> np.ndarray:
        """(2,) extent of points (N, 2) along the length and across it, mm."""
        return extents(points, self.length_deg)

    def tier(self, tier: Tier) -> list[int]:
        """Numbers of the facets of one tier."""
        return self.stone.facets_of(tier.name)

    def girdle_at(self, azimuth_deg: Sequence[float] | np.ndarray) -> np.ndarray:
        """(A, 2) lower and upper height (mm) of the girdle where the half-planes at azimuths (A,) from the centre cut it.

        Where no girdle facet reaches, crown and pavilion meet in a knife edge: both heights are the edge's.
        """
        azimuth = np.radians(np.asarray(azimuth_deg, dtype=float))
        x, y = np.cos(azimuth), np.sin(azimuth)
        a, b = ((ends[:, :2] - self.center).T[..., None] for ends in (self.start, self.end))
        side_a, side_b = a[1] * x - a[0] * y, b[1] * x - b[0] * y
        side_a, side_b = (np.where(np.abs(side) <= self.close, 0.0, side) for side in (side_a, side_b))
        crosses = side_a * side_b < 0.0
        share = np.divide(side_a, side_a - side_b, out=np.zeros_like(side_a), where=crosses)
        extent = (a[0] + share * (b[0] - a[0])) * x + (a[1] + share * (b[1] - a[1])) * y
        height = self.start[:, 2:] + share * (self.end - self.start)[:, 2:]
        meets = (crosses | (side_a == 0.0)) & (extent > 0.0)
        outermost = extent >= np.where(meets, extent, 0.0).max(axis=0) - self.close
        walls = meets & self.on_girdle[:, None]
        found = np.where(walls.any(axis=0), walls, meets & outermost)
        return np.column_stack(
            [height.min(axis=0, where=found, initial=np.inf), height.max(axis=0, where=found, initial=-np.inf)]
        )

    def _diameter(self) -> Quantity:
        arm = self.outline - self.center
        azimuth = np.degrees(np.arctan2(arm[:, 1], arm[:, 0]))
        order = np.argsort(azimuth)
        arm, azimuth = arm[order], azimuth[order]
        along = arm / np.linalg.norm(arm, axis=1)[:, None]
        width = np.ptp(self.outline @ along.T, axis=0)
        angle = np.diff(np.r_[azimuth[-1] - 360.0, azimuth, azimuth[0] + 360.0])
        mean = float(np.average(width, weights=angle[:-1] + angle[1:]))
        return Quantity(mean, "mm", tuple(map(float, width)), tuple(f"azimuth {a % 360.0:.6g}" for a in azimuth))

    def pct(self, lengths_mm: Sequence[float] | np.ndarray, at: Sequence[str]) -> Quantity | None:
        """Lengths as percentages of the mean girdle diameter, or of the width; None without any."""
        return quantity([100.0 * length / self.base_mm for length in lengths_mm], "%", at)

    def table_size(self) -> Quantity | None:
        """The table from corner to corner; None without a table."""
        table = self.tier(TABLE)
        return self.corner_to_corner(self.loops[table[0]]) if table else None

    def girdle_at_mains(self) -> np.ndarray:
        """(M,) thickness of the girdle at each main's azimuth, mm."""
        return np.ptp(self.rim, axis=1)

    def pavilion_depths(self) -> np.ndarray:
        """(M,) from the girdle's lower edge at each main's azimuth down to the lowest point, mm."""
        return self.rim[:, 0] - float(self.start[:, 2].min())

    def at_mains(self, lengths_mm: Sequence[float] | np.ndarray) -> Quantity | None:
        """Lengths taken at each main's azimuth; None where there is no girdle or no main."""
        return self.pct(lengths_mm, [f"azimuth {azimuth:.6g}" for azimuth in self.mains[: len(lengths_mm)]])

    def slopes(self, tier: Tier) -> Quantity | None:
        """The angles of a tier's facets to the girdle plane."""
        facets = self.tier(tier)
        return quantity(self.stone.slope_deg()[facets], "deg", [self.stone.facet_name(f) for f in facets])

    def corner_to_corner(self, polygon: np.ndarray) -> Quantity | None:
        """From each corner to the one farthest from it; a pair that points at each other counts once."""
        corners = _corners(polygon)
        apart = np.linalg.norm(corners[:, None] - corners, axis=2)
        pairs = sorted({(min(i, j), max(i, j)) for i, j in enumerate(apart.argmax(axis=1).tolist())})
        return self.pct([apart[i, j] for i, j in pairs], [f"corners {i} and {j}" for i, j in pairs])

    def between(self) -> list[tuple[float, float]]:
        """(azimuth of a main, azimuth of the next), degrees, once around; empty without a girdle."""
        return list(zip(self.mains, np.r_[self.mains[1:], self.mains[:1] + 360.0], strict=True)) if len(self.rim) else []

    def joints(self) -> list[float]:
        """Azimuths, degrees, of the joints between two halves: halfway between neighbouring mains."""
        return [(a + b) / 2.0 for a, b in self.between()]

    def girdle_joints(self) -> Quantity | None:
        """Thickness of the girdle at its joints."""
        joints = self.joints()
        return self.pct(np.ptp(self.girdle_at(joints), axis=1), [f"azimuth {joint % 360.0:.6g}" for joint in joints])

    def girdle_valleys(self) -> Quantity | None:
        """The thinnest place between each main and each joint: at a corner of the outline, or halfway where there is none."""
        arm = self.outline - self.center
        corners = np.degrees(np.arctan2(arm[:, 1], arm[:, 0]))
        azimuths: list[list[float]] = []
        for a, b in self.between():
            for low, high in ((a, (a + b) / 2.0), ((a + b) / 2.0, b)):
                ahead = (corners - low) % 360.0
                inside = ahead[(ahead > 1e-6) & (ahead < high - low - 1e-6)]
                azimuths.append([low + step for step in inside] or [(low + high) / 2.0])
        thick = iter(np.ptp(self.girdle_at([azimuth for some in azimuths for azimuth in some]), axis=1))
        thinnest = [min((next(thick), azimuth) for azimuth in some) for some in azimuths]
        return self.pct([least for least, _ in thinnest], [f"azimuth {azimuth % 360.0:.6g}" for _, azimuth in thinnest])

    def stars(self, tier: Tier) -> Quantity | None:
        """From the table's edge to the tip, as a share of the way to the outline, along each star's azimuth."""
        shares, stars = [], self.tier(tier) if self.tier(TABLE) else []
        for f in stars:
            u = unit_vector(self.stone.azimuth_deg()[f])
            extent = (self.loops[f][:, :2] - self.center) @ u
            shares.append(100.0 * np.ptp(extent) / (self.outline_from(self.center, u) - extent.min()))
        return quantity(shares, "%", [self.stone.facet_name(f) for f in stars])

    def lower_halves(self, tier: Tier) -> Quantity | None:
        """From the outline to each tip, as a share of the way to the culet's centre, along the line through the tip."""
        shares, halves, culet = [], self.tier(tier), self.culet_center()
        for f in halves:
            arms = self.loops[f][:, :2] - culet
            extent = np.linalg.norm(arms, axis=1)
            k = int(extent.argmin())
            whole = self.outline_from(culet, arms[k] / extent[k]) if extent[k] > self.close else np.inf
            shares.append(100.0 * (1.0 - extent[k] / whole))
        return quantity(shares, "%", [self.stone.facet_name(f) for f in halves])

    def culet_center(self) -> np.ndarray:
        """(2,) the culet facet's centroid in plan, or the lowest point."""
        culet = self.tier(CULET)
        lowest = self.start[self.start[:, 2].argmin()]
        return np.asarray(self.stone.polyhedron.centroids[culet[0]] if culet else lowest)[:2]

    def culet(self) -> Quantity | None:
        """Across the culet from each side; without a culet facet, how far apart the pavilion mains end: 0 for a point."""
        culet = self.tier(CULET)
        if culet:
            corners = _corners(self.loops[culet[0]])[:, :2]
            side = following(corners) - corners
            normals = np.column_stack([side[:, 1], -side[:, 0]]) / np.linalg.norm(side, axis=1)[:, None]
            return self.pct(np.ptp(corners @ normals.T, axis=0), [f"side {k}" for k in range(len(side))])
        ends = np.array([self.loops[f][self.loops[f][:, 2].argmin(), :2] for f in self.pattern.mains("pavilion")])
        return self.pct([float(np.linalg.norm(ends[:, None] - ends, axis=2).max())], ["mains' ends"]) if len(ends) else None

    def outline_from(self, point: np.ndarray, u: np.ndarray) -> float:
        """Distance from a point (2,) inside the outline to the outline along the unit vector u (2,), mm."""
        return distance_to_edge(self.outline, point, u)

    def crown_heights(self) -> list[float]:
        """From the girdle's upper edge to the table's edge at each main's azimuth, mm; empty without table or girdle."""
        table = self.tier(TABLE)
        if not table:
            return []
        (a, b, c), d = self.stone.normals[table[0]], self.stone.distances_mm[table[0]]
        edge, heights = self.loops[table[0]][:, :2], []
        for azimuth, (_, rim) in zip(self.mains, self.rim, strict=False):
            u = unit_vector(azimuth)
            x, y = self.center + distance_to_edge(edge, self.center, u) * u
            heights.append(float((d - a * x - b * y) / c - rim))
        return heights


def whole_depth(callipers: Callipers) -> Quantity:
    """The whole height along z, percent of the mean girdle diameter, or of the width."""
    top, bottom = float(callipers.start[:, 2].max()), float(callipers.start[:, 2].min())
    depth = 100.0 * (top - bottom) / callipers.base_mm
    return Quantity(depth, "%", (depth,), ("whole stone",))


def quantity(values: Iterable[float], unit: str, at: Sequence[str]) -> Quantity | None:
    """Values at several places with their mean; None where there is no place."""
    numbers = tuple(float(value) for value in values)
    return Quantity(math.fsum(numbers) / len(numbers), unit, numbers, tuple(at)) if numbers else None


def _corners(polygon: np.ndarray) -> np.ndarray:
    """Corners (C, 3) of a polygon (K, 3); those that a chamfer joins count as one, at their middle."""
    side = np.linalg.norm(following(polygon) - polygon, axis=1)
    long = side >= CHAMFER * side.max()
    first = int(long.argmax()) + 1  # a corner that a long side leads to
    polygon, long = np.roll(polygon, -first, axis=0), np.roll(long, -first)
    group = np.r_[0, np.cumsum(long)[:-1]]
    return np.array([polygon[group == g].mean(axis=0) for g in range(group[-1] + 1)])
