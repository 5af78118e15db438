"""Derivatives of a stone's light by dual numbers: an independent, slow and plain second method for `gradient`.

A dual number a + b eps, eps^2 = 0, carries a value and its derivative through every operation. For each path that the exact
tracer found (a list of facets), the polygon of rays that takes it and the weight that leaves at its hits are computed anew
from the facet planes, with complex field amplitudes along the real path. Only the planes' own change with a proportion is
stepped, which is smooth. Nothing is shared with the engines but `Stone` and `Dome`.
"""

from __future__ import annotations

import cmath
from typing import Any

import numpy as np


class Dual:
    """A value and its derivative, real or complex."""

    __slots__ = ("dot", "x")

    def __init__(self, x: complex, dot: complex = 0.0) -> None:
        self.x, self.dot = x, dot

    def __add__(self, other: Any) -> Dual:
        other = dual(other)
        return Dual(self.x + other.x, self.dot + other.dot)

    def __sub__(self, other: Any) -> Dual:
        other = dual(other)
        return Dual(self.x - other.x, self.dot - other.dot)

    def __mul__(self, other: Any) -> Dual:
        other = dual(other)
        return Dual(self.x * other.x, self.dot * other.x + self.x * other.dot)

    def __truediv__(self, other: Any) -> Dual:
        other = dual(other)
        ratio = self.x / other.x
        return Dual(ratio, (self.dot - ratio * other.dot) / other.x)

    def __neg__(self) -> Dual:
        return Dual(-self.x, -self.dot)

    def __rsub__(self, other: Any) -> Dual:
        return dual(other) - self

    __radd__, __rmul__ = __add__, __mul__

    def __rtruediv__(self, other: Any) -> Dual:
        return dual(other) / self

    def sqrt(self) -> Dual:
        """The root; of a negative real number, the positive imaginary one."""
        root = cmath.sqrt(self.x)
        root = root.real if root.imag == 0.0 else root
        return Dual(root, self.dot / (2.0 * root))

    def size2(self) -> Dual:
        """|a|^2, real."""
        x, dot = complex(self.x), complex(self.dot)
        return Dual(abs(x) ** 2, 2.0 * (x.conjugate() * dot).real)


def dual(value: Any) -> Dual:
    return value if isinstance(value, Dual) else Dual(value)


Vector = tuple[Dual, Dual, Dual]


def dot(a: Vector, b: Vector) -> Dual:
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]


def plus(a: Vector, b: Vector, factor: Any) -> Vector:
    """a + factor b."""
    return tuple(p + factor * q for p, q in zip(a, b, strict=True))  # type: ignore[return-value]


def cross(a: Vector, b: Vector) -> Vector:
    return (a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0])


def unit(a: Vector) -> Vector:
    length = dot(a, a).sqrt()
    return tuple(part / length for part in a)  # type: ignore[return-value]


def vector(values: np.ndarray, dots: np.ndarray) -> Vector:
    return tuple(Dual(float(x), float(d)) for x, d in zip(values, dots, strict=True))  # type: ignore[return-value]


class Body:
    """A stone's planes n.x = d with their derivatives by one proportion."""

    def __init__(self, stone: Any, before: Any, after: Any, step: float) -> None:
        self.normals = [
            vector(n, (b - a) / (2.0 * step)) for n, a, b in zip(stone.normals, before.normals, after.normals, strict=True)
        ]
        slopes = (after.distances_mm - before.distances_mm) / (2.0 * step)
        self.distances = [Dual(float(d), float(s)) for d, s in zip(stone.distances_mm, slopes, strict=True)]
        self.planes = stone.normals, stone.distances_mm


