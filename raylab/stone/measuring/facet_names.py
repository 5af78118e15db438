"""Which facet is what, from geometry alone: table, star, crown main, upper half, girdle, lower half, pavilion main, culet.

A brilliant's facets are told apart by what they touch, not by their angles, so that steep, shallow, painted, tilted and
half-finished stones are named as well as ideal ones: a star shares its widest line with the table, a half with the girdle,
a main touches both in little more than a point (or, before stars and halves are cut, in its whole width). A pavilion main
reaches the bottom. Mains then tell the order of rotation and the azimuths where each facet should stand. Of two facets at
one place the smaller is an ``"extra"``.

A stone without such a pattern keeps table, girdle and culet; its other facets are named ``"crown"`` and ``"pavilion"``.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ...plane_geometry import following
from ..polyhedron import Polyhedron, intersect
from ..symmetry_group import SymmetryGroup

STEEP_DEG = 75.0
"""A facet steeper than this is of the girdle."""

LEVEL_DEG = 20.0
"""A facet flatter than this may be the table or the culet."""

BROAD = 0.5
"""A facet borders on its neighbour broadly if their common edge is longer than this share of the facet's width."""

PATTERN = 0.9
"""Agreement of the mains' azimuths with even spacing (1: perfect) from which they count as a pattern."""

ORDERS = range(3, 17)
"""Numbers of mains that are looked for."""


@dataclass(frozen=True)
class Tiers:
    """A `name` and an `index` for each facet, the mains' `order` of rotation (1 if no pattern was found), and the azimuth of
    the pattern's first main in degrees, the one nearest to 0."""

    names: tuple[str, ...]
    indices: tuple[int, ...]
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
    names = _by_contact(shape)
    order, phase = _pattern(shape, names)
    if order == 1:
        return _numbered(shape, [_plain(name, up) for name, up in zip(names, shape.normals[:, 2] > 0.0, strict=True)])
    return _placed(shape, names, order, phase)


class _Shape:
    """Facets with what naming needs: areas, widths across their azimuth, and lengths of common edges."""

    def __init__(self, normals: np.ndarray, body: Polyhedron) -> None:
        self.normals = normals
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


def _by_contact(shape: _Shape) -> list[str]:
    """A first name for every facet: table, culet, girdle, star, main, upper half, lower half."""
    slope = np.degrees(np.arccos(np.clip(np.abs(shape.normals[:, 2]), 0.0, 1.0)))
    up = shape.normals[:, 2] > 0.0
    girdle = slope > STEEP_DEG
    table, culet = (_largest(shape, side & (slope < LEVEL_DEG)) for side in (up, ~up))
    level = table | culet
    crown, pavilion = up & ~girdle & ~level, ~up & ~girdle & ~level
    names = np.where(table, "table", np.where(culet, "culet", np.where(girdle, "girdle", "main"))).tolist()
    for f in np.flatnonzero(crown).tolist():
        above, below = shape.contact(f, table) > BROAD, shape.contact(f, ~crown & ~table) > BROAD
        if above != below:
            names[f] = "star" if above else "upper half"
    if "star" in names and not any(names[f] == "main" for f in np.flatnonzero(crown)):
        names = ["main" if name == "star" else name for name in names]  # a crown before its stars are cut
    lowest = shape.lowest[np.isfinite(shape.lowest)].min(initial=0.0)
    depth = float(np.max([p[:, 2].max() for p in shape.loops if len(p)]) - lowest)
    for f in np.flatnonzero(pavilion).tolist():
        reaches = shape.lowest[f] < lowest + 0.02 * depth or shape.contact(f, culet) > 0.0
        if shape.contact(f, ~pavilion & ~culet) > BROAD and not reaches:
            names[f] = "lower half"
    return names


def _largest(shape: _Shape, among: np.ndarray) -> np.ndarray:
    """(F,) bool: the largest of the facets `among`, if any."""
    found = np.zeros(len(among), dtype=bool)
    if among.any():
        found[np.where(among, shape.area, -1.0).argmax()] = True
    return found


def _plain(name: str, up: bool) -> str:
    if name in ("main", "star", "upper half", "lower half"):
        return "crown" if up else "pavilion"
    return name


def _pattern(shape: _Shape, names: Sequence[str]) -> tuple[int, float]:
    """The mains' order of rotation and the azimuth (radians) of the one nearest to 0; (1, 0) if they have none."""
    best, order, phase = PATTERN, 1, 0.0
    mains = np.array([name == "main" for name in names])
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


def _placed(shape: _Shape, names: Sequence[str], order: int, phase: float) -> Tiers:
    """Names and numbers by place in the pattern; the largest facet at each place keeps it."""
    crown = shape.normals[:, 2] > 0.0
    full = [("crown main" if crown[f] else "pavilion main") if name == "main" else name for f, name in enumerate(names)]
    step = 2.0 * math.pi / order
    places = {"star": (order, 0.5 * step), "crown main": (order, 0.0), "pavilion main": (order, 0.0)}
    places |= {"upper half": (2 * order, 0.25 * step), "lower half": (2 * order, 0.25 * step)}
    number = [0] * len(full)
    taken: set[tuple[str, int]] = set()
    for f in np.argsort(-shape.area, kind="stable"):
        if full[f] not in places:
            continue
        count, offset = places[full[f]]
        number[f] = round((shape.azimuth[f] - phase - offset) * count / (2.0 * math.pi)) % count
        if (full[f], number[f]) in taken:
            full[f] = "extra"
        taken.add((full[f], number[f]))
    counted = _numbered(shape, full)
    indices = tuple(number[f] if name in places else counted.indices[f] for f, name in enumerate(full))
    return Tiers(tuple(full), indices, order, math.degrees(phase))


def _numbered(shape: _Shape, names: Sequence[str]) -> Tiers:
    """Facets of each name numbered counter-clockwise from azimuth 0."""
    around = np.round(np.degrees(shape.azimuth) % 360.0, 6) % 360.0
    indices = [0] * len(names)
    for name in set(names):
        facets = [f for f in range(len(names)) if names[f] == name]
        for k, f in enumerate(sorted(facets, key=lambda f: around[f])):
            indices[f] = k
    return Tiers(tuple(names), tuple(indices), 1, 0.0)
