"""The girdle of a recipe: an outline, ground in flats, of one thickness at the places that facets stand on."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from ...errors import InputError
from ..cuts.outline import Circle, Outline
from ..cuts.outlines import Curved, Sides
from ..finish import POLISHED, Finish

LEVEL = 1e-9
"""Distances that differ by no more than this share of a stone's width are one."""


@dataclass(frozen=True)
class Girdle:
    """A girdle.

    Attributes
    ----------
    outline : in mm. rim_mm : half its thickness, where facets stand on it. facets : number of flats asked for.
    sides_deg, corners_deg : azimuths that its sides and its corners face; a circle has neither.
    """

    outline: Outline
    rim_mm: float
    facets: int
    sides_deg: tuple[float, ...]
    corners_deg: tuple[float, ...]
    finish: Finish = POLISHED

    @cached_property
    def flats(self) -> tuple[np.ndarray, np.ndarray]:
        """Normals (K, 3) and distances (K,) mm."""
        return self.outline.flats(self.facets)

    def support(self, azimuth_deg: float) -> float:
        """Distance from the axis to the tangent that faces an azimuth, mm."""
        return self.outline.support(math.radians(azimuth_deg))

    def foot(self, azimuth_deg: float) -> np.ndarray:
        """(2,) mm, where a facet that faces an azimuth touches the outline: the middle of a straight side that faces it."""
        azimuth = math.radians(azimuth_deg)
        if isinstance(self.outline, Curved):
            return self.outline.contact(azimuth)
        towards = np.array([math.cos(azimuth), math.sin(azimuth)])
        if isinstance(self.outline, Sides):
            points = self.outline.points
            reach = points @ towards
            return np.asarray(points[reach > reach.max() - LEVEL * np.ptp(points)].mean(axis=0))
        return self.outline.support(azimuth) * towards

    def point(self, azimuth_deg: float) -> np.ndarray:
        """(2,) mm, the point of the outline at an azimuth from the axis."""
        azimuth = math.radians(azimuth_deg)
        towards = np.array([math.cos(azimuth), math.sin(azimuth)])
        if isinstance(self.outline, Curved):
            return self.outline.reach(azimuth) * towards
        if isinstance(self.outline, Circle):
            return self.outline.radius * towards
        return self.way_out(np.zeros(2), towards) * towards

    def corners(self) -> np.ndarray:
        """(K, 2) mm, the corners of a polygon, counter-clockwise from +x; none (0, 2) where the outline is curved."""
        if not isinstance(self.outline, Sides):
            return np.empty((0, 2))
        points = self.outline.points
        azimuths = np.degrees(np.arctan2(points[:, 1], points[:, 0])) % 360.0
        return np.asarray(points[np.argsort(np.where(azimuths > 360.0 - LEVEL, 0.0, azimuths))])

    def way_out(self, start: np.ndarray, towards: np.ndarray) -> float:
        """How far a point (2,) inside lies from the flats along a direction (2,), mm."""
        normals, distances = self.flats
        gains = normals[:, :2] @ towards
        left = distances - normals[:, :2] @ start
        return float((left[gains > 0.0] / gains[gains > 0.0]).min())

    def azimuths(self, one_per: str) -> tuple[float, ...]:
        """The azimuths of its sides or of its corners. Raises InputError where it has none."""
        found = {"side": self.sides_deg, "corner": self.corners_deg}[one_per]
        if not found:
            raise InputError(f"the outline has no {one_per}s", key="one_per", value=one_per, expected="azimuth_deg")
        return found