class Ray:
    """All rays of one path: o(x, y) = o0 + x ox + y oy, direction v; two fields, one for each polarisation at the eye."""

    def __init__(self, body: Body, facet: int, corners: list[tuple[float, float]], n: float) -> None:
        self.body, self.n = body, n
        normal, distance = body.normals[facet], body.distances[facet]
        down: Vector = (Dual(0.0), Dual(0.0), Dual(-1.0))
        self.v = down
        self.o = [(Dual(0.0), Dual(0.0), Dual(0.0)), (Dual(1.0), Dual(0.0), Dual(0.0)), (Dual(0.0), Dual(1.0), Dual(0.0))]
        self.slide(normal, distance)
        self.polygon = [(Dual(x), Dual(y)) for x, y in corners]
        cos = -dot(normal, down)
        s = unit(cross(down, normal)) if abs(cos.x) < 1.0 - 1e-12 else (Dual(1.0), Dual(0.0), Dual(0.0))
        cos_t = (1.0 - (1.0 - cos * cos) / (n * n)).sqrt()
        p = cross(s, down)
        self.v = tuple(a / n + b * (cos / n - cos_t) for a, b in zip(down, normal, strict=True))  # type: ignore[assignment]
        root = (n * cos_t / cos).sqrt()  # the flux through the surface is kept: amplitudes are those of its root
        t_s, t_p = root * (2.0 * cos / (cos + n * cos_t)), root * (2.0 * cos / (n * cos + cos_t))
        p_in = cross(s, self.v)
        self.fields = [tuple(t_s * part for part in s), tuple(t_p * part for part in p_in)]
        self.glare = [((cos - n * cos_t) / (cos + n * cos_t)).size2(), ((n * cos - cos_t) / (n * cos + cos_t)).size2()]
        self.mirrored = plus(down, normal, 2.0 * cos)
        self.p = p

    def slide(self, normal: Vector, distance: Dual) -> None:
        """Move o along v onto a plane."""
        over = 1.0 / dot(normal, self.v)
        for k, part in enumerate(self.o):
            self.o[k] = plus(part, self.v, ((distance if k == 0 else Dual(0.0)) - dot(normal, part)) * over)

    def keep_inside(self, facet: int) -> None:
        """Move onto the plane of a facet, and keep the part of the polygon that lies on the facet."""
        self.slide(self.body.normals[facet], self.body.distances[facet])
        for other, (normal, distance) in enumerate(zip(self.body.normals, self.body.distances, strict=True)):
            if other != facet:
                room = [distance - dot(normal, self.o[0]), -dot(normal, self.o[1]), -dot(normal, self.o[2])]
                self.polygon = cut(self.polygon, room)

    def hit(self, facet: int) -> tuple[Dual, Vector | None]:
        """Reflect at a facet; returns the weight that leaves there and where to."""
        n, normal = self.n, self.body.normals[facet]
        cos = dot(normal, self.v)
        s = unit(cross(self.v, normal))
        p, cos_t = cross(s, self.v), (1.0 - n * n * (1.0 - cos * cos)).sqrt()
        total = isinstance(cos_t.x, complex)
        r_s = (n * cos - cos_t) / (n * cos + cos_t)
        r_p = (cos - n * cos_t) / (cos + n * cos_t)
        out: Vector = plus(self.v, normal, -2.0 * cos)
        p_out = cross(s, out)
        leaves, fields = Dual(0.0), []
        for field in self.fields:
            e_s, e_p = dot(field, s), dot(field, p)
            if not total:
                root2 = cos_t / (n * cos)
                leaves = leaves + root2 * (e_s * (2.0 * n * cos / (n * cos + cos_t))).size2() / 2.0
                leaves = leaves + root2 * (e_p * (2.0 * n * cos / (cos + n * cos_t))).size2() / 2.0
            fields.append(plus(tuple(e_s * r_s * part for part in s), p_out, e_p * r_p))  # type: ignore[arg-type]
        away = None if total else plus(tuple(n * part for part in self.v), normal, cos_t - n * cos)  # type: ignore[arg-type]
        self.v, self.fields = out, fields
        for k, part in enumerate(self.o):  # o lies on the plane: mirror the slopes with v
            if k:
                self.o[k] = plus(part, normal, -2.0 * dot(normal, part))
        return leaves, away

    def inside(self) -> Dual:
        """Weight still inside."""
        return sum((part.size2() for field in self.fields for part in field), Dual(0.0)) / 2.0


def cut(polygon: list[tuple[Dual, Dual]], room: list[Dual]) -> list[tuple[Dual, Dual]]:
    """The part of a polygon where room[0] + x room[1] + y room[2] >= 0."""
    if not polygon:
        return []
    free = [room[0] + x * room[1] + y * room[2] for x, y in polygon]
    if all(f.x >= 0.0 for f in free):
        return polygon
    kept = []
    for k, (x, y) in enumerate(polygon):
        (px, py), f, g = polygon[k - 1], free[k], free[k - 1]
        if (f.x >= 0.0) != (g.x >= 0.0):
            share = g / (g - f)
            kept.append((px + share * (x - px), py + share * (y - py)))
        if f.x >= 0.0:
            kept.append((x, y))
    return kept


def area(polygon: list[tuple[Dual, Dual]]) -> Dual:
    twice = Dual(0.0)
    for k, (x, y) in enumerate(polygon):
        twice = twice + polygon[k - 1][0] * y - x * polygon[k - 1][1]
    return 0.5 * twice


def overcast(away: Vector) -> Dual:
    """Radiance of the standard overcast sky towards a direction above the horizon."""
    return (1.0 + 2.0 * away[2]) / 3.0


def ledger_of_paths(body: Body, paths: list[list[int]], corners: list[tuple[float, float]], n: float) -> dict[str, Dual]:
    """Sums over paths of area (mm^2) times ledger under an overcast sky: brightness, sky, leak, untraced, area.

    `corners` is the outline's wedge that the paths tile, counter-clockwise.
    """
    total = {name: Dual(0.0) for name in ("brightness", "sky", "leak", "untraced", "area")}
    for path in paths:
        ray = Ray(body, path[0], corners, n)
        ray.keep_inside(path[0])
        facts = {name: Dual(0.0) for name in total}
        glare = (ray.glare[0] + ray.glare[1]) / 2.0
        book(facts, glare, ray.mirrored)
        for facet in path[1:]:
            ray.keep_inside(facet)
            leaves, away = ray.hit(facet)
            if away is not None:
                book(facts, leaves, away)
        facts["untraced"], facts["area"] = ray.inside(), Dual(1.0)
        here = area(ray.polygon)
        for name, value in facts.items():
            total[name] = total[name] + here * value
    return total


def book(facts: dict[str, Dual], weight: Dual, away: Vector) -> None:
    entry = "sky" if away[2].x >= 0.0 else "leak"
    facts[entry] = facts[entry] + weight
    if entry == "sky":
        facts["brightness"] = facts["brightness"] + weight * overcast(away)
