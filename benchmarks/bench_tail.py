"""The estimate of what polygons leave inside: time to a standard error of 0.1 %, against the certain bracket of 0.2 %.

Pairs within one run: the same design traced by polygons alone to a bracket of 0.002 on brightness; to a standard error of 0.001
on brightness and contrast; and to one of 0.1 % of the smaller of the two. Shortest processor times of several, of estimates the
mean of that over some seeds, one thread. The last column is the time of a path segment of a ray in pieces of polygons, see
`SEGMENT_COST` in `tracers/exact/enough.py`.

    python benchmarks/bench_tail.py
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np

from raylab.lighting.dome_file import load_dome
from raylab.memory import keep_freed_memory
from raylab.results.statistics import Statistic
from raylab.results.statistics.goals import goal_of
from raylab.results.statistics.limits import Limits, limits_of
from raylab.results.summary import record
from raylab.scene.scene import Scene
from raylab.scene.settings import TraceSettings
from raylab.scene.view import View
from raylab.stone.cuts.emerald_cut import emerald_cut
from raylab.stone.cuts.round_brilliant import round_brilliant
from raylab.stone.stone import Stone
from raylab.tracers.exact.beams import Beams
from raylab.tracers.exact.tracer import trace_beams
from raylab.units import SODIUM_D_NM

BRILLIANT = round_brilliant(table_pct=57, crown_angle_deg=34.5, pavilion_angle_deg=40.75)
FRENCH = round_brilliant(table_pct=62, crown_angle_deg=32.0, pavilion_angle_deg=41.4)


def stretched(stone: Stone, factor: float) -> Stone:
    """The stone, longer along x."""
    normals = stone.normals / [factor, 1.0, 1.0]
    length = np.linalg.norm(normals, axis=1)
    return Stone.from_planes(normals / length[:, None], stone.distances_mm / length, tiers=stone.tiers, indices=stone.indices)


CASES = {
    "brilliant, face-up": (BRILLIANT, View()),
    "flat brilliant, face-up": (FRENCH, View()),
    "brilliant, tilted": (BRILLIANT, View(12.0, 7.0)),
    "stretched to an oval of 1.4, face-up": (stretched(BRILLIANT, 1.4), View()),
    "stretched to an oval of 1.4, tilted": (stretched(BRILLIANT, 1.4), View(12.0, 7.0)),
    "emerald cut, face-up": (emerald_cut(table_pct=57), View()),
}


KEYS = ("brightness", "contrast_rms")
SEEDS = range(1, 9)
"""How many rays are drawn hangs on luck: a mean over these."""


def shortest(run: Callable[[], Beams]) -> tuple[Beams, float]:
    """What a run gives, and the shortest of its processor times, ms; one run before is not counted."""
    found, times = run(), []
    while len(times) < 3 or (sum(times) < 600.0 and len(times) < 40):
        start = time.process_time()
        found = run()
        times.append(1e3 * (time.process_time() - start))
    return found, min(times)


def main() -> None:
    keep_freed_memory()
    dome = load_dome("head-shadow")
    print(f"{'':38s} certain      to 0.001  ratio      to 0.1 %  ratio   errors; pieces, rays (means)")
    for name, (stone, view) in CASES.items():

        def traced(early: bool = True, view: View = view, stone: Stone = stone, **settings: Any) -> tuple[Beams, float]:
            scene = Scene(stone, dome, view, TraceSettings(**settings))
            goal = replace(goal_of(scene), early=early) if scene.settings.standard_error else None
            return shortest(lambda: trace_beams(scene, SODIUM_D_NM, goal=goal, keep_paths=False, threads=1))

        limits = limits_of(Scene(stone, dome, view), SODIUM_D_NM)

        def statistics(beams: Beams, limits: Limits = limits) -> dict[str, Statistic]:
            return record(SODIUM_D_NM, beams.totals, limits).statistics

        certain, before = traced(precision=2e-3)
        values = statistics(certain)
        wanted = 1e-3 * min(values[key].value for key in KEYS)
        estimates = {error: [traced(standard_error=error, seed=seed) for seed in SEEDS] for error in (1e-3, wanted)}
        plain, fine = (sum(time for _, time in some) / len(some) for some in estimates.values())
        beams = [one for one, _ in estimates[wanted]]
        found = [statistics(one) for one in beams]
        errors = [sum(100.0 * one[key].error / one[key].value for one in found) / len(found) for key in KEYS]
        pieces, rays = (sum(numbers) / len(beams) for numbers in ([b.pieces for b in beams], [b.tail.rays for b in beams]))
        coarse, base = traced(precision=0.02)
        piece = 1e3 * (before - base) / (certain.pieces - coarse.pieces)
        drawn, long = traced(precision=0.02, standard_error=wanted / 3.0, early=False)
        segment = 1e3 * (long - base) / drawn.tail.segments
        print(
            f"{name:38s} {before:8.2f} ms {plain:8.2f} ms {plain / before:6.3f} {fine:8.2f} ms {fine / before:6.3f}   "
            f"{errors[0]:.3f} % {errors[1]:.3f} % {pieces:7.0f} {rays:6.0f}   "
            f"{drawn.tail.segments / drawn.tail.rays:6.1f} segments a ray, each {segment / piece:.2f} pieces"
        )


if __name__ == "__main__":
    main()
