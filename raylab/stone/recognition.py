"""Recognition of the cut and the tiers of a stone from its geometry alone.

A cut with mains is known by what its facets touch, not by their angles, so that steep, shallow, painted, tilted and
half-finished stones are named as well as ideal ones: some tiers border the table or the girdle in their whole width
(`Tier.borders`: stars, halves), mains touch both in little more than a point (or, before the last facets are cut, in their
whole width). A pavilion main reaches the bottom. The mains then give the order of rotation and the azimuth of each facet in the
pattern. Of two facets at one position the smaller is an extra.

It is that cut if its tiers stand where its pattern has them, and it has the cut's outline: the steps of a step cut
border table and girdle too, but they stand above each other, and its outline is a polygon. So is that of a round with mains
alone and no girdle, which can't be told from a step stone. A stone of no known cut keeps table,
girdle and culet; its other facets are named by their side alone.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from ..plane_geometry import centroid, convex_outline, following
from .cuts import CUTS
from .cuts.cut import Cut
from .cuts.outline import Outline
from .known_cuts import cut_of
from .polyhedron import Polyhedron, intersect
from .stone import Stone
from .symmetry_group import SymmetryGroup
from .tier import CULET, EXTRA, GIRDLE, PLAIN, SHARED, TABLE, Side, Tier

STEEP_DEG = 75.0
"""A facet steeper than this is of the girdle."""

LEVEL_DEG = 20.0
"""A facet flatter than this may be the table or the culet."""

BROAD = 0.5
"""A facet borders on its neighbour broadly if their common edge is longer than this share of the facet's width."""

PATTERN = 0.9
"""Agreement of the mains' azimuths with even spacing (1: perfect) from which they count as a pattern."""

PLACED = 0.0
"""Agreement of a tier's azimuths with its places (1: all there, -1: all halfway between) above which it is in the pattern."""

SPARE = 0.05
"""A stone of a cut has no more than this share of its surface in facets that have no place in the pattern."""

OUTLINE = 0.03
"""How far a girdle may reach beyond or behind the cut's outline, a share of its mean radius; an octagon is off by 0.04."""

ALL_AROUND = 0.9
"""Share of the outline from which a girdle counts as whole; half a girdle says nothing of the outline."""

ORDERS = range(3, 17)
"""Numbers of mains that are looked for."""

_MAIN = ""
"""What a facet is called while it is only known that it may be a main."""


def recognized(stone: Stone) -> Stone:
    """The stone with its cut, and with its facets named by its shape if its names give none and no trade name is among them.

    Names are taken as they are only if the shape agrees: a stone whose facets bear the names of a cut, but don't stand where
    that cut has them, or whose girdle has another outline, is none of it, and its facets are named by their side. A stone of
    no known cut that bears no such names comes back as it is.
    """
    if stone.cut is not None:
        return stone
    named = cut_of(stone)
    if named is not None:
        if _agrees(stone, named):
            return stone.relabeled(cut=named.name)
        plain = _plain(_Shape(stone.normals, stone.polyhedron))
        return stone.relabeled(tiers=plain.names, indices=plain.indices, symmetry=plain.symmetry)
    if {tier.name for tier in SHARED} & set(stone.tiers):
        return stone
    found = name_tiers(stone.normals, stone.distances_mm, body=stone.polyhedron)
    if found.cut is None:
        return stone
    return stone.relabeled(tiers=found.names, indices=found.indices, symmetry=found.symmetry, cut=found.cut.name)


def _agrees(stone: Stone, cut: Cut) -> bool:
    """True where nothing in the shape contradicts the names of a cut's tiers; of a half-finished stone, little can."""
    shape = _Shape(stone.normals, stone.polyhedron)
    mains = {tier.name for tier in cut.tiers if tier.main}
    names = [_MAIN if name in mains else name for name in stone.tiers]
    order, phase = _pattern(shape, names)
    outline = convex_outline(shape.vertices[:, :2])
    around = float(np.linalg.norm(outline - np.roll(outline, 1, axis=0), axis=1).sum())
    girdled = shape.width[stone.on_girdle].sum() > ALL_AROUND * around
    if girdled and cut.outline is not None and not _is_outline(shape, cut.outline, phase):
        return False
    return order == 1 or _placed(shape, names, cut, order, phase) is not None


