"""What a sweep costs the host where an engine builds and traces: designs/s and processor time a design. The engine is a stub.

What: a sweep at random over six axes with one condition, by `rl.sweep(zarr=True)`. Everything is real but the engine, which
fills `Built` with numbers of the right shape at hardly any cost: eight randomizations that differ a little, a few designs
without a stone. So what is measured is designs, conditions, statistics with errors and brackets, and the written, checked and
flushed result, by as many processes as asked for.
How: processor time of this process (which all designs pass) and of all together, resident memory of both, at their most.

    python benchmarks/bench_sweep_host.py --processes 2 1000000      # needs the extra zarr
"""

from __future__ import annotations

import argparse
import os
import resource
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import psutil
from bench_sweep_memory import AXES, FLAT

import raylab as rl
from raylab.engine_table import ENGINES
from raylab.memory import keep_freed_memory
from raylab.tracers.engine import Built, Lot
from raylab.tracers.totals import MOMENTS

STUB = "bench_sweep_host"
"""The engine's name, and its module's."""
SHARES = 0.1 + 1e-3 * np.random.default_rng(0).random((8, MOMENTS))
"""Eight randomizations of all area means; times a number of the design, so that no two numbers are alike."""


@dataclass(frozen=True)
class StubEngine:
    """An engine that knows nothing of light: its numbers follow from the proportions by a sine."""

    name: str = STUB
    exact: bool = False
    description: str = "a stub"

    def builds(self, cut, keys):
        return True

    def supports(self, scene):
        return None

    def trace(self, scene, wavelength_nm, grid=None, **_):
        raise NotImplementedError

    batch = trace

    def built(self, lot: Lot) -> Built:
        axes = np.stack([lot.values[key] for key in AXES], axis=-1)
        one = np.sin(axes @ np.linspace(0.1, 3.0, len(AXES)))
        means = SHARES * (1.0 + 0.1 * one[:, np.newaxis, np.newaxis])
        fault = np.where(one > 0.999, 1, 0)
        geometry = axes[:, :5] * one[:, np.newaxis]
        return Built(fault, geometry, 33.0 + one, means, np.full(len(axes), 233), np.ones(len(axes)))


ENGINE = StubEngine()


def used(who: int) -> float:
    """CPU seconds."""
    found = resource.getrusage(who)
    return found.ru_utime + found.ru_stime


def one(designs: int, processes: int) -> None:
    """Sweep so many designs and print what it took."""
    ENGINES[STUB] = STUB
    notes: list[tuple[float, float, float]] = []

    def watch(done: float, total: float) -> None:
        each = [other.memory_info().rss / 1e6 for other in psutil.Process().children()]
        notes.append((done, psutil.Process().memory_info().rss / 1e6, max(each, default=0.0)))

    axes = {key: rl.between(*ends) for key, ends in AXES.items()}
    given = {"layout": "random", "number": designs, "conditions": [FLAT], "zarr": True, "processes": processes}
    settings = rl.TraceSettings(engine=STUB)
    start, cpu = time.perf_counter(), used(resource.RUSAGE_SELF)
    with tempfile.TemporaryDirectory() as folder:
        rl.sweep(axes, "head-shadow", out=Path(folder) / "sweep", progress=watch, settings=settings, **given)
        size = sum(file.stat().st_size for file in Path(folder).rglob("*") if file.is_file())
    wall, cpu = time.perf_counter() - start, used(resource.RUSAGE_SELF) - cpu
    others = used(resource.RUSAGE_CHILDREN)
    print(
        f"{designs} designs, {processes} processes: {designs / wall:.0f} designs/s; processor time a design "
        f"{1e6 * (cpu + others) / designs:.1f} us in all, {1e6 * cpu / designs:.1f} us of them here; memory at most "
        f"{max(here for _, here, _ in notes):.0f} MB here, {max(most for _, _, most in notes):.0f} MB in a worker; "
        f"{size / designs:.0f} bytes a design on the disk",
        flush=True,
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("designs", type=int, nargs="*", default=[1_000_000])
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--one", action="store_true", help="in this process")
    given = parser.parse_args()
    if given.one:
        keep_freed_memory()  # as the command line does
        one(given.designs[0], given.processes)
        return
    with tempfile.TemporaryDirectory() as place:  # every process that is started knows the stub
        row = f"from raylab.engine_table import ENGINES\nENGINES[{STUB!r}] = {STUB!r}\n"
        (Path(place) / "sitecustomize.py").write_text(row)
        here = [place, str(Path(__file__).parent), str(Path(rl.__file__).parents[1])]
        around = {**os.environ, "PYTHONPATH": os.pathsep.join(here)}
        for designs in given.designs:
            command = [sys.executable, __file__, "--one", "--processes", str(given.processes), str(designs)]
            subprocess.run(command, check=True, env=around)  # a peak belongs to a process


if __name__ == "__main__":
    main()
