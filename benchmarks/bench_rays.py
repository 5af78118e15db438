"""Path segments per second of the compiled tracer, against a plain loop over planes in the same run.

What: a segment is the way from one facet to the next inside the stone, with the search for the next facet, Fresnel's
equations, the turn of the Stokes row and the light that leaves. 2^20 parallel view rays at random points over a 153-facet
brilliant face-up, an even sky with a head's shadow, weight 1e-4 as the path's end.
How: best of 5 runs in turns, after one that compiles, by processor time of all threads over their number, which other programs
on the machine disturb less than the clock's. The plain loop follows the same paths with the same physics, one ray at
a time, with a division per facing facet and no other thought; both means of luminance are printed, and must agree.

    python benchmarks/bench_rays.py [threads]
"""

from __future__ import annotations

import math
import sys
import time
from collections.abc import Callable

import numba
import numpy as np
from llvmlite.binding import get_host_cpu_features, get_host_cpu_name

from raylab.jit import njit, parallel_kernel
from raylab.lighting.dome import Dome
from raylab.optics.fresnel import interface
from raylab.stone.cuts.round_brilliant import round_brilliant
from raylab.tracers.ledger import CHANNELS, LUMINANCE, tally_exit
from raylab.tracers.packets import PathRules
from raylab.tracers.sampled.rays import trace_rays
from raylab.tracers.stone_table import stone_table

RAYS = 1 << 20
END, BOUNCES = 1e-4, 64


@njit()
def ahead(x, y, z, vx, vy, vz, last, planes):
    """Distance, row and slope of the nearest facet that the ray runs into."""
    distance, found, slope = 1e300, -1, 0.0
    for f in range(planes.shape[0]):
        unit = planes[f, 0] * vx + planes[f, 1] * vy + planes[f, 2] * vz
        if unit > 0.0 and f != last:
            far = (planes[f, 3] - (planes[f, 0] * x + planes[f, 1] * y + planes[f, 2] * z)) / unit
            if far < distance:
                distance, found, slope = far, f, unit
    return distance, found, slope


@njit()
def across(vx, vy, vz, nx, ny, nz, ex, ey, ez):
    """Unit vector across the plane of incidence; the one before where the ray runs along the normal."""
    sx, sy, sz = vy * nz - vz * ny, vz * nx - vx * nz, vx * ny - vy * nx
    square = sx * sx + sy * sy + sz * sz
    if square < 1e-12:
        return ex, ey, ez
    norm = 1.0 / math.sqrt(square)
    return sx * norm, sy * norm, sz * norm


@parallel_kernel
def plain_loop(origins, directions, planes, n, turn, dome, out, segments):
    """The tracer as one would first write it, for rays that all run along -z; fills out (R, CHANNELS), segments (R,)."""
    for r in numba.prange(origins.shape[0]):
        x, y, z = origins[r, 0], origins[r, 1], origins[r, 2]
        vx, vy, vz = directions[r, 0], directions[r, 1], directions[r, 2]
        enter, leave, last = -1e300, 1e300, -1
        for f in range(planes.shape[0]):
            unit = planes[f, 0] * vx + planes[f, 1] * vy + planes[f, 2] * vz
            difference = planes[f, 3] - (planes[f, 0] * x + planes[f, 1] * y + planes[f, 2] * z)
            if unit < 0.0 and difference / unit > enter:
                enter, last = difference / unit, f
            elif unit > 0.0:
                leave = min(leave, difference / unit)
            elif unit == 0.0 and difference < 0.0:
                leave = -1e300
        if enter >= leave:
            continue
        nx, ny, nz = planes[last, 0], planes[last, 1], planes[last, 2]
        x, y, z = x + enter * vx, y + enter * vy, z + enter * vz
        cos = -(nx * vx + ny * vy + nz * vz)
        a, _, _, _, i, q, cos_t = interface(cos, 1.0 / n)
        tally_exit(out[r], a, vx + 2.0 * cos * nx, vy + 2.0 * cos * ny, vz + 2.0 * cos * nz, 0.0, turn, dome, 0.0)
        ex, ey, ez = across(vx, vy, vz, nx, ny, nz, 1.0, 0.0, 0.0)
        bend = cos / n - cos_t
        vx, vy, vz = vx / n + bend * nx, vy / n + bend * ny, vz / n + bend * nz
        u = v = 0.0
        for bounce in range(BOUNCES):
            distance, last, cos = ahead(x, y, z, vx, vy, vz, last, planes)
            segments[r] += 1
            cos = min(1.0, cos)
            nx, ny, nz = planes[last, 0], planes[last, 1], planes[last, 2]
            x, y, z = x + distance * vx, y + distance * vy, z + distance * vz
            a, b, c, d, ta, tb, cos_t = interface(cos, n)
            sx, sy, sz = across(vx, vy, vz, nx, ny, nz, ex, ey, ez)
            along = ex * sx + ey * sy + ez * sz
            aside = (ey * vz - ez * vy) * sx + (ez * vx - ex * vz) * sy + (ex * vy - ey * vx) * sz
            cos2, sin2 = along * along - aside * aside, 2.0 * along * aside
            q, u = cos2 * q + sin2 * u, cos2 * u - sin2 * q
            ex, ey, ez = sx, sy, sz
            leaves = ta * i + tb * q
            if leaves > 0.0:
                bend = cos_t - n * cos
                tally_exit(out[r], leaves, n * vx + bend * nx, n * vy + bend * ny, n * vz + bend * nz, bounce, turn, dome, 0.0)
            i, q, u, v = a * i + b * q, b * i + a * q, c * u - d * v, c * v + d * u
            vx, vy, vz = vx - 2.0 * cos * nx, vy - 2.0 * cos * ny, vz - 2.0 * cos * nz
            if i < END:
                break


