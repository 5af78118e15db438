"""Errors of measured planes: their sizes, their correlations, and stones displaced by them.

A measured plane is off by a small tilt about the middle of its facet, in any direction, and by a small step along its
normal. Girdle flats are ground on one wheel and measured together: their errors vary smoothly around the stone. The few sides
of a girdle that is a polygon are ground and measured one by one, like facets, and so are the two flats beside a point of a
pear or a marquise: each ends a curve, and no neighbor beyond the point says how it lies.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from ...errors import InputError, StoneError
from ...units import number_in
from ..stone import Stone
from .outline_corners import sharp_corners

WAVES = 5
"""Waves around the girdle, from 0 (its size) to WAVES - 1, that share the error of its flats."""


SIDES = 12
"""A girdle of no more facets than this has sides, each with errors of its own."""

MOST_ANGLE_DEG, MOST_DISTANCE_UM = 5.0, 1000.0
"""More than this is no uncertainty of a facet."""


@dataclass(frozen=True)
class Uncertainty:
    """Standard uncertainties (one standard deviation) of a stone's measured planes.

    The defaults are common practice written from memory, for an optical measuring device with a
    stated accuracy of a tenth of a degree and some hundredths of a millimetre; no source was found. State the values of your
    device.

    Attributes
    ----------
    angle_deg : tilt of a facet about its middle, in each of two directions; one number, or one per facet.
    common_angle_deg : slope error common to all crown facets, and another common to all pavilion facets.
    distance_um : displacement of a facet along its normal; one number, or one per facet. For the girdle, error of its radius.
    across_deg : tilt of a facet about its steepest line, where that differs from `angle_deg`; one number, or one per facet. A
        long narrow facet of a scan is known far less about the line along it. None: as `angle_deg`.
    scatter_left_out : the stone was scanned, but the scan's own noise is not known, so these numbers lack it.
    unsure_walls : walls of a scanned stone's girdle beside which its points leave room for another.

    Raises
    ------
    InputError : a number that is negative, not finite, or too large to be an uncertainty of a facet.
    """

    angle_deg: float | tuple[float, ...] = 0.05
    common_angle_deg: float = 0.05
    distance_um: float | tuple[float, ...] = 3.0
    across_deg: float | tuple[float, ...] | None = None
    scatter_left_out: bool = False
    unsure_walls: int = 0

    def __post_init__(self) -> None:
        object.__setattr__(self, "angle_deg", _checked("angle_deg", self.angle_deg, MOST_ANGLE_DEG, "degrees"))
        object.__setattr__(
            self, "common_angle_deg", number_in("common_angle_deg", self.common_angle_deg, 0.0, MOST_ANGLE_DEG, "degrees")
        )
        object.__setattr__(self, "distance_um", _checked("distance_um", self.distance_um, MOST_DISTANCE_UM, "um"))
        if self.across_deg is not None:
            object.__setattr__(self, "across_deg", _checked("across_deg", self.across_deg, MOST_ANGLE_DEG, "degrees"))

    def to_dict(self) -> dict[str, Any]:
        """Plain numbers and lists, ready for JSON; what is said of a scan only where there is something to say."""
        empty = {"across_deg": None, "scatter_left_out": False, "unsure_walls": 0}
        stated = ((key, value) for key, value in vars(self).items() if key not in empty or value != empty[key])
        return {key: list(value) if isinstance(value, tuple) else value for key, value in stated}

    def with_scatter(self, slope_deg: np.ndarray, across_deg: np.ndarray, distance_um: np.ndarray) -> Uncertainty:
        """The same with a scan's own scatter, added in squares.

        Parameters
        ----------
        slope_deg, across_deg, distance_um : (F,) standard errors of slopes, of tilts about the steepest line, and of distances.

        The device's common errors stay as stated. A facet whose scatter is not finite (a narrow girdle flat) is given the
        largest uncertainty that can be stated.
        """
        sides = self.angle_deg if self.across_deg is None else self.across_deg
        angle = np.fmin(np.hypot(self.angle_deg, slope_deg), MOST_ANGLE_DEG)
        across = np.fmin(np.hypot(sides, across_deg), MOST_ANGLE_DEG)
        distance = np.fmin(np.hypot(self.distance_um, distance_um), MOST_DISTANCE_UM)
        angles, steps, turns = (tuple(one.tolist()) for one in (angle, distance, across))
        return Uncertainty(angles, self.common_angle_deg, steps, turns)

    def per_facet(self, stone: Stone) -> tuple[np.ndarray, np.ndarray]:
        """(F,) tilts in degrees and (F,) steps in um of a stone's facets. Raises InputError for a number per facet too few."""
        return _per_facet("angle_deg", self.angle_deg, len(stone)), _per_facet("distance_um", self.distance_um, len(stone))

    def modes(self, stone: Stone) -> np.ndarray:
        """(P, F, 3) the P independent errors, each one standard deviation large; those of no size are left out.

        The last axis is the tilt towards a larger slope and the tilt across it (radians), and the step outward (mm).
        """
        angle, step = self.per_facet(stone)
        across = angle if self.across_deg is None else _per_facet("across_deg", self.across_deg, len(stone))
        size = np.column_stack([np.radians(angle), np.radians(across), step * 1e-3])
        girdle = _ground_together(stone)
        leans = ~stone.on_girdle & (stone.slope_deg() > 1.0)
        found = []
        for f in np.flatnonzero(~girdle):
            for axis in range(3):
                found.append(_error(stone, f, axis, size[f, axis]))
        for side in (stone.normals[:, 2] > 0.0, stone.normals[:, 2] < 0.0):
            leaning = np.flatnonzero(side & leans)
            found.append(_error(stone, leaning, 0, math.radians(self.common_angle_deg)))
        around = np.radians(stone.azimuth_deg()[girdle])
        for axis in (0, 2) if girdle.any() else ():
            whole = size[girdle, axis] / math.sqrt(WAVES)
            for wave in range(WAVES):
                for turn in (0.0, math.pi / 2.0)[: 2 if wave else 1]:
                    found.append(_error(stone, np.flatnonzero(girdle), axis, whole * np.cos(wave * around - turn)))
        return np.array([mode for mode in found if mode.any()]).reshape(-1, len(stone), 3)

    def drawn(self, stone: Stone, key: tuple[int, ...]) -> Stone:
        """The stone with errors drawn at random; a pure function of stone and key."""
        modes = self.modes(stone)
        sizes = np.random.default_rng(key).normal(size=len(modes))
        return displaced(stone, np.tensordot(sizes, modes, axes=1))


