"""Laying stones alike, so that their maps can be put on one grid and subtracted.

A stone is turned about its own axis until its mains stand at azimuths 0, 360/m, ... (see `Pattern`; a stone without one
keeps its azimuth), and moved in plan until its outline's centre lies at the origin. Its table is not levelled: how it
leans is part of what was measured.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from ..scene.pixel_grid import MAX_RESOLUTION, PixelGrid
from ..scene.view import View, silhouette
from ..stone.measuring.alignment import Pattern
from ..stone.measuring.callipers import Callipers
from ..stone.measuring.proportions import with_tiers
from ..stone.stone import Stone
from ..units import whole_in

MARGIN = 0.02
"""Room around the stones, a share of the picture's side on each side."""


@dataclass(frozen=True)
class Pose:
    """How a stone is laid: turned about z, moved in plan, scaled. Fixed for a stone, so that displaced copies lie alike."""

    turn_deg: float
    center_mm: tuple[float, float]
    factor: float

    def lay(self, stone: Stone) -> Stone:
        """The stone, laid."""
        turn = View(turn_deg=self.turn_deg).rotation()
        shift = turn @ (-self.center_mm[0], -self.center_mm[1], 0.0)
        return stone.moved(turn, shift).scaled(self.factor)


def pose_of(stone: Stone, factor: float = 1.0) -> Pose:
    """The pose that lays a stone alike with others."""
    callipers = Callipers(with_tiers(stone))
    pattern = Pattern(callipers)
    return Pose(
        -pattern.azimuth_deg if pattern.fits() else 0.0, (float(callipers.center[0]), float(callipers.center[1])), factor
    )


def common_frame(stones: Iterable[Stone], views: Iterable[View], resolution: int) -> PixelGrid:
    """The square grid about the origin that shows every stone in every view."""
    resolution = whole_in("resolution", resolution, 1, MAX_RESOLUTION)
    views = list(views)
    reach = max(float(np.abs(silhouette(stone, view)).max()) for stone in stones for view in views)
    side = 2.0 * reach * (1.0 + 2.0 * MARGIN)
    return PixelGrid(-side / 2.0, -side / 2.0, side / resolution, resolution)
