"""Cuts on a girdle of few sides: step cuts, the princess cut and the cut-cornered brilliant.

A step cut has, over and under each side of its girdle, rows of facets that face as the side does; they are counted from the
girdle on. A princess cut has one facet over and under each side, and triangles between: beside the table, at the corners, and
chevrons below. A cut-cornered brilliant has these, too, and one facet over and under each cut corner.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np

from ..cuts import CUTS
from ..cuts.cut import Cut
from ..cuts.cut_cornered_brilliant import CROWN_BREAK, CROWN_CORNER, CUT_CORNERED_BRILLIANT, PAVILION_CORNER
from ..cuts.princess_cut import CHEVRONS, CORNER, CROWN_SIDE, MOST_CHEVRONS, PAVILION_SIDE, PRINCESS_CUT, SIDE_STAR
from ..cuts.steps import CROWN_STEPS, MOST_STEPS, PAVILION_STEPS
from ..tier import CULET, EXTRA, GIRDLE, TABLE
from .long_brilliants import MANY
from .outline_fit import Fit, closest, straightened
from .shape import BROAD, FLAT_DEG, PRESENT, SPARE, UNNAMED, Named, Shape, counted, first_names

ALIGNED = math.radians(10.0)
"""A facet of a step faces as its side does, but for this angle."""

ON_STEP = 0.5
"""Share of its width along which a step borders the one before, or the girdle."""

SAME_SIDE = math.radians(3.0)
"""Girdle facets that face alike within this angle are one side."""

CANDIDATES = {4: ("baguette", "tapered baguette"), 6: ("hexagonal step cut",), 8: ("square emerald cut", "emerald cut")}
"""Step cuts by the number of sides, the simplest first."""

CHEVRONED = {4: PRINCESS_CUT, 8: CUT_CORNERED_BRILLIANT}
"""The cut with chevrons by the number of sides."""

ASKEW_DEG = 5.0
"""A facet at a cut corner faces it, but for this angle; an edge with the girdle in its whole width offsets 1 degree."""

MORE = tuple(tier.name for tier in CHEVRONS[2:])
"""Rows of chevrons that a stone need not have."""

PAIRS = (CORNER.name, CROWN_BREAK.name, *(tier.name for tier in CHEVRONS))
"""Tiers of two facets to each side, which stand beside its middle."""

ON_HALF = 0.9
"""Share of its width that a facet beside the middle of a side has on its half."""

HALF, SOME = 0.5, 0.25
"""Of the facets of the crown, and of each tier there, what must be there where the pavilion lacks few."""


def sided_cut(shape: Shape) -> Named | None:
    """The step cut or the cut with chevrons that a stone is, its facets named; None where it is none of them."""
    sides = _sides(shape)
    if len(sides) not in CANDIDATES:
        return None
    stepped = _stepped(shape, sides)
    if shape.spare(stepped) <= SPARE:
        found = _cut_of(shape, sides, CANDIDATES[len(sides)])
        if found is not None and any(name in (CROWN_STEPS[0].name, PAVILION_STEPS[0].name) for name in stepped):
            steps = {tier.name for tier in (*CROWN_STEPS, *PAVILION_STEPS)} & set(stepped)
            return _named(shape, stepped, *found, {name: len(sides) for name in sorted(steps)})
    if len(sides) in CHEVRONED:
        cut = CHEVRONED[len(sides)]
        for k in range(len(sides) // 4):  # of an octagon every other side is a corner
            found = _cut_of(shape, sides[k :: len(sides) // 4], (cut.name,))
            names = None if found is None else _chevroned(shape, *found)
            if found is not None and names is not None:
                return _named(shape, names, *found, _whole(cut, names))
    return None


def _sides(shape: Shape) -> np.ndarray:
    """(S,) azimuths of the sides of the girdle, radians; empty where it is no polygon of few sides.

    A scan can lose a side of a thin girdle; the azimuths of all sloping facets then tell the sides of a step cut. Those of the
    girdle that it has can be off, too; so at last crown and pavilion tell them alone.
    """
    there, sloping = shape.area > 0.0, shape.slope_deg > FLAT_DEG
    for facets in (shape.steep & there, sloping & there, sloping & ~shape.steep & there):
        azimuths = np.sort(shape.azimuth[facets])
        starts = np.flatnonzero((azimuths - np.roll(azimuths, 1)) % (2.0 * math.pi) > SAME_SIDE)
        if len(starts) in CANDIDATES:
            return np.asarray(azimuths[starts])
    return np.empty(0)


def _cut_of(shape: Shape, sides: np.ndarray, candidates: tuple[str, ...]) -> tuple[Cut, Fit] | None:
    """Of some cuts the one whose outline the stone has, see `closest`, with a side along its length or across it."""
    frames = np.concatenate([sides, sides - math.pi / 2.0])
    found = closest(shape.outline, ((name, frames) for name in candidates))
    return None if found is None else (CUTS[found[0]], found[1])


def _named(shape: Shape, names: list[str], cut: Cut, fit: Fit, whole: Mapping[str, int]) -> Named:
    """The facets numbered from the cut's +x on."""
    facing = shape.steep | np.array([name == EXTRA for name in names])
    azimuth = straightened(shape.azimuth[facing], shape.area[facing], fit.azimuth, math.pi / 2.0)
    return Named.lying(names, counted(shape, names, azimuth - 1e-9), cut, azimuth, fit.off, whole)