def displaced(stone: Stone, errors: np.ndarray) -> Stone:
    """The stone with each plane tilted about its facet's middle and stepped along its normal; see `Uncertainty.modes`.

    A plane that is no facet any more is dropped. Raises InputError where the planes don't close.
    """
    n = stone.normals
    polar, azimuth = np.arccos(np.clip(n[:, 2], -1.0, 1.0)), np.radians(stone.azimuth_deg())
    down = np.column_stack([np.cos(polar) * np.cos(azimuth), np.cos(polar) * np.sin(azimuth), -np.sin(polar)])
    steeper = np.where((n[:, 2] < 0.0) & ~stone.on_girdle, -1.0, 1.0)[:, None] * down
    across = np.column_stack([-np.sin(azimuth), np.cos(azimuth), np.zeros(len(n))])
    turned = n + errors[:, :1] * steeper + errors[:, 1:2] * across
    turned /= np.linalg.norm(turned, axis=1)[:, None]
    distances = (turned * stone.polyhedron.centroids).sum(axis=1) + errors[:, 2]
    try:
        return stone.with_planes(turned, distances, redundant="drop")
    except StoneError as error:
        raise InputError(
            f"uncertainty too large: the displaced planes no longer enclose a body ({error.problem})", key="uncertainty"
        ) from error


def _ground_together(stone: Stone) -> np.ndarray:
    """(F,) bool: the girdle flats whose errors vary smoothly around the stone."""
    if stone.on_girdle.sum() <= SIDES:
        return np.zeros(len(stone), dtype=bool)
    girdle = stone.on_girdle.copy()
    girdle[[facet for corner in sharp_corners(stone) for facet in (corner.before, *corner.across, corner.after)]] = False
    return girdle


def _error(stone: Stone, facets: Any, axis: int, size: Any) -> np.ndarray:
    """(F, 3) an error of the given size on some facets."""
    error = np.zeros((len(stone), 3))
    error[facets, axis] = size
    return error


def _checked(key: str, given: Any, most: float, unit: str) -> float | tuple[float, ...]:
    """One number or several, each within range."""
    if np.ndim(given) == 0:
        return number_in(key, given, 0.0, most, unit)
    return tuple(number_in(key, one, 0.0, most, unit) for one in given)


def _per_facet(key: str, given: float | tuple[float, ...], count: int) -> np.ndarray:
    if isinstance(given, tuple) and len(given) != count:
        raise InputError("wrong number of values", key=key, value=len(given), expected=f"one number, or {count}")
    return np.broadcast_to(np.array(given), (count,))


EXACT = Uncertainty(0.0, 0.0, 0.0)
"""The planes of a stone that was designed, not measured."""
