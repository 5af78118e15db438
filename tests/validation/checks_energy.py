"""Energy: nothing gained, nothing lost, and what is not yet known stays inside its bracket."""

from __future__ import annotations

import itertools

import numpy as np
from both_tracers import ENTRIES, EVEN, EXACT, LOWER, RICH, UPPER, by_rays, by_reference, gem, on_threads
from checks import above, check, off
from polyhedra import random_polyhedron, random_rays

from raylab.stone.stone import Stone
from raylab.tracers import ledger


@check
def furnace() -> float:
    """Under an even sphere of light every ray gathers 1, less what is left untraced (n^2 law, Clausius); reference tracer."""
    worst = 0.0
    for key, stone in enumerate([gem(), *map(random_polyhedron, range(10))]):
        rows = by_reference(stone, *random_rays(stone, 5, key), EVEN)
        worst = max(worst, off(rows[:, ledger.LUMINANCE] + rows[:, ledger.UNTRACED], np.ones(5), EXACT))
    return worst


def furnace_of_many(count: int) -> float:
    """The same for each ray through `count` random convex polyhedra, by the packet tracer, indices from 1.1 to 2.9."""
    worst = 0.0
    for key in range(count):
        stone = random_polyhedron(key, n=1.1 + 1.8 * (key % 97) / 96.0)
        with on_threads(1):
            rows = by_rays(stone, *random_rays(stone, 6, key), EVEN)
        worst = max(worst, off(rows[:, ledger.LUMINANCE] + rows[:, ledger.UNTRACED], np.ones(6), EXACT))
    return worst


@check
def furnace_of_a_few() -> float:
    """`furnace_of_many` for 200 stones; the test runs it for 1,000."""
    return furnace_of_many(200)


@check
def upper_and_lower_halves() -> float:
    """Light from above the girdle plane alone plus light from below alone is light from everywhere, ray by ray."""
    worst = 0.0
    for key, stone in enumerate([gem(), *map(random_polyhedron, range(20))]):
        one, other, whole = (by_rays(stone, *random_rays(stone, 50, key), dome) for dome in (UPPER, LOWER, EVEN))
        both = one[:, ledger.LUMINANCE] + other[:, ledger.LUMINANCE]
        worst = max(worst, off(both, whole[:, ledger.LUMINANCE], EXACT))
        worst = max(worst, off(both + whole[:, ledger.UNTRACED], np.ones(50), EXACT))
    return worst


def _mixed_bag() -> list[Stone]:
    """Clear, tinted and partly absorbing stones, a brilliant of each."""
    stones = [gem(a, b) for a, b in itertools.product((0.0, 0.2), ("polished", "absorbing"))]
    for key in range(12):
        stones.append(random_polyhedron(key, absorption_per_mm=0.4 * (key % 2), absorbing_share=0.3 * (key % 3 == 0)))
    return stones


def ledger_closes_on(stones: list[Stone], rays: int) -> float:
    """sky + head + leak + absorbed + scattered + untraced = 1 and none is negative: both tracers, a rich dome."""
    worst = 0.0
    for key, stone in enumerate(stones):
        origins, directions = random_rays(stone, rays, key)
        for polarized in (True, False):
            few = by_reference(stone, origins[:2], directions[:2], RICH, polarized=polarized)
            many = by_rays(stone, origins, directions, RICH, polarized=polarized)
            for rows in (few[:, ENTRIES], many[:, ENTRIES]):
                worst = max(worst, off(rows.sum(axis=1), np.ones(len(rows)), EXACT), above(rows, -EXACT))
    return worst


@check
def ledger_closes() -> float:
    """The ledger on any stone."""
    return ledger_closes_on(_mixed_bag(), 400)


@check
def bracket_contains() -> float:
    """A path ended early brackets the full one: value <= full value <= value + untraced, for each entry and luminance."""
    worst = 0.0
    for key, stone in enumerate(_mixed_bag()):
        origins, directions = random_rays(stone, 100, key)
        early = by_rays(stone, origins, directions, RICH, min_weight=0.1)
        full = by_rays(stone, origins, directions, RICH, min_weight=1e-9, max_bounces=2000)
        for entry in (ledger.LUMINANCE, ledger.SKY, ledger.HEAD, ledger.LEAK, ledger.ABSORBED, ledger.SCATTERED):
            high = early[:, entry] + early[:, ledger.UNTRACED]
            worst = max(worst, above(full[:, entry], early[:, entry] - EXACT), above(high, full[:, entry] - EXACT))
    return worst
