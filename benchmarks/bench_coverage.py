"""Does the 95 % interval hold the truth 95 times in 100?

Stones of known planes (random proportions, cut a little unevenly) are "measured": their planes are displaced by errors drawn
from `Uncertainty`. From the measured stone alone comes the interval ``best ± 2 doubt`` of each number, as in a comparison,
and the truth either lies in it or doesn't. The engine's bracket is left out on both sides, so that nothing but the
measurement's own uncertainty is tested.

    .venv/bin/python benchmarks/bench_coverage.py --stones 500

takes about 40 minutes of one core and prints one line per number; exit code 1 if one is outside 93 to 97 %. With
``--symmetry`` the symmetry of the pattern is told too, which takes twice as long.
"""

from __future__ import annotations

import argparse
import math
import sys
from dataclasses import replace

import numpy as np

import raylab as rl
from raylab.comparison.comparing import drawn_settings
from raylab.comparison.uncertainty import COVERAGE, propagate, statistics_of
from raylab.comparison.verdicts import within_nature
from raylab.memory import keep_freed_memory
from raylab.results.statistics import Statistic
from raylab.stone.measuring.plane_uncertainty import Uncertainty

LIGHT = ("brightness", "contrast_rms", "leak", "head")
SHAPE = ("crown_angle_deg", "pavilion_angle_deg", "depth_pct", "girdle_valley_pct", "diameter_mm", "table_pct", "weight_ct")
SHAPE += ("crown_angle_spread_deg", "table_offcentre_pct", "out_of_round_pct")
EXACT = rl.TraceSettings(precision=2e-3)
RANGES = {
    "table_pct": (54.0, 62.0),
    "crown_angle_deg": (32.0, 36.5),
    "pavilion_angle_deg": (40.0, 41.8),
    "star_pct": (45.0, 55.0),
    "lower_half_pct": (73.0, 82.0),
    "girdle_pct": (2.7, 4.5),
}
UNEVEN = Uncertainty(angle_deg=0.2, common_angle_deg=0.0, distance_um=4.0)
"""How unevenly the true stones are cut."""

ERRORS = Uncertainty()
DOME = rl.load_dome("head-shadow")


def true_stone(key: int) -> rl.Stone:
    """A stone of random proportions, cut a little unevenly."""
    rng = np.random.default_rng([77, key])
    even = rl.round_brilliant(**{name: rng.uniform(*ends) for name, ends in RANGES.items()})
    return UNEVEN.drawn(even, (77, key, 1))


def numbers(stone: rl.Stone, settings: rl.TraceSettings, symmetry: bool) -> dict[str, float]:
    """Light and proportions of a stone; with the rays that measure its symmetry where asked for."""
    claimed = rl.SymmetryGroup(8, 0.0) if symmetry else rl.SymmetryGroup()
    light = statistics_of(rl.Scene(replace(stone, symmetry=claimed), DOME, settings=settings))
    shape = rl.measure(stone).numbers()
    names = (*LIGHT, "symmetry") if symmetry else LIGHT
    return {**{name: light[name].value for name in names}, **{name: shape[name] for name in SHAPE}}


def misses(key: int, known_to_pct: float, symmetry: bool) -> dict[str, float]:
    """How far the truth lies from the best value of one measured stone, in its doubts, by name."""
    truth = true_stone(key)
    measured = ERRORS.drawn(truth, (77, key, 2))
    coarse = propagate(
        measured,
        lambda stone: numbers(stone, drawn_settings(EXACT), symmetry),
        ERRORS,
        known_to_pct=known_to_pct,
        key=(77, key, 3),
    )
    true, read = numbers(truth, EXACT, symmetry), numbers(measured, EXACT, symmetry)
    missed = {}
    for name, one in coarse.items():
        found = within_nature(name, replace(one, statistic=Statistic(read[name], read[name], read[name])))
        missed[name] = (true[name] - found.best) / found.standard_uncertainty
    return missed


def main() -> int:
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    options.add_argument("--stones", type=int, default=500)
    options.add_argument("--known-to-pct", type=float, default=10.0)
    options.add_argument("--symmetry", action="store_true")
    chosen = options.parse_args()
    rows = []
    for key in range(chosen.stones):
        rows.append(misses(key, chosen.known_to_pct, chosen.symmetry))
        if (key + 1) % 50 == 0:
            print(f"{key + 1} stones", file=sys.stderr, flush=True)
    print(f"{'number':20s} covered   +- (1 s)   mean miss   sd of miss, in doubts; {chosen.stones} stones")
    good = True
    for name in rows[0]:
        z = np.array([row[name] for row in rows])
        share = float((np.abs(z) <= COVERAGE).mean())
        good &= 0.93 <= share <= 0.97
        error = math.sqrt(0.05 * 0.95 / len(z))
        print(f"{name:20s} {100 * share:6.1f} %   {100 * error:.1f} %   {z.mean():+9.3f}   {z.std():9.3f}")
    return 0 if good else 1


if __name__ == "__main__":
    keep_freed_memory()  # as the command line does
    sys.exit(main())
