"""From a stone to its recipe: how each facet can have been laid.

Tier by tier, the first way that gives the stone's own plane is taken: one point of the axis towards which all mains fall from
the girdle; slope and mate (the girdle, or a facet farther out that faces alike and is left at a height); the points that it
passes through, each on the girdle's edge or on facets that are laid already; slope and distance. Nothing is taken that the
rules of `laying` don't give back.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from ...errors import InputError
from ..cuts.outlines import Sides
from ..stone import Stone
from .closing import girdle_gap
from .corner_points import points_of
from .girdle import Girdle
from .laid import Laid
from .laying import Layout
from .outline_fit import FITS, Fit, fitted
from .recipe import GIRDLE_EDGE, Point, RecipeTier
from .shapes import places_of, tidy
from .stone_facets import StoneFacet, alike, edge_height, facets_of, foot, on_surface, rim_of, touch

_TABLE = "a table of facets (.csv)"


@dataclass(frozen=True)
class Recipe:
    """A stone's recipe: its outline, its girdle, its entries in cutting order."""

    fit: Fit
    girdle: Girdle
    entries: tuple[RecipeTier, ...]


def recipe_of(stone: Stone) -> Recipe:
    """The recipe of a stone. Raises InputError for a stone without a vertical girdle."""
    fit = fitted(stone)
    facets = facets_of(stone)
    if girdle_gap(stone) is not None:
        raise InputError("a recipe needs a girdle that goes all around", key="stone", value=stone.name, expected=_TABLE)
    finish = {stone.finishes[f] for f in np.flatnonzero(stone.on_girdle)}
    if len(finish) > 1:
        raise InputError("a recipe has one finish for the girdle", key="stone", value=stone.name, expected=_TABLE)
    girdle = Girdle(fit.outline, 0.0, fit.facets, *places_of(fit.outline), finish.pop())
    girdle = replace(girdle, rim_mm=tidy(2.0 * rim_of(stone, facets, girdle)) / 2.0)
    writer = _Writer(stone, facets, girdle)
    writer.write()
    if writer.left:
        name = stone.facet_name(writer.left[0].number)
        raise InputError(f"no recipe gives {name} back", key="stone", value=stone.name, expected=_TABLE)
    return Recipe(fit, girdle, tuple(writer.entries))


