"""Scans of stones of the shipped cuts at random proportions: are all facets found, the cut recognised, the intervals right?

    python tests/validation/scanned_cuts.py 20 1 5 [--known-to 15] ["oval brilliant" ...]

scans so many stones of each cut (or of those named) with noise of 1 and of 5 um, from points in even directions, turned and
shifted at random. For every cut and noise it prints

* facets that the scan lacks or has beyond those of the stone, the girdle and facets of fewer than `LEAST` points left out;
* how many stones were recognised as their cut, or as one that the shape doesn't tell apart from it (`SAME`);
* how many measured numbers hold the true one in their 95 % interval, which comes from the scan's own scatter alone. The true
  one is measured on the same stone without noise, whose facets bear the names that the scan gives them: a square emerald cut
  whose corners are as wide as its sides has two equally good lies.
  Two kinds are counted apart: lengths and percentages where the noise doesn't show the girdle flat by flat, whose tangents lie
  outside the chords; and numbers that can't be negative and truly are 0, such as the unevenness of an even outline.
"""

from __future__ import annotations

import argparse
import math
import sys
import time
from collections import Counter
from pathlib import Path

import numpy as np

sys.path += [str(Path(__file__).parent), str(Path(__file__).parent.parent)]

import scanned
from random_cuts import random_stones

import raylab as rl
from raylab.comparison.uncertainty import propagate
from raylab.errors import StoneError
from raylab.plane_geometry import rotation_about_z
from raylab.stone.cuts import CUTS
from raylab.stone.measuring.plane_uncertainty import EXACT
from raylab.stone.scanning.scan import stone_from_mesh

LEAST = 10
"""Points on a facet under which no scan can be expected to show it."""

TIMES = 6
"""Subdivisions of the ball of directions: 40,962 points."""

SIZE_MM = 6.5
"""Width or diameter of every stone."""

AT_GIRDLE = {"corner_deg", "table_tilt_deg"}
"""Angles that are measured on the girdle."""

ROUND = {"round brilliant", "old European cut"}
SAME = {
    **dict.fromkeys(ROUND, ROUND),
    "emerald cut": {"emerald cut", "square emerald cut"},
    "tapered baguette": {"tapered baguette", "baguette"},
}  # fmt: skip
"""Cuts that can't be told apart by shape at some proportions: hardly longer than wide, hardly tapered, of the same facets."""


def plain(name: str, count: int) -> list[rl.Stone]:
    """Random stones of a cut, all of one width."""
    stones = list(random_stones(CUTS[name], count, key=7))
    return [stone.scaled(SIZE_MM / float(np.ptp(stone.outline_mm[:, 1]))) for stone in stones]


def missed(found: rl.Stone, stone: rl.Stone, points: np.ndarray) -> tuple[int, int, int]:
    """Facets that a scan lacks, that it has beyond, and that points say little of.

    Both stones lie alike; a facet is the nearest one whose normal is within 3 degrees and that isn't taken yet.
    """
    sure = scanned.well_sampled(stone, points, LEAST)
    cosine = found.normals @ stone.normals.T
    taken: set[int] = set()
    lacking, unsure = 0, 0
    order = sorted(np.flatnonzero(~stone.on_girdle).tolist(), key=lambda f: -cosine[:, f].max())
    for f in order:
        free = [(cosine[g, f], g) for g in range(len(found)) if g not in taken]
        best = max(free, default=(-1.0, -1))
        if best[0] > math.cos(math.radians(3.0)):
            taken.add(best[1])
        elif stone.facet_name(f) in sure:
            lacking += 1
        else:
            unsure += 1
    beyond = [g for g in np.flatnonzero(~found.on_girdle).tolist() if g not in taken]
    return lacking, len(beyond), unsure


