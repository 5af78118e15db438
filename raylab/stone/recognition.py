"""Recognition of the cut and the tiers of a stone from its geometry alone.

A cut is known by what its facets touch and by its outline, not by angles, so that steep, shallow, painted, tilted and
half-finished stones are named as well as ideal ones. One module each finds the cuts of a kind:

* `rounds`: brilliants on a circle (round brilliant, old European cut, single cut);
* `rose`: a flat base and a dome;
* `long_brilliants`: brilliants on an oval, a pear, a marquise, a cushion, a bowed triangle;
* `sided`: step cuts, the princess cut and the cut-cornered brilliant, on a girdle of four, six or eight sides.

**How surely** a cut is recognised is said by two numbers (`Recognition`): the share of the surface in facets that have a place
in the cut, and the largest deviation of the outline from the closest one of that cut. A cut is recognised where at most 5 % of
the surface has no place in it and the outline is off by at most 3 % of its mean radius. Of two such cuts the one is taken that
has a place for more of the surface and lacks fewer facets, the shares added; where these are alike and the outline is off by
more than 1 %, the closer outline decides. Cuts whose stones have the same facets are named beside it: shape doesn't tell them
apart. Facets can lack, on a stone that isn't finished or in a scan that doesn't show them, whose neighbors have their places:
how many of which tier is told.

A stone of no known cut keeps table, girdle and culet; its other facets are named by side, ring and slope (`rings`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from .cuts.cut import Cut
from .cuts.single_cut import SINGLE_CUT
from .known_cuts import cut_of
from .measuring.length import length_azimuth_deg
from .polyhedron import Polyhedron, intersect
from .recognizing.long_brilliants import long_brilliant
from .recognizing.outline_fit import CLOSE
from .recognizing.rings import ring_names
from .recognizing.rose import rose
from .recognizing.rounds import outline_off, pattern, placed, round_cut
from .recognizing.shape import ALL_AROUND, OUTLINE, UNNAMED, Named, Shape, counted, level_and_steep
from .recognizing.sided import sided_cut
from .stone import Stone
from .symmetry_group import SymmetryGroup
from .tier import FACET, PLAIN, SHARED


@dataclass(frozen=True)
class Recognition:
    """How surely a cut was recognised.

    Attributes
    ----------
    cut : the cut. share_pct : share of the surface in facets that have a place in it, percent.
    outline_pct : largest deviation of the outline from the closest one of that cut, percent of its mean radius.
    also : other cuts whose stones have the same facets.
    lacking : tiers that have fewer facets than on a whole stone: the name, how many lack, of how many.
    """

    cut: str
    share_pct: float
    outline_pct: float
    also: tuple[str, ...] = ()
    lacking: tuple[tuple[str, int, int], ...] = ()

    def __str__(self) -> str:
        text = f"{self.cut}, {self.share_pct:.1f} % of the surface in its tiers, outline within {self.outline_pct:.2f} %"
        if self.lacking:
            text += "; lacking: " + ", ".join(f"{lack} of {whole} ({tier})" for tier, lack, whole in self.lacking)
        if not self.also:
            return text
        alike = "before its last facets also" if self.cut == SINGLE_CUT.name else "the same facets in other proportions"
        return f"{text}; {alike}: {' or '.join(self.also)}"

    def to_dict(self) -> dict[str, Any]:
        """Plain numbers, strings and lists, ready for JSON."""
        lacking = [{"tier": tier, "lacking": lack, "of": whole} for tier, lack, whole in self.lacking]
        return {**vars(self), "also": list(self.also), "lacking": lacking}


@dataclass(frozen=True)
class Tiers:
    """Names of facets.

    A `name` and an `index` for each facet; the `cut`, None where none is known, and how surely; the `symmetry`, of size 1
    without a cut; the azimuth in degrees where the cut's +x lies (of a round cut, the first main's, the one nearest to 0;
    without a cut, the length's).
    """

    names: tuple[str, ...]
    indices: tuple[int, ...]
    cut: Cut | None
    recognition: Recognition | None
    symmetry: SymmetryGroup
    azimuth_deg: float


def recognized(stone: Stone) -> Stone:
    """The stone with its cut, see `recognition_of`."""
    return recognition_of(stone)[0]


def recognition_of(stone: Stone) -> tuple[Stone, Recognition | None]:
    """The stone with its cut, and how surely that was recognised: None for a cut that the stone states, and for none.

    Facets are named by shape if the stone's names give no cut: where no trade name is among them, or where those of table,
    girdle and culet stand beside crown and pavilion, which name facets by their side alone. Names of a cut are taken as they
    are only if the shape agrees: a stone whose facets bear the names of a cut, but don't stand where that cut has them, or
    whose girdle has another outline, is named by its shape. A stone of no known cut that bears other names than table, girdle,
    culet, crown, pavilion and facet comes back as it is.
    """
    if stone.cut is not None:
        return stone, None
    named = cut_of(stone)
    shared, plain = {tier.name for tier in SHARED}, set(PLAIN.values())
    if named is None and set(stone.tiers) & shared and not set(stone.tiers) & plain:
        return stone, None
    if named is not None and named.outline is not None and named.mains() and _agrees(stone, named):
        return stone.relabeled(cut=named.name), None
    found = name_tiers(stone.normals, stone.distances_mm, body=stone.polyhedron)
    if found.cut is None and not set(stone.tiers) <= shared | plain | {FACET}:
        return stone.relabeled(cut=""), None  # the file's own names say more than the shape
    return _relabeled(stone, found), found.recognition


def _relabeled(stone: Stone, found: Tiers) -> Stone:
    """The stone by the names of its shape; names that the file gives stay where the cut has just these."""
    cut = None if found.cut is None else found.cut.name
    if stone.tiers == found.names:
        return stone.relabeled(cut=cut, symmetry=found.symmetry)
    symmetry = stone.symmetry if cut is None else found.symmetry
    return stone.relabeled(tiers=found.names, indices=found.indices, symmetry=symmetry, cut=cut)


def _agrees(stone: Stone, cut: Cut) -> bool:
    """True where nothing in the shape contradicts the names of a cut's tiers; of a half-finished stone, little can."""
    shape = Shape(stone.normals, stone.polyhedron)
    mains = {tier.name for tier in cut.tiers if tier.main}
    names = [UNNAMED if name in mains else name for name in stone.tiers]
    order, phase = pattern(shape, names)
    girdled = shape.walled(stone.on_girdle) > ALL_AROUND
    if girdled and cut.outline is not None and outline_off(shape, cut.outline, phase) >= OUTLINE:
        return False
    return order == 1 or placed(shape, names, cut, order, phase) is not None


