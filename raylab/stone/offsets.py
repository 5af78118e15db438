"""A stone with its facets off: steeper, turned, deeper, painted, tilted. The result is a stone like any other.

Each offset has its own pivot, so that a facet moves as it would on the wheel and stays where it was otherwise:

* ``slope_deg``: steeper (positive) or flatter, about the facet's own middle (the centroid of its polygon), so that the facet
  stays where it was. A level facet has no azimuth; it is tilted so that it falls towards ``azimuth_deg``: a tilted table is
  ``{"table": Offset(slope_deg=0.5, azimuth_deg=30)}``.
* ``azimuth_deg``: turned about the stone's axis (z), counter-clockwise seen from above, as by an error of the index wheel: the
  facet's depth and slope stay and its middle goes round with it.
* ``depth_mm``: pushed in along its own normal (positive: more is taken off).
* ``painting_deg``: a half turned about the edge that it shares with its main, until its azimuth is nearer to the main's by this
  angle (painting), or farther from it (negative: digging). The edge stays, and with it the points where main and half meet
  star, girdle and culet; the girdle between two halves grows with painting and shrinks with digging.

Painting is done first, on the stone as given; then slope, azimuth and depth, on the facets as painted.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, fields, replace

import numpy as np

from ..errors import InputError, StoneError, nearest
from ..plane_geometry import following, rotation_about_z
from ..units import number_in
from .known_cuts import tiers_of
from .planes import Position, Slant, normal_of, plane_at, tangent_through
from .stone import Stone

LEVEL = 1e-9
"""A normal that leans by less than this is upright: its facet is level."""


@dataclass(frozen=True)
class Offset:
    """Deviation of a facet; see the module for the pivots.

    `slope_deg` and `azimuth_deg` degrees, `depth_mm` mm inward, `painting_deg` degrees towards the main.
    """

    slope_deg: float = 0.0
    azimuth_deg: float = 0.0
    depth_mm: float = 0.0
    painting_deg: float = 0.0

    def __post_init__(self) -> None:
        for key, most in (("slope_deg", 90.0), ("azimuth_deg", 360.0), ("painting_deg", 30.0)):
            number_in(key, getattr(self, key), -most, most, "degrees")
        number_in("depth_mm", self.depth_mm, -1e3, 1e3, "mm")

    def __add__(self, other: Offset) -> Offset:
        return Offset(*(getattr(self, field.name) + getattr(other, field.name) for field in fields(self)))


def deviate(stone: Stone, offsets: Mapping[str, Offset], *, vanish: bool = False, name: str | None = None) -> Stone:
    """The stone with deviations of some facets.

    Parameters
    ----------
    offsets : deviations by tier (``"crown main"``) or facet (``"crown main 3"``); both add up.
    vanish : False to refuse offsets that make a facet vanish; True to drop the facet (named in `Stone.dropped`).
    name : name of the stone; by default unchanged.

    Raises
    ------
    InputError : an unknown tier or facet, painting of a facet without a common edge with a main.
    StoneError : facets that vanish, planes that enclose no body; the message names them.

    >>> from raylab.stone.cuts.round_brilliant import round_brilliant
    >>> ideal = round_brilliant(table_pct=57, crown_angle_deg=34.5, pavilion_angle_deg=40.75)
    >>> off = deviate(ideal, {"pavilion main 2": Offset(slope_deg=0.5)})
    >>> [round(float(s), 9) for s, t in zip(off.slope_deg(), off.tiers) if t == "pavilion main"][:4]
    [40.75, 40.75, 41.25, 40.75]
    """
    each = _by_facet(stone, offsets)
    planes = [(stone.normals[f], float(stone.distances_mm[f])) for f in range(len(stone))]
    for f, offset in enumerate(each):
        if offset.painting_deg:
            planes[f] = _painted(stone, f, offset.painting_deg)
    painted = _rebuilt(stone, planes, vanish)
    where = {painted.facet_name(f): f for f in range(len(painted))}
    planes = [(n, float(d)) for n, d in zip(painted.normals, painted.distances_mm, strict=True)]
    for f, offset in enumerate(each):
        at = where.get(stone.facet_name(f))
        if at is not None and offset != Offset(painting_deg=offset.painting_deg):
            planes[at] = moved_plane(*planes[at], painted.polyhedron.centroids[at], offset)
    off = _rebuilt(painted, planes, vanish)
    return replace(off, name=stone.name if name is None else name, dropped=stone.dropped + painted.dropped + off.dropped)


def _by_facet(stone: Stone, offsets: Mapping[str, Offset]) -> list[Offset]:
    each = [Offset() for _ in range(len(stone))]
    for key, offset in offsets.items():
        if not isinstance(offset, Offset):
            raise InputError("wrong type", key=str(key), value=offset, expected="Offset(slope_deg=..., ...)")
        found = [f for f in range(len(stone)) if key in (stone.tiers[f], stone.facet_name(f))]
        if not found:
            known = {*stone.tiers, *(stone.facet_name(f) for f in range(len(stone)))}
            raise InputError("unknown tier or facet", key="offsets", value=key, expected=nearest(str(key), known))
        for f in found:
            each[f] = each[f] + offset
    return each


def _rebuilt(stone: Stone, planes: list[tuple[np.ndarray, float]], vanish: bool) -> Stone:
    """The stone with other planes; the same object's facts otherwise."""
    normals, distances = np.array([n for n, _ in planes]), np.array([d for _, d in planes])
    return stone.with_planes(normals, distances, redundant="drop" if vanish else "refuse")


