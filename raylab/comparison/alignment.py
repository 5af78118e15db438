"""Laying stones alike, so that their maps can be put on one grid and subtracted.

A stone is turned about its own axis until its length lies along x, a round one until its mains stand at azimuths 0, 360/m, ...
(see `stone.extent`; a stone without either keeps its azimuth), and moved in plan until its outline's centre lies at the origin.
Its table is not levelled: how it leans is part of what was measured.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from ..plane_geometry import centroid
from ..scene.pixel_grid import MAX_RESOLUTION, PixelGrid
from ..scene.view import View, silhouette
from ..stone.extent import Extent, extent_of
from ..stone.recognition import recognized
from ..stone.stone import Stone
from ..stone.symmetry_group import SymmetryGroup
from ..units import whole_in

NEGLIGIBLE = 1e-9
"""A turn in degrees, a shift in mm, or a share of size, by which no stone lies otherwise: rounding of its own corners."""

MARGIN = 0.02
"""Room around the stones, a share of the picture's side on each side."""


@dataclass(frozen=True)
class Pose:
    """How a stone is laid: turned about z, moved in plan, scaled; and its symmetry then. Fixed for a stone, so that displaced
    copies lie alike."""

    turn_deg: float
    center_mm: tuple[float, float]
    factor: float
    symmetry: SymmetryGroup

    def lay(self, stone: Stone) -> Stone:
        """The stone, laid. One that lies so already keeps its planes to the last digit, and with them its numbers."""
        if max(abs(self.turn_deg), *map(abs, self.center_mm), abs(self.factor - 1.0)) < NEGLIGIBLE:
            return stone.relabeled(symmetry=self.symmetry)
        turn = View(turn_deg=self.turn_deg).rotation()
        shift = turn @ (-self.center_mm[0], -self.center_mm[1], 0.0)
        return stone.moved(turn, shift).scaled(self.factor).relabeled(symmetry=self.symmetry)

    def to_dict(self) -> dict[str, Any]:
        """Plain numbers, ready for JSON."""
        return {"turn_deg": self.turn_deg, "moved_mm": [-one for one in self.center_mm], "scaled": self.factor}


def pose_of(stone: Stone, factor: float = 1.0) -> Pose:
    """The pose that lays a stone alike with others."""
    named = recognized(stone)
    extent, center = extent_of(named), centroid(named.outline_mm)
    return Pose(-extent.azimuth_deg, (float(center[0]), float(center[1])), factor, _laid(named.symmetry, extent))


def _laid(symmetry: SymmetryGroup, extent: Extent) -> SymmetryGroup:
    """The symmetry of a stone that is laid: its mirror planes are those of the mains or of the outline as they stand, which
    the pose brings to azimuth 0 or halfway between two of them."""
    if symmetry.mirror_deg is None or extent.azimuth_deg == 0.0:
        return symmetry
    if extent.round:
        return replace(symmetry, mirror_deg=0.0)
    half = 90.0 / symmetry.order
    return replace(symmetry, mirror_deg=half * (round((symmetry.mirror_deg - extent.azimuth_deg) / half) % 2))


def common_grid(stones: Iterable[Stone], views: Iterable[View], resolution: int) -> PixelGrid:
    """The square grid about the origin that shows every stone in every view."""
    resolution = whole_in("resolution", resolution, 1, MAX_RESOLUTION)
    views = list(views)
    radius = max(float(np.abs(silhouette(stone, view)).max()) for stone in stones for view in views)
    side = 2.0 * radius * (1.0 + 2.0 * MARGIN)
    return PixelGrid(-side / 2.0, -side / 2.0, side / resolution, resolution)
