"""`View`: the direction and distance from which the observer looks at the stone.

The observer looks straight down the dome's axis. `tilt_deg` tilts the stone under the observer:
the normal of the table leans from +z towards the azimuth `tilt_azimuth_deg`; `turn_deg` spins the stone about its own axis
first. Maps lie in the plane z = 0 of the dome's frame: x to the right, y up, mm.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ..errors import InputError
from ..plane_geometry import rotation_about
from ..stone.stone import Stone
from ..units import number_in


@dataclass(frozen=True)
class View:
    """A parallel view from above, or a perspective one from `distance_mm` above the middle of the girdle.

    Attributes: `tilt_deg` 0 to 180, `tilt_azimuth_deg`, `turn_deg` (degrees), `distance_mm` (None: parallel).
    """

    tilt_deg: float = 0.0
    tilt_azimuth_deg: float = 0.0
    turn_deg: float = 0.0
    distance_mm: float | None = None

    def __post_init__(self) -> None:
        number_in("tilt_deg", self.tilt_deg, 0.0, 180.0, "degrees")
        number_in("tilt_azimuth_deg", self.tilt_azimuth_deg, -360.0, 360.0, "degrees")
        number_in("turn_deg", self.turn_deg, -3600.0, 3600.0, "degrees")
        if self.distance_mm is not None:
            number_in("distance_mm", self.distance_mm, 0.1, 1e9, "mm")

    @property
    def parallel(self) -> bool:
        """True where all view rays run in one direction."""
        return self.distance_mm is None

    def rotation(self) -> np.ndarray:
        """(3, 3) matrix that takes the stone's axes to the dome's."""
        turn = rotation_about((0.0, 0.0, 1.0), self.turn_deg)
        azimuth = math.radians(self.tilt_azimuth_deg)
        return rotation_about((-math.sin(azimuth), math.cos(azimuth), 0.0), self.tilt_deg) @ turn


def silhouette(stone: Stone, view: View) -> np.ndarray:
    """(V, 2) the stone's corners as the view shows them on the map plane, mm.

    Raises InputError where a perspective eye is not clear above the stone.
    """
    corners = stone.vertices_mm @ view.rotation().T
    if view.distance_mm is None:
        return corners[:, :2]
    depth = view.distance_mm - corners[:, 2]
    if depth.min() <= 0.0:
        raise InputError(
            "the eye is inside or behind the stone",
            key="view.distance_mm",
            value=view.distance_mm,
            expected=f"more than {corners[:, 2].max():.3g} mm",
        )
    return corners[:, :2] * (view.distance_mm / depth)[:, None]