def _stepped(shape: Shape, sides: np.ndarray) -> list[str]:
    """Names as the steps of a step cut; a facet that faces no side is extra."""
    names = first_names(shape)
    stacks: dict[tuple[str, int], list[int]] = {}
    for f, name in enumerate(names):
        if name != UNNAMED:
            continue
        off = np.abs((shape.azimuth[f] - sides + math.pi) % (2.0 * math.pi) - math.pi)
        side = int(off.argmin())
        if off[side] < ALIGNED:
            stacks.setdefault((shape.sides[f], side), []).append(f)
        else:
            names[f] = EXTRA
    for (where, _), facets in stacks.items():
        tiers = CROWN_STEPS if where == "crown" else PAVILION_STEPS
        below = np.array([name == GIRDLE.name or side != where for name, side in zip(names, shape.sides, strict=True)])
        for k, f in enumerate(sorted(facets, key=lambda f: abs(shape.loops[f][:, 2].mean() - shape.waist))):
            on_step = k < MOST_STEPS and shape.contact(f, below) > ON_STEP
            names[f] = tiers[k].name if on_step else EXTRA
            below = np.arange(len(names)) == f
    return names


def _chevroned(shape: Shape, cut: Cut, fit: Fit) -> list[str] | None:
    """Names as those of a cut with chevrons; None where facets have no place in it, or a tier has too few or too many."""
    names = first_names(shape)
    table, girdle = (np.array([name == tier.name for name in names]) for tier in (TABLE, GIRDLE))
    turned = shape.azimuth - fit.azimuth
    around = np.arctan2(np.sin(turned) / fit.stretch, np.cos(turned))
    eighth = np.floor(around / (math.pi / 4.0) + 1e-9).astype(int) % 8
    octant = np.round(around / (math.pi / 4.0)).astype(int) % 8
    beside = _beside(shape, fit.azimuth + np.round(around / (math.pi / 2.0)) * (math.pi / 2.0))
    open_ = [f for f, name in enumerate(names) if name == UNNAMED]
    at_girdle, at_table = (np.array([shape.contact(f, others) for f in range(len(names))]) for others in (girdle, table))
    short = at_table - at_girdle - 2.0 * (beside > ON_HALF)  # a star ends before the girdle, on both halves of its side
    singles = [(SIDE_STAR, short, 0, BROAD), (CROWN_SIDE, at_girdle, 0, BROAD), (PAVILION_SIDE, at_girdle, 0, BROAD)]
    if cut is CUT_CORNERED_BRILLIANT:
        facing = _along_flat(shape, girdle) - np.abs(np.degrees(around) % 90.0 - 45.0)
        singles += [(tier, facing, 1, -ASKEW_DEG) for tier in (CROWN_CORNER, PAVILION_CORNER)]
    for tier, score, first, least in singles:
        for k in range(first, 8, 2):  # sides face multiples of 90 degrees, corners face diagonals
            there = [f for f in open_ if names[f] == UNNAMED and shape.sides[f] == tier.side and octant[f] == k]
            f = max(there, key=lambda f: score[f], default=None)
            if f is not None and score[f] > least:
                names[f] = tier.name
    pair = CORNER if cut is PRINCESS_CUT else CROWN_BREAK
    below: dict[int, list[int]] = {}
    for f in open_:
        if names[f] == UNNAMED and shape.sides[f] == "crown":
            names[f] = pair.name
        elif names[f] == UNNAMED:
            below.setdefault(int(eighth[f]), []).append(f)
    for facets in below.values():
        for k, f in enumerate(sorted(facets, key=lambda f: -shape.lowest[f])):
            names[f] = CHEVRONS[k].name if k < MOST_CHEVRONS else EXTRA
    whole = _whole(cut, names)
    if any(names.count(name) > MANY * count for name, count in whole.items()) or shape.spare(names) > SPARE:
        return None
    if all(names.count(name) >= PRESENT * count for name, count in whole.items() if name not in MORE):
        return names
    return names if _merged(names, whole, cut, beside) else None


