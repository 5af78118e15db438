"""The outline of a girdle, seen from above: its extent in every direction, and its flats."""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from dataclasses import dataclass
from functools import lru_cache

import numpy as np


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

    def support(self, azimuth: float) -> float:
        return self.radius

    def flats(self, count: int) -> tuple[np.ndarray, np.ndarray]:
        return _even_normals(count), np.full(count, self.radius * math.cos(math.pi / count))

    @property
    def area(self) -> float:
        return math.pi * self.radius**2
