"""Scans of stones of the shipped cuts at random proportions: are all facets found, the cut recognised, the intervals right?

    python tests/validation/scanned_cuts.py 20 1 5 [--known-to 15] [--seed 0] [--processes 4] ["oval brilliant" ...]

scans so many stones of each cut (or of those named) with noise of 1 and of 5 um, from points in even directions, turned and
shifted at random. The thresholds of scans were set on the stones of seed 0; other seeds are other stones and other noise. For
every cut and noise it prints

* facets that the scan lacks or has beyond those of the stone, the girdle left out. A facet is found if one of the scan's is
  turned from it by less than 3 degrees, or by less than four of that one's stated standard errors: a culet of 8 points is known
  to 2 degrees. One that is lacking counts apart, as unresolved, where the points can't show it: fewer than `LEAST` lie on it,
  or the same points without noise lie on the body without that facet, the neighbours on its side fitted anew, with a sum of
  squares of at most `SHOWN` noise variances. A plane found between two steps that the points can't tell apart stands for the
  nearer of them and is not beyond;
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
import os
import sys
from collections import Counter
from functools import lru_cache
from multiprocessing import get_context
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
from raylab.stone.scanning.envelope import squares
from raylab.stone.scanning.moves import shared_out
from raylab.stone.scanning.scan import Scan, stone_from_mesh

LEAST = 10
"""Points on a facet under which no scan can be expected to show it."""

SHOWN = 100.0
"""Noise variances by which a body without a facet must explain the points worse, for the facet to be expected. With noise the
sum is uncertain by twice its root, so that three standard errors below 100 it is still the 40 that the reconstruction asks
for."""

CLOSE_DEG, CLOSE_ERRORS = 3.0, 4.0
"""A facet of a scan is the stone's if it is turned from it by less than this, degrees or standard errors."""

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


def plain(name: str, count: int, seed: int) -> list[rl.Stone]:
    """Random stones of a cut, all of one width."""
    stones = list(random_stones(CUTS[name], count, key=7 + seed))
    return [stone.scaled(SIZE_MM / float(np.ptp(stone.outline_mm[:, 1]))) for stone in stones]


def shown(stone: rl.Stone, points: np.ndarray, noise_mm: float) -> np.ndarray:
    """(F,) bool: facets, but those of the girdle, that points (N, 3) of a stone can show through the noise, see `SHOWN`."""
    heights = points @ stone.normals.T - stone.distances_mm
    order = np.argsort(-heights, axis=1)[:, :2]
    count = np.bincount(order[:, 0], minlength=len(stone))
    result = count >= LEAST
    for f in np.flatnonzero(result & ~stone.on_girdle):
        beside = np.unique(np.r_[order[order[:, 0] == f, 1], order[order[:, 1] == f, 0]])
        beside = beside[~stone.on_girdle[beside]]  # one of many flats could stand in for any facet
        near = np.isin(order[:, 0], [f, *beside])
        rows = np.column_stack([stone.normals, stone.distances_mm])
        without = heights[near][:, np.arange(len(stone)) != f].max(axis=1)
        losses = [squares(without, noise_mm).sum()]
        fitted = shared_out(points[near], rows[beside]) if len(beside) else None
        if fitted is not None:
            others = np.delete(heights[near], [f, *beside], axis=1).max(axis=1)
            anew = np.maximum((points[near] @ fitted[:, :3].T - fitted[:, 3]).max(axis=1), others)
            losses.append(squares(anew, noise_mm).sum())
        result[f] = min(losses) > SHOWN
    return result


