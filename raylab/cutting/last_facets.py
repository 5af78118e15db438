"""The last facets of a brilliant, each from the mains beside it as they were measured.

What `round_brilliant` says of even mains, said of mains that are not (all lengths in plan):

* star: through the middles of its two mains' edges with the table, and a tip on the edge between the mains, at the given
  share of the way from the table's edge to the girdle;
* upper half: through the star's tip and the foot of its main on the girdle; facing a quarter of the way from its main's
  azimuth to the next one's. With an upper-half length stated, its tip lies at that share of the way from the girdle to the
  table's edge instead: shorter ones leave the mains an edge in common, longer ones cut the star's tip off;
* lower half: the same on the pavilion, its tip at the given share of the way from the girdle to the place where the edge
  passes the pavilion's apex;
* painting turns a half about its edge with the main, towards the main by an angle; digging (negative) away from it.

Nothing is ever added to the blocked stone: each new plane takes a part of it away.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, fields, replace

import numpy as np

from ..errors import StoneError
from ..stone.finish import POLISHED
from ..stone.plane_through_edge import plane_through
from ..stone.stone import Stone
from ..stone.symmetry_group import SymmetryGroup
from ..units import number_in
from .blocked import Blocked

RANGES = {
    "star_pct": (0.0, 100.0, "%"),
    "lower_half_pct": (0.0, 100.0, "%"),
    "upper_half_pct": (0.0, 100.0, "%"),
    "upper_painting_deg": (-10.0, 10.0, "degrees"),
    "lower_painting_deg": (-10.0, 10.0, "degrees"),
}
"""What can be chosen: least, most, unit."""


@dataclass(frozen=True)
class LastFacets:
    """How the last facets are to be cut.

    Attributes
    ----------
    star_pct : star length, percent of the way from the table's edge to the girdle.
    lower_half_pct : lower-half length, percent of the way from the girdle to the apex.
    upper_half_pct : upper-half length, percent of the way from the girdle to the table's edge; None to meet the stars' tips.
    upper_painting_deg, lower_painting_deg : turn of the halves towards their mains; negative is digging.

    Raises
    ------
    InputError : a number out of range.
    """

    star_pct: float = 50.0
    lower_half_pct: float = 77.0
    upper_half_pct: float | None = None
    upper_painting_deg: float = 0.0
    lower_painting_deg: float = 0.0

    def __post_init__(self) -> None:
        for key, (low, high, unit) in RANGES.items():
            if (value := getattr(self, key)) is not None:
                number_in(key, value, low, high, unit, open_ends=unit == "%")

    def __str__(self) -> str:
        told = {f.name: getattr(self, f.name) for f in fields(self)}
        seen = {key: value for key, value in told.items() if key in ("star_pct", "lower_half_pct") or value}
        return ", ".join(f"{_WORDS[key]} {value:.4g}{'%' if key.endswith('_pct') else '°'}" for key, value in seen.items())


_WORDS = {
    "star_pct": "star",
    "lower_half_pct": "lower half",
    "upper_half_pct": "upper half",
    "upper_painting_deg": "upper painting",
    "lower_painting_deg": "lower painting",
}


def finished(blocked: Blocked, choice: LastFacets) -> Stone:
    """The blocked stone with stars and halves.

    Raises
    ------
    StoneError : stars that would cross the table, facets that would vanish, a girdle that would open; the message names them.
    """
    stone = blocked.stone
    new = [*_crown(blocked, choice), *_pavilion(blocked, choice)]
    ranks = {tier: k for k, tier in enumerate(("table", "star", "crown main", "upper half", "girdle", "lower half"))}
    old = zip(stone.normals, stone.distances_mm, stone.tiers, stone.indices, stone.finishes, strict=True)
    planes = sorted([*old, *((*plane, POLISHED) for plane in new)], key=lambda plane: ranks.get(plane[2], len(ranks)))
    normals, distances, tiers, indices, finishes = zip(*planes, strict=True)
    made = Stone.from_planes(
        np.array(normals),
        np.array(distances),
        tiers=tiers,
        indices=indices,
        material=stone.material,
        finishes=finishes,
        symmetry=_symmetry(blocked),
        name=stone.name,
        redundant="drop",
    )
    refuse_lost(made.dropped, f"with {choice}")
    return replace(made, dropped=stone.dropped)


def _symmetry(blocked: Blocked) -> SymmetryGroup:
    """What the stone claims; else that of an even brilliant with these mains, if crown and pavilion have as many."""
    claimed, n = blocked.stone.symmetry, len(blocked.crown)
    if claimed.size > 1 or n != len(blocked.pavilion):
        return claimed
    return SymmetryGroup(n, float(blocked.stone.azimuth_deg()[blocked.crown[0]]))


def refuse_lost(lost: Sequence[str], when: str) -> None:
    """Raise StoneError where planes are no facets any more: a girdle that opens, else facets that vanish."""
    girdle = [name for name in lost if name.startswith("girdle ")]
    if girdle:
        raise StoneError(f"{when} the girdle opens to a knife edge at {_listed(girdle)}")
    if lost:
        raise StoneError(f"{when} these facets vanish: {_listed(lost)}")


def _listed(names: Sequence[str]) -> str:
    return ", ".join(names[:4]) + (f" and {len(names) - 4} more" if len(names) > 4 else "")


Plane = tuple[np.ndarray, float, str, int]


def _crown(blocked: Blocked, choice: LastFacets) -> Iterator[Plane]:
    """Stars and upper halves."""
    stone, table = blocked.stone, blocked.table
    lines = [_downhill(blocked, main) for main in blocked.crown]
    corners = [line.at(line.meets(stone, (table,))) for line in lines]
    for k, (this, after) in enumerate(_pairs(blocked.crown)):
        one, other = corners[k], corners[(k + 1) % len(corners)]
        edge = _edge(blocked, this, after)
        inner, outer = edge.crosses(one, other), edge.meets(stone, blocked.girdle)
        tip = edge.at(inner + choice.star_pct / 100.0 * (outer - inner))
        if stone.normals[table] @ tip >= stone.distances_mm[table]:
            raise StoneError(f"star {k} would cross the table", key="star_pct", value=choice.star_pct, expected="longer stars")
        normal = np.cross(tip - one, other - one)
        normal *= math.copysign(1.0, normal[2]) / np.linalg.norm(normal)
        yield normal, float(normal @ (one + other + tip) / 3.0), "star", k
        if choice.upper_half_pct is not None:
            tip = edge.at(outer + choice.upper_half_pct / 100.0 * (inner - outer))
        feet = [lines[at].at(lines[at].meets(stone, blocked.girdle)) for at in (k, (k + 1) % len(lines))]
        yield from _halves(stone, (this, after), feet, tip, "upper half", k, choice.upper_painting_deg)


def _pavilion(blocked: Blocked, choice: LastFacets) -> Iterator[Plane]:
    """Lower halves."""
    stone, mains = blocked.stone, list(blocked.pavilion)
    apex = np.linalg.lstsq(stone.normals[mains], stone.distances_mm[mains], rcond=None)[0]
    lines = [_downhill(blocked, main) for main in mains]
    for k, (this, after) in enumerate(_pairs(blocked.pavilion)):
        edge = _edge(blocked, this, after)
        outer = edge.meets(stone, blocked.girdle)
        tip = edge.at(outer + choice.lower_half_pct / 100.0 * (edge.passes(apex) - outer))
        feet = [lines[at].at(lines[at].meets(stone, blocked.girdle)) for at in (k, (k + 1) % len(lines))]
        yield from _halves(stone, (this, after), feet, tip, "lower half", k, choice.lower_painting_deg)


def _pairs(mains: Sequence[int]) -> Iterator[tuple[int, int]]:
    """Each main with the next one counter-clockwise."""
    yield from zip(mains, [*mains[1:], mains[0]], strict=True)


def _halves(
    stone: Stone, mains: tuple[int, int], feet: Sequence[np.ndarray], tip: np.ndarray, tier: str, k: int, painting_deg: float
) -> Iterator[Plane]:
    """The two halves that split the joint of two mains: the first leans on the first main."""
    start, end = (math.atan2(*stone.normals[main, 1::-1]) for main in mains)
    gap = (end - start) % (2.0 * math.pi)
    turn = gap / 4.0 - math.radians(painting_deg)
    for second, azimuth in enumerate((start + turn, end - turn)):
        found = plane_through(feet[second], tip, azimuth, float(stone.normals[mains[second], 2]))
        if found is None:
            key = tier.split()[0] + "_painting_deg"
            raise StoneError(f"{tier} {2 * k + second} can't be turned that far", key=key, value=painting_deg, expected="less")
        yield *found, tier, 2 * k + second


@dataclass(frozen=True)
class _Line:
    """A line on a stone's surface, running outward: a point and a direction, (3,) mm each."""

    start: np.ndarray
    run: np.ndarray

    def at(self, share: float) -> np.ndarray:
        return self.start + share * self.run

    def meets(self, stone: Stone, facets: Sequence[int]) -> float:
        """Where the line, running outward, first leaves through one of the facets; or where it enters through the one."""
        chosen = list(facets)
        towards = stone.normals[chosen] @ self.run
        gap = stone.distances_mm[chosen] - stone.normals[chosen] @ self.start
        if len(chosen) == 1:
            return float(gap[0] / towards[0])
        ahead = towards > 0.0
        return float((gap[ahead] / towards[ahead]).min())

    def crosses(self, one: np.ndarray, other: np.ndarray) -> float:
        """Where the line, in plan, crosses the one through two points."""
        chord = (other - one)[:2]
        across = np.array([-chord[1], chord[0]])
        return float(across @ (one - self.start)[:2] / (across @ self.run[:2]))

    def passes(self, point: np.ndarray) -> float:
        """Where the line, in plan, passes a point nearest."""
        return float((point - self.start)[:2] @ self.run[:2] / (self.run[:2] @ self.run[:2]))


def _downhill(blocked: Blocked, main: int) -> _Line:
    """The line down (or, below, up) the middle of a main to the girdle, along the main's azimuth from the z axis."""
    normal = blocked.stone.normals[main]
    out = normal[:2] / np.linalg.norm(normal[:2])
    start = np.array([0.0, 0.0, blocked.stone.distances_mm[main] / normal[2]])
    return _Line(start, np.array([*out, -(normal[:2] @ out) / normal[2]]))


def _edge(blocked: Blocked, this: int, after: int) -> _Line:
    """The edge between two neighbouring mains, from where it passes the z axis outward to the girdle."""
    planes = blocked.stone.normals[[this, after]]
    run = np.cross(*planes)
    out = (planes / np.linalg.norm(planes[:, :2], axis=1)[:, None]).sum(axis=0)[:2]
    run *= math.copysign(1.0, run[:2] @ out)
    level = np.array([*(run[:2] / np.linalg.norm(run[:2])), 0.0])
    reach = np.array([*blocked.stone.distances_mm[[this, after]], 0.0])
    return _Line(np.linalg.solve(np.array([*planes, level]), reach), run)
