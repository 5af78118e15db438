"""A stone's facets with what naming needs, and first names by what the facets touch."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from ...plane_geometry import centroid, convex_outline, following
from ..cuts.cut import Cut
from ..polyhedron import Polyhedron
from ..symmetry_group import SymmetryGroup
from ..tier import CULET, EXTRA, GIRDLE, PLAIN, TABLE, Side, Tier

STEEP_DEG = 75.0
"""A facet steeper than this is of the girdle."""

LEVEL_DEG = 20.0
"""A facet flatter than this may be the table or the culet."""

FLAT_DEG = 2.5
"""A facet flatter than this is level, as a table and a culet are; on a long stone mains may be flatter than `LEVEL_DEG`."""

BROAD = 0.5
"""A facet borders on its neighbour broadly if their common edge is longer than this share of the facet's width."""

SPARE = 0.05
"""A stone of a cut has no more than this share of its surface in facets that have no place in the pattern."""

OUTLINE = 0.03
"""How far a girdle may reach beyond or behind the cut's outline, a share of its mean radius; an octagon is off by 0.04."""

ALL_AROUND = 0.9
"""Share of the outline from which a girdle counts as whole; half a girdle says nothing of the outline."""

PRESENT = 0.75
"""Of the facets that a tier should have, at least this share must be there."""

ALSO = {"square emerald cut": ("emerald cut",), "baguette": ("tapered baguette",)}
"""A cut that is another one of a certain proportion: as long as it is wide, or not tapered."""

UNNAMED = ""
"""What a facet is called while its tier is not known."""


@dataclass(frozen=True)
class Named:
    """A cut that a stone was found to be.

    Attributes
    ----------
    names, indices : of each facet; `indices` counts within a tier. cut : the cut.
    also : other cuts whose stones have the same facets. azimuth : where the cut's +x lies, radians.
    outline_off : largest deviation of the outline from the cut's, a share of its mean radius. symmetry : nominal, as it lies.
    whole : how many facets a tier has on a whole stone, but for table, girdle and culet.
    """

    names: list[str]
    indices: list[int]
    cut: Cut
    also: tuple[str, ...]
    azimuth: float
    outline_off: float
    symmetry: SymmetryGroup
    whole: Mapping[str, int]

    @staticmethod
    def lying(
        names: list[str], indices: list[int], cut: Cut, azimuth: float, outline_off: float, whole: Mapping[str, int]
    ) -> Named:
        """A stone of a cut whose symmetry is always the same."""
        symmetry = cut.symmetry.turned(round(math.degrees(azimuth), 9) + 0.0)
        return Named(names, indices, cut, ALSO.get(cut.name, ()), azimuth, outline_off, symmetry, whole)

    @property
    def lacking(self) -> tuple[tuple[str, int, int], ...]:
        """Tiers with fewer facets than on a whole stone: the name, how many lack, of how many."""
        there = ((name, count - self.names.count(name), count) for name, count in self.whole.items())
        return tuple((name, lack, count) for name, lack, count in there if lack > 0)


class Shape:
    """Facets with what naming needs: areas, widths across their azimuth, and lengths of common edges."""

    def __init__(self, normals: np.ndarray, body: Polyhedron) -> None:
        self.normals, self.vertices = normals, body.vertices
        self.sides: list[Side] = ["crown" if up else "pavilion" for up in normals[:, 2] > 0.0]
        self.loops = [body.vertices[loop] for loop in body.loops]
        self.area = np.asarray(body.areas)
        self.azimuth = np.arctan2(normals[:, 1], normals[:, 0])
        across = np.stack([-np.sin(self.azimuth), np.cos(self.azimuth)], axis=1)
        self.width = np.array([np.ptp(p[:, :2] @ t) if len(p) else 0.0 for p, t in zip(self.loops, across, strict=True)])
        self.lowest = np.array([p[:, 2].min() if len(p) else np.inf for p in self.loops])
        self.edges: dict[tuple[int, int], float] = {}
        owner = {(a, b): f for f, loop in enumerate(body.loops) for a, b in zip(loop, following(loop), strict=True)}
        for (a, b), f in owner.items():
            other = owner.get((b, a))
            if other is not None:
                length = float(np.linalg.norm(body.vertices[a] - body.vertices[b]))
                self.edges[f, other] = self.edges.get((f, other), 0.0) + length

    @cached_property
    def slope_deg(self) -> np.ndarray:
        """(F,) slopes of the facets, 0 to 90 degrees."""
        return np.degrees(np.arccos(np.clip(np.abs(self.normals[:, 2]), 0.0, 1.0)))

    @cached_property
    def outline(self) -> np.ndarray:
        """(K, 2) corners of the outline, seen from above."""
        return convex_outline(self.vertices[:, :2])

    @cached_property
    def middle(self) -> np.ndarray:
        """(2,) centroid of the outline."""
        return centroid(self.outline)

    @cached_property
    def steep(self) -> np.ndarray:
        """(F,) bool: facets of the girdle."""
        return self.slope_deg > STEEP_DEG

    @cached_property
    def waist(self) -> float:
        """Mean height of the girdle's corners, or of the outline's where there is no girdle."""
        walls = [self.loops[f][:, 2] for f in np.flatnonzero(self.steep & (self.area > 0.0))]
        if walls:
            return float(np.concatenate(walls).mean())
        far = np.linalg.norm(self.vertices[:, :2] - self.middle, axis=1)
        return float(self.vertices[far > 0.99 * far.max(), 2].mean())

    def walled(self, facets: np.ndarray) -> float:
        """Share of the outline's length that the facets (F,) bool are wide together: all of it for a whole girdle."""
        around = float(np.linalg.norm(following(self.outline) - self.outline, axis=1).sum())
        return float(self.width[facets].sum()) / around

    def contact(self, f: int, others: np.ndarray) -> float:
        """Length of the edges that facet f shares with `others` (F,) bool, as a share of its width."""
        length = sum(length for (a, b), length in self.edges.items() if a == f and others[b])
        return length / self.width[f] if self.width[f] > 0.0 else 0.0

    def largest(self, among: np.ndarray) -> np.ndarray:
        """(F,) bool: the largest of the facets `among`, if any."""
        found = np.zeros(len(among), dtype=bool)
        if among.any():
            found[np.where(among, self.area, -1.0).argmax()] = True
        return found

    def spare(self, names: Sequence[str]) -> float:
        """Share of the surface in facets without a place in a cut's pattern."""
        out = np.array([name in (EXTRA, UNNAMED, *PLAIN.values()) for name in names])
        return float(self.area[out].sum() / self.area.sum())


