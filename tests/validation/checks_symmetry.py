"""Two tracers, one answer; and the symmetries of space, time and machine."""

from __future__ import annotations

import itertools
import math

import numpy as np
from both_tracers import LEAN, RICH, by_rays, by_reference, gem, on_threads
from checks import check, off
from polyhedra import hexagonal_prism, random_polyhedron, random_rays, visited

from raylab.scene.view import View
from raylab.stone.stone import Stone
from raylab.tracers import ledger, reference

Case = tuple[Stone, int, int, bool]
"""A stone, how many rays, their key, polarized or not."""


def reference_and_rays_on(cases: list[Case]) -> float:
    """Every channel of every ray, to 1e-10.

    The reference carries a coherency matrix in the lab frame, the packet tracer a Stokes row: they share no optics code.
    """
    worst = 0.0
    for stone, count, key, polarized in cases:
        origins, directions = random_rays(stone, count, key)
        slow = by_reference(stone, origins, directions, RICH, polarized=polarized)
        fast = by_rays(stone, origins, directions, RICH, polarized=polarized)
        worst = max(worst, off(fast, slow, 1e-10))
    return worst


def bodies(key: int, count: int, tint: float, absorbing: bool) -> list[Stone]:
    """Random polyhedra of different indices."""
    share = 0.2 * absorbing
    return [
        random_polyhedron(10 * key + k, n=1.3 + 0.4 * k, absorption_per_mm=tint, absorbing_share=share) for k in range(count)
    ]


@check
def reference_and_rays_agree() -> float:
    """Brilliants and random polyhedra, polarized or not, tinted or not, with and without absorbing facets."""
    cases: list[Case] = []
    for key, (tint, absorbing, polarized) in enumerate(itertools.product((0.0, 0.3), (False, True), (True, False))):
        cases.append((gem(tint, "absorbing" if absorbing else "polished"), 24, key, polarized))
        cases += [(stone, 12, key, polarized) for stone in bodies(key, 5, tint, absorbing)]
    return reference_and_rays_on(cases)


@check
def reciprocity() -> float:
    """Light that runs a path backwards loses the same share and leaves where the first came from (Helmholtz).

    Each exit of over 1e-3 is shot back along itself. Tolerance 1e-9: rounding, enlarged by refraction near grazing.
    """
    worst = 0.0
    for key, stone in enumerate([gem(), gem(0.3), *(random_polyhedron(k, absorption_per_mm=0.2) for k in range(8))]):
        for origin, direction in zip(*random_rays(stone, 6, key), strict=True):
            path = reference.trace_path(origin, direction, stone, min_weight=1e-3)
            points, _ = visited(stone, origin, direction, path)
            for weight, leaves, bounces in path.exits[1:]:
                if weight < 1e-3:
                    continue
                start = points[bounces + 1] + 5.0 * float(stone.size_mm.max()) * leaves
                back = reference.trace_path(start, -leaves, stone, min_weight=1e-4)
                met = path.facets[bounces + 1 :: -1]
                same = back.facets[: bounces + 2] == met
                returned = [(w, *v) for w, v, b in back.exits[1:] if b == bounces]
                worst = max(worst, off(returned, [(weight, *-direction)], 1e-9) if same else math.inf)
    return worst


MOVES = (
    View(tilt_deg=70.0, tilt_azimuth_deg=40.0, turn_deg=11.0).rotation(),
    View(tilt_deg=180.0, tilt_azimuth_deg=10.0).rotation(),
    View(turn_deg=33.0).rotation(),
)
FREE = [ledger.GLARE, ledger.ABSORBED, ledger.SCATTERED, ledger.UNTRACED, ledger.SOURCE_X, ledger.SOURCE_Y, ledger.SOURCE_Z]
FREE += [ledger.BOUNCES]
"""Channels that do not ask which way is up in the stone."""


@check
def rigid_motion() -> float:
    """Stone and rays turned and shifted together give the same light, seen in the turned frame; 1e-10, both tracers.

    Channels that depend on the girdle plane are compared where the move leaves the stone's axis alone.
    """
    worst = 0.0
    for key, stone in enumerate(
        [gem(0.1, "absorbing"), random_polyhedron(5, absorption_per_mm=0.3), hexagonal_prism(0.7, 1.31)]
    ):
        origins, directions = random_rays(stone, 60, key)
        for turn in MOVES:
            channels = list(range(ledger.CHANNELS)) if turn[2, 2] == 1.0 else FREE
            shift = np.array([0.7, -1.9, 0.4])
            moved = stone.moved(turn, shift)
            for trace, some in ((by_rays, slice(60)), (by_reference, slice(4))):
                here = trace(stone, origins[some], directions[some], RICH, LEAN)
                there = trace(moved, origins[some] @ turn.T + shift, directions[some] @ turn.T, RICH, LEAN @ turn.T)
                worst = max(worst, off(there[:, channels], here[:, channels], 1e-10))
    return worst


@check
def scale() -> float:
    """A stone 3.7 times as large with a tint 3.7 times as weak shows the same; 1e-10, both tracers."""
    worst = 0.0
    for key in range(4):
        small = random_polyhedron(key, absorption_per_mm=0.37)
        large = random_polyhedron(key, absorption_per_mm=0.1).scaled(3.7)
        origins, directions = random_rays(small, 40, key)
        for trace, some in ((by_rays, slice(40)), (by_reference, slice(3))):
            one, other = (trace(s, f * origins[some], directions[some], RICH) for s, f in ((small, 1.0), (large, 3.7)))
            worst = max(worst, off(other, one, 1e-10))
    return worst


@check
def thread_count() -> float:
    """Bit by bit the same rows on one thread and on two."""
    origins, directions = random_rays(gem(0.1), 20_000, 1)
    rows = []
    for threads in (1, 2):
        with on_threads(threads):
            rows.append(by_rays(gem(0.1), origins, directions, RICH))
    return 0.0 if np.array_equal(rows[0], rows[1]) else math.inf
