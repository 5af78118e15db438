"""`SymmetryGroup`: the rotations about a stone's axis, and the mirror planes through it, that a cut is meant to have."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ..errors import InputError
from ..units import number_in

MOST_ORDER = 360


@dataclass(frozen=True)
class SymmetryGroup:
    """Rotations about z, and mirror planes through z.

    A round brilliant has order 8 with mirrors, a pear order 1 with one mirror. ``SymmetryGroup()`` has the identity only.

    Attributes
    ----------
    order : number of rotations, by multiples of 360/order degrees; 1 or more.
    mirror_deg : azimuth of one mirror plane, degrees; the others stand every 180/order degrees from it. None: no mirror.

    Raises
    ------
    InputError : an order that is no whole number from 1 to 360, a mirror that is no angle.

    >>> SymmetryGroup(8, 0.0).size, str(SymmetryGroup(1, 90.0)), SymmetryGroup.parse("8, mirror 22.5").mirror_deg
    (16, '1, mirror 90.0', 22.5)
    """

    order: int = 1
    mirror_deg: float | None = None

    def __post_init__(self) -> None:
        order = number_in("symmetry.order", self.order, 1, MOST_ORDER)
        if order != int(order):
            raise InputError("not a whole number", key="symmetry.order", value=self.order, expected=f"1 to {MOST_ORDER}")
        object.__setattr__(self, "order", int(order))
        if self.mirror_deg is not None:
            object.__setattr__(self, "mirror_deg", number_in("symmetry.mirror_deg", self.mirror_deg, -360.0, 360.0, "degrees"))

    def __str__(self) -> str:
        return f"{self.order}" if self.mirror_deg is None else f"{self.order}, mirror {self.mirror_deg!r}"

    @staticmethod
    def parse(text: str) -> SymmetryGroup:
        """The group that `str` wrote. Raises InputError for other text."""
        order, comma, mirror = text.partition(",")
        word, _, azimuth = mirror.strip().partition(" ")
        try:
            if comma and word != "mirror":
                raise ValueError
            return SymmetryGroup(int(order), float(azimuth) if comma else None)
        except ValueError as error:  # an InputError is one
            raise InputError("not a symmetry", key="symmetry", value=text, expected="such as 8, or 8, mirror 0") from error

    @property
    def size(self) -> int:
        """Number of rotations and mirror images, the identity counted; 1 where nothing is claimed."""
        return self.order if self.mirror_deg is None else 2 * self.order

    def images(self, azimuth: np.ndarray) -> np.ndarray:
        """(size, ...) where the group takes azimuths (...), radians: the rotations first, the identity first of all."""
        turns = (2.0 * np.pi * np.arange(self.order) / self.order).reshape(-1, *[1] * np.ndim(azimuth))
        rotated = azimuth + turns
        if self.mirror_deg is None:
            return rotated
        return np.concatenate([rotated, turns + 2.0 * math.radians(self.mirror_deg) - azimuth])

    def matrices(self) -> np.ndarray:
        """(size, 2, 2) the same as matrices that act on the plan."""
        x, y = self.images(np.array(0.0)), self.images(np.array(np.pi / 2.0))
        return np.stack([np.cos(x), np.cos(y), np.sin(x), np.sin(y)], axis=-1).reshape(-1, 2, 2)

    def within(self, matrices: np.ndarray, tolerance: float = 1e-9) -> bool:
        """True where each rotation and mirror of this group is among the matrices (G, 2, 2)."""
        apart = np.abs(self.matrices()[:, None] - matrices).max(axis=(2, 3))
        return bool((apart.min(axis=1) < tolerance).all())

    def turned(self, angle_deg: float) -> SymmetryGroup:
        """The group of a stone that was turned about z, counter-clockwise seen from above."""
        return self if self.mirror_deg is None else SymmetryGroup(self.order, (self.mirror_deg + angle_deg) % 180.0)
