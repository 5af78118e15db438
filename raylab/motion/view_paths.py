"""Ways to move a stone for a film: lists of views, one for each still, of which the last leads back to the first."""

from __future__ import annotations

import math

from ..errors import InputError, nearest
from ..scene.view import View
from ..units import number_in
from .tilting import path_of

MOST = 100_000
USUAL_DEG = {"circle": 12.0, "turn": 360.0, "rock": 15.0}
"""Default extent of each kind of motion, degrees."""


def circling(frames: int = 200, tilt_deg: float = 12.0, turn_deg: float = 0.0) -> list[View]:
    """The normal of the table moves around a cone about the line of sight."""
    count = _count(frames)
    return [View(tilt_deg, 360.0 * k / count, turn_deg) for k in range(count)]


def turning(frames: int = 200, angle_deg: float = 360.0, view: View | None = None) -> list[View]:
    """The stone turns about its own axis, starting from a view; a whole turn by default."""
    start = view or View()
    number_in("angle_deg", angle_deg, -3600.0, 3600.0, "degrees")
    count = _count(frames)
    turns = [start.turn_deg + angle_deg * k / count for k in range(count)]
    return path_of(start.tilt_deg, start.tilt_azimuth_deg, turns)


def rocking(frames: int = 200, tilt_deg: float = 15.0, azimuth_deg: float = 0.0, turn_deg: float = 0.0) -> list[View]:
    """The table leans towards the azimuth, back, to the other side and back, slower where it turns around (a sine)."""
    number_in("tilt_deg", tilt_deg, 0.0, 180.0, "degrees")
    count = _count(frames)
    return path_of([tilt_deg * math.sin(2.0 * math.pi * k / count) for k in range(count)], azimuth_deg, turn_deg)


def moved(view: View, move: str, frames: int, angle_deg: float | None = None) -> list[View]:
    """A movement by its name, with the azimuth, tilt and turn of a view where they have a meaning.

    >>> [look.turn_deg for look in moved(View(), "turn", 4)]
    [0.0, 90.0, 180.0, 270.0]
    """
    if move not in USUAL_DEG:
        raise InputError("unknown motion", key="move", value=move, expected=nearest(move, tuple(USUAL_DEG)))
    if not view.parallel:
        raise InputError("needs a parallel view", key="view.distance_mm", value=view.distance_mm, expected="none")
    most = 3600.0 if move == "turn" else 180.0
    far = number_in("angle_deg", USUAL_DEG[move] if angle_deg is None else angle_deg, 0.0, most, "degrees")
    if move == "circle":
        return circling(frames, far, view.turn_deg)
    if move == "turn":
        return turning(frames, far, view)
    return rocking(frames, far, view.tilt_azimuth_deg, view.turn_deg)


def _count(frames: int) -> int:
    return int(number_in("frames", frames, 1, MOST))
