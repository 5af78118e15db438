"""Brilliants on an outline that is no circle: mains known by contact, the cut by its outline.

A brilliant that was stretched to its length has mains at even azimuths once the stretch is undone. A half belongs to the main
that it shares its longest edge with, a star to the two mains that it stands between. The pavilion has as many mains as the
crown, or half as many, with four halves between two. A simple outline that fits closely goes before one with more to fit, see
`closest`: a cushion's radii follow an ellipse.
"""

from __future__ import annotations

import math

import numpy as np

from ..cuts import CUTS
from ..cuts.brilliant import CROWN_MAIN, LOWER_HALF, PAVILION_MAIN, STAR, TIERS, UPPER_HALF
from ..cuts.cut import Cut
from ..cuts.round_brilliant import ROUND_BRILLIANT
from ..tier import EXTRA, GIRDLE, TABLE
from .outline_fit import Fit, closest, straightened
from .rounds import which
from .shape import BROAD, PRESENT, SPARE, UNNAMED, Named, Shape, counted, first_names, only_largest

MAINS = {
    "round brilliant": 8,
    "oval brilliant": 8,
    "pear brilliant": 8,
    "marquise brilliant": 8,
    "cushion brilliant": 8,
    "triangular brilliant": 6,
}
"""Mains on the crown of a cut, the simplest outline first."""

HALF, STARRY = -0.65, 0.5
"""Share of its border on the girdle less its reach above which a facet is a half; border on the table and distance from the
girdle, less twice the share of its edges on halves, above which one is a star. Ideal ones have -0.9 to 1 and 1 to 1.9, mains -1
and -1; mains whose stars are lost, so that they border the table, 0."""

LEANING_DEG, UPRIGHT_DEG = 60.0, 80.0
"""A facet of a brilliant with a slope between these is of the girdle only if most of its height lies within that of steeper
facets, and these are beside it: a scan of a thin girdle can find tangents that lean, but at the ends of a long stone halves
stand as steep, on the steeper ones in their whole width, and are hardly higher where the girdle is thick at the mains."""

ON_GIRDLE = 0.5
"""Share of its height that a leaning facet of the girdle has within that of the upright ones."""

TO_TABLE = 0.95
"""Share of the crown's height over which a facet reaches to the table."""

MANY = 1.25
"""A side of up to this multiple of the facets that it should have has extra ones."""

IN_PLACE = 0.8
"""Least agreement of the mains with even azimuths, the stretch undone (1: perfect)."""


SAME_FRAME_DEG = 2.0
"""Frames at a smaller angle are one."""


def long_brilliant(shape: Shape) -> Named | None:
    """The brilliant that a stone is, its facets named; None where it is none of them."""
    sorted_out = {count: _by_reach(shape, count) for count in set(MAINS.values())}
    below = {
        count: np.array([one == UNNAMED for one in names]) & (shape.normals[:, 2] < 0.0)
        for count, (names, _) in sorted_out.items()
    }
    tried = []
    for name, count in MAINS.items():
        if PRESENT * sorted_out[count][1] <= below[count].sum() <= 1.5 * sorted_out[count][1]:
            tried.append(name)
    found = closest(shape.outline, ((name, _frames(shape, below[MAINS[name]], MAINS[name])) for name in tried))
    if found is None:
        return None
    cut, (names, mains) = CUTS[found[0]], sorted_out[MAINS[found[0]]]
    halved = mains < MAINS[cut.name]  # half as many below, which a round one hasn't, though an oval's outline would fit, too
    return None if halved and "pavilion_mains" not in cut.keys else _placed(shape, names, mains, cut, found[1])


def _frames(shape: Shape, mains: np.ndarray, count: int) -> np.ndarray:
    """Azimuths (radians) along which the length may lie: those of the largest of the `mains` (F,) bool first.

    Mains stand at the length and across it (of six, at every sixth of a turn). The small ones at a point can be turned by
    several degrees in a scan, when the large ones across, or at a pear's head, lie right; so each stands for all these.
    """
    step, frames = math.pi / (3.0 if count == 6 else 2.0), list[float]()
    facets = np.flatnonzero(mains)
    for azimuth in shape.azimuth[facets[np.argsort(-shape.area[facets], kind="stable")]].tolist():
        for k in range(round(2.0 * math.pi / step)):
            off = [abs(math.remainder(azimuth + k * step - one, 2.0 * math.pi)) for one in frames]
            if min(off, default=math.inf) > math.radians(SAME_FRAME_DEG):
                frames.append(azimuth + k * step)
    return np.array(frames)