@dataclass(frozen=True)
class Tiers:
    """A `name` and an `index` for each facet; the `cut`, None where none is known; the mains' `order` of rotation (1 without a
    cut), and the azimuth of the pattern's first main in degrees, the one nearest to 0."""

    names: tuple[str, ...]
    indices: tuple[int, ...]
    cut: Cut | None
    order: int
    azimuth_deg: float

    @property
    def symmetry(self) -> SymmetryGroup:
        """That of the pattern: its rotations, and mirror planes through its mains (of an ideal stone at 0, not at 1e-15)."""
        return SymmetryGroup(self.order, round(self.azimuth_deg, 9) + 0.0) if self.order > 1 else SymmetryGroup()


def name_tiers(normals: np.ndarray, distances_mm: np.ndarray, *, body: Polyhedron | None = None) -> Tiers:
    """Name the facets of a stone that stands with its table up.

    Facets of a tier are numbered by their place around the stone, counter-clockwise from azimuth 0, so that a missing
    one leaves its number free.

    Parameters
    ----------
    normals, distances_mm : (F, 3) outward unit normals and (F,) distances, mm.
    body : their polyhedron, if it is at hand.
    """
    shape = _Shape(normals, intersect(normals, distances_mm) if body is None else body)
    for cut in CUTS.values():
        if cut.mains() and cut.outline is not None:
            names = _by_contact(shape, cut)
            order, phase = _pattern(shape, names)
            if order > 1 and _is_outline(shape, cut.outline, phase):
                found = _placed(shape, names, cut, order, phase)
                if found is not None:
                    return found
    return _plain(shape)


def _plain(shape: _Shape) -> Tiers:
    """The tiers of a stone of no known cut: table, girdle and culet; the others by their side."""
    names = _level_and_steep(shape)
    return _numbered(shape, [name or PLAIN[side] for name, side in zip(names, shape.sides, strict=True)])


class _Shape:
    """Facets with what naming needs: areas, widths across their azimuth, and lengths of common edges."""

    def __init__(self, normals: np.ndarray, body: Polyhedron) -> None:
        self.normals, self.vertices = normals, body.vertices
        self.sides: list[Literal["crown", "pavilion"]] = ["crown" if up else "pavilion" for up in normals[:, 2] > 0.0]
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

    def contact(self, f: int, others: np.ndarray) -> float:
        """Length of the edges that facet f shares with `others` (F,) bool, as a share of its width."""
        length = sum(length for (a, b), length in self.edges.items() if a == f and others[b])
        return length / self.width[f] if self.width[f] > 0.0 else 0.0


def _level_and_steep(shape: _Shape) -> list[str]:
    """Table, culet and girdle by name; the others may be mains."""
    slope = np.degrees(np.arccos(np.clip(np.abs(shape.normals[:, 2]), 0.0, 1.0)))
    up = shape.normals[:, 2] > 0.0
    girdle = slope > STEEP_DEG
    table, culet = (_largest(shape, side & (slope < LEVEL_DEG)) for side in (up, ~up))
    names: list[str] = np.where(table, TABLE.name, np.where(culet, CULET.name, np.where(girdle, GIRDLE.name, _MAIN))).tolist()
    return names


def _by_contact(shape: _Shape, cut: Cut) -> list[str]:
    """A first name for every facet: table, culet, girdle, what borders them broadly in this cut; the others may be mains."""
    names = _level_and_steep(shape)
    at_table, at_girdle = _bordering(cut, "crown", TABLE), _bordering(cut, "crown", GIRDLE)
    below_girdle = _bordering(cut, "pavilion", GIRDLE)
    table, culet = (np.array([name == tier.name for name in names]) for tier in (TABLE, CULET))
    open_ = np.array([name == _MAIN for name in names])
    up = shape.normals[:, 2] > 0.0
    crown, pavilion = up & open_, ~up & open_
    for f in np.flatnonzero(crown).tolist():
        above, below = shape.contact(f, table) > BROAD, shape.contact(f, ~crown & ~table) > BROAD
        if above != below:
            names[f] = (at_table if above else at_girdle) or names[f]
    if at_table in names and not any(names[f] == _MAIN for f in np.flatnonzero(crown)):
        names = [_MAIN if name == at_table else name for name in names]  # a crown before the facets at its table are cut
    lowest = shape.lowest[np.isfinite(shape.lowest)].min(initial=0.0)
    depth = float(np.max([p[:, 2].max() for p in shape.loops if len(p)]) - lowest)
    for f in np.flatnonzero(pavilion).tolist():
        reaches = shape.lowest[f] < lowest + 0.02 * depth or shape.contact(f, culet) > 0.0
        if shape.contact(f, ~pavilion & ~culet) > BROAD and not reaches:
            names[f] = below_girdle or names[f]
    return names


