"""Measurements of stones with length and width: along, across, at the corners.

All definitions are ours unless a quantity names another source; percentages are of the width. The **first row** is the tier at
the girdle that follows its outline: the mains of a brilliant, the first steps of a step cut, the sides of a princess cut. A
facet of the row stands at an *end* if it is the one that faces most nearly along the length (within `NEAR_DEG`), at a *side*
if across it; the others stand *between*. On an outline with three points the ends are the points. A facet's **place** is the
middle of its edge along the girdle, or the point farthest in its direction where it has none. (The outline's farthest point is
the same on a stone as designed. Which of the many corners of a scanned girdle that is would be chance, and the girdle's edges
fall away on both sides of a main.) Heights and thicknesses are taken in the half-plane from the outline's centre through that
place.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from ...plane_geometry import distance_to_edge, following, unit_vector
from ..tier import CULET, TABLE, Tier
from .callipers import Callipers, Quantity, quantity
from .outline_corners import sharp_corners
from .pattern import wrapped

Measure = Callable[[Callipers], Quantity | None]
"""What measures one quantity."""

NEAR_DEG = 25.0
"""A facet that faces along or across the length faces within this angle of it."""

EDGE_SHARE, ACROSS, OUTER = 0.03, math.sin(math.radians(5.0)), 0.25
"""An edge of a facet lies along the girdle if it is longer than the first share of the stone's size, runs across the facet's
direction to within the second sine, and is in the outer part, by the third share, of what the facet reaches over."""

LEVEL, ASIDE = 0.2, 0.3
"""A keel falls by less than this share of its length, between facets that face aside by more than this sine."""

AROUND = np.arange(360.0)
"""Directions in which outlines are compared, degrees."""


@dataclass(frozen=True)
class Row:
    """The first row of a side of a cut: its `tier`, and how many `points` its outline has that lie as the one on +x."""

    tier: Tier
    points: int = 2

    def facets(self, c: Callipers, where: str) -> list[int]:
        """Numbers of the facets at the ``"ends"``, at the ``"sides"`` or ``"between"``."""
        facing = {f: wrapped(c.stone.azimuth_deg()[f] - c.length_deg) for f in c.tier(self.tier)}
        step = 360.0 / self.points
        sides = (90.0, 270.0) if self.points == 2 else tuple(step * (k + 0.5) for k in range(self.points))
        ends = tuple(step * k for k in range(self.points))
        found: dict[str, list[int]] = {"ends": [], "sides": []}
        for name, directions in (("ends", ends), ("sides", sides)):
            for direction in directions:
                off = {f: abs(wrapped(own - direction)) for f, own in facing.items()}
                nearest = min(off, key=lambda f: off[f], default=None)
                if nearest is not None and off[nearest] < NEAR_DEG:
                    found[name].append(nearest)
        if where in found:
            return found[where]
        return [f for f in facing if f not in found["ends"] and f not in found["sides"]]


def length(c: Callipers) -> Quantity | None:
    """Extent of the outline along the length, mm."""
    return quantity([c.extent(c.outline)[0]], "mm", ["whole stone"])


def width(c: Callipers) -> Quantity | None:
    """Extent of the outline across the length, mm."""
    return quantity([c.extent(c.outline)[1]], "mm", ["whole stone"])


def ratio(c: Callipers) -> Quantity | None:
    """Length over width."""
    along, across = c.extent(c.outline)
    return quantity([along / across], "1", ["whole stone"])


def table_width(c: Callipers) -> Quantity | None:
    """Extent of the table across the length."""
    return c.pct([c.extent(c.loops[f][:, :2])[1] for f in c.tier(TABLE)[:1]], ["across the width"])


def table_length(c: Callipers) -> Quantity | None:
    """Extent of the table along the length, percent of the length."""
    whole = c.extent(c.outline)[0]
    return quantity([100.0 * c.extent(c.loops[f][:, :2])[0] / whole for f in c.tier(TABLE)[:1]], "%", ["along the length"])


def slopes(c: Callipers, row: Row, where: str) -> Quantity | None:
    """Slopes of the facets of a row at the ends, at the sides or between them."""
    facets = row.facets(c, where)
    return quantity(c.stone.slope_deg()[facets], "deg", _names(c, facets))


def girdle(c: Callipers, row: Row, *where: str) -> Quantity | None:
    """Thickness of the girdle at the places of a row's facets."""
    facets = [f for one in where for f in row.facets(c, one)] if c.on_girdle.any() else []
    return c.pct(np.ptp(c.girdle_at(_azimuths(c, facets)), axis=1) if facets else [], _names(c, facets))


