"""What a recipe states: tiers in cutting order, and the points that facets pass through."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from ..planes import DOWN, UP

GIRDLE_EDGE = "girdle"
"""The mate of a facet that stands on the girdle."""


@dataclass(frozen=True)
class Point:
    """A point that facets pass through, stated in one of these ways.

    Attributes
    ----------
    on : facets that are laid already, by tier and number (``"crown main 0"``), or by tier alone for the one nearest to the
        azimuth; a tier named twice stands for the two beside it. Three facets meet in a point; with two, one of the next three
        numbers is stated, with one, azimuth and height.
    azimuth_deg : azimuth of the point. height_mm : its height over the middle of the girdle, negative below.
    way_pct : where it lies on the line in which two facets meet, seen from above: percent of the way from the girdle to where
        the line is nearest to the axis.
    girdle_deg : the point of the girdle's edge at this azimuth. girdle_corner : a corner of the girdle's edge, by its number
        counter-clockwise from +x, where the outline is a polygon. foot : where the facet of this tier stands on the girdle.
    axis_mm : the point of the axis at this height. xyz_mm : the point itself.
    """

    on: tuple[str, ...] = ()
    azimuth_deg: float | None = None
    height_mm: float | None = None
    way_pct: float | None = None
    girdle_deg: float | None = None
    girdle_corner: int | None = None
    foot: str | None = None
    axis_mm: float | None = None
    xyz_mm: tuple[float, float, float] | None = None


@dataclass(frozen=True)
class RecipeTier:
    """A tier, or those of its facets that are stated together.

    Attributes
    ----------
    azimuth_deg : one azimuth, which is repeated by the stone's symmetry, or several, which are not.
    one_per : a facet for each side or corner of the outline.
    slope_deg : angle to the girdle plane. distance_mm : from the origin, along the normal.
    meets : the girdle, or a tier whose facets are cut already; then `height_mm` says how high its facets are left.
    through : points.
    """

    name: str
    side: Literal["crown", "pavilion"]
    azimuth_deg: float | tuple[float, ...] | None = None
    one_per: Literal["side", "corner"] | None = None
    slope_deg: float | None = None
    distance_mm: float | None = None
    meets: str | None = None
    height_mm: float | None = None
    through: tuple[Point, ...] = ()
    finish: str = "polished"

    @property
    def faces(self) -> float:
        """The sign of its normals' z."""
        return UP if self.side == "crown" else DOWN
