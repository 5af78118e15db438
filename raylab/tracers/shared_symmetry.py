"""The symmetry of stone, dome and view together, found from the planes and the dome's table, never assumed.

A rotation about the stone's axis or a mirror plane through it counts where it takes the facets onto facets of the same
finish, leaves the direction of view as it is, and leaves the dome's light as it is. What counts forms a group of
turns and mirrors of the map plane about its origin; a wedge of the map then stands for all of it. Where nothing counts,
the group is the identity and the wedge is the whole map.

The dome is compared part by part, in the order in which its parts cover each other; a dome whose parts differ but whose
light agrees may be missed, which costs time and nothing else.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from ..jit import njit
from ..lighting.dome import IMAGE, DomeTable
from ..plane_geometry import rotation_about_z
from ..stone.stone import Stone

SAME = 1e-9
"""Planes and directions are the same when they differ by less (distances: of the stone's size)."""


class Symmetry(NamedTuple):
    """A group of symmetries as it acts on the map plane.

    maps : (G, 2, 2) orthogonal matrices, the identity first. facets : (G, F) facet f goes to facets[g, f].
    cuts : (C, 2) the wedge is where cuts @ (x, y) >= 0; no cut (C = 0): the whole map.
    """

    maps: np.ndarray
    facets: np.ndarray
    cuts: np.ndarray


def no_symmetry(stone: Stone) -> Symmetry:
    """The identity alone."""
    return Symmetry(np.eye(2)[None], np.arange(len(stone))[None], np.empty((0, 2)))


def find_symmetry(stone: Stone, dome: DomeTable, turn: np.ndarray) -> Symmetry:
    """The symmetries that stone, dome and view share.

    Parameters
    ----------
    dome : `Dome.table`. turn : (3, 3) from the stone's frame to the dome's; the view is parallel, along the dome's -z.
    """
    upright = abs(turn[2, 2]) > 1.0 - 1e-12
    matrices, images = zip(*(_stone_symmetries(stone) if upright else _leaning_mirror(stone, turn)), strict=True)
    seen = (turn @ np.array(matrices) @ turn.T)[:, :2, :2]
    kept = [k for k, matrix in enumerate(seen) if _keeps_dome(dome, matrix)]
    maps = np.ascontiguousarray(seen[kept])
    return Symmetry(maps, np.array(images)[kept], _wedge(maps))


def mirrored_across(stone: Stone, dome: DomeTable, turn: np.ndarray) -> bool:
    """Whether the plane x = 0 of the map, which holds the line of sight, is a mirror of stone and dome; `turn` as above.

    An eye to the right of it then sees the mirror image of what an eye to the left sees.
    """
    mirror = np.diag([-1.0, 1.0, 1.0])
    kept = not stone.inclusions and _Planes(stone).image(turn.T @ mirror @ turn) is not None
    return kept and _keeps_dome(dome, mirror[:2, :2])


def _mirror(angle: float) -> np.ndarray:
    """(3, 3) mirror image in the plane through z at azimuth angle/2."""
    c, s = math.cos(angle), math.sin(angle)
    return np.array([[c, s, 0.0], [s, -c, 0.0], [0.0, 0.0, 1.0]])


class _Planes:
    """A stone's planes, ready to be looked up."""

    def __init__(self, stone: Stone) -> None:
        self.normals, self.distances = stone.normals, stone.distances_mm / float(stone.size_mm.max())
        self.finish = stone.finish_codes

    def image(self, matrix: np.ndarray, which: np.ndarray | None = None) -> np.ndarray | None:
        """For each plane (or those in `which`) the plane onto which `matrix` takes it; None where one has no image."""
        rows = np.arange(len(self.distances)) if which is None else which
        onto = np.empty(len(rows), np.int64)
        return onto if _onto(self.normals, self.distances, self.finish, matrix, rows, onto) else None


@njit()
def _onto(normals, distances, finish, matrix, rows, onto):
    """Write the plane onto which `matrix` (3, 3) takes each of the planes `rows` (R,) to `onto` (R,), the nearest one.

    Returns whether each has one, of its own finish and for itself alone; it ends at the first that has none. The planes are
    normals (F, 3), distances (F,) and finish (F,).
    """
    taken = np.zeros(len(distances), np.bool_)
    for k in range(len(rows)):
        row, nearest, least = rows[k], -1, SAME * SAME
        x, y, z, d = normals[row, 0], normals[row, 1], normals[row, 2], distances[row]
        u = matrix[0, 0] * x + matrix[0, 1] * y + matrix[0, 2] * z
        v = matrix[1, 0] * x + matrix[1, 1] * y + matrix[1, 2] * z
        w = matrix[2, 0] * x + matrix[2, 1] * y + matrix[2, 2] * z
        for other in range(len(distances)):
            if abs(normals[other, 2] - w) < SAME and abs(normals[other, 0] - u) < SAME:
                apart = (normals[other, 0] - u) ** 2 + (normals[other, 1] - v) ** 2 + (normals[other, 2] - w) ** 2
                apart += (distances[other] - d) ** 2
                if apart < least:
                    nearest, least = other, apart
        if nearest < 0 or taken[nearest] or finish[nearest] != finish[row]:
            return False
        taken[nearest], onto[k] = True, nearest
    return True


def _stone_symmetries(stone: Stone) -> list[tuple[np.ndarray, np.ndarray]]:
    """All rotations about z and mirrors through z that keep the stone, as (matrix, image of each facet)."""
    planes = _Planes(stone)
    ring = _smallest_ring(planes)
    azimuths = np.arctan2(planes.normals[ring, 1], planes.normals[ring, 0])

    def holds(angle: float, mirror: bool) -> np.ndarray | None:
        matrix = _mirror(angle) if mirror else rotation_about_z(angle)
        return None if planes.image(matrix, ring) is None else planes.image(matrix)

    # The rotations are the multiples of the smallest one, whose order divides the ring's size.
    orders = [k for k in range(len(ring), 0, -1) if len(ring) % k == 0]
    order, step = next((k, image) for k in orders if (image := holds(2.0 * math.pi / k, False)) is not None)
    images = [np.arange(len(stone))]
    for _ in range(order - 1):
        images.append(step[images[-1]])
    found = [(rotation_about_z(2.0 * math.pi * k / order), image) for k, image in enumerate(images)]
    # A mirror takes the ring's first facet to some facet of it; one mirror and the rotations give the others.
    for angle in azimuths[0] + azimuths:
        mirrored = holds(angle, True)
        if mirrored is not None:
            found += [(_mirror(angle + 2.0 * math.pi * k / order), images[k][mirrored]) for k in range(order)]
            break
    return found


def _smallest_ring(planes: _Planes) -> np.ndarray:
    """The fewest facets that share slope, distance and finish, so that a symmetry must permute them."""
    kind = planes.finish
    for number in (planes.normals[:, 2], planes.distances):
        rising = np.argsort(number)
        step = np.empty(len(rising), np.int64)
        step[rising] = np.concatenate([[0], np.cumsum(np.diff(number[rising]) > 2.0 * SAME)])
        kind = kind * len(rising) + step
    tilted = np.flatnonzero(np.hypot(planes.normals[:, 0], planes.normals[:, 1]) > 1e-6)
    alike = tilted[np.argsort(kind[tilted], kind="stable")]
    starts = np.concatenate([[0], np.flatnonzero(np.diff(kind[alike])) + 1, [len(alike)]])
    least = int(np.argmin(np.diff(starts)))
    return alike[starts[least] : starts[least + 1]]


def _leaning_mirror(stone: Stone, turn: np.ndarray) -> list[tuple[np.ndarray, np.ndarray]]:
    """The identity, and the mirror plane through the stone's axis and the line of sight where it keeps the stone."""
    planes = _Planes(stone)
    sight = turn[2]
    mirror = _mirror(2.0 * math.atan2(sight[1], sight[0]))
    found = [(np.eye(3), np.arange(len(stone)))]
    image = planes.image(mirror)
    return found if image is None else [*found, (mirror, image)]


def _wedge(maps: np.ndarray) -> np.ndarray:
    """Cuts (C, 2) that leave one copy of the map plane under the group `maps`."""
    proper = np.linalg.det(maps) > 0.0
    order = int(proper.sum())
    if len(maps) == 1:
        return np.empty((0, 2))
    if proper.all():
        first, angle = 0.0, 2.0 * math.pi / order
    else:
        mirror = maps[np.flatnonzero(~proper)[0]]
        first, angle = 0.5 * math.atan2(mirror[1, 0], mirror[0, 0]), math.pi / order
    cuts = [(-math.sin(first), math.cos(first)), (math.sin(first + angle), -math.cos(first + angle))]
    return np.array(cuts[:1] if angle > 3.0 else cuts)


def _keeps_dome(dome: DomeTable, matrix: np.ndarray) -> bool:
    """Does turning or mirroring the dome about its axis leave its light as it is?"""
    if not len(dome.zones) and not len(dome.lamps) and dome.sky != IMAGE:
        return True
    mirror = bool(np.linalg.det(matrix) < 0.0)
    angle = math.atan2(matrix[1, 0], matrix[0, 0])  # azimuth a goes to angle + a, mirrored to angle - a
    moved = dome.zones.copy()
    partial = moved[:, 3] < 2.0 * math.pi - SAME
    moved[:, 2] = (angle - moved[:, 2] - moved[:, 3] if mirror else angle + moved[:, 2]) % (2.0 * math.pi)
    moved[~partial, 2] = dome.zones[~partial, 2]
    lamps = dome.lamps.copy()
    lamps[:, :2] = dome.lamps[:, :2] @ matrix.T
    if not (_same_layers(dome.zones, moved, _zones_overlap) and _same_layers(dome.lamps, lamps, _lamps_overlap)):
        return False
    return dome.sky != IMAGE or _keeps_image(dome.image, angle, mirror)


def _same_layers(parts: np.ndarray, moved: np.ndarray, overlap: Callable[[np.ndarray, np.ndarray], bool]) -> bool:
    """Are two lists of zones or lamps the same light? Within a layer the order does not matter."""
    for low, high in itertools.pairwise(_layers(parts, overlap)):
        left = list(moved[low:high])
        for part in parts[low:high]:
            differences = [_difference(part, other) for other in left]
            if not differences or min(differences) > SAME:
                return False
            left.pop(int(np.argmin(differences)))
    return True


def _layers(parts: np.ndarray, overlap: Callable[[np.ndarray, np.ndarray], bool]) -> list[int]:
    """Where to cut the list so that parts of one layer that overlap have one radiance."""
    cuts = [0]
    for k, part in enumerate(parts):
        if any(other[4] != part[4] and overlap(other, part) for other in parts[cuts[-1] : k]):
            cuts.append(k)
    return [*cuts, len(parts)]


def _zones_overlap(one: np.ndarray, other: np.ndarray) -> bool:
    level = min(one[1], other[1]) > max(one[0], other[0])
    ahead, behind = (other[2] - one[2]) % (2.0 * math.pi), (one[2] - other[2]) % (2.0 * math.pi)
    return level and (ahead < one[3] - SAME or behind < other[3] - SAME)


def _lamps_overlap(one: np.ndarray, other: np.ndarray) -> bool:
    apart = math.acos(min(1.0, max(-1.0, float(one[:3] @ other[:3]))))
    return apart < math.acos(one[3]) + math.acos(other[3])


def _difference(part: np.ndarray, other: np.ndarray) -> float:
    """Largest difference between two rows; azimuths (zones, column 2) count around the circle."""
    apart = np.abs(part - other)
    apart[2] = min(apart[2], abs(2.0 * math.pi - apart[2]))
    return float(apart.max())


def _keeps_image(image: np.ndarray, angle: float, mirror: bool) -> bool:
    """Does the image map onto itself? Only where columns fall onto columns."""
    columns = image.shape[1]
    # Column c is centred on azimuth (0.5 - (c + 0.5)/W) 2 pi; see `dome`.
    shift = angle / (2.0 * math.pi) * columns
    whole = round(shift)
    if abs(shift - whole) > SAME * columns:
        return False
    at = np.arange(columns)
    onto = (columns - 1 - at - whole) % columns if mirror else (at - whole) % columns
    return bool(np.array_equal(image[:, onto], image))


def within(polygon: np.ndarray, cuts: np.ndarray) -> np.ndarray:
    """The part (K, 2) of a polygon, counter-clockwise, inside all cuts; K = 0 where there is none."""
    for cut in cuts:
        inside = (polygon @ cut).tolist()
        if not any(here > 0.0 for here in inside):
            return polygon[:0]
        if all(here >= 0.0 for here in inside):
            continue
        kept, corners = [], polygon.tolist()  # plain numbers: arrays of two would take most of the time
        for k, (x, y) in enumerate(corners):
            here, there, (before_x, before_y) = inside[k - 1], inside[k], corners[k - 1]
            if here * there < 0.0:
                share = here / (here - there)
                kept.append((before_x + share * (x - before_x), before_y + share * (y - before_y)))
            if there >= 0.0:
                kept.append((x, y))
        polygon = np.array(kept)
    return polygon
