"""Outlines of girdles that are no circle: the ellipse, outlines of circular arcs, and convex polygons.

An outline of arcs is a chain of circular arcs, each tangent to the next or meeting it in a corner. Its support function is
that of the arc whose normals face the azimuth, or of the corner between two arcs. Areas and lengths are exact.
"""

from __future__ import annotations

import math
from abc import abstractmethod
from dataclasses import dataclass

import numpy as np

from ...errors import StoneError
from ...plane_geometry import area, following
from ..symmetry_group import SymmetryGroup
from .cut import Reason
from .outline import Circle, Outline

TURN = 2.0 * math.pi
NOT_CONVEX = "not convex: light could leave such a stone and enter it again, which is not traced"
STRAIGHT = 1e-12
"""Sides whose directions differ by less, radians, are one line."""
HEART = "heart"
"""In the name of a cut or an outline, it asks for one that is not convex."""
NO_ROUND_CORNERS = Reason("no_round_corners", "corner_radius_pct", "the sides leave no room for round corners of this radius")


class Curved(Outline):
    """An outline that has one point of contact with the tangent that faces an azimuth."""

    @abstractmethod
    def contact(self, azimuth: float) -> np.ndarray:
        """(2,) the point that the tangent which faces an azimuth (radians) touches; a corner for every azimuth it faces."""

    @abstractmethod
    def reach(self, azimuth: float) -> float:
        """Distance from the axis to the outline along an azimuth, radians."""


@dataclass(frozen=True)
class Ellipse(Curved):
    """An ellipse about the axis, its half-axes along x and y."""

    along: float
    across: float

    @property
    def symmetry(self) -> SymmetryGroup:
        """Half a turn and both mirrors; a circle's where the half-axes are equal."""
        return Circle(self.along).symmetry if self.along == self.across else SymmetryGroup(2, 0.0)

    def support(self, azimuth: float) -> float:
        return math.hypot(self.along * math.cos(azimuth), self.across * math.sin(azimuth))

    def contact(self, azimuth: float) -> np.ndarray:
        far = self.support(azimuth)
        return np.array([self.along**2 * math.cos(azimuth) / far, self.across**2 * math.sin(azimuth) / far])

    def reach(self, azimuth: float) -> float:
        return 1.0 / math.hypot(math.cos(azimuth) / self.along, math.sin(azimuth) / self.across)

    def flats(self, count: int) -> tuple[np.ndarray, np.ndarray]:
        """The image of a circle's flats under the stretch that makes the ellipse of it."""
        middles = math.pi / count + TURN * np.arange(count) / count
        normals = np.column_stack([np.cos(middles) / self.along, np.sin(middles) / self.across, np.zeros(count)])
        length = np.linalg.norm(normals, axis=1)
        return normals / length[:, None], math.cos(math.pi / count) / length

    @property
    def area(self) -> float:
        return math.pi * self.along * self.across


@dataclass(frozen=True)
class Arc:
    """A circular arc, run counter-clockwise: centre, radius, and the azimuths of its normals at both ends, radians."""

    x: float
    y: float
    radius: float
    start: float
    end: float

    @property
    def turn(self) -> float:
        """By how much its normals turn."""
        return self.end - self.start

    def point(self, azimuth: float) -> np.ndarray:
        """(2,) where its normal has an azimuth."""
        return np.array([self.x + self.radius * math.cos(azimuth), self.y + self.radius * math.sin(azimuth)])

    def faces(self, azimuth: float) -> bool:
        """Does one of its normals have this azimuth?"""
        return (azimuth - self.start) % TURN <= self.turn or (self.start - azimuth) % TURN < 1e-12

    def mirrored(self) -> Arc:
        """Its mirror image in the x axis."""
        return Arc(self.x, -self.y, self.radius, -self.end, -self.start)

    def turned_half(self) -> Arc:
        """The arc turned by half a turn about the axis."""
        return Arc(-self.x, -self.y, self.radius, self.start + math.pi, self.end + math.pi)


