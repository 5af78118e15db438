"""The survey that the literature is known for, on a graphics processor: 38.5 million round brilliants on a grid of six axes.

    python benchmarks/bench_survey.py FOLDER [--error 0.001] [--processes 12] [--tables 20] [--most 28] [--engine gpu-single]
        [--compared 2000]

The number of designs is that of the survey published in 2004 (Moses et al., Gems & Gemology 40(3); number from memory); the
ranges are ours. `--tables` values of the first axis instead of 20, and at most `--most` of each other, make it shorter. The
result is written to FOLDER in pieces; then some designs at random are traced by the exact engine, and the differences told.
Raises where there is no such processor; without one, `--engine rays --tables 2 --most 2 --error 0.01 --processes 2` runs all of
it small.
"""

from __future__ import annotations

import argparse
import time

import numpy as np
import xarray as xr

import raylab as rl
from raylab.results.statistics import STATISTICS
from raylab.scene.settings import TraceSettings

AXES = {
    "crown_angle_deg": (25, 40, 25),
    "pavilion_angle_deg": (38, 43, 28),
    "star_pct": (40, 65, 11),
    "lower_half_pct": (65, 85, 10),
    "girdle_pct": (2, 5, 25),
}
"""The ends of each axis, and how many values."""
PRECISION = 1e-3


def compare(found: xr.Dataset, number: int) -> None:
    """Print how far designs at random are from the exact engine's numbers."""
    random, shape = np.random.default_rng(1), found.brightness.shape
    at = {
        key: xr.DataArray(random.integers(0, size, min(number, found.brightness.size)))
        for key, size in zip(found.brightness.dims, shape, strict=True)
    }
    some = found.isel(at).load()
    print(f"{len(some.reason)} of them by the exact engine:", flush=True)
    values = {str(key): some[key].values.tolist() for key in found.brightness.dims}
    exact = rl.sweep(values, "head-shadow", layout="paired", settings=TraceSettings(engine="beams", precision=PRECISION))
    for key in STATISTICS:
        off, stated = some[key].values - exact[key].values, some[f"{key}_error"].values
        print(f"{key}: root mean square {np.sqrt(np.nanmean(off**2)):.2e}, stated {np.sqrt(np.nanmean(stated**2)):.2e}")
    print(f"reasons equal: {bool((some.reason.values == exact.reason.values).all())}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder")
    parser.add_argument("--error", type=float, default=0.001)
    parser.add_argument("--processes", type=int)
    parser.add_argument("--tables", type=int, default=20)
    parser.add_argument("--most", type=int, default=28)
    parser.add_argument("--engine", default="gpu-single")
    parser.add_argument("--compared", type=int, default=2000)
    asked = parser.parse_args()
    settings = TraceSettings(engine=asked.engine, standard_error=asked.error, precision_of=("brightness",))
    others = {key: rl.steps(low, high, min(number, asked.most)) for key, (low, high, number) in AXES.items()}
    axes, start = {"table_pct": rl.steps(50, 66, asked.tables), **others}, time.perf_counter()
    done: list[tuple[int, float]] = []

    def note(number: int, _: int) -> None:
        done.append((number, time.perf_counter() - start))

    found = rl.sweep(
        axes, "head-shadow", out=asked.folder, zarr=True, processes=asked.processes, settings=settings, progress=note
    )
    took, (first, begun) = time.perf_counter() - start, next(one for one in done if one[0])
    print(f"{found.brightness.size:,} designs in {took:.0f} s, {found.brightness.size / took:,.0f} designs/s")
    if done[-1][1] > begun:
        print(f"the first after {begun:.1f} s, then {(done[-1][0] - first) / (done[-1][1] - begun):,.0f} designs/s", flush=True)
    if asked.compared:
        compare(found, asked.compared)


if __name__ == "__main__":
    main()
