"""Brilliants on a circle: mains at even azimuths, and halves and stars where the cut's tiers have them.

Round brilliant, old European cut and single cut have the same mains. A stone of mains alone is a single cut as it stands, and
may be a round brilliant whose last facets are still to come. The old European cut has the round brilliant's facets in other
proportions: a stone is called so whose lower halves are short and whose culet is wide (our definition).
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from ...plane_geometry import distance_to_edge
from ..cuts.brilliant import LOWER_HALF
from ..cuts.cut import Cut
from ..cuts.old_european_cut import OLD_EUROPEAN_CUT
from ..cuts.outline import Outline
from ..cuts.round_brilliant import ROUND_BRILLIANT
from ..cuts.single_cut import SINGLE_CUT
from ..symmetry_group import SymmetryGroup
from ..tier import CULET, EXTRA, PLAIN
from .shape import OUTLINE, SPARE, UNNAMED, Named, Shape, by_contact, by_place

PATTERN = 0.9
"""Agreement of the mains' azimuths with even spacing (1: perfect) from which they count as a pattern."""

PLACED = 0.0
"""Agreement of a tier's azimuths with its places (1: all there, -1: all halfway between) above which it is in the pattern."""

ORDERS = range(3, 17)
"""Numbers of mains that are looked for."""

SHORT_HALVES, WIDE_CULET = 0.65, 0.04
"""Of an old European cut: lower halves reach in by no more than this share of the way to the culet's middle, and the culet is
at least this wide, a share of the diameter."""


def round_cut(shape: Shape) -> Named | None:
    """The cut with a round girdle that a stone is, its facets named; None where it is none."""
    names = by_contact(shape, ROUND_BRILLIANT)
    order, phase = pattern(shape, names)
    outline = ROUND_BRILLIANT.outline
    if order == 1 or outline is None:
        return None
    off = outline_off(shape, outline, phase)
    found = placed(shape, names, ROUND_BRILLIANT, order, phase) if off < OUTLINE else None
    if found is None:
        return None
    symmetry = SymmetryGroup(order, round(math.degrees(phase), 9) + 0.0)
    cut, also = which(shape, found[0])
    whole = {tier.name: tier.per_main * order for tier in cut.tiers if tier.per_main}
    return Named(*found, cut, also, phase, off, symmetry, whole)


def which(shape: Shape, names: list[str]) -> tuple[Cut, tuple[str, ...]]:
    """Which round cut it is, and which others have the same facets."""
    if not set(names) & set(ROUND_BRILLIANT.last):
        return SINGLE_CUT, (ROUND_BRILLIANT.name,)
    if _old(shape, names):
        return OLD_EUROPEAN_CUT, (ROUND_BRILLIANT.name,)
    return ROUND_BRILLIANT, (OLD_EUROPEAN_CUT.name,)


def _old(shape: Shape, names: list[str]) -> bool:
    """True for short lower halves and a wide culet."""
    halves = [f for f, name in enumerate(names) if name == LOWER_HALF.name]
    culet = [shape.loops[f][:, :2] for f, name in enumerate(names) if name == CULET.name]
    if not culet or not halves:
        return False
    width = 2.0 * math.sqrt(float(shape.area[names.index(CULET.name)]) / math.pi)
    diameter = float(np.ptp(shape.outline, axis=0).mean())
    middle, reached = culet[0].mean(axis=0), []
    for f in halves:
        arms = shape.loops[f][:, :2] - middle
        far = np.linalg.norm(arms, axis=1)
        k = int(far.argmin())
        reached.append(1.0 - far[k] / distance_to_edge(shape.outline, middle, arms[k] / far[k]))
    return width >= WIDE_CULET * diameter and float(np.median(reached)) <= SHORT_HALVES


def outline_off(shape: Shape, wanted: Outline, phase: float) -> float:
    """How far the stone reaches beyond or behind an outline, the largest of all directions; share of its mean radius."""
    azimuths = 2.0 * np.pi * np.arange(64) / 64
    extent = (shape.outline - shape.middle) @ np.array([np.cos(azimuths + phase), np.sin(azimuths + phase)])
    share = extent.max(axis=0) / [wanted.support(azimuth) for azimuth in azimuths]
    return float(np.abs(share / share.mean() - 1.0).max())


def pattern(shape: Shape, names: Sequence[str]) -> tuple[int, float]:
    """The mains' order of rotation and the azimuth (radians) of the one nearest to 0; (1, 0) if they have none."""
    best, order, phase = PATTERN, 1, 0.0
    mains = np.array([name == UNNAMED for name in names])
    for n in ORDERS:
        for side in (mains & (shape.normals[:, 2] < 0.0), mains & (shape.normals[:, 2] > 0.0)):
            if side.sum() < 3:
                continue
            wave = np.sum(shape.area[side] * np.exp(1j * n * shape.azimuth[side])) / shape.area[side].sum()
            slots = np.round((shape.azimuth[side] - np.angle(wave) / n) * n / (2.0 * math.pi)) % n
            if abs(wave) > best and len(np.unique(slots)) >= 0.75 * n:
                best, order, phase = abs(wave), n, float(np.angle(wave)) / n
    if order > 1:  # both sides together settle the azimuth
        phase = float(np.angle(np.sum(shape.area[mains] * np.exp(1j * order * shape.azimuth[mains])))) / order
    return order, phase


def placed(shape: Shape, names: Sequence[str], cut: Cut, order: int, phase: float) -> tuple[list[str], list[int]] | None:
    """Names and numbers by place in the cut's pattern; the largest facet at each place keeps it.

    None where a tier doesn't stand in the pattern, or where much of the surface has no place in it.
    """
    mains = {tier.side: tier.name for tier in cut.tiers if tier.main}
    full = [mains.get(side, PLAIN[side]) if name == UNNAMED else name for name, side in zip(names, shape.sides, strict=True)]
    step = 2.0 * math.pi / order
    patterns = {tier.name: (tier.per_main * order, tier.offset * step) for tier in cut.tiers if tier.per_main}
    turns = {name: [f for f, own in enumerate(full) if own == name] for name in patterns}
    for name, facets in turns.items():
        count, offset = patterns[name]
        there = shape.area[facets] * np.cos((shape.azimuth[facets] - phase - offset) * count)
        if facets and there.sum() <= PLACED * shape.area[facets].sum():
            return None
    numbers = by_place(shape, full, patterns, phase)
    spare = np.array([name == EXTRA for name in full])
    if shape.area[spare].sum() > SPARE * shape.area.sum():
        return None
    return full, numbers