def level_and_steep(shape: Shape) -> list[str]:
    """Table, culet and girdle by name; the others are not named yet."""
    up = shape.normals[:, 2] > 0.0
    table, culet = (shape.largest(side & (shape.slope_deg < LEVEL_DEG)) for side in (up, ~up))
    names: list[str] = np.where(
        table, TABLE.name, np.where(culet, CULET.name, np.where(shape.steep, GIRDLE.name, UNNAMED))
    ).tolist()
    return names


def first_names(shape: Shape) -> list[str]:
    """Table, culet and girdle by name, table and culet where they are level; the others are not named yet."""
    names = [GIRDLE.name if steep else UNNAMED for steep in shape.steep]
    up, flat = shape.normals[:, 2] > 0.0, shape.slope_deg < FLAT_DEG
    for tier, side in ((TABLE, up), (CULET, ~up)):
        for f in np.flatnonzero(shape.largest(side & flat)):
            names[f] = tier.name
    return names


def by_contact(shape: Shape, cut: Cut) -> list[str]:
    """A first name for every facet: table, culet, girdle, what borders them broadly in this cut; the others may be mains."""
    names = level_and_steep(shape)
    at_table, at_girdle = bordering(cut, "crown", TABLE), bordering(cut, "crown", GIRDLE)
    below_girdle = bordering(cut, "pavilion", GIRDLE)
    table, culet = (np.array([name == tier.name for name in names]) for tier in (TABLE, CULET))
    open_ = np.array([name == UNNAMED for name in names])
    up = shape.normals[:, 2] > 0.0
    crown, pavilion = up & open_, ~up & open_
    for f in np.flatnonzero(crown).tolist():
        above, below = shape.contact(f, table) > BROAD, shape.contact(f, ~crown & ~table) > BROAD
        if above != below:
            names[f] = (at_table if above else at_girdle) or names[f]
    if not any(names[f] == UNNAMED for f in np.flatnonzero(crown)):
        # a crown before the facets at its table are cut, or those at its girdle, around a table narrower than half of the mains
        mains = at_table if at_table in names else at_girdle
        names = [UNNAMED if name == mains else name for name in names]
    lowest = shape.lowest[np.isfinite(shape.lowest)].min(initial=0.0)
    depth = float(np.max([p[:, 2].max() for p in shape.loops if len(p)]) - lowest)
    for f in np.flatnonzero(pavilion).tolist():
        reaches = shape.lowest[f] < lowest + 0.02 * depth or shape.contact(f, culet) > 0.0
        if shape.contact(f, ~pavilion & ~culet) > BROAD and not reaches:
            names[f] = below_girdle or names[f]
    return names


def bordering(cut: Cut, side: Side, other: Tier) -> str | None:
    """The name of the cut's tier that borders another in its whole width."""
    return next((tier.name for tier in cut.tiers if tier.side == side and tier.borders == other.name), None)


def counted(shape: Shape, names: Sequence[str], azimuth: float = 0.0) -> list[int]:
    """Facets of each name numbered counter-clockwise from an azimuth (radians)."""
    around = np.round(np.degrees(shape.azimuth - azimuth) % 360.0, 6) % 360.0
    indices = [0] * len(names)
    for name in set(names):
        facets = [f for f in range(len(names)) if names[f] == name]
        for k, f in enumerate(sorted(facets, key=lambda f: around[f])):
            indices[f] = k
    return indices


def by_place(shape: Shape, names: list[str], places: Mapping[str, tuple[int, float]], azimuth: float) -> list[int]:
    """Numbers of facets by their places around a stone whose +x lies along an azimuth, radians.

    `places` : of a name how many there are all around, and where the first stands, radians. The largest facet at each place
    keeps it; `names` calls the others extra. Facets of another name are counted, see `counted`.
    """
    number = [0] * len(names)
    for f, name in enumerate(names):
        if name in places:
            count, offset = places[name]
            number[f] = round((shape.azimuth[f] - azimuth - offset) * count / (2.0 * math.pi)) % count
    only_largest(shape, names, lambda f: number[f] if names[f] in places else None)
    others = counted(shape, names)
    return [number[f] if name in places else others[f] for f, name in enumerate(names)]


def only_largest(shape: Shape, names: list[str], place: Callable[[int], object]) -> None:
    """Of the facets of one name at one `place` all but the largest become extra; `place` None is nobody's."""
    taken: set[tuple[str, object]] = set()
    for f in np.argsort(-shape.area, kind="stable").tolist():
        at = place(f)
        if at is None:
            continue
        if (names[f], at) in taken:
            names[f] = EXTRA
        taken.add((names[f], at))
