"""Parts common to brilliants: the tiers by trade name, and the rules for stars and halves from even or uneven mains.

* star: through the two table corners beside it and its tip. The tip lies on the edge between two mains, at a share of the way
  from the table's edge to the girdle (course glossaries; trade practice).
* upper half: through the foot of its main on the girdle and a tip on the edge between the mains, which is the star's unless
  an own length is stated; it faces square to the line in plan from the foot to the joint on the girdle, on a round stone a
  quarter of the way from its main to the next one, which is what "unpainted" means.
* lower half: the same on the pavilion; its tip lies at a share of the way from the girdle to the apex.
* painting turns a half about the line from foot to tip, towards its main; digging (negative) away from it.

An even stone applies each rule once, to the joint between its first two mains, and repeats the plane around the axis; a
measured one applies it at every joint.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import NamedTuple

from ..planes import Position, Slant, tangent_through, through_edge_and_position
from ..tier import CULET, GIRDLE, TABLE, Tier

CROWN_MAIN = Tier("crown main", "crown", per_main=1, main=True, mates=(GIRDLE.name,))
PAVILION_MAIN = Tier("pavilion main", "pavilion", per_main=1, main=True, mates=(GIRDLE.name,))
STAR = Tier("star", "crown", per_main=1, offset=0.5, mates=(TABLE.name, CROWN_MAIN.name), borders=TABLE.name, last=True)
UPPER_HALF = Tier(
    "upper half",
    "crown",
    per_main=2,
    offset=0.25,
    mates=(GIRDLE.name, CROWN_MAIN.name, STAR.name),
    borders=GIRDLE.name,
    painted_toward=CROWN_MAIN.name,
    last=True,
)
LOWER_HALF = Tier(
    "lower half",
    "pavilion",
    per_main=2,
    offset=0.25,
    mates=(GIRDLE.name, PAVILION_MAIN.name),
    borders=GIRDLE.name,
    painted_toward=PAVILION_MAIN.name,
    last=True,
)

TIERS = (TABLE, STAR, CROWN_MAIN, UPPER_HALF, GIRDLE, LOWER_HALF, PAVILION_MAIN, CULET)
"""From the table down."""


def quarters(start: float, end: float) -> tuple[float, float]:
    """The turns of a joint's halves on a round stone: each a quarter of the way between the mains' azimuths, radians."""
    turn = (end - start) % (2.0 * math.pi) / 4.0
    return turn, turn


class Joint(NamedTuple):
    """Where two neighbouring mains of one side meet, the second counter-clockwise of the first.

    azimuths : that the mains face, radians. turns : how far an unpainted half of each faces from it towards the other, radians.
    feet : where each main's middle meets the girdle.
    inner, outer : where the edge between them passes the table's edge (on the pavilion: the apex) and the girdle, mm along it
        in plan. at : the place on the edge, so far along it.
    """

    azimuths: tuple[float, float]
    turns: tuple[float, float]
    feet: tuple[Position, Position]
    inner: float
    outer: float
    at: Callable[[float], Position]

    def from_inside(self, share_pct: float) -> Position:
        """The place on the edge at a share of the way outward."""
        return self.at(self.inner + share_pct / 100.0 * (self.outer - self.inner))

    def from_girdle(self, share_pct: float) -> Position:
        """The place on the edge at a share of the way inward."""
        return self.at(self.outer + share_pct / 100.0 * (self.inner - self.outer))

    def star(self, corners: tuple[Position, Position], tip: Position) -> Slant:
        """The star between two table corners, where the mains' middles meet the table; the first main's first."""
        return through_edge_and_position(*corners, tip)

    def halves(self, tip: Position, painting: float = 0.0) -> tuple[Slant, Slant]:
        """The two halves that split the joint, the first main's first; the tangent is NaN where one can't be turned that far.

        `painting` in radians, towards the mains.
        """
        azimuths = self.azimuths[0] + (self.turns[0] - painting), self.azimuths[1] - (self.turns[1] - painting)
        first, second = (
            Slant(azimuth, tangent_through(azimuth, foot, tip), foot) for foot, azimuth in zip(self.feet, azimuths, strict=True)
        )
        return first, second