def _bordering(cut: Cut, side: Side, other: Tier) -> str | None:
    """The name of the cut's tier that borders another in its whole width."""
    return next((tier.name for tier in cut.tiers if tier.side == side and tier.borders == other.name), None)


def _largest(shape: _Shape, among: np.ndarray) -> np.ndarray:
    """(F,) bool: the largest of the facets `among`, if any."""
    found = np.zeros(len(among), dtype=bool)
    if among.any():
        found[np.where(among, shape.area, -1.0).argmax()] = True
    return found


def _is_outline(shape: _Shape, wanted: Outline, phase: float) -> bool:
    """True where the stone reaches as far as an outline in every direction."""
    outline = convex_outline(shape.vertices[:, :2])
    azimuths = 2.0 * np.pi * np.arange(64) / 64
    extent = (outline - centroid(outline)) @ np.array([np.cos(azimuths + phase), np.sin(azimuths + phase)])
    share = extent.max(axis=0) / [wanted.support(azimuth) for azimuth in azimuths]
    return bool(np.abs(share / share.mean() - 1.0).max() < OUTLINE)


def _pattern(shape: _Shape, names: Sequence[str]) -> tuple[int, float]:
    """The mains' order of rotation and the azimuth (radians) of the one nearest to 0; (1, 0) if they have none."""
    best, order, phase = PATTERN, 1, 0.0
    mains = np.array([name == _MAIN for name in names])
    for n in ORDERS:
        for side in (mains & (shape.normals[:, 2] < 0.0), mains & (shape.normals[:, 2] > 0.0)):
            if side.sum() < 3:
                continue
            wave = np.sum(shape.area[side] * np.exp(1j * n * shape.azimuth[side])) / shape.area[side].sum()
            slots = np.round((shape.azimuth[side] - np.angle(wave) / n) * n / (2.0 * math.pi)) % n
            if abs(wave) > best and len(np.unique(slots)) >= 0.75 * n:
                best, order, phase = abs(wave), n, float(np.angle(wave)) / n
    if order > 1:  # both sides together settle the azimuth
        phase = float(np.angle(np.sum(shape.area[mains] * np.exp(1j * order * shape.azimuth[mains])))) / order
    return order, phase


def _placed(shape: _Shape, names: Sequence[str], cut: Cut, order: int, phase: float) -> Tiers | None:
    """Names and numbers by place in the cut's pattern; the largest facet at each place keeps it.

    None where a tier doesn't stand in the pattern, or where much of the surface has no place in it.
    """
    mains = {tier.side: tier.name for tier in cut.tiers if tier.main}
    full = [mains.get(side, PLAIN[side]) if name == _MAIN else name for name, side in zip(names, shape.sides, strict=True)]
    step = 2.0 * math.pi / order
    patterns = {tier.name: (tier.per_main * order, tier.offset * step) for tier in cut.tiers if tier.per_main}
    turns = {name: [f for f, own in enumerate(full) if own == name] for name in patterns}
    for name, facets in turns.items():
        count, offset = patterns[name]
        there = shape.area[facets] * np.cos((shape.azimuth[facets] - phase - offset) * count)
        if facets and there.sum() <= PLACED * shape.area[facets].sum():
            return None
    number = [0] * len(full)
    taken: set[tuple[str, int]] = set()
    for f in np.argsort(-shape.area, kind="stable"):
        if full[f] not in patterns:
            continue
        count, offset = patterns[full[f]]
        number[f] = round((shape.azimuth[f] - phase - offset) * count / (2.0 * math.pi)) % count
        if (full[f], number[f]) in taken:
            full[f] = EXTRA
        taken.add((full[f], number[f]))
    spare = np.array([name == EXTRA for name in full])
    if shape.area[spare].sum() > SPARE * shape.area.sum():
        return None
    counted = _numbered(shape, full)
    indices = tuple(number[f] if name in patterns else counted.indices[f] for f, name in enumerate(full))
    return Tiers(tuple(full), indices, cut, order, math.degrees(phase))


def _numbered(shape: _Shape, names: Sequence[str]) -> Tiers:
    """Facets of each name numbered counter-clockwise from azimuth 0."""
    around = np.round(np.degrees(shape.azimuth) % 360.0, 6) % 360.0
    indices = [0] * len(names)
    for name in set(names):
        facets = [f for f in range(len(names)) if names[f] == name]
        for k, f in enumerate(sorted(facets, key=lambda f: around[f])):
            indices[f] = k
    return Tiers(tuple(names), tuple(indices), None, 1, 0.0)