def _by_reach(shape: Shape, count: int) -> tuple[list[str], int]:
    """Table, girdle, culet, halves and stars by what they border and how far they reach; the others are mains.

    Also the number of pavilion mains that the stone should have, see `_mains_below`.

    A half lies on the girdle and ends short of table or culet, a star lies on the table and ends short of the girdle, and a
    main reaches from one to the other. A side with as many facets as it should have, or a few less, is sorted by rank; of a
    few more, the smallest are extra. A main that is one with its halves, in a scan that can't tell them apart, borders the
    girdle as a half does, but reaches to the table: where mains are lacking, such ones are mains.
    """
    names, mains = _with_leaning(shape, first_names(shape)), count
    table, girdle = (np.array([name == tier.name for name in names]) for tier in (TABLE, GIRDLE))
    at_girdle, at_table = _borders(shape, girdle, 2 * count), _borders(shape, table, count)
    for side, half in (("crown", UPPER_HALF), ("pavilion", LOWER_HALF)):
        facets = np.array([f for f, name in enumerate(names) if name == UNNAMED and shape.sides[f] == side], dtype=int)
        alone = len(facets) <= count
        if side == "pavilion":
            standing = 0 if alone else int((_half_score(shape, facets, at_girdle) > HALF).sum())
            mains = _mains_below(len(facets), standing, count)
        if alone:
            continue
        whole = 4 * count if side == "crown" else 2 * count + mains
        if whole < len(facets) <= MANY * whole:
            order = np.argsort(-shape.area[facets], kind="stable")
            for f in facets[order[whole:]]:
                names[f] = EXTRA
            facets = facets[np.sort(order[:whole])]
        as_half = _half_score(shape, facets, at_girdle)
        halves = _top(facets, as_half, 2 * count, whole - len(facets), HALF)
        for f in halves:
            names[f] = half.name
        if side == "crown":
            left = np.isin(facets, halves, invert=True)
            score = (at_table[facets] + _span(shape, facets)[0] - 2.0 * _edged(shape, halves)[facets])[left]
            stars = _top(facets[left], score, count, whole - len(facets), STARRY)
            for f in stars:
                names[f] = STAR.name
            merged = ~left & (_span(shape, facets)[1] > TO_TABLE)
            for f in facets[merged][np.argsort(as_half[merged])][: max(count - (left.sum() - len(stars)), 0)]:
                names[f] = UNNAMED
    return names, mains


def _top(facets: np.ndarray, score: np.ndarray, count: int, lost: int, above: float) -> np.ndarray:
    """The facets of largest score: `count` where none is lost, else fewer by up to as many, where the score drops most.

    Where more is lost than a side may lack, or there are more facets than places, all with a score `above` a limit.
    """
    order = np.argsort(-score)
    if not 0 <= lost <= (1.0 - PRESENT) * count or len(facets) <= count:
        return facets[score > above]
    drop = score[order][count - lost - 1 : count] - score[order][count - lost : count + 1]
    return facets[order[: count - lost + int(drop.argmax())]]


def _with_leaning(shape: Shape, names: list[str]) -> list[str]:
    """The names, with those of steep facets settled, see `LEANING_DEG`."""
    upright = (shape.slope_deg > UPRIGHT_DEG) & (shape.area > 0.0)
    upon = [shape.loops[f][:, 2] for f in np.flatnonzero(upright)]
    low, high = (np.concatenate(upon).min(), np.concatenate(upon).max()) if upon else (-np.inf, np.inf)
    names = list(names)
    for f in np.flatnonzero((shape.slope_deg > LEANING_DEG) & (shape.slope_deg <= UPRIGHT_DEG)).tolist():
        heights = shape.loops[f][:, 2]
        within = np.ptp(heights.clip(low, high)) if len(heights) else 0.0
        beside = within > ON_GIRDLE * np.ptp(heights) and shape.contact(f, upright) < BROAD
        names[f] = GIRDLE.name if not len(heights) or beside else UNNAMED
    return names