def girdle_corners(c: Callipers, row: Row) -> Quantity | None:
    """Thickness of the girdle at the outline's corners; at the row's facets between ends and sides where it has none."""
    corners = [azimuth for azimuth, _ in _corners(c)]
    if not corners:
        return girdle(c, row, "between")
    return c.pct(np.ptp(c.girdle_at(corners), axis=1), [f"azimuth {azimuth % 360.0:.6g}" for azimuth in corners])


def corner_angles(c: Callipers) -> Quantity | None:
    """Angles of the outline's corners, between the girdle facets beside them, degrees."""
    return quantity([angle for _, angle in _corners(c)], "deg", [f"azimuth {a % 360.0:.6g}" for a, _ in _corners(c)])


def crown_height(c: Callipers, row: Row) -> Quantity | None:
    """From the girdle's upper edge at each place of a row to the table's edge in that direction."""
    table, facets = c.tier(TABLE), c.tier(row.tier) if c.on_girdle.any() else []
    if not table or not facets:
        return None
    (nx, ny, nz), d = c.stone.normals[table[0]], c.stone.distances_mm[table[0]]
    azimuths, heights = _azimuths(c, facets), []
    for azimuth, (_, rim) in zip(azimuths, c.girdle_at(azimuths), strict=True):
        u = unit_vector(azimuth)
        x, y = c.center + distance_to_edge(c.loops[table[0]][:, :2], c.center, u) * u
        heights.append((d - nx * x - ny * y) / nz - rim)
    return c.pct(heights, _names(c, facets))


def pavilion_depth(c: Callipers, row: Row) -> Quantity | None:
    """From the girdle's lower edge at each place of a row down to the lowest point."""
    facets = c.tier(row.tier) if c.on_girdle.any() else []
    if not facets:
        return None
    return c.pct(c.girdle_at(_azimuths(c, facets))[:, 0] - float(c.start[:, 2].min()), _names(c, facets))


def culet_width(c: Callipers) -> Quantity | None:
    """Extent of the culet across the length; 0 where the pavilion ends in a point or a keel."""
    culet = c.tier(CULET)
    return c.pct([c.extent(c.loops[culet[0]][:, :2])[1] if culet else 0.0], ["across the width"])


def keel(c: Callipers) -> Quantity | None:
    """Length of the keel, in which pavilion facets from both sides meet, percent of the length; 0 for a point."""
    along, _ = _keel(c)
    return quantity([100.0 * along / c.extent(c.outline)[0]], "%", ["whole stone"])


def bulge(c: Callipers) -> Quantity | None:
    """How far the pavilion lies outside the straight line from the girdle's lower edge to its lowest point.

    Measured in the section across the length through the culet, the keel's middle or the lowest point; the largest distance of
    each side.
    """
    u, v = unit_vector(c.length_deg), unit_vector(c.length_deg + 90.0)
    culet = c.tier(CULET)
    _, middle = _keel(c)
    bottom = c.culet_center() if culet or middle is None else middle
    a, b = (ends[:, :2] @ u - bottom @ u for ends in (c.start, c.end))
    crosses = (a * b < 0.0) | (np.abs(a) <= c.close)
    share = np.divide(a, a - b, out=np.zeros_like(a), where=(a * b < 0.0))[:, None]
    points = (c.start + share * (c.end - c.start))[crosses]
    across, walls = points[:, :2] @ v - bottom @ v, c.on_girdle[crosses]
    flat = np.repeat(np.isin(np.arange(len(c.loops)), culet), [len(loop) for loop in c.loops])[crosses]
    found = []
    for side in (1.0, -1.0):
        own = side * across > 0.0
        if not (own & walls).any():
            return None
        rim = int(np.where(own & walls, points[:, 2], np.inf).argmin())
        end = int(np.where(flat, side * across, -np.inf).argmax()) if flat.any() else int(points[:, 2].argmin())
        plan = np.column_stack([side * across, points[:, 2]])
        chord = plan[end] - plan[rim]
        out = np.array([-chord[1], chord[0]]) / np.linalg.norm(chord)  # to the right of the way in and down
        below = own & (points[:, 2] < points[rim, 2])
        found.append(max(float(((plan[below] - plan[rim]) @ out).max(initial=0.0)), 0.0))
    return c.pct(found, ["left", "right"])