@dataclass(frozen=True)
class Arcs(Curved):
    """A convex outline of arcs in counter-clockwise order, each of which ends where the next begins."""

    arcs: tuple[Arc, ...]

    @property
    def facing(self) -> tuple[float, ...]:
        return tuple((arc.start + arc.end) / 2.0 for arc in self.arcs)

    def support(self, azimuth: float) -> float:
        x, y = self.contact(azimuth)
        return float(x * math.cos(azimuth) + y * math.sin(azimuth))

    def contact(self, azimuth: float) -> np.ndarray:
        for arc in self.arcs:
            if arc.faces(azimuth):
                return arc.point(azimuth)
        towards = np.array([math.cos(azimuth), math.sin(azimuth)])
        corners = [arc.point(arc.end) for arc in self.arcs]
        return corners[int(np.argmax([corner @ towards for corner in corners]))]

    def reach(self, azimuth: float) -> float:
        ux, uy = math.cos(azimuth), math.sin(azimuth)
        found = []
        for arc in self.arcs:
            along, across = arc.x * ux + arc.y * uy, arc.y * ux - arc.x * uy
            if abs(across) <= arc.radius:
                far = along + math.sqrt(arc.radius**2 - across**2)
                normal = math.atan2(far * uy - arc.y, far * ux - arc.x)
                off = min((normal - arc.start) % TURN - arc.turn, (arc.start - normal) % TURN)
                found.append((max(off, 0.0), far))
        return min(found)[1]

    def flats(self, count: int) -> tuple[np.ndarray, np.ndarray]:
        """About `count` flats: each arc has an even number of them, by its length, so that a corner stands on its middle."""
        arcs, perimeter = self.arcs, self.perimeter
        own = [2 * max(1, round(count * arc.radius * arc.turn / perimeter / 2.0)) for arc in arcs]
        halves = [arc.turn / (2.0 * number) for arc, number in zip(arcs, own, strict=True)]
        middles = np.concatenate(
            [arc.start + half * (1.0 + 2.0 * np.arange(number)) for arc, half, number in zip(arcs, halves, own, strict=True)]
        )
        from_center = [arc.radius * math.cos(half) for arc, half in zip(arcs, halves, strict=True)]
        x, y, far = (np.repeat(part, own) for part in ([arc.x for arc in arcs], [arc.y for arc in arcs], from_center))
        toward = np.array([(math.cos(middle), math.sin(middle), 0.0) for middle in middles.tolist()])
        return toward, x * toward[:, 0] + y * toward[:, 1] + far

    @property
    def perimeter(self) -> float:
        """Its length all around."""
        return sum(arc.radius * arc.turn for arc in self.arcs)

    @property
    def area(self) -> float:
        return 0.5 * sum(
            arc.radius
            * (
                arc.x * (math.sin(arc.end) - math.sin(arc.start))
                - arc.y * (math.cos(arc.end) - math.cos(arc.start))
                + arc.radius * arc.turn
            )
            for arc in self.arcs
        )


def marquise(length: float, width: float) -> Arcs:
    """Two equal arcs that meet in points on the x axis."""
    radius = (length**2 + width**2) / (4.0 * width)
    lean = math.asin(length / (2.0 * radius)) if length > width else math.pi / 2.0
    upper = Arc(0.0, width / 2.0 - radius, radius, math.pi / 2.0 - lean, math.pi / 2.0 + lean)
    return Arcs((upper, upper.turned_half()))


def pear(length: float, width: float) -> Arcs:
    """Half a circle about the axis on the side of -x, and two arcs from its ends to the point on +x.

    The axis stands where the outline is widest.
    """
    half, point = width / 2.0, length - width / 2.0
    radius = (point**2 + half**2) / (2.0 * half)
    shoulder = Arc(0.0, half - radius, radius, math.atan2(radius - half, point), math.pi / 2.0)
    return Arcs((shoulder, Arc(0.0, 0.0, half, math.pi / 2.0, 1.5 * math.pi), shoulder.mirrored()))


def cushion(length: float, width: float, side_radius: float, corner_radius: float) -> Arcs:
    """Four bowed sides of one radius and four round corners of another, each tangent to the next.

    The centre of a corner's arc lies on the circles of radius `side_radius` - `corner_radius` about the centres of both its
    sides. It is inside the quarter that the arc turns in while the corner's radius is less than `_roundest` says.

    Raises NO_ROUND_CORNERS, in percent of the width, where the radii leave no room for both.
    """
    end, side = np.array([length / 2.0 - side_radius, 0.0]), np.array([0.0, width / 2.0 - side_radius])
    most = _roundest(length, width, side_radius)
    if not 0.0 < corner_radius < most:
        least = (length**2 + width**2) / (4.0 * min(length, width))
        bound = f"less than {100.0 * most / width:.4g} %" if most > 0.0 else f"sides of more than {100.0 * least / width:.4g} %"
        raise NO_ROUND_CORNERS.error(100.0 * corner_radius / width, f"{bound} of the width")
    inner, apart = side_radius - corner_radius, float(np.linalg.norm(side - end))
    across = np.array([-(side - end)[1], (side - end)[0]]) / apart
    centers = [(end + side) / 2.0 + sign * math.sqrt(inner**2 - apart**2 / 4.0) * across for sign in (1.0, -1.0)]
    x, y = max(centers, key=sum)
    first = math.atan2(y - end[1], x - end[0])
    second = math.atan2(y - side[1], x - side[0])
    right = Arc(float(end[0]), 0.0, side_radius, -first, first)
    corner = Arc(float(x), float(y), corner_radius, first, second)
    top = Arc(0.0, float(side[1]), side_radius, second, math.pi - second)
    left_corner = Arc(-corner.x, corner.y, corner.radius, math.pi - second, math.pi - first)
    half = (right, corner, top, left_corner)
    return Arcs((*half, *(arc.turned_half() for arc in half)))


def _roundest(length: float, width: float, side_radius: float) -> float:
    """The radius that a cushion's corners stay below: there a corner's centre comes to lie on an axis, and its arc takes a
    whole side. 0 or less where the sides bow so much that they meet inside of the box of length and width."""
    end, side = side_radius - length / 2.0, side_radius - width / 2.0
    nearer = min(end, side)
    return side_radius - (end**2 + side**2) / (2.0 * nearer) if nearer > 0.0 else 0.0