def _mains_below(facets: int, halves: int, count: int) -> int:
    """Pavilion mains of a stone of `count` crown mains: as many, or half as many; by its facets below, else by its halves."""
    for mains in (count, count // 2):
        if facets == 2 * count + mains:
            return mains
    return count if 4 * (facets - halves) >= 3 * count else count // 2


def _half_score(shape: Shape, facets: np.ndarray, at_girdle: np.ndarray) -> np.ndarray:
    """Of facets of one side, the share of the border on the girdle less the reach, see `HALF`."""
    return np.asarray(at_girdle[facets] - _span(shape, facets)[1])


def _span(shape: Shape, facets: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """How far facets of one side begin from the girdle, and how far they reach; shares of the side's height."""
    heights = [np.sort(np.abs(shape.loops[f][:, 2] - shape.waist)) for f in facets]
    low, high = np.array([h[0] for h in heights]), np.array([h[-1] for h in heights])
    base, top = low.min(), high.max()
    return (low - base) / (top - base), (high - base) / (top - base)


def _edged(shape: Shape, others: np.ndarray) -> np.ndarray:
    """(F,) share of the edges of facets that they have with `others`, numbers of facets."""
    length, whole = np.zeros(len(shape.area)), np.zeros(len(shape.area))
    among = np.isin(np.arange(len(length)), others)
    for (f, g), along in shape.edges.items():
        whole[f] += along
        length[f] += along * among[g]
    return np.divide(length, whole, out=np.zeros(len(whole)), where=whole > 0.0)


def _borders(shape: Shape, others: np.ndarray, count: int) -> np.ndarray:
    """(F,) length of what facets share with others: of their own width, or of an even share of `count`; the larger, up to 1."""
    length = np.zeros(len(others))
    for (f, g), along in shape.edges.items():
        if others[g]:
            length[f] += along
    sides = 2.0 if others.sum() > 1 else 1.0  # the girdle is bordered from above and from below
    share = length[~others].sum() / sides / count
    own = np.divide(length, shape.width, out=np.zeros(len(others)), where=shape.width > 0.0)
    return np.minimum(np.maximum(own, length / share if share > 0.0 else 0.0), 1.0)


def _placed(shape: Shape, names: list[str], below: int, cut: Cut, fit: Fit) -> Named | None:
    """Names and numbers by place; None where mains don't stand where the cut has them, or much of the surface has no place.

    `below` : pavilion mains of such a stone.
    """
    count = MAINS[cut.name]
    stretch = 1.0 if count == 6 else fit.stretch
    mains = np.array([name == UNNAMED for name in names])
    azimuth = straightened(shape.azimuth[mains], shape.area[mains], fit.azimuth, math.pi / (3.0 if count == 6 else 2.0))
    own = shape.azimuth - azimuth
    around = np.arctan2(np.sin(own) / stretch, np.cos(own)) * count / (2.0 * math.pi)  # in steps from main to main
    full = [
        (CROWN_MAIN if side == "crown" else PAVILION_MAIN).name if main else name
        for main, side, name in zip(mains, shape.sides, names, strict=True)
    ]
    steps = {CROWN_MAIN.name: 1, PAVILION_MAIN.name: count // below}  # of the crown's, from one main to the next
    for name, step in steps.items():
        facets = np.array([one == name for one in full])
        agrees = np.cos(2.0 * math.pi * around[facets] / step) @ shape.area[facets]
        if facets.sum() < PRESENT * count / step or agrees < IN_PLACE * shape.area[facets].sum():
            return None
    number = counted(shape, full, azimuth)
    for f in np.flatnonzero(mains).tolist():
        step = steps[full[f]]
        number[f] = round(around[f] / step) % (count // step)
    for f, name in enumerate(full):
        if name == STAR.name:
            number[f] = math.floor(around[f] + 1e-9) % count
        elif name in (UPPER_HALF.name, LOWER_HALF.name):
            each = 2 * (1 if name == UPPER_HALF.name else steps[PAVILION_MAIN.name])
            if each == 2 or full.count(name) != 2 * count:
                number[f] = _half(shape, f, full, number, around, count, each)
    placed = {tier.name for tier in TIERS if tier.per_main}
    only_largest(shape, full, lambda f: number[f] if full[f] in placed else None)
    few = any(full.count(name) < PRESENT * count / step for name, step in steps.items())  # of those at places of their own
    if few or shape.spare(full) > SPARE:
        return None
    others = counted(shape, full, azimuth)
    number = [others[f] if name == EXTRA else number[f] for f, name in enumerate(full)]
    cut, also = which(shape, full) if cut.name == ROUND_BRILLIANT.name else (cut, ())
    whole = {tier.name: tier.per_main * count for tier in cut.tiers if tier.per_main} | {PAVILION_MAIN.name: below}
    if cut.of_width:
        return Named.lying(full, number, cut, azimuth, fit.off, whole)
    symmetry = ROUND_BRILLIANT.symmetry.turned(round(math.degrees(azimuth), 9))
    return Named(full, number, cut, also, azimuth, fit.off, symmetry, whole)


def _half(shape: Shape, f: int, names: list[str], number: list[int], around: np.ndarray, count: int, each: int) -> int:
    """The number of a half beside a main: the first counter-clockwise of it, or the last clockwise of it; `each` to a main."""
    main = (CROWN_MAIN if names[f] == UPPER_HALF.name else PAVILION_MAIN).name
    beside = [(length, g) for (a, g), length in shape.edges.items() if a == f and names[g] == main]
    if not beside:
        return math.floor(2.0 * around[f]) % (2 * count)
    _, g = max(beside)
    ahead = math.remainder(around[f] - around[g], count) > 0.0
    return (each * number[g] - (0 if ahead else 1)) % (2 * count)
