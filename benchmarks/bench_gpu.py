"""What a graphics processor traces: path segments and designs a second, and a large map.

    python benchmarks/bench_gpu.py [--designs 2000] [--points 610] [--side 4096]

The same round brilliant stands for every design, so building stones doesn't count; times are those of the kernel alone for
designs, and with the transfer of the maps for the map. Ends in one line where there is no such processor.
"""

from __future__ import annotations

import argparse
import time

import numpy as np
from numba import cuda

import raylab as rl
from raylab.scene.pixel_grid import grid_around
from raylab.scene.scene import Scene
from raylab.scene.settings import TraceSettings
from raylab.tracers.gpu import batches, kernels
from raylab.tracers.gpu.device import why_no_device
from raylab.tracers.gpu.engine import ENGINE
from raylab.tracers.outline_rays import fan_of, generator_of
from raylab.tracers.randomizations import RANDOMIZATIONS


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    for name, usual in (("designs", 2000), ("points", 610), ("side", 4096)):
        parser.add_argument(f"--{name}", type=int, default=usual)
    asked = parser.parse_args()
    if (reason := why_no_device()) is not None:
        raise SystemExit(reason)
    print(cuda.get_current_device().name.decode())
    stone = rl.round_brilliant(table_pct=57, crown_angle_deg=34.5, pavilion_angle_deg=40.8)
    scene = Scene(stone, rl.load_dome("head-shadow"), rl.View(), TraceSettings(samples=16))
    many, fans = [scene] * asked.designs, [fan_of(scene)] * asked.designs
    on_card, outlines = batches.scenes_on_card(batches.lowered(many, 589.3)), batches.fans_on_card(batches.together(fans))
    dome, blocks = batches.dome_on_card(scene.dome.table), asked.designs * RANDOMIZATIONS
    for min_weight in (1e-4, 1e-2):
        out, steps = cuda.device_array((asked.designs, RANDOMIZATIONS, kernels.SUMS)), cuda.device_array(blocks, np.int64)
        for _ in range(2):  # the first one compiles
            cuda.synchronize()
            start = time.perf_counter()
            kernels.outline_sums[blocks, kernels.THREADS](
                on_card, outlines, dome, (True, min_weight, 200), asked.points, generator_of(asked.points), 0, out, steps
            )
            cuda.synchronize()
            took = time.perf_counter() - start
        walked = int(steps.copy_to_host().sum())
        print(
            f"min_weight {min_weight:g}: {walked / took / 1e9:.2f} G segments/s, {asked.designs / took:,.0f} designs/s "
            f"of {RANDOMIZATIONS} x {asked.points} rays, {walked / (blocks * asked.points):.1f} segments a ray"
        )
    grid = grid_around(stone, scene.view, asked.side)
    for _ in range(2):
        start = time.perf_counter()
        ENGINE.trace(scene, 589.3, grid)
        took = time.perf_counter() - start
    print(f"map of {asked.side} x {asked.side} pixels, 16 samples each: {took:.2f} s")


if __name__ == "__main__":
    main()
