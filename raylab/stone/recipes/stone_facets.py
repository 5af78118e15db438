"""The facets of a stone, and how they stand on its girdle."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..planes import facing_deg
from ..stone import Stone
from .girdle import Girdle
from .shapes import tidy


@dataclass(frozen=True)
class StoneFacet:
    """A facet of the stone: its number there, its tier, side, slope and azimuth."""

    number: int
    tier: str
    side: str
    slope_deg: float
    azimuth_deg: float
    finish: str


def facets_of(stone: Stone) -> list[StoneFacet]:
    """All facets but those of the girdle."""
    sides, slopes, azimuths = facing_deg(stone.normals)
    found = []
    for f in np.flatnonzero(~stone.on_girdle).tolist():
        side = "pavilion" if sides[f] == "down" else "crown"
        found.append(StoneFacet(f, stone.tiers[f], side, tidy(slopes[f]), tidy(azimuths[f]), str(stone.finishes[f])))
    return found


def edge_height(stone: Stone, facet: StoneFacet, girdle: Girdle) -> float:
    """How far from z = 0 a facet's plane is over the tangent of the outline that faces as it does, mm."""
    normal, distance = stone.normals[facet.number], stone.distances_mm[facet.number]
    level = float(np.hypot(normal[0], normal[1]))
    return float(distance - level * girdle.support(facet.azimuth_deg)) / abs(float(normal[2]))


def foot(stone: Stone, facet: StoneFacet, girdle: Girdle) -> np.ndarray:
    """(3,) where a facet's plane stands over the point of the outline whose tangent faces as it does."""
    high = edge_height(stone, facet, girdle)
    return np.array([*girdle.foot(facet.azimuth_deg), high if facet.side == "crown" else -high])


def on_surface(stone: Stone, point: np.ndarray, girdle: Girdle) -> bool:
    """Does a point lie on the stone, the girdle's flats left aside?"""
    others = ~stone.on_girdle
    beyond = stone.normals[others] @ point - stone.distances_mm[others]
    return bool(beyond.max() < 1e-7 * girdle.outline.width)


def rim_of(stone: Stone, facets: Sequence[StoneFacet], girdle: Girdle) -> float:
    """Half the girdle's thickness where facets stand on it: the most that both sides agree on, else the most of all."""
    heights: dict[str, list[float]] = {"crown": [], "pavilion": []}
    for facet in facets:
        if 0.0 < facet.slope_deg < 90.0 and on_surface(stone, foot(stone, facet, girdle), girdle):
            heights[facet.side].append(edge_height(stone, facet, girdle))
    near = 1e-9 * girdle.outline.width
    both = [high for high in heights["crown"] if any(abs(high - low) < near for low in heights["pavilion"])]
    found = max(both or [*heights["crown"], *heights["pavilion"], 0.0])
    return found if found > 0.0 else float(np.ptp(stone.vertices_mm[:, 2])) / 100.0


def touch(stone: Stone, one: int, other: int) -> bool:
    """Do two facets have a corner in common?"""
    loops = stone.polyhedron.loops
    return bool(np.isin(loops[one], loops[other]).any())


def alike(one_deg: float, other_deg: float) -> bool:
    return abs((one_deg - other_deg + 180.0) % 360.0 - 180.0) < 1e-9