def best_seconds(runs: dict[str, Callable[[], object]], rounds: int = 5) -> dict[str, float]:
    """Shortest time of each run over some rounds, in turns, so that a busy moment of the machine hits all alike.

    Processor time over the number of threads.
    """
    times: dict[str, list[float]] = {name: [] for name in runs}
    for _ in range(rounds):
        for name, run in runs.items():
            start = time.process_time()
            run()
            times[name].append((time.process_time() - start) / numba.get_num_threads())
    return {name: min(found) for name, found in times.items()}


def processor() -> tuple[str, bool]:
    """Name of the processor that kernels are compiled for, and whether they may use AVX-512."""
    name = numba.config.CPU_NAME or get_host_cpu_name()
    features = numba.config.CPU_FEATURES or get_host_cpu_features().flatten()
    return name, "+avx512f" in features


def main() -> None:
    numba.set_num_threads(int(sys.argv[1]) if len(sys.argv) > 1 else 2)
    stone, dome = round_brilliant(table_pct=57, crown_angle_deg=34.5, pavilion_angle_deg=40.75), Dome(head_half_angle_deg=15)
    table, turn = stone_table(stone, 589.3), np.eye(3)
    points = np.random.default_rng(0).uniform(-3.3, 3.3, (RAYS, 2))
    origins, directions = np.column_stack([points, np.full(RAYS, 10.0)]), np.tile([0.0, 0.0, -1.0], (RAYS, 1))

    def packets(polarized: bool) -> tuple[np.ndarray, np.ndarray, int]:
        return trace_rays(origins, directions, table, dome.table, turn, rules=PathRules(polarized, END, BOUNCES))

    def plain() -> tuple[np.ndarray, np.ndarray]:
        out, segments = np.zeros((RAYS, CHANNELS)), np.zeros(RAYS, dtype=np.int64)
        plain_loop(origins, directions, table.planes, table.medium.n, turn, dome.table, out, segments)
        return out, segments

    out, hit, segments = packets(True)
    plain_out, plain_segments = plain()
    difference = np.abs(out - plain_out)[:, LUMINANCE].mean()
    name, wide = processor()
    print(f"compiled for {name}, {'with' if wide else 'without'} AVX-512")
    print(f"{len(stone)} facets, {numba.get_num_threads()} threads, {segments / hit.sum():.2f} segments per ray that enters")
    print(f"mean luminance {out[hit, LUMINANCE].mean():.6f}, plain loop {plain_out[hit, LUMINANCE].mean():.6f}")
    assert difference < 1e-6, f"the two tracers differ by {difference:.1e} per ray"
    averaged_segments = packets(False)[2]
    seconds = best_seconds({"polarized": lambda: packets(True), "averaged": lambda: packets(False), "plain": plain})
    fast, slow = segments / seconds["polarized"] / 1e6, plain_segments.sum() / seconds["plain"] / 1e6
    print(f"rays, polarized   {fast:6.1f} million segments/s  (target {25 if wide else 16})")
    print(f"rays, averaged    {averaged_segments / seconds['averaged'] / 1e6:6.1f} million segments/s")
    print(f"plain loop        {slow:6.1f} million segments/s; rays are {fast / slow:.1f} times faster")


if __name__ == "__main__":
    main()