def left_against_right(c: Callipers) -> Quantity | None:
    """Largest difference of the outline from its mirror image in the length, as reaches in 360 directions."""
    return _uneven(c, -AROUND)


def end_against_end(c: Callipers) -> Quantity | None:
    """Largest difference of the outline from its mirror image in the width, as reaches in 360 directions."""
    return _uneven(c, 180.0 - AROUND)


def _uneven(c: Callipers, images: np.ndarray) -> Quantity | None:
    u, v = unit_vector(c.length_deg), unit_vector(c.length_deg + 90.0)
    points = c.outline @ np.column_stack([u, v])
    points = points - (points.max(axis=0) + points.min(axis=0)) / 2.0

    def reach(azimuths: np.ndarray) -> np.ndarray:
        around = np.radians(azimuths)
        return np.asarray((points @ np.array([np.cos(around), np.sin(around)])).max(axis=0))

    off = np.abs(reach(AROUND) - reach(images))
    return c.pct([float(off.max())], [f"azimuth {(c.length_deg + AROUND[int(off.argmax())]) % 360.0:.6g}"])


def _keel(c: Callipers) -> tuple[float, np.ndarray | None]:
    """Length of the keel along the stone's length, mm, and its middle (2,) in plan; 0 and None for a point."""
    u, v = unit_vector(c.length_deg), unit_vector(c.length_deg + 90.0)
    plan = c.stone.normals[:, :2]
    across = plan @ v / np.maximum(np.linalg.norm(plan, axis=1), 1e-9)
    below = (c.stone.normals[:, 2] < 0.0) & ~c.stone.on_girdle
    loops = c.stone.polyhedron.loops
    owner = {(a, b): f for f in np.flatnonzero(below) for a, b in zip(loops[f], following(loops[f]), strict=True)}
    ends: list[np.ndarray] = []
    corners = c.stone.vertices_mm
    lowest, depth = float(corners[:, 2].min()), float(np.ptp(corners[:, 2]))
    if c.tier(CULET):
        return 0.0, None
    for (a, b), f in owner.items():
        other = owner.get((b, a))
        bottom = max(corners[a, 2], corners[b, 2]) < lowest + 0.1 * depth
        level = abs(corners[a, 2] - corners[b, 2]) < LEVEL * abs((corners[a, :2] - corners[b, :2]) @ u)
        if other is not None and bottom and level and across[f] > ASIDE and across[other] < -ASIDE:
            ends += [corners[a, :2], corners[b, :2]]
    if not ends:
        return 0.0, None
    points = np.array(ends)
    run = points @ u
    return float(np.ptp(run)), points[[int(run.argmin()), int(run.argmax())]].mean(axis=0)


def _azimuths(c: Callipers, facets: Sequence[int]) -> list[float]:
    """Azimuths from the outline's centre to the places of facets, degrees."""
    places = [_place(c, f) - c.center for f in facets]
    return [math.degrees(math.atan2(y, x)) for x, y in places]


def _place(c: Callipers, facet: int) -> np.ndarray:
    """The place of a facet, (2,) mm."""
    loop, u = c.loops[facet][:, :2], unit_vector(float(c.stone.azimuth_deg()[facet]))
    side, middle, reach = following(loop) - loop, (following(loop) + loop) / 2.0, loop @ u
    long = np.linalg.norm(side, axis=1)
    along = (np.abs(side @ u) < ACROSS * long) & (long > EDGE_SHARE * float(c.stone.size_mm.max()))
    outer = along & (middle @ u > reach.max() - OUTER * np.ptp(reach))
    return np.asarray(middle[int(np.where(outer, middle @ u, -np.inf).argmax())] if outer.any() else loop[int(reach.argmax())])


def _corners(c: Callipers) -> list[tuple[float, float]]:
    """(azimuth from the centre, angle in plan), degrees, of the outline's corners."""
    found = []
    for before, after, _, turn in sharp_corners(c.stone):
        planes = c.stone.normals[[before, after], :2]
        x, y = np.linalg.solve(planes, c.stone.distances_mm[[before, after]]) - c.center
        found.append((math.degrees(math.atan2(y, x)), 180.0 - turn))
    return found


def _names(c: Callipers, facets: Sequence[int]) -> list[str]:
    return [c.stone.facet_name(f) for f in facets]