def _whole(cut: Cut, names: list[str]) -> dict[str, int]:
    """How many facets a whole stone of a cut with chevrons has of each tier; of a third row of chevrons, where there is one."""
    tiers = [tier.name for tier in cut.tiers if tier not in (TABLE, GIRDLE, CULET)]
    return {name: 8 if name in PAIRS else 4 for name in tiers if name not in MORE or name in names}


def _merged(names: list[str], whole: Mapping[str, int], cut: Cut, beside: np.ndarray) -> bool:
    """Whether facets that lack on the crown may be one with their neighbors, as where these differ by too little for a scan:
    the pavilion lacks few, the crown has half of its facets and some of each tier, and all of pairs stand beside the middle of
    their side, where steps don't."""
    crown = {tier.name for tier in cut.tiers if tier.side == "crown"} & set(whole)
    if any(names.count(name) < PRESENT * count for name, count in whole.items() if name not in (*crown, *MORE)):
        return False
    some = all(names.count(name) >= SOME * whole[name] for name in crown)
    half = sum(map(names.count, crown)) >= HALF * sum(whole[name] for name in crown)
    return some and half and all(beside[f] > ON_HALF for f, name in enumerate(names) if name in PAIRS)


def _beside(shape: Shape, side: np.ndarray) -> np.ndarray:
    """(F,) share of a facet's width that lies on one half of its side, whose azimuths (F,) are in radians: 0.5 (in the middle)
    to 1 (beside it)."""
    share = np.ones(len(side))
    for f, loop in enumerate(shape.loops):
        along = (loop[:, :2] - shape.middle) @ [-math.sin(side[f]), math.cos(side[f])]
        if len(along) and np.ptp(along) > 0.0:
            share[f] = min(max(along.max(), -along.min()) / float(np.ptp(along)), 1.0)
    return share


def _along_flat(shape: Shape, girdle: np.ndarray) -> np.ndarray:
    """(F,) share of a girdle facet's width along which a facet borders it; of several the largest.

    The facet's own width says little: on a long stone one that runs from a corner to the culet is skew, and wide for its edge.
    """
    share = np.zeros(len(girdle))
    for (f, g), length in shape.edges.items():
        if girdle[g] and shape.width[g] > 0.0:
            share[f] = max(share[f], length / shape.width[g])
    return share
