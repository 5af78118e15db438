"""`View`: the direction and distance from which the observer looks at the stone, and the projection on the map plane.

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
    """A parallel view from above, or a perspective one from an eye above the girdle.

    Attributes
    ----------
    tilt_deg : 0 to 180. tilt_azimuth_deg, turn_deg : degrees.
    distance_mm : height of the eye above the middle of the girdle, mm; None for a parallel view.
    aside_mm : offset of the eye from the axis of the dome along x of the map, mm; perspective views only.
    pupil_mm : diameter of the pupil, a level disc, mm; 0 for a point; perspective views only. The girdle plane is in focus, and
        other points are blurred.
    """

    tilt_deg: float = 0.0
    tilt_azimuth_deg: float = 0.0
    turn_deg: float = 0.0
    distance_mm: float | None = None
    aside_mm: float = 0.0
    pupil_mm: float = 0.0

    def __post_init__(self) -> None:
        number_in("tilt_deg", self.tilt_deg, 0.0, 180.0, "degrees")
        number_in("tilt_azimuth_deg", self.tilt_azimuth_deg, -360.0, 360.0, "degrees")
        number_in("turn_deg", self.turn_deg, -3600.0, 3600.0, "degrees")
        if self.distance_mm is not None:
            number_in("distance_mm", self.distance_mm, 0.1, 1e9, "mm")
        number_in("aside_mm", self.aside_mm, -1e6, 1e6, "mm")
        number_in("pupil_mm", self.pupil_mm, 0.0, 20.0, "mm")
        for key in ("aside_mm", "pupil_mm"):
            if self.distance_mm is None and getattr(self, key):
                raise InputError("needs a perspective view", key=key, value=getattr(self, key), expected="distance_mm as well")

    @property
    def parallel(self) -> bool:
        """True where all view rays run in one direction."""
        return self.distance_mm is None

    @property
    def eye_mm(self) -> np.ndarray | None:
        """(3,) the middle of the pupil in the dome's frame, mm; None for a parallel view."""
        return None if self.distance_mm is None else np.array([self.aside_mm, 0.0, self.distance_mm])

    def rotation(self) -> np.ndarray:
        """(3, 3) matrix that takes the stone's axes to the dome's."""
        turn = rotation_about((0.0, 0.0, 1.0), self.turn_deg)
        azimuth = math.radians(self.tilt_azimuth_deg)
        return rotation_about((-math.sin(azimuth), math.cos(azimuth), 0.0), self.tilt_deg) @ turn


def silhouette(stone: Stone, view: View) -> np.ndarray:
    """(V, 2) corners of the stone on the map plane, mm, seen from the middle of the pupil.

    Raises InputError where a perspective eye is not clear above the stone.
    """
    return _projected(stone, view, view.eye_mm)


def height_above(stone: Stone) -> float:
    """A height, mm, that is clear above a stone however it is turned: where parallel view rays begin."""
    return 2.0 * math.sqrt(3.0) * float(np.abs(stone.vertices_mm).max())


def extent(stone: Stone, view: View) -> np.ndarray:
    """(K, 2) points of the map plane, mm, that bound the stone in the view, with the blur of a pupil.

    Raises InputError as `silhouette`.
    """
    eye, radius = view.eye_mm, 0.5 * view.pupil_mm
    if eye is None or not radius:
        return silhouette(stone, view)
    rim = radius * np.array([[1.0, 0.0, 0.0], [-1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, -1.0, 0.0]])
    return np.concatenate([_projected(stone, view, eye + aside) for aside in rim])


def _projected(stone: Stone, view: View, eye: np.ndarray | None) -> np.ndarray:
    """(V, 2) corners of the stone on the map plane, mm, seen from a point (3,) in the dome's frame, or in parallel."""
    corners = stone.vertices_mm @ view.rotation().T
    if eye is None:
        return corners[:, :2]
    clearance = eye[2] - corners[:, 2]
    if clearance.min() <= 0.0:
        raise InputError(
            "the eye is inside or behind the stone",
            key="view.distance_mm",
            value=view.distance_mm,
            expected=f"more than {corners[:, 2].max():.3g} mm",
        )
    return eye[:2] + (corners[:, :2] - eye[:2]) * (eye[2] / clearance)[:, None]
