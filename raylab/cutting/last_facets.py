"""The last facets of a brilliant, each from the mains beside it as they were measured.

The rules are those of every brilliant (`stone.cuts.brilliant`), applied to each joint between two mains, however uneven
(`stone.cuts.joints`). With an upper-half length stated, the tip of the upper halves lies where that says instead of at the
star's: shorter ones leave the mains an edge in common, longer ones cut the star's tip off.

Nothing is ever added to the blocked stone: each new plane takes a part of it away.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..errors import StoneError
from ..stone.cuts.brilliant import LOWER_HALF, STAR, UPPER_HALF, Joint
from ..stone.cuts.joints import Girdle, Planes, crown_joints, pavilion_joints, split
from ..stone.cuts.parameter import Parameter, Slider
from ..stone.cuts.round_brilliant import ROUND_BRILLIANT
from ..stone.extent import extent_of
from ..stone.finish import POLISHED
from ..stone.known_cuts import cut_of, tiers_of
from ..stone.planes import DOWN, UP, Position, plane_at
from ..stone.stone import Stone
from ..stone.symmetry_group import SymmetryGroup
from ..stone.tier import GIRDLE, Tier
from .blocked import Blocked

CHOICES = (
    ROUND_BRILLIANT.keys["star_pct"],
    ROUND_BRILLIANT.keys["lower_half_pct"],
    Parameter(
        "upper_half_pct", "upper-half length", "%", 0.0, 100.0, "share of the distance from girdle to table edge, in plan view",
        optional=True, unset="the upper halves meet the tips of the stars", open_ends=True, slider=Slider(20.0, 70.0, 0.5),
    ),
    ROUND_BRILLIANT.keys["upper_painting_deg"],
    ROUND_BRILLIANT.keys["lower_painting_deg"],
)  # fmt: skip
"""What can be chosen; the fields of `LastFacets`."""


@dataclass(frozen=True)
class LastFacets:
    """Parameters of the last facets.

    Attributes
    ----------
    star_pct : star length, percent of the distance from the table edge to the girdle.
    lower_half_pct : lower-half length, percent of the distance from the girdle to the apex.
    upper_half_pct : upper-half length, percent of the distance from the girdle to the table edge; None to meet the star tips.
    upper_painting_deg, lower_painting_deg : painting angle of the halves; negative values mean digging.

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
        for one in CHOICES:
            one.checked(getattr(self, one.key))

    def __str__(self) -> str:
        values = [(one, getattr(self, one.key)) for one in CHOICES]
        return ", ".join(f"{one.label} {value:.4g}{SIGNS[one.unit]}" for one, value in values if value or one.default)


SIGNS = {"%": "%", "degree": "°"}


def finished(blocked: Blocked, choice: LastFacets) -> Stone:
    """The blocked stone with stars and halves.

    Raises
    ------
    StoneError : stars that would cross the table, facets that would vanish, a girdle that would open; the message names them.
    """
    stone = blocked.stone
    new = [*_crown(blocked, choice), *_pavilion(blocked, choice)]
    ranks = {tier.name: k for k, tier in enumerate(tiers_of(stone))}
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
        cut=stone.cut,
        name=stone.name,
        measured=stone.measured,
        redundant="drop",
    )
    refuse_lost(made.dropped, f"with {choice}")
    return replace(made, dropped=stone.dropped, inclusions=stone.inclusions)


def _symmetry(blocked: Blocked) -> SymmetryGroup:
    """What the stone claims; else that of its cut as it lies, of a round one with its mains if both sides have as many."""
    claimed, n, cut = blocked.stone.symmetry, len(blocked.crown), cut_of(blocked.stone)
    if claimed.size > 1:
        return claimed
    if cut is not None and not blocked.round:
        return cut.symmetry.turned(extent_of(blocked.stone).azimuth_deg)
    if n != len(blocked.pavilion):
        return claimed
    return SymmetryGroup(n, float(blocked.stone.azimuth_deg()[blocked.crown[0]]))


def refuse_lost(lost: Sequence[str], when: str) -> None:
    """Raise StoneError where planes are no facets any more: a girdle that opens, else facets that vanish."""
    girdle = [name for name in lost if name.startswith(f"{GIRDLE.name} ")]
    if girdle:
        raise StoneError(f"{when} the girdle has no thickness at {_listed(girdle)}")
    if lost:
        raise StoneError(f"{when} these facets vanish: {_listed(lost)}")


def _listed(names: Sequence[str]) -> str:
    return ", ".join(names[:4]) + (f" and {len(names) - 4} more" if len(names) > 4 else "")


Plane = tuple[np.ndarray, float, str, int]


def _crown(blocked: Blocked, choice: LastFacets) -> Iterator[Plane]:
    """Stars and upper halves."""
    table = _planes(blocked, [blocked.table])
    joints = crown_joints(_planes(blocked, blocked.crown), table, _girdle(blocked))
    for k, (joint, corners) in enumerate(joints):
        tip = joint.from_inside(choice.star_pct)
        if (table.normals @ tip.point(UP) >= table.distances).all():
            raise StoneError(f"star {k} crosses the table", key="star_pct", value=choice.star_pct, expected="longer stars")
        yield *plane_at(joint.star(corners, tip), UP), STAR.name, k
        if choice.upper_half_pct is not None:
            tip = joint.from_girdle(choice.upper_half_pct)
        yield from _halves(joint, tip, UPPER_HALF, k, choice.upper_painting_deg)


def _pavilion(blocked: Blocked, choice: LastFacets) -> Iterator[Plane]:
    """Lower halves."""
    girdle = _girdle(blocked)
    facing = np.radians(blocked.stone.azimuth_deg()[list(blocked.crown)]).tolist()
    every_second = len(blocked.crown) == 2 * len(blocked.pavilion)
    for k, joint in enumerate(pavilion_joints(_planes(blocked, blocked.pavilion), girdle)):
        tip = joint.from_girdle(choice.lower_half_pct)
        parts: tuple[Joint, ...] = (joint,)
        if every_second and girdle.outline is not None:
            parts = split(joint, facing, girdle.outline, girdle.planes)
        for place, part in enumerate(parts, start=len(parts) * k):
            yield from _halves(part, tip, LOWER_HALF, place, choice.lower_painting_deg)


def _planes(blocked: Blocked, facets: Sequence[int]) -> Planes:
    return Planes(blocked.stone.normals[list(facets)], blocked.stone.distances_mm[list(facets)])


def _girdle(blocked: Blocked) -> Girdle:
    return Girdle(_planes(blocked, blocked.girdle), None if blocked.round else blocked.stone.outline_mm)


def _halves(joint: Joint, tip: Position, tier: Tier, k: int, painting_deg: float) -> Iterator[Plane]:
    """The two halves that split the joint of number k."""
    side = UP if tier.side == "crown" else DOWN
    for number, slant in enumerate(joint.halves(tip, math.radians(painting_deg)), start=2 * k):
        if math.isnan(slant.tangent):
            key = PAINTING[tier.name]
            raise StoneError(f"painting too large for {tier.name} {number}", key=key, value=painting_deg, expected="less")
        yield *plane_at(slant, side), tier.name, number


PAINTING = {UPPER_HALF.name: "upper_painting_deg", LOWER_HALF.name: "lower_painting_deg"}
"""The choice that turns a tier's facets."""
