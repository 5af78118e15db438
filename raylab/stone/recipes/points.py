"""Where the points of a recipe lie, on what is laid already."""

from __future__ import annotations

import math

import numpy as np

from ...errors import InputError
from .girdle import Girdle
from .laid import Body, Laid
from .recipe import Point

_OTHERS = ("girdle_deg", "girdle_corner", "foot", "axis_mm", "xyz_mm")
_LEAST = 1e-9
"""Planes whose normals span less than this volume meet in no point."""


def placed(point: Point, body: Body, girdle: Girdle, side: float, facing_deg: float | None) -> np.ndarray:
    """(3,) mm, a point that a facet of one side (+1 up, -1 down), facing an azimuth, is laid through.

    Raises InputError for a point that is stated in no way or in two, and for one that there isn't.
    """
    ways = [key for key in _OTHERS if getattr(point, key) is not None]
    ways += ["on"] if point.on else []
    if len(ways) != 1:
        stated = ", ".join(ways) or "nothing"
        raise InputError(f"a point stated by {stated}", key="through", expected="one of on, " + ", ".join(_OTHERS))
    scalars = [key for key in ("azimuth_deg", "height_mm", "way_pct") if getattr(point, key) is not None]
    if scalars and not point.on:
        raise InputError("belongs to a point that lies on facets", key=scalars[0], expected="on = [...] beside it")
    if point.girdle_deg is not None:
        return np.array([*girdle.point(point.girdle_deg), side * girdle.rim_mm])
    if point.girdle_corner is not None:
        corners = girdle.corners()
        number = point.girdle_corner
        if not 0 <= number < len(corners):
            expected = f"0 to {len(corners) - 1}" if len(corners) else "girdle_deg, since the outline is curved"
            raise InputError("no such corner", key="girdle_corner", value=number, expected=expected)
        return np.array([*corners[number], side * girdle.rim_mm])
    if point.foot is not None:
        return foot_of(body.named((point.foot,), facing_deg, "foot")[0], girdle)
    if point.axis_mm is not None:
        return np.array([0.0, 0.0, point.axis_mm])
    if point.xyz_mm is not None:
        return np.array(point.xyz_mm)
    facets = body.named(point.on, facing_deg)
    if len(facets) + len(scalars) != 3 or ("way_pct" in scalars and len(facets) != 2):
        expected = "three facets; two and azimuth_deg, height_mm or way_pct; one and azimuth_deg and height_mm"
        raise InputError(f"{len(facets)} facets and {len(scalars)} numbers", key="on", value=list(point.on), expected=expected)
    if point.way_pct is not None:
        return _along(facets, point.way_pct, girdle, side)
    return _meeting(facets, point)


def foot_of(facet: Laid, girdle: Girdle) -> np.ndarray:
    """(3,) where a facet stands on the girdle: on its plane, over the point of the outline whose tangent faces as it does."""
    x, y = girdle.foot(facet.azimuth_deg)
    nx, ny, nz = facet.normal
    if not abs(nz) > _LEAST:
        raise InputError("a vertical facet has no foot", key="foot", value=facet.tier, expected="a facet that slopes")
    return np.array([x, y, (facet.distance - nx * x - ny * y) / nz])


def _meeting(facets: list[Laid], point: Point) -> np.ndarray:
    rows, values = [facet.normal for facet in facets], [facet.distance for facet in facets]
    if point.azimuth_deg is not None:
        azimuth = math.radians(point.azimuth_deg)
        rows.append(np.array([-math.sin(azimuth), math.cos(azimuth), 0.0]))
        values.append(0.0)
    if point.height_mm is not None:
        rows.append(np.array([0.0, 0.0, 1.0]))
        values.append(point.height_mm)
    if abs(np.linalg.det(rows)) < _LEAST:
        raise InputError("these meet in no point", key="on", value=list(point.on), expected="facets that cross")
    found = np.linalg.solve(rows, values)
    if point.azimuth_deg is not None and found[:2] @ [math.cos(azimuth), math.sin(azimuth)] < -_LEAST:
        raise InputError(
            "the point lies across the axis", key="azimuth_deg", value=point.azimuth_deg, expected="the azimuth opposite"
        )
    return np.asarray(found)


class Line:
    """The line in which two facets meet, seen from above: from where it is nearest to the axis out to the girdle."""

    def __init__(self, one: Laid, other: Laid, girdle: Girdle, side: float) -> None:
        run = np.cross(one.normal, other.normal)
        plan = float(np.linalg.norm(run[:2]))
        if plan < _LEAST or abs(run[2]) < _LEAST * plan:
            raise InputError("a line that doesn't rise has no way", key="way_pct", expected="azimuth_deg, or facets that slope")
        run /= -side * math.copysign(plan, run[2])  # outward a crown falls, and a pavilion rises
        middle = np.array([*run[:2], 0.0])
        self.inner = np.linalg.solve([one.normal, other.normal, middle], [one.distance, other.distance, 0.0])
        self.run = run
        self.length = girdle.way_out(self.inner[:2], run[:2])

    def at(self, way_pct: float) -> np.ndarray:
        """(3,) the point so far from the girdle."""
        return np.asarray(self.inner + (1.0 - way_pct / 100.0) * self.length * self.run)

    def way_pct(self, point: np.ndarray) -> float:
        """How far a point (3,) of the line is from the girdle."""
        return 100.0 * (1.0 - float((point - self.inner)[:2] @ self.run[:2]) / self.length)


def _along(facets: list[Laid], way_pct: float, girdle: Girdle, side: float) -> np.ndarray:
    if not 0.0 <= way_pct <= 100.0:
        raise InputError("out of range", key="way_pct", value=way_pct, expected="0 to 100 %")
    return Line(facets[0], facets[1], girdle, side).at(way_pct)


def mate_of(meets: str, height_mm: float | None, body: Body, facing_deg: float) -> tuple[Laid, np.ndarray]:
    """The facet of a tier that a facet, facing an azimuth, takes over from at a height, and a point (3,) of the line there."""
    mate = body.named((meets,), facing_deg, "meets")[0]
    if height_mm is None:
        raise InputError("missing", key="height_mm", expected=f"the height at which a facet leaves the {meets}, mm")
    level = mate.normal[:2] @ mate.normal[:2]
    if not level > _LEAST:
        raise InputError("a level facet has no such height", key="meets", value=meets, expected="a tier that slopes")
    return mate, np.array([*(mate.normal[:2] * (mate.distance - mate.normal[2] * height_mm) / level), height_mm])
