"""The outline of a girdle, seen from above: its extent in every direction, and its flats."""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from ..symmetry_group import MOST_ORDER, SymmetryGroup

_AROUND = np.linspace(0.05, 2.0 * math.pi, 91)
"""Directions, radians, in which an outline is compared with its images, beside those that its sides face: of a polygon that
reaches as far towards all its sides as its image does, the image is the polygon."""

_SAME = 1e-9
"""Supports that differ by less than this share of the width are the same."""


class Outline(ABC):
    """A closed convex outline about the axis, in the unit of its maker; length along x, width along y."""

    @abstractmethod
    def support(self, azimuth: float) -> float:
        """Distance from the axis to the tangent that faces an azimuth (radians)."""

    @abstractmethod
    def flats(self, count: int) -> tuple[np.ndarray, np.ndarray]:
        """The outline ground in flats whose corners lie on it: outward normals (count, 3) and distances (count,)."""

    @property
    @abstractmethod
    def area(self) -> float:
        """The area it encloses."""

    @property
    def facing(self) -> tuple[float, ...]:
        """The azimuths, radians, that its sides or arcs face, once around."""
        return tuple(math.atan2(y, x) for x, y, _ in self.flats(64)[0].tolist())

    @property
    def symmetry(self) -> SymmetryGroup:
        """The rotations and mirrors about the axis that leave it as it is.

        A rotation takes the first side or arc to another, and a mirror does too, so that no more of them need be tried than it
        has sides.
        """
        facing = self.facing
        order = max(n for n in range(1, len(facing) + 1) if len(facing) % n == 0 and self._same(SymmetryGroup(n)))
        axes = sorted((facing[0] + one) / 2.0 % (math.pi / order) for one in facing)
        degrees = [round(math.degrees(axis), 9) % (180.0 / order) for axis in axes]
        return next(
            (group for axis in degrees if self._same(group := SymmetryGroup(order, axis))), SymmetryGroup(order)
        )  # fmt: skip

    def _same(self, group: SymmetryGroup) -> bool:
        """Do the rotations and mirrors of a group leave it as it is?"""
        azimuths = np.r_[_AROUND, self.facing]
        far = np.array([[self.support(azimuth) for azimuth in image] for image in group.images(azimuths).tolist()])
        return bool(np.abs(far - far[0]).max() < _SAME * self.width)

    @property
    def ratio(self) -> float:
        """Length over width."""
        return self.length / self.width

    @property
    def length(self) -> float:
        """Extent along x."""
        return self.support(0.0) + self.support(math.pi)

    @property
    def width(self) -> float:
        """Extent along y."""
        return self.support(math.pi / 2.0) + self.support(-math.pi / 2.0)


@lru_cache(maxsize=32)
def _even_normals(count: int) -> np.ndarray:
    """(count, 3) level unit vectors, the first half a step from +x; kept, since every stone of a sweep asks for the same."""
    azimuths = [math.pi / count + 2.0 * math.pi * k / count for k in range(count)]
    normals = np.array([[math.cos(azimuth), math.sin(azimuth), 0.0] for azimuth in azimuths])
    normals.flags.writeable = False
    return normals


@dataclass(frozen=True)
class Circle(Outline):
    """A circle about the axis."""

    radius: float

    @property
    def symmetry(self) -> SymmetryGroup:
        """The largest group that can be stated."""
        return SymmetryGroup(MOST_ORDER, 0.0)

    def support(self, azimuth: float) -> float:
        return self.radius

    def flats(self, count: int) -> tuple[np.ndarray, np.ndarray]:
        return _even_normals(count), np.full(count, self.radius * math.cos(math.pi / count))

    @property
    def area(self) -> float:
        return math.pi * self.radius**2