def missed(scan: Scan, stone: rl.Stone, expected: np.ndarray) -> tuple[int, int, int]:
    """Facets that a scan lacks though they are expected (F,), that it has beyond, and that it lacks and can't show.

    Both stones lie alike; a facet is the nearest one within `CLOSE_DEG` or `CLOSE_ERRORS` that isn't taken yet.
    """
    found = scan.stone
    cosine = found.normals @ stone.normals.T
    errors = np.array([np.fmax(fit.slope_error_deg, fit.across_error_deg) for fit in scan.report.facets])
    close = np.cos(np.radians(np.fmax(CLOSE_DEG, CLOSE_ERRORS * errors)))
    pairs = np.argwhere((cosine > close[:, None]) & ~found.on_girdle[:, None] & ~stone.on_girdle)
    there, taken = set[int](), set[int]()
    for g, f in pairs[np.argsort(-cosine[tuple(pairs.T)], kind="stable")].tolist():  # the nearest first
        if f not in there and g not in taken:
            there.add(f)
            taken.add(g)
    gone = [f for f in np.flatnonzero(~stone.on_girdle).tolist() if f not in there]
    unsure = {f for f in gone if not expected[f]}
    lacking = len(gone) - len(unsure)
    beyond = [g for g in np.flatnonzero(~found.on_girdle).tolist() if g not in taken and cosine[g].argmax() not in unsure]
    return lacking, len(beyond), len(unsure)


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
    lacking, beyond, unsure = missed(scan, lying, shown(stone, points, noise_um * 1e-3))
    tally["lacking"] += lacking
    tally["beyond"] += beyond
    tally["unresolved"] += unsure
    cut = scan.stone.cut
    tally["recognised"] += cut in SAME.get(name, {name})
    tally[f"called {cut}"] += cut not in SAME.get(name, {name})
    tally["not recognised, with facets unresolved"] += cut not in SAME.get(name, {name}) and unsure > 0
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
        if not held and kind != "zero":
            tally[f"out: {number}"] += 1


def counted(job: tuple[str, int, int, float, float, int]) -> Counter[str]:
    """What `one` counts on a stone: its cut, how many are drawn, its number among them, noise (um), `known_to_pct` and seed."""
    name, count, k, noise_um, draws, seed = job
    tally: Counter[str] = Counter()
    key = (k, int(noise_um), seed) if seed else (k, int(noise_um))
    one(name, drawn(name, count, seed)[k], noise_um, key, draws, tally)
    return tally


@lru_cache(maxsize=1)
def drawn(name: str, count: int, seed: int) -> list[rl.Stone]:
    """`plain`, kept for the next stone of the cut."""
    return plain(name, count, seed)


def line(name: str, noise_um: float, tally: Counter[str]) -> str:
    """The figures of a cut at a noise, in words."""
    rate = [f"{tally[f'{kind}s held']}/{tally[f'{kind}s']}" for kind in ("number", "girdle", "zero")]
    words = f"lacking {tally['lacking']}, beyond {tally['beyond']}, unresolved {tally['unresolved']}"
    others = {k: n for k, n in tally.items() if k.startswith(("called", "refused", "not", "out")) and n}
    return (
        f"{name}, {noise_um:g} um: {words}; recognised {tally['recognised']}/{tally['stones']};"
        f" held {rate[0]}, at girdles without flats {rate[1]}, true zeros {rate[2]}; {others}"
    )


def main() -> None:
    reader = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    reader.add_argument("count", type=int)
    reader.add_argument("noises_um", type=float, nargs=2)
    reader.add_argument("--known-to", type=float, default=15.0, help="percent, see `propagate`")
    reader.add_argument("--seed", type=int, default=0, help="of the stones and their noise")
    reader.add_argument("--processes", type=int, default=1)
    reader.add_argument("cuts", nargs="*")
    given = reader.parse_args()
    names = given.cuts or list(CUTS)
    rest = (given.known_to, given.seed)
    jobs = [(name, given.count, k, um, *rest) for name in names for um in given.noises_um for k in range(given.count)]
    os.environ |= dict.fromkeys(("OPENBLAS_NUM_THREADS", "NUMBA_NUM_THREADS"), "1")  # one stone a process
    with get_context("spawn").Pool(given.processes) as pool:
        results = pool.imap(counted, jobs)
        for name in names:
            for noise_um in given.noises_um:
                print(line(name, noise_um, sum((next(results) for _ in range(given.count)), Counter())), flush=True)


if __name__ == "__main__":
    main()
