"""A blocked stone: table and mains polished and measured, girdle rounded, stars and halves still to come.

The girdle is that of the table of facets. The girdle of a round stone, where it wasn't measured or is still to be ground down,
is a cylinder of a stated diameter about the z axis, in flats whose corners lie on the circle, as in the cut itself. Any other
outline must have been measured, since it does not follow from a single length.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ..errors import InputError, StoneError
from ..stone.cuts.outline import Circle
from ..stone.finish import POLISHED
from ..stone.known_cuts import cut_of, cuts
from ..stone.recognition import recognized
from ..stone.stone import Stone
from ..stone.tier import GIRDLE, TABLE
from ..units import number_in

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

    @property
    def round(self) -> bool:
        """True where the cut has a round outline."""
        cut = cut_of(self.stone)
        return cut is not None and isinstance(cut.outline, Circle)

    def with_plane(self, facet: int, normal: np.ndarray, distance_mm: float) -> Blocked:
        """The same with one plane elsewhere. Raises StoneError where a facet vanishes."""
        normals, distances = self.stone.normals.copy(), self.stone.distances_mm.copy()
        normals[facet], distances[facet] = normal, distance_mm
        return blocked_stone(_rebuilt(self.stone, normals, distances))


def blocked_stone(stone: Stone, diameter_mm: float | None = None) -> Blocked:
    """A stone as a blocked one, checked.

    Parameters
    ----------
    diameter_mm : of the girdle's circle, where that of a round stone wasn't measured or is to be ground down to it.

    Raises
    ------
    InputError : stars or halves are there already; no table, too few mains, no girdle.
    StoneError : the girdle's circle reaches beyond the stone, or leaves no room for a facet.
    """
    named = _to_finish(recognized(stone))
    cut = cut_of(named)
    if cut is None or not cut.last:
        raise InputError("not a blocked stone of a known cut", key="cut", value=named.cut or None, expected=_finishable())
    present = [tier for tier in cut.last if tier in named.tiers]
    if present:
        problem = "not a blocked stone; it already has facets of the last tiers"
        raise InputError(problem, key="tier", value=", ".join(present), expected="table, mains, girdle and optionally a culet")
    tables = named.facets_of(TABLE.name)
    if len(tables) != 1:
        raise InputError("the number of table facets is not 1", key="table", value=len(tables), expected="one")
    for tier in cut.mains():
        count = len(named.facets_of(tier))
        if count < LEAST_MAINS:
            raise InputError(f"too few {tier}s", key=tier, value=count, expected=f"{LEAST_MAINS} or more")
    if not isinstance(cut.outline, Circle) and (diameter_mm is not None or not named.on_girdle.any()):
        problem = f"the outline of a {cut.name} does not follow from a diameter"
        raise InputError(problem, key="diameter_mm", value=diameter_mm, expected="none, and a measured girdle of final size")
    if diameter_mm is not None:
        named = _rounded(named, number_in("diameter_mm", diameter_mm, 0.1, 1000.0, "mm"))
    elif not named.on_girdle.any():
        raise InputError(
            "missing; the facet table has no girdle facets", key="diameter_mm", expected="the girdle diameter in mm"
        )
    crown, pavilion = _around(named, cut.mains("crown")), _around(named, cut.mains("pavilion"))
    return Blocked(named, tables[0], crown, pavilion, tuple(named.facets_of(GIRDLE.name)))


def _to_finish(stone: Stone) -> Stone:
    """A stone that its shape alone makes a single cut, as the first cut with its mains whose last facets are still to come."""
    own = cut_of(stone)
    if own is None or own.last or not own.mains():
        return stone
    to_be = next((cut for cut in cuts() if cut.last and set(own.tiers) <= set(cut.tiers) and cut.outline == own.outline), None)
    return stone if to_be is None else stone.relabeled(cut=to_be.name)


def _finishable() -> str:
    return "a blocked " + " or ".join(cut.name for cut in cuts() if cut.last)


def _around(stone: Stone, tiers: tuple[str, ...]) -> tuple[int, ...]:
    """Facets of some tiers counter-clockwise; one a little clockwise of azimuth 0 still comes first."""
    facets = [f for tier in tiers for f in stone.facets_of(tier)]
    turned = (stone.azimuth_deg() + 180.0 / len(facets)) % 360.0
    return tuple(sorted(facets, key=lambda f: turned[f]))


def _rounded(stone: Stone, diameter_mm: float) -> Stone:
    """The stone with its final girdle diameter a cylinder about the z axis."""
    old, rest = np.flatnonzero(stone.on_girdle), np.flatnonzero(~stone.on_girdle)
    flats, apothems = Circle(diameter_mm / 2.0).flats(GIRDLE_FACETS)
    widest = float((stone.vertices_mm @ flats.T).max(axis=0).min())
    if widest < apothems[0]:
        most = f"at most {widest / apothems[0] * diameter_mm:.3f} mm"
        raise StoneError("larger than the blocked stone", key="diameter_mm", value=diameter_mm, expected=most)
    ground = next((stone.finishes[f] for f in old if stone.finishes[f] != POLISHED), POLISHED)
    made = Stone.from_planes(
        np.concatenate([stone.normals[rest], flats]),
        np.concatenate([stone.distances_mm[rest], apothems]),
        tiers=[*(stone.tiers[f] for f in rest), *[GIRDLE.name] * GIRDLE_FACETS],
        indices=[*(stone.indices[f] for f in rest), *range(GIRDLE_FACETS)],
        material=stone.material,
        finishes=[*(stone.finishes[f] for f in rest), *[ground] * GIRDLE_FACETS],
        symmetry=stone.symmetry,
        cut=stone.cut,
        name=stone.name,
        measured=stone.measured,
        redundant="drop",
    )
    if made.dropped:
        named = ", ".join(made.dropped[:4])
        raise StoneError(f"facets vanish at this diameter: {named}", key="diameter_mm", value=diameter_mm)
    return made.relabeled(inclusions=stone.inclusions)


def _rebuilt(stone: Stone, normals: np.ndarray, distances_mm: np.ndarray) -> Stone:
    """The stone with other planes. Raises StoneError where one is no facet."""
    return replace(stone.with_planes(normals, distances_mm), dropped=stone.dropped)
