"""View rays spread evenly over a stone's outline, for area means by sampling.

Each randomization is a Fibonacci lattice in the unit square with a random shift: two numbers in a row of the Fibonacci sequence
make a lattice whose error is of the least order possible in two dimensions (Sloan and Joe, Lattice Methods for Multiple
Integration, 1994; from memory). All randomizations are independent and alike, so their scatter is the error. Every shift is a
pure function of the seed and its number. Stones of one scene share the points of the square, so the errors of like stones are
alike and most of them goes from a difference.

The square is laid over the outline as a fan of triangles, each with its share of the square, so that equal areas take equal
numbers of rays and none misses the stone. Where stone, dome and view share a symmetry, the outline of one wedge stands for all.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from ..convex_hulls import ConvexHull
from ..jit import njit
from ..scene.scene import Scene
from ..scene.view import silhouette
from .keyed import keyed_uniform
from .shared_symmetry import find_symmetry, within

LATTICES = (
    233, 377, 610, 987, 1597, 2584, 4181, 6765, 10946, 17711, 28657, 46368, 75025, 121393, 196418, 317811, 514229, 832040,
    1346269, 2178309, 3524578, 5702887, 9227465, 14930352,
)  # fmt: skip
"""Numbers of points of a lattice, of the Fibonacci sequence; the number before is its generator."""
FIRST_AXIS = 6
"""Axes that key shifts apart from the other random numbers of a seed, see `keyed`: those before place the samples of pixels."""


class Fan(NamedTuple):
    """An outline on the map plane, or one wedge of it, as triangles with a corner in common.

    Attributes
    ----------
    hub : (2,) the common corner, mm. rim : (T + 1, 2) the other corners in order, mm.
    upto : (T,) which share of the area the triangles have, up to and with each.
    area_mm2 : of the whole outline.
    """

    hub: np.ndarray
    rim: np.ndarray
    upto: np.ndarray
    area_mm2: float


def fan_of(scene: Scene) -> Fan:
    """The outline of a scene without a pupil. Raises InputError where a perspective eye is not clear above the stone."""
    corners = silhouette(scene.stone, scene.view)
    hull = ConvexHull(corners)
    outline = corners[hull.vertices]  # counter-clockwise
    if scene.view.parallel:
        outline = within(outline, find_symmetry(scene.stone, scene.dome.table, scene.view.rotation()).cuts)
    hub, rim = outline[0], outline[1:]
    out = rim - hub
    area = np.cumsum(out[:-1, 0] * out[1:, 1] - out[:-1, 1] * out[1:, 0])
    return Fan(np.ascontiguousarray(hub), np.ascontiguousarray(rim), area / area[-1], float(hull.volume))


@njit(inline="always")
def lattice_point(number, points, generator, along, across):
    """A point of a lattice shifted by (along, across), in the unit square."""
    u = (number + 0.5) / points + along
    v = float(number * generator % points) / points + across
    return u - math.floor(u), v - math.floor(v)


@njit(inline="always")
def lattice_lot(number, shift):
    """A third number in [0, 1) for a point, shifted too: multiples of 1 / 1.3247, the root of x^3 = x + 1, whose fractions are
    spread evenly beside those of the lattice. By which a path's lots err less than by random ones."""
    u = float((number * 3242174889) & 4294967295) / 4294967296.0 + shift
    return u - math.floor(u)


@njit(inline="always")
def shift_of(seed, number, axis):
    """The shift of a randomization along an axis, in [0, 1)."""
    return keyed_uniform(seed, number, 0, FIRST_AXIS + axis)


@njit()
def on_fan(u, v, hub, rim, upto):
    """The place (x, y), mm, of a point of the unit square; areas keep their proportions."""
    part = 0
    while part < upto.size - 1 and u > upto[part]:
        part += 1
    before = upto[part - 1] if part > 0 else 0.0
    far = math.sqrt(min(max((u - before) / (upto[part] - before), 0.0), 1.0))  # share of the way from the hub to the rim
    x = rim[part, 0] + v * (rim[part + 1, 0] - rim[part, 0])
    y = rim[part, 1] + v * (rim[part + 1, 1] - rim[part, 1])
    return hub[0] + far * (x - hub[0]), hub[1] + far * (y - hub[1])


@njit()
def fill_points(points, generator, seed, first, hub, rim, upto, out):
    """Fill out (S * points, 2), mm: the points of randomizations first, first + 1, ... in order."""
    for s in range(out.shape[0] // points):
        along, across = shift_of(seed, first + s, 0), shift_of(seed, first + s, 1)
        for k in range(points):
            u, v = lattice_point(k, points, generator, along, across)
            x, y = on_fan(u, v, hub, rim, upto)
            out[s * points + k, 0], out[s * points + k, 1] = x, y


def generator_of(points: int) -> int:
    """The Fibonacci number before one of `LATTICES`."""
    return round(points * (math.sqrt(5.0) - 1.0) / 2.0)