def bowed_triangle(width: float, side_radius: float) -> Arcs:
    """Three equal arcs that meet in points, one of them on +x; `width` is the straight side from point to point."""
    if side_radius < width / math.sqrt(3.0):
        raise StoneError(
            "the sides bow into a circle", key="side_radius", value=side_radius, expected="at least width / sqrt(3)"
        )
    lean = math.asin(width / (2.0 * side_radius))
    inward = side_radius * math.cos(lean) - width / (
        2.0 * math.sqrt(3.0)
    )  # from the axis to an arc's centre, away from the arc
    middles = [math.pi / 3.0 + TURN * k / 3.0 for k in range(3)]
    return Arcs(tuple(Arc(-inward * math.cos(m), -inward * math.sin(m), side_radius, m - lean, m + lean) for m in middles))


@dataclass(frozen=True)
class Sides(Outline):
    """A convex polygon, by its corners (x, y) in counter-clockwise order.

    Raises StoneError for fewer than three corners, for corners that run clockwise, for a point where the outline doesn't turn,
    and for an outline that isn't convex.
    """

    corners: tuple[tuple[float, float], ...]

    def __post_init__(self) -> None:
        points = self.points
        side = following(points) - points
        after = following(side)
        turns = side[:, 0] * after[:, 1] - side[:, 1] * after[:, 0]
        if len(points) < 3 or not area(points) > 0.0:
            problem = "no outline" if len(points) < 3 else "these corners don't run once around an area"
            raise StoneError(problem, key="corners", value=len(points), expected="three or more, counter-clockwise")
        straight = np.abs(turns) <= STRAIGHT * np.linalg.norm(side, axis=1) * np.linalg.norm(after, axis=1)
        for k in np.flatnonzero((turns <= 0.0) | straight):
            corner, problem = tuple(points[(k + 1) % len(points)].tolist()), NOT_CONVEX
            if straight[k]:
                problem = "the outline doesn't turn here: a corner is stated twice, or lies on the line between two others"
            raise StoneError(problem, key="corners", value=corner, expected="a corner that turns outward")

    @property
    def points(self) -> np.ndarray:
        """(K, 2) the corners."""
        return np.array(self.corners, dtype=float).reshape(-1, 2)

    def support(self, azimuth: float) -> float:
        return float((self.points @ [math.cos(azimuth), math.sin(azimuth)]).max())

    def flats(self, count: int = 0) -> tuple[np.ndarray, np.ndarray]:
        """Its own sides, whatever their number."""
        side = following(self.points) - self.points
        normals = np.column_stack([side[:, 1], -side[:, 0], np.zeros(len(side))]) / np.linalg.norm(side, axis=1)[:, None]
        return normals, (normals[:, :2] * self.points).sum(axis=1)

    @property
    def area(self) -> float:
        return area(self.points)


def rectangle(length: float, width: float, corner: float = 0.0) -> Sides:
    """A rectangle about the axis; `corner` is how far each corner is cut back along both sides, 0 for sharp ones."""
    x, y = length / 2.0, width / 2.0
    if not 0.0 <= corner < min(x, y):
        raise StoneError("the cut corners meet", key="corner", value=corner, expected=f"0 to less than {min(x, y):g}")
    if corner == 0.0:
        return Sides(((x, -y), (x, y), (-x, y), (-x, -y)))
    half = ((x, -y + corner), (x, y - corner), (x - corner, y), (-x + corner, y))
    return Sides((*half, *((-a, -b) for a, b in half)))


def tapered(length: float, width: float, narrow: float) -> Sides:
    """A trapezoid, its sides along x: `width` across the end on -x, `narrow` across that on +x."""
    if narrow > width:
        raise StoneError("wider than the wide end", key="narrow", value=narrow, expected=f"at most {width:g}")
    x = length / 2.0
    return Sides(((x, -narrow / 2.0), (x, narrow / 2.0), (-x, width / 2.0), (-x, -width / 2.0)))


def hexagon(length: float, width: float) -> Sides:
    """Six sides with corners on the x axis; every corner has 120 degrees, two sides lie along x."""
    x, y = length / 2.0, width / 2.0
    flat = x - y / math.sqrt(3.0)
    if not flat > 0.0:
        raise StoneError(
            "too short for six sides", key="length", value=length, expected=f"more than {y / math.sqrt(3.0) * 2:g}"
        )
    return Sides(((x, 0.0), (flat, y), (-flat, y), (-x, 0.0), (-flat, -y), (flat, -y)))


def regular(sides: int, width: float) -> Sides:
    """A regular polygon with a corner on +x; `width` is twice the distance of its sides from the axis."""
    radius = width / 2.0 / math.cos(math.pi / sides)
    azimuths = [TURN * k / sides for k in range(sides)]
    return Sides(tuple((radius * math.cos(a), radius * math.sin(a)) for a in azimuths))
