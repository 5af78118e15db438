"""Cuts, traced to a standard error of 0.1 % under many keys: do the values scatter as the errors state?

    python tests/validation/tail_keys.py 200 ["oval brilliant" ...]

prints for each cut and statistic chi-square about a value known much better, its 99.9 % range, and the mean deviation as a
multiple of what the errors allow the mean. The tests do the same on rounds and an irregular body, with looser errors.
"""

from __future__ import annotations

import math
import sys
from typing import Any

import numpy as np
from scipy.stats import chi2

import raylab as rl
from raylab.results.statistics.goals import goal_of
from raylab.results.statistics.limits import limits_of
from raylab.results.summary import record
from raylab.scene.scene import Scene
from raylab.tracers.exact.tracer import trace_beams

DOME, WAVELENGTH_NM, TABLE_PCT = "head-shadow", 589.3, 57.0
NEEDED = {"round brilliant": {"crown_angle_deg": 34.5, "pavilion_angle_deg": 40.75}}
"""What cuts have no default of."""
KEYS = ("brightness", "contrast_rms", "sky", "leak", "head")
FINE = 2e-5
"""Standard error of the value that counts as the true one."""


def statistics(stone: rl.Stone, **settings: Any) -> dict[str, rl.Statistic]:
    """A stone's statistics, face-up."""
    scene = Scene(stone, rl.load_dome(DOME), rl.View(), rl.TraceSettings(WAVELENGTH_NM, **settings))
    beams = trace_beams(scene, WAVELENGTH_NM, keep_paths=False, goal=goal_of(scene))
    return record(WAVELENGTH_NM, beams.totals, limits_of(scene, WAVELENGTH_NM)).statistics


def main(seeds: int, cuts: list[str]) -> None:
    low, high = chi2.ppf([0.0005, 0.9995], seeds)
    print(f"99.9 % range of chi-square over {seeds} keys: {low:.0f} to {high:.0f}")
    for name in cuts:
        stone = rl.cut(name, table_pct=TABLE_PCT, **NEEDED.get(name, {}))
        true = statistics(stone, precision=3e-4, standard_error=FINE)
        wanted = 1e-3 * min(true[key].value for key in KEYS[:2])
        found = [statistics(stone, standard_error=wanted, seed=1 + seed) for seed in range(seeds)]
        for key in KEYS:
            values, errors = (np.array([getattr(one[key], part) for one in found]) for part in ("value", "error"))
            off, error = values - true[key].value, math.sqrt((errors**2).mean())
            square, mean = float((off**2).sum()) / error**2, float(off.mean()) / error * math.sqrt(seeds)
            print(f"{name:18s} {key:14s} chi-square {square:6.1f}  mean deviation {mean:5.2f} of its error", flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]), sys.argv[2:] or ["oval brilliant", "emerald cut", "round brilliant"])
