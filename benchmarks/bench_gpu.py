"""What a graphics processor traces: path segments and designs a second, a large map, in both precisions; and a film.

    python benchmarks/bench_gpu.py [--designs 8000] [--points 610] [--side 4096] [--stills 200]

The same round brilliant stands for every design, so building stones doesn't count; times are those of the kernel alone for
designs, and with the transfer of the maps for the map. The film is 400 x 400 at 12 wavelengths, 16 samples a pixel, paths to a
hundredth, with its MP4 in a temporary folder. Ends in one line where there is no such processor.
Whether it runs at all is seen without one, by numba-cuda's simulator:

    NUMBA_ENABLE_CUDASIM=1 NUMBA_DISABLE_JIT=1 python benchmarks/bench_gpu.py --designs 1 --points 2 --side 2 --stills 0
"""

from __future__ import annotations

import argparse
import tempfile
import time
from pathlib import Path

import numpy as np
from numba import cuda

import raylab as rl
from raylab.memory import keep_freed_memory
from raylab.scene.pixel_grid import grid_around
from raylab.scene.scene import Scene
from raylab.scene.settings import TraceSettings
from raylab.tracers.gpu import area_sums, batches, blocks, pictures
from raylab.tracers.gpu.device import why_no_device
from raylab.tracers.outline_rays import fan_of, generator_of
from raylab.tracers.randomizations import CHANCE, RANDOMIZATIONS

STONE = rl.round_brilliant(table_pct=57, crown_angle_deg=34.5, pavilion_angle_deg=40.8)


def designs(real: blocks.Real, count: int, points: int, chance: float) -> str:
    """Segments and designs a second, with paths ended by lot below the weight `chance`."""
    scene = Scene(STONE, rl.load_dome("head-shadow"), rl.View(), TraceSettings())
    on_it = [
        batches.on_card(batches.lowered([scene] * count, [589.3] * count), real),
        batches.on_card(batches.together([fan_of(scene)] * count), real),
        batches.on_card(scene.dome.table, real),
        batches.rules_of(scene.settings, real, chance),
    ]
    out, steps = cuda.device_array((count, RANDOMIZATIONS, blocks.SUMS)), cuda.device_array(count, np.int64)
    chosen, scale = cuda.to_device(np.arange(count)), batches.scale_for(points, 1.0)
    times = []
    for _ in range(4):  # the first one compiles
        cuda.synchronize()
        start = time.perf_counter()
        blocks.with_blocks(blocks.holding(area_sums.outline_sums, real, len(STONE)), count)(
            *on_it, points, generator_of(points), chosen, 1, scale, out, steps
        )
        cuda.synchronize()
        times.append(time.perf_counter() - start)
    walked, took = int(steps.copy_to_host().sum()), min(times)
    rays = count * RANDOMIZATIONS * points
    return f"{walked / took / 1e9:.2f} G segments/s, {count / took:,.0f} designs/s, {walked / rays:.1f} segments a ray"


def large_map(real: blocks.Real, side: int, min_weight: float) -> float:
    """Seconds for a map with 16 samples a pixel."""
    scene = Scene(STONE, rl.load_dome("head-shadow"), rl.View(), TraceSettings(samples=16, min_weight=min_weight))
    grid, times = grid_around(STONE, scene.view, side), []
    for _ in range(2):
        start = time.perf_counter()
        pictures.pixel_maps(scene, 589.3, grid, real)
        times.append(time.perf_counter() - start)
    return min(times)


def film(stills: int) -> float:
    """Seconds for a film of so many stills, its file included; kernels were compiled before."""
    settings, looks = TraceSettings(engine="gpu-single", samples=16, min_weight=1e-2), rl.circling(stills)

    def made(views: list[rl.View]) -> float:
        with tempfile.TemporaryDirectory() as folder:
            start = time.perf_counter()
            rl.save_video(STONE, rl.load_dome("head-shadow"), Path(folder) / "film.mp4", views, spectrum=12, settings=settings)
            return time.perf_counter() - start

    made(looks[:1])
    return made(looks)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    for name, usual in (("designs", 8000), ("points", 610), ("side", 4096), ("stills", 200)):
        parser.add_argument(f"--{name}", type=int, default=usual)
    asked = parser.parse_args()
    if (reason := why_no_device()) is not None:
        raise SystemExit(reason)
    keep_freed_memory()  # as the command line does
    print(getattr(cuda.get_current_device(), "name", "numba-cuda's simulator"))
    for name, real in (("single", np.float32), ("double", np.float64)):
        for chance in (CHANCE, 0.0):
            print(f"{name}, paths ended by lot below {chance:g}: {designs(real, asked.designs, asked.points, chance)}")
        for least in (1e-4, 1e-2):
            print(f"{name}, map of {asked.side} x {asked.side} to {least:g}: {large_map(real, asked.side, least):.2f} s")
    if asked.stills:
        print(f"film of {asked.stills} stills: {film(asked.stills):.1f} s")


if __name__ == "__main__":
    main()
