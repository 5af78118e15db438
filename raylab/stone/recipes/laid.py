"""Facets that are laid, and how a recipe names them."""

from __future__ import annotations

import re
from typing import NamedTuple

import numpy as np

from ...errors import InputError, nearest
from ..planes import facing_deg
from .recipe import GIRDLE_EDGE

NUMBERED = re.compile(r"(?P<tier>.*\S) (?P<number>\d{1,4})")
_ALIGNED = 1e-9
"""Azimuths, degrees, that differ by less are one."""


class Laid(NamedTuple):
    """A facet: the number of its entry in the recipe, its tier and finish, its plane, and what it must meet.

    On the finished stone it has the points (K, 3) mm, and a corner in common with its mate.
    """

    entry: int
    tier: str
    finish: str
    normal: np.ndarray
    distance: float
    points: np.ndarray
    mate: Laid | None = None

    @property
    def azimuth_deg(self) -> float:
        """The azimuth that it faces; 0 for a level facet."""
        return float(facing_deg(self.normal[None])[2][0])


class Body:
    """The facets that are laid so far, numbered within each tier counter-clockwise from its first."""

    def __init__(self) -> None:
        self.facets: list[Laid] = []
        self._ordered: dict[str, list[Laid]] = {}

    def add(self, facets: list[Laid]) -> None:
        """Lay facets of one entry, the first of them first."""
        self.facets += facets
        own = [facet for facet in self.facets if facet.tier == facets[0].tier]
        first = own[0].azimuth_deg
        # a hair before the first is the first still
        self._ordered[facets[0].tier] = sorted(own, key=lambda one: (one.azimuth_deg - first + _ALIGNED) % 360.0)

    def copy(self) -> Body:
        """Another body with the same facets."""
        other = Body()
        other.facets, other._ordered = list(self.facets), dict(self._ordered)
        return other

    def tiers(self) -> dict[str, list[Laid]]:
        """The facets of each tier in the order of their numbers, tiers in the order in which they were begun."""
        return self._ordered

    def name(self, facet: Laid) -> str:
        """Tier and number; the tier alone where it has one facet."""
        if len(self._ordered[facet.tier]) == 1:
            return facet.tier
        numbers = [number for number, one in enumerate(self._ordered[facet.tier]) if one is facet]
        return f"{facet.tier} {numbers[0]}"

    def named(self, names: tuple[str, ...], facing_deg: float | None, key: str = "on") -> list[Laid]:
        """The facets that a recipe names under a key; those without a number are looked for from an azimuth.

        Raises InputError for a tier that isn't cut yet, a number that it hasn't, and where there is no azimuth to look from.
        """
        found: list[Laid] = []
        for name in dict.fromkeys(names):
            count = names.count(name)
            matched = NUMBERED.fullmatch(name)
            tier = matched["tier"] if matched else name
            if tier not in self._ordered:
                known = [*self._ordered, *((GIRDLE_EDGE,) if key == "meets" else ())]
                expected = nearest(tier, known) if known else "a tier above this one"
                raise InputError("no tier of this name is cut yet", key=key, value=name, expected=expected)
            members = self._ordered[tier]
            if matched:
                if int(matched["number"]) >= len(members):
                    raise InputError("no such facet", key=key, value=name, expected=f"{tier} 0 to {len(members) - 1}")
                found.append(members[int(matched["number"])])
            elif len(members) == 1:
                found.append(members[0])
            elif facing_deg is None:
                raise InputError("which of them?", key=key, value=name, expected=f"a number, as in '{tier} 0', or azimuth_deg")
            else:
                found += _beside(members, facing_deg) if count == 2 else [_nearest(members, facing_deg)]
        return found


def _off(facet: Laid, azimuth_deg: float) -> float:
    """How far counter-clockwise of an azimuth a facet faces, -180 to 180 degrees."""
    return (facet.azimuth_deg - azimuth_deg + 180.0) % 360.0 - 180.0


def _nearest(members: list[Laid], azimuth_deg: float) -> Laid:
    """The facet that faces nearest to an azimuth; of two that are equally near the one clockwise of it."""
    return min(members, key=lambda one: (round(abs(_off(one, azimuth_deg)) / _ALIGNED), _off(one, azimuth_deg)))


def _beside(members: list[Laid], azimuth_deg: float) -> list[Laid]:
    """The nearest facet on either side of an azimuth."""
    offs = [(_off(one, azimuth_deg), k) for k, one in enumerate(members)]
    before = [pair for pair in offs if pair[0] < -_ALIGNED]
    after = [pair for pair in offs if pair[0] > _ALIGNED]
    if not before or not after:
        name = members[0].tier
        raise InputError("no facet on one side of the azimuth", key="on", value=name, expected=f"a {name} on either side")
    return [members[max(before)[1]], members[min(after)[1]]]