def name_tiers(normals: np.ndarray, distances_mm: np.ndarray, *, body: Polyhedron | None = None) -> Tiers:
    """Name the facets of a stone that stands with its table up.

    Facets of a tier are numbered by their place around the stone, counter-clockwise from azimuth 0 (of a cut with a length,
    from where that lies), so that a missing one leaves its number free.

    Parameters
    ----------
    normals, distances_mm : (F, 3) outward unit normals and (F,) distances, mm.
    body : their polyhedron, if it is at hand.
    """
    shape = Shape(normals, intersect(normals, distances_mm) if body is None else body)
    closest: Named | None = None
    for kind in (rose, round_cut, sided_cut, long_brilliant):
        found = kind(shape)
        if found is not None and (closest is None or _off(shape, found) < _off(shape, closest)):
            closest = found
        if closest is not None and _off(shape, closest) == (0.0, 0.0):
            break
    return _plain(shape) if closest is None else _tiers(shape, closest)


def _off(shape: Shape, found: Named) -> tuple[float, float]:
    """What is compared of two cuts that a stone may be: the shares of the surface without a place and of the facets that lack,
    then an outline that is clearly off."""
    lacking = sum(lack for _, lack, _ in found.lacking) / max(sum(found.whole.values()), 1)
    return shape.spare(found.names) + lacking, found.outline_off if found.outline_off > CLOSE else 0.0


def _tiers(shape: Shape, found: Named) -> Tiers:
    share = 100.0 * (1.0 - shape.spare(found.names))
    recognition = Recognition(found.cut.name, share, 100.0 * found.outline_off, found.also, found.lacking)
    azimuth = math.degrees(found.azimuth)
    return Tiers(tuple(found.names), tuple(found.indices), found.cut, recognition, found.symmetry, azimuth)


def _plain(shape: Shape) -> Tiers:
    """The tiers of a stone of no known cut: table, girdle and culet; the others by side, ring and slope."""
    names = ring_names(shape, level_and_steep(shape))
    azimuth = length_azimuth_deg(shape.outline)
    return Tiers(tuple(names), tuple(counted(shape, names)), None, None, SymmetryGroup(), azimuth)
