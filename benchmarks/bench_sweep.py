"""Sweeps: designs a second, what the machinery adds to the tracing, memory over a long run, threads against processes.

    python benchmarks/bench_sweep.py --steps 10 --processes 2     # 10 values on each of four axes: 10,000 designs
    python benchmarks/bench_sweep.py --cut "oval brilliant" --standard-error 0.001

CPU seconds are told beside wall seconds, because a machine shared with others changes the latter only.
"""

from __future__ import annotations

import argparse
import os
import resource
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import psutil

import raylab as rl
from raylab.designs.design import trace_designs
from raylab.memory import keep_freed_memory
from raylab.sweeps.axes import Plan, plan_of

# About the proportions that are cut and offered as good (common practice, no source); bracket on brightness 0.2 %.
RANGES = {"table_pct": (53, 62), "lower_half_pct": (74, 82), "crown_angle_deg": (32, 36.5), "pavilion_angle_deg": (40.2, 41.8)}
PRECISION = 2e-3
SAMPLE = 120
PUBLISHED = 38_500_000
"""Designs of the survey published in 2004 (Moses et al., Gems & Gemology 40(3); number from memory)."""


def cpu_s() -> float:
    """CPU seconds of this process and of its children that have ended."""
    mine, theirs = (resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    return mine.ru_utime + mine.ru_stime + theirs.ru_utime + theirs.ru_stime


def sample(plan: Plan) -> list[dict[str, object]]:
    """Designs drawn evenly from all over the plan."""
    numbers = np.linspace(0, len(plan) - 1, min(SAMPLE, len(plan))).astype(int)
    numbers = (numbers * 7919) % len(plan)  # not along the last axis only
    return [next(plan.designs(int(k), int(k) + 1)) for k in numbers]


def tracing_alone(plan: Plan, settings: rl.TraceSettings) -> float:
    """CPU seconds per design of the tracing itself, in one process."""
    designs = sample(plan)
    trace_designs(designs[:1], settings)
    start = time.process_time()
    trace_designs(designs, settings)
    return (time.process_time() - start) / len(designs)


def in_threads(plan: Plan, settings: rl.TraceSettings, count: int) -> float:
    """Designs a second of wall time in threads of one process."""
    designs = sample(plan)
    start = time.perf_counter()
    with ThreadPoolExecutor(count) as pool:
        list(pool.map(lambda one: trace_designs([one], settings), designs))
    return len(designs) / (time.perf_counter() - start)


class Watch:
    """Progress that notes the time and the memory of all processes."""

    def __init__(self) -> None:
        self.notes: list[tuple[int, float, float]] = []

    def __call__(self, done: int, total: int) -> None:
        family = [psutil.Process(), *psutil.Process().children()]
        self.notes.append((done, time.perf_counter(), sum(one.memory_info().rss for one in family) / 1e6))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--steps", type=int, default=4, help="values on each of four axes")
    parser.add_argument("--processes", type=int, default=len(os.sched_getaffinity(0)))
    parser.add_argument("--cut", default="round brilliant", help="a cut with the four axes; the rest as by default")
    parser.add_argument(
        "--standard-error", type=float, help="largest of brightness and contrast, in place of a certain bracket"
    )
    given = parser.parse_args()
    axes = {key: rl.steps(*ends, given.steps) for key, ends in RANGES.items()}
    goal = {"precision": PRECISION} if given.standard_error is None else {"standard_error": given.standard_error}
    settings = rl.TraceSettings(**goal)
    plan = plan_of(axes, {"dome": "head-shadow", "cut": given.cut})
    before = tracing_alone(plan, settings)
    threads = in_threads(plan, settings, given.processes)
    watch, start, used = Watch(), time.perf_counter(), cpu_s()
    with tempfile.TemporaryDirectory() as folder:
        found = rl.sweep(
            axes,
            "head-shadow",
            cut=given.cut,
            settings=settings,
            processes=given.processes,
            out=Path(folder) / "sweep",
            progress=watch,
        )
    wall, used = time.perf_counter() - start, cpu_s() - used
    cost = (before + tracing_alone(plan, settings)) / 2.0
    designs = len(plan)
    width = float((found.brightness_high - found.brightness_low).max())
    later = [note for note in watch.notes if note[0] >= designs / 10]
    (first, t0, _), (last, t1, _) = later[0], later[-1]
    memory = [note[2] for note in later]
    print(f"{designs} designs, largest bracket on brightness {width:.2e}, {int((found.reason == 0).sum())} traced")
    print(f"tracing alone           {1e3 * cost:7.1f} ms CPU per design")
    print(
        f"sweep, {given.processes} processes      {1e3 * used / designs:7.1f} ms CPU per design, start of the workers included"
    )
    print(f"  the machinery adds    {100.0 * (used / designs / cost - 1.0):7.1f} % of the tracing")
    print(f"  wall                  {designs / wall:7.1f} designs/s; {(last - first) / (t1 - t0):.1f} after the first tenth")
    print(f"  with cores to itself  {given.processes * designs / used:7.1f} designs/s, from CPU seconds")
    print(
        f"  memory, all processes {memory[0]:7.0f} MB after a tenth, {memory[-1]:.0f} MB at the end, {max(memory):.0f} at most"
    )
    print(f"{given.processes} threads instead       {threads:7.1f} designs/s of wall time")
    survey_h = PUBLISHED * used / designs / 3600.0
    print(f"{PUBLISHED / 1e6:.1f} million designs   {survey_h:7.0f} core hours: {0.06 * survey_h:.0f} minutes on 1000 cores")


if __name__ == "__main__":
    keep_freed_memory()  # as the command line does
    main()
