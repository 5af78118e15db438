"""The even ring of places of a cut's facets, fitted to the mains of a stone.

The **pattern** is the even ring of places that fits all mains best: one every 360/m degrees, turned so that the mains' mean
shift is zero. Where the facets of other tiers stand in it, the cut's tiers say (`Tier.per_main`, `Tier.offset`).
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from ..stone import Stone
from ..tier import Side, Tier


class Pattern:
    """The even ring of places of a stone's facets.

    Attributes: `order` (mains around the stone), `azimuth_deg` of the first main's place, the one nearest to 0.
    """

    def __init__(self, stone: Stone, tiers: Sequence[Tier]) -> None:
        self.stone = stone
        self.azimuth = stone.azimuth_deg()
        self.placed = {tier.name: tier for tier in tiers if tier.per_main}
        self._mains: dict[Side, list[int]] = {}
        for tier in tiers:
            if tier.main:
                self._mains.setdefault(tier.side, []).extend(stone.facets_of(tier.name))
        every = [f for facets in self._mains.values() for f in facets]
        claimed = stone.symmetry.order
        self.order = claimed if claimed >= 3 else max(map(len, self._mains.values()), default=0)
        wave = np.exp(1j * np.radians(self.azimuth[every]) * self.order).sum() if every else 0.0
        self.azimuth_deg = math.degrees(np.angle(wave)) / self.order if self.order >= 3 else math.nan

    def fits(self) -> bool:
        """True where there are mains enough for a pattern."""
        return self.order >= 3 and math.isfinite(self.azimuth_deg)

    def mains(self, side: Side) -> list[int]:
        """Numbers of the mains on one side."""
        return self._mains.get(side, [])

    def position(self, facet: int) -> int:
        """Number of the place nearest to a facet, counted counter-clockwise within its tier."""
        tier = self.placed[self.stone.tiers[facet]]
        step = 360.0 / self.order
        shift = self.azimuth[facet] - self.azimuth_deg - tier.offset * step
        return round(shift * tier.per_main / step) % (tier.per_main * self.order)

    def shift_deg(self, facet: int) -> float:
        """From a facet's place to the facet, counter-clockwise, degrees."""
        tier = self.placed[self.stone.tiers[facet]]
        step = 360.0 / self.order
        nominal = self.azimuth_deg + tier.offset * step + self.position(facet) * step / tier.per_main
        return wrapped(self.azimuth[facet] - nominal)

    def painting_deg(self, half: int) -> float:
        """How far a half is turned towards the main it leans on: the lower of its two neighbours for even places."""
        return -self.shift_deg(half) if self.position(half) % 2 == 0 else self.shift_deg(half)


def wrapped(angle_deg: float) -> float:
    """An angle in [-180, 180)."""
    return float((angle_deg + 180.0) % 360.0 - 180.0)