def named_alike(stone: rl.Stone, found: rl.Stone, rotation: np.ndarray) -> rl.Stone:
    """The stone without noise, turned about its axis as its scan lies, with the cut, the tiers and the symmetry found there.

    `rotation` : (3, 3) from the stone to the scan's frame, a turn about the axis but for errors.
    """
    turn = math.atan2(rotation[1, 0] - rotation[0, 1], rotation[0, 0] + rotation[1, 1])
    turned = stone.moved(rotation_about_z(turn), np.zeros(3))
    cosine = found.normals @ turned.normals.T
    free = set(np.flatnonzero(~found.on_girdle).tolist())
    tiers, indices = list(turned.tiers), list(turned.indices)
    for f in sorted(np.flatnonzero(~turned.on_girdle).tolist(), key=lambda f: -cosine[:, f].max()):
        nearest = max(free, key=lambda g: cosine[g, f])
        free.discard(nearest)
        tiers[f], indices[f] = found.tiers[nearest], found.indices[nearest]
    return turned.relabeled(tiers=tiers, indices=indices, cut=found.cut, symmetry=found.symmetry)


def one(name: str, stone: rl.Stone, noise_um: float, key: tuple[int, ...], draws: float, tally: Counter[str]) -> None:
    """Scan a stone and count what was found."""
    rng = np.random.default_rng(key)
    points, triangles = scanned.sampled(stone, TIMES, rng)
    turn, shift = scanned.random_rotation(rng), rng.normal(size=3)
    tally["stones"] += 1
    try:
        scan = stone_from_mesh(scanned.noisy(points, noise_um * 1e-3, rng) @ turn.T + shift, triangles)
    except StoneError as error:
        tally[f"refused: {str(error)[:60]}"] += 1
        return
    lying = stone.moved(scan.report.rotation @ turn, scan.report.rotation @ shift + scan.report.shift_mm)
    lacking, beyond, unsure = missed(scan.stone, lying, points)
    tally["lacking"] += lacking
    tally["beyond"] += beyond
    tally["unsure"] += unsure
    cut = scan.stone.cut
    tally["recognised"] += cut in SAME.get(name, {name})
    tally[f"called {cut}"] += cut != name
    if cut not in SAME.get(name, {name}) or lacking or beyond or unsure:
        return
    truth = rl.measure(named_alike(stone, scan.stone, scan.report.rotation @ turn)).numbers()

    def numbers(body: rl.Stone) -> dict[str, float]:
        measured = rl.measure(body)
        about = measured.definitions
        return {key: one.mean for key, one in measured.items() if about[key].mean and key in truth}

    flats = scan.report.girdle != "round"  # a round one's tangents may be as many as the flats are
    flat_by_flat = flats and scan.stone.on_girdle.sum() == stone.on_girdle.sum()
    estimates = propagate(scan.stone, numbers, scan.report.uncertainty(EXACT), known_to_pct=draws, key=key)
    for number, estimate in estimates.items():
        low, high = estimate.interval()
        if math.isnan(low):
            continue
        held = low - 1e-9 <= truth[number] <= high + 1e-9
        at_girdle = not flat_by_flat and (number in AT_GIRDLE or not number.endswith("_deg"))
        kind = "zero" if abs(truth[number]) < 1e-9 else "girdle" if at_girdle else "number"
        tally[f"{kind}s"] += 1
        tally[f"{kind}s held"] += held
        if not held and kind == "number":
            tally[f"out: {number}"] += 1


def main() -> None:
    reader = argparse.ArgumentParser(description=__doc__)
    reader.add_argument("count", type=int)
    reader.add_argument("noises_um", type=float, nargs=2)
    reader.add_argument("--known-to", type=float, default=15.0, help="percent, see `propagate`")
    reader.add_argument("cuts", nargs="*")
    given = reader.parse_args()
    for name in given.cuts or CUTS:
        stones = plain(name, given.count)
        for noise_um in given.noises_um:
            tally: Counter[str] = Counter()
            start = time.perf_counter()
            for k, stone in enumerate(stones):
                one(name, stone, noise_um, (k, int(noise_um)), given.known_to, tally)
            rate = [f"{tally[f'{kind}s held']}/{tally[f'{kind}s']}" for kind in ("number", "girdle", "zero")]
            words = f"lacking {tally['lacking']}, beyond {tally['beyond']}, unsure {tally['unsure']}"
            others = {k: n for k, n in tally.items() if k.startswith(("called", "refused", "out")) and n}
            seconds = time.perf_counter() - start
            print(
                f"{name}, {noise_um:g} um: {words}; recognised {tally['recognised']}/{tally['stones']};"
                f" held {rate[0]}, at girdles without flats {rate[1]}, true zeros {rate[2]}; {seconds:.0f} s; {others}",
                flush=True,
            )


if __name__ == "__main__":
    main()