class _Writer:
    """Writes entries in cutting order and lays them as it goes, so that later ones can name earlier facets."""

    def __init__(self, stone: Stone, facets: list[StoneFacet], girdle: Girdle) -> None:
        self.stone, self.girdle = stone, girdle
        self.left = facets
        self.entries: list[RecipeTier] = []
        self.layout = Layout(girdle, stone.symmetry)
        self.laid: dict[int, Laid] = {}

    def write(self) -> None:
        """All entries, the pavilion's first: of each side what stands on the girdle, what has a mate, the rest."""
        for side in ("pavilion", "crown"):
            for way in (self._on_girdle, self._on_mates, self._level, self._through_points, self._at_distances):
                way([facet for facet in self.left if facet.side == side])

    # --- ways, from the one that says most to the one that always serves -------------------------------------------------

    def _on_girdle(self, facets: list[StoneFacet]) -> None:
        for tier in _tiers(facets):
            standing = [one for one in tier if 0.0 < one.slope_deg < 90.0 and self._stands(one)]
            if len({one.slope_deg for one in standing}) > 1 and len(standing) == len(tier):
                height = self._common_height(standing)
                if height is not None:
                    stated = {"meets": GIRDLE_EDGE, "through": (Point(axis_mm=height),)}
                    self._group(standing, lambda one, stated=stated: stated)  # type: ignore[misc]
            self._group(self._still(standing), lambda one: {"slope_deg": one.slope_deg, "meets": GIRDLE_EDGE})

    def _on_mates(self, facets: list[StoneFacet]) -> None:
        for tier in sorted(_tiers(facets), key=lambda one: -max(facet.slope_deg for facet in one)):
            mates = {one.number: mate for one in tier if (mate := self._mate(one)) is not None}
            if len(mates) == len(tier):
                self._group(tier, lambda one, mates=mates: {  # type: ignore[misc]
                    "slope_deg": one.slope_deg, "meets": mates[one.number][0], "height_mm": mates[one.number][1]
                })  # fmt: skip

    def _level(self, facets: list[StoneFacet]) -> None:
        self._group([one for one in facets if one.slope_deg == 0.0], self._distance)

    def _through_points(self, facets: list[StoneFacet]) -> None:
        for tier in _tiers(facets):
            for facet in tier:
                if facet in self.left:
                    self._lay_points(facet)

    def _at_distances(self, facets: list[StoneFacet]) -> None:
        for tier in _tiers(facets):
            self._group(tier, self._distance)

    # --- what they need ---------------------------------------------------------------------------------------------------

    def _distance(self, facet: StoneFacet) -> dict[str, object]:
        return {"slope_deg": facet.slope_deg, "distance_mm": tidy(self.stone.distances_mm[facet.number])}

    def _stands(self, facet: StoneFacet) -> bool:
        """Does it stand on the girdle: with a whole side or at a corner of a polygon, or where a curved outline touches it?"""
        places = (*self.girdle.sides_deg, *self.girdle.corners_deg)
        squarely = not isinstance(self.girdle.outline, Sides) or any(alike(facet.azimuth_deg, place) for place in places)
        from_rim = edge_height(self.stone, facet, self.girdle) - self.girdle.rim_mm
        level = abs(from_rim) < 1e-10 * self.girdle.outline.width
        return squarely and level and on_surface(self.stone, foot(self.stone, facet, self.girdle), self.girdle)

    def _common_height(self, facets: Sequence[StoneFacet]) -> float | None:
        """Where all facets meet the axis; None where they meet it at different heights."""
        numbers = [one.number for one in facets]
        heights = self.stone.distances_mm[numbers] / self.stone.normals[numbers, 2]
        return tidy(heights.mean()) if np.ptp(heights) < 1e-12 * self.girdle.outline.width else None

    def _mate(self, facet: StoneFacet) -> tuple[str, float] | None:
        """The tier, and the height, at which a facet takes over from the one that faces alike and stands farther out."""
        for number, mate in self.laid.items():
            normal = self.stone.normals[number]
            faces = alike(mate.azimuth_deg, facet.azimuth_deg) and normal[2] * self.stone.normals[facet.number, 2] > 0.0
            if faces and facet.slope_deg > 0.0 and touch(self.stone, number, facet.number):
                across = np.array([normal, self.stone.normals[facet.number], [-normal[1], normal[0], 0.0]])
                far = [self.stone.distances_mm[number], self.stone.distances_mm[facet.number], 0.0]
                point = np.linalg.solve(across, far)
                return mate.tier, tidy(point[2])
        return None

    def _lay_points(self, facet: StoneFacet) -> None:
        """An entry of one facet and its images, through points; none where its points don't give its plane."""
        azimuth = tidy(round(facet.azimuth_deg, 6))
        stated = azimuth if abs(azimuth - facet.azimuth_deg) < 1e-9 else None
        count = 3 if stated is None else 2
        for through in points_of(self.stone, facet.number, self.girdle, self.layout.body, self.laid, count):
            if self._lay(facet, [facet], azimuth_deg=stated, through=through):
                return

    def _group(self, facets: Sequence[StoneFacet], how: Callable[[StoneFacet], dict[str, object]]) -> None:
        """Entries for facets: one for all of a tier that are stated alike."""
        kinds: dict[str, list[StoneFacet]] = {}
        for facet in facets:
            kinds.setdefault(repr((facet.tier, facet.finish, _rounded(how(facet)))), []).append(facet)
        for kind in kinds.values():
            stated = how(kind[0])
            for places in self._places(kind):
                if self._lay(kind[0], kind, **places, **stated):
                    break
            else:
                for facet in kind:
                    self._lay(facet, [facet], azimuth_deg=(facet.azimuth_deg,), **stated)

    def _places(self, facets: Sequence[StoneFacet]) -> Iterator[dict[str, object]]:
        """How the azimuths of facets can be stated, the plainest first."""
        azimuths = sorted(facet.azimuth_deg for facet in facets)
        if facets[0].slope_deg == 0.0:
            yield {}
            return
        for word, places in (("side", self.girdle.sides_deg), ("corner", self.girdle.corners_deg)):
            if len(places) == len(azimuths) and all(any(alike(a, b) for b in places) for a in azimuths):
                yield {"one_per": word}
        yield {"azimuth_deg": facets[0].azimuth_deg}
        yield {"azimuth_deg": tuple(facet.azimuth_deg for facet in facets)}

    def _lay(self, first: StoneFacet, meant: Sequence[StoneFacet], **stated: object) -> bool:
        """Lay an entry, if it gives the planes of the facets meant (of one facet and its images, those), and no others."""
        entry = RecipeTier(first.tier, first.side, finish=first.finish, **stated)  # type: ignore[arg-type]
        before = Layout(self.girdle, self.layout.symmetry)
        before.body, before.entries = self.layout.body.copy(), self.layout.entries
        try:
            found = before.lay(entry)
        except InputError:
            return False
        free = [facet for facet in self.left if facet.tier == first.tier]
        matched = [facet for one in found if (facet := self._matching(one, free)) is not None]
        laid = dict(zip((facet.number for facet in matched), found, strict=False))
        wanted = {one.number for one in meant}
        if len(matched) != len(found) or len(laid) != len(found) or not wanted <= laid.keys():
            return False
        if len(meant) > 1 and len(laid) != len(meant):
            return False
        if not all(self._meets(number, one) for number, one in laid.items()):
            return False
        self.layout = before
        self.entries.append(entry)
        self.laid.update(laid)
        self.left = [facet for facet in self.left if facet.number not in laid]
        return True

    def _meets(self, number: int, laid: Laid) -> bool:
        """Does the stone's facet have the points, and a corner of the mate, that it would be laid to?"""
        if not all(on_surface(self.stone, point, self.girdle) for point in laid.points):
            return False
        mates = (mate for mate, one in self.laid.items() if one is laid.mate)
        return laid.mate is None or any(touch(self.stone, mate, number) for mate in mates)

    def _matching(self, laid: Laid, free: Sequence[StoneFacet]) -> StoneFacet | None:
        """The facet of the stone whose plane was laid."""
        if not free:
            return None
        numbers = [one.number for one in free]
        apart = np.abs(self.stone.normals[numbers] - laid.normal).max(axis=1)
        far = np.abs(self.stone.distances_mm[numbers] - laid.distance) / self.girdle.outline.width
        k = int((apart + far).argmin())
        return free[k] if apart[k] < FITS and far[k] < FITS and free[k].finish == laid.finish else None

    def _still(self, facets: Sequence[StoneFacet]) -> list[StoneFacet]:
        return [facet for facet in facets if facet in self.left]


def _tiers(facets: Sequence[StoneFacet]) -> list[list[StoneFacet]]:
    """Facets by tier, in the order of the stone."""
    return [[one for one in facets if one.tier == tier] for tier in dict.fromkeys(facet.tier for facet in facets)]


def _rounded(stated: dict[str, object]) -> dict[str, object]:
    """What is stated, without the noise of rounding."""
    return {key: round(value, 10) if isinstance(value, float) else value for key, value in stated.items()}
