"""A blocked stone: table and mains polished and measured, girdle rounded, stars and halves still to come.

The girdle is that of the table of facets, or, where it wasn't measured or is still to be ground down, a cylinder of a stated
diameter about the z axis, in flats whose corners lie on the circle as in `round_brilliant`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from ..errors import InputError, StoneError
from ..stone.finish import ABSORBING, POLISHED
from ..stone.measuring.proportions import with_tiers
from ..stone.stone import Stone
from ..units import number_in

LAST = ("star", "upper half", "lower half")
"""Tiers that a blocked stone doesn't have yet."""

LEAST_MAINS = 3
GIRDLE_FACETS = 96


@dataclass(frozen=True)
class Blocked:
    """A blocked stone.

    Attributes
    ----------
    stone : with its girdle, facets named. table : number of the table's facet.
    crown, pavilion : numbers of the mains, counter-clockwise from the one nearest to azimuth 0. girdle : of its flats.
    """

    stone: Stone
    table: int
    crown: tuple[int, ...]
    pavilion: tuple[int, ...]
    girdle: tuple[int, ...]

    @property
    def mains(self) -> tuple[int, ...]:
        """Numbers of all mains."""
        return (*self.crown, *self.pavilion)

    def with_plane(self, facet: int, normal: np.ndarray, distance_mm: float) -> Blocked:
        """The same with one plane elsewhere. Raises StoneError where a facet vanishes."""
        normals, distances = self.stone.normals.copy(), self.stone.distances_mm.copy()
        normals[facet], distances[facet] = normal, distance_mm
        return blocked_stone(_rebuilt(self.stone, normals, distances))


def blocked_stone(stone: Stone, diameter_mm: float | None = None) -> Blocked:
    """A stone as a blocked one, checked.

    Parameters
    ----------
    diameter_mm : of the girdle's circle, where the girdle wasn't measured or is to be ground down to it.

    Raises
    ------
    InputError : stars or halves are there already; no table, too few mains, no girdle.
    StoneError : the girdle's circle reaches beyond the stone, or leaves no room for a facet.
    """
    named = with_tiers(stone)
    present = [tier for tier in LAST if tier in named.tiers]
    if present:
        problem = "not a blocked stone: it has facets of the last tiers already"
        raise InputError(problem, key="tier", value=", ".join(present), expected="table, mains, girdle and perhaps a culet")
    tables = _of(named, "table")
    if len(tables) != 1:
        raise InputError("not one table", key="table", value=len(tables), expected="one")
    for tier in ("crown main", "pavilion main"):
        if len(_of(named, tier)) < LEAST_MAINS:
            count = len(_of(named, tier))
            raise InputError(f"too few {tier}s", key=tier, value=count, expected=f"{LEAST_MAINS} or more; 8 in a brilliant")
    if diameter_mm is not None:
        named = _rounded(named, number_in("diameter_mm", diameter_mm, 0.1, 1000.0, "mm"))
    elif not _of(named, "girdle"):
        raise InputError("the table holds no girdle facets", key="diameter_mm", expected="the girdle's diameter in mm")
    crown, pavilion = _around(named, "crown main"), _around(named, "pavilion main")
    return Blocked(named, tables[0], crown, pavilion, tuple(_of(named, "girdle")))


def _of(stone: Stone, tier: str) -> list[int]:
    return [f for f, name in enumerate(stone.tiers) if name == tier]


def _around(stone: Stone, tier: str) -> tuple[int, ...]:
    """Facets of a tier counter-clockwise; one a little clockwise of azimuth 0 still comes first."""
    facets = _of(stone, tier)
    turned = (stone.azimuth_deg() + 180.0 / len(facets)) % 360.0
    return tuple(sorted(facets, key=lambda f: turned[f]))


def _rounded(stone: Stone, diameter_mm: float) -> Stone:
    """The stone with its girdle ground to a cylinder about the z axis."""
    old = _of(stone, "girdle")
    rest = [f for f in range(len(stone)) if f not in old]
    azimuth = 2.0 * math.pi * (np.arange(GIRDLE_FACETS) + 0.5) / GIRDLE_FACETS
    flats = np.column_stack([np.cos(azimuth), np.sin(azimuth), np.zeros(GIRDLE_FACETS)])
    shrink = math.cos(math.pi / GIRDLE_FACETS)  # from the circle through the corners to the flats
    apothem = diameter_mm / 2.0 * shrink
    widest = float((stone.vertices_mm @ flats.T).max(axis=0).min())
    if widest < apothem:
        most = f"at most {2.0 * widest / shrink:.3f} mm"
        raise StoneError("the blocked stone is smaller than that", key="diameter_mm", value=diameter_mm, expected=most)
    ground = ABSORBING if any(stone.finishes[f] == ABSORBING for f in old) else POLISHED
    made = Stone.from_planes(
        np.concatenate([stone.normals[rest], flats]),
        np.concatenate([stone.distances_mm[rest], np.full(GIRDLE_FACETS, apothem)]),
        tiers=[*(stone.tiers[f] for f in rest), *["girdle"] * GIRDLE_FACETS],
        indices=[*(stone.indices[f] for f in rest), *range(GIRDLE_FACETS)],
        material=stone.material,
        finishes=[*(stone.finishes[f] for f in rest), *[ground] * GIRDLE_FACETS],
        symmetry=stone.symmetry,
        name=stone.name,
        redundant="drop",
    )
    if made.dropped:
        named = ", ".join(made.dropped[:4])
        raise StoneError(f"no facets any more at this diameter: {named}", key="diameter_mm", value=diameter_mm)
    return made


def _rebuilt(stone: Stone, normals: np.ndarray, distances_mm: np.ndarray) -> Stone:
    """The stone with other planes. Raises StoneError where one is no facet."""
    return replace(stone.with_planes(normals, distances_mm), dropped=stone.dropped)