def moved_plane(n: np.ndarray, d: float, middle: np.ndarray, offset: Offset) -> tuple[np.ndarray, float]:
    """A plane (unit normal, distance) after an offset; `middle` (3,) is the middle of its facet, on the plane."""
    flat = math.hypot(n[0], n[1])
    if flat > LEVEL:
        azimuth, turn = math.atan2(n[1], n[0]), math.radians(offset.azimuth_deg)
    else:
        azimuth, turn = math.radians(offset.azimuth_deg), 0.0
    side = math.copysign(1.0, n[2])
    slope = math.atan2(flat, abs(n[2])) + math.radians(offset.slope_deg)
    steeper = normal_of(slope, azimuth, side)
    distance = d if not offset.slope_deg else float(steeper @ middle)
    turned = n if offset.slope_deg == turn == 0.0 else rotation_about_z(turn) @ steeper
    return turned, distance - offset.depth_mm


def _painted(stone: Stone, f: int, painting_deg: float) -> tuple[np.ndarray, float]:
    """The plane of a half through the edge with its main, its azimuth nearer to the main's by an angle."""
    main, start, end = _edge_with_main(stone, f)
    own, of_main = (math.atan2(*stone.normals[i, 1::-1]) for i in (f, main))
    turn = math.remainder(of_main - own, 2.0 * math.pi)
    azimuth = own + math.copysign(math.radians(painting_deg), turn) * (1.0 if painting_deg > 0.0 else -1.0)
    side = math.copysign(1.0, stone.normals[f, 2])
    one, other = Position.of(start, side), Position.of(end, side)
    tangent = tangent_through(azimuth, one, other)
    if math.isnan(tangent):
        raise StoneError("painting angle too large", key=stone.facet_name(f), value=painting_deg, expected="a smaller angle")
    return plane_at(Slant(azimuth, tangent, one), side)


def _edge_with_main(stone: Stone, f: int) -> tuple[int, np.ndarray, np.ndarray]:
    """The main that facet f shares its longest edge with, and that edge's ends (3,), (3,) mm."""
    wanted = next((tier.painted_toward for tier in tiers_of(stone) if tier.name == stone.tiers[f]), None)
    corners, loops = stone.vertices_mm, stone.polyhedron.loops
    own = {(a, b) for a, b in zip(loops[f], following(loops[f]), strict=True)}
    found = [
        (float(np.linalg.norm(corners[a] - corners[b])), g, a, b)
        for g, tier in enumerate(stone.tiers)
        if tier == wanted
        for b, a in zip(loops[g], following(loops[g]), strict=True)
        if (a, b) in own
    ]
    if not found:
        painted = [repr(tier.name) for tier in tiers_of(stone) if tier.painted_toward]
        raise InputError(
            "the facet has no common edge with a main",
            key=stone.facet_name(f),
            expected=f"a facet of tier {' or '.join(painted)}" if painted else "a facet of a half tier",
        )
    _, g, a, b = max(found)
    return g, corners[a], corners[b]
