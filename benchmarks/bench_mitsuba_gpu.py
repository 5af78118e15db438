"""Time to equal error on one graphics processor: raylab's engine against mitsuba's CUDA variant, in one run.

    python benchmarks/bench_mitsuba_gpu.py

Maps: the stone, light, picture and target of `bench_mitsuba.py` (256 x 256, a root-mean-square error of 0.005 over the wholly
covered pixels, s and p averaged by both), at 1024 x 1024 as well, since a small picture does not fill such a processor.
raylab: the smallest mean of k x k samples within the target, path end 4e-3, in single precision as mitsuba, with the transfer
of all its maps. mitsuba: the error c/sqrt(n) of n samples per pixel of each of its samplers, from the largest render; no
Russian roulette, the same longest path.

Designs: a brightness with a standard error of 0.001. raylab: a sweep's designs, polarized, built on the processor. mitsuba: a
scene of each stone loaded, which is what a new stone takes, and as many paths as it needs for that error by the scatter of its
pixels. Wall times, the best of some; kernels are compiled before. Ends in one line where either has no such processor.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import mitsuba as mi
import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "tests"))
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "tests" / "validation"))

import mitsuba_scenes as scenes

import raylab as rl
from raylab.scene.pixel_grid import PixelGrid, grid_around
from raylab.tracers.gpu.batches import pixel_maps
from raylab.tracers.gpu.device import why_no_device
from raylab.tracers.ledger import LUMINANCE

TARGET, END, ERROR, LONGEST, NODES = 0.005, 4e-3, 1e-3, 66, (16385, 4)
VARIANT, SAMPLERS, SIZES = "cuda_ad_mono", ("independent", "multijitter", "stratified", "orthogonal"), (4, 25, 121)
STONE = rl.round_brilliant(table_pct=57, crown_angle_deg=34.5, pavilion_angle_deg=40.75)
DOME, VIEW = rl.Dome(head_half_angle_deg=20), rl.View()


def best(run: Callable[[], Any], times: int = 3) -> tuple[Any, float]:
    """What a run gives and its least wall time, after one that compiles."""
    run()
    found = []
    for _ in range(times):
        start = time.perf_counter()
        value = run()
        found.append(time.perf_counter() - start)
    return value, min(found)


def ours(grid: PixelGrid, cells: int, seed: int, end: float = END) -> np.ndarray:
    """raylab's luminance map of cells x cells samples a pixel; the others come with it."""
    scene = rl.Scene(STONE, DOME, VIEW, rl.TraceSettings(seed=seed, samples=cells**2, min_weight=end, polarized=False))
    means, _, _ = pixel_maps(scene, 589.3, grid, np.float32)
    return means[LUMINANCE].reshape(grid.resolution, grid.resolution).astype(float)


def theirs(grid: PixelGrid, sampler: str) -> Any:
    """mitsuba's scene of a picture."""
    parts = {
        "integrator": {"type": "path", "max_depth": LONGEST, "rr_depth": 100_000},
        "sensor": {**scenes.sensor(STONE, VIEW, grid), "sampler": {"type": sampler}},
        **scenes.meshes(STONE, STONE.material.n(589.3)),
        "light": scenes.emitter(LIGHT),
    }
    return mi.load_dict({"type": "scene", **parts})


def maps(side: int) -> None:
    grid = grid_around(STONE, VIEW, side)
    inside = scenes.covered(STONE, VIEW, grid)
    reference = np.mean([ours(grid, 16, 100 + seed, 1e-5) for seed in range(4)], axis=0)

    def off(image: np.ndarray) -> float:
        return float(np.sqrt(np.mean((image - reference)[inside] ** 2)))

    for cells in range(3, 30):
        image, fast = best(lambda: ours(grid, cells, cells))  # noqa: B023
        if off(image) <= TARGET:
            break
    print(f"{side} x {side}: raylab {cells**2} samples a pixel, error {off(image):.5f}, {1e3 * fast:.1f} ms")
    for sampler in SAMPLERS:
        scene, constants = theirs(grid, sampler), []
        for samples in SIZES:
            image, slow = best(lambda: scenes.render(scene, samples, seed=2))  # noqa: B023
            constants.append(off(image) * samples**0.5)
        needed = (constants[-1] / TARGET) ** 2
        total = needed * slow / SIZES[-1]
        found = ", ".join(f"{one:.3f}" for one in constants)
        print(f"mitsuba, {sampler}: c = {found}; {needed:.0f} samples, {1e3 * total:.1f} ms, {total / fast:.1f} times as long")


def designs() -> None:
    axes = {"crown_angle_deg": rl.steps(25, 40, 1024), "pavilion_angle_deg": rl.steps(38, 43, 2048)}
    settings = rl.TraceSettings(engine="gpu-single", standard_error=ERROR, precision_of=("brightness",))
    done, start = list[tuple[int, float]](), time.perf_counter()
    found = rl.sweep(
        axes,
        DOME,
        table_pct=57,
        settings=settings,
        progress=lambda number, _: done.append((number, time.perf_counter() - start)),
    )
    (first, begun), (last, ended) = next(one for one in done if one[0]), done[-1]
    rate = (last - first) / (ended - begun)
    stated = float((found.brightness_error**2).mean() ** 0.5)
    print(f"raylab: {rate:,.0f} designs/s after the first {begun:.1f} s, stated error {stated:.2e}", flush=True)
    grid = grid_around(STONE, VIEW, 256)
    inside = scenes.covered(STONE, VIEW, grid)
    image = scenes.render(theirs(grid, "stratified"), 4, seed=1)
    paths = (float(image[inside].std()) / ERROR) ** 2
    samples = max(1, round(paths / inside.sum()))
    _, slow = best(lambda: scenes.render(theirs(grid, "independent"), samples, seed=3), 5)
    print(f"mitsuba: {paths:.0f} paths, {samples} a pixel, {1e3 * slow:.1f} ms a design: {rate * slow:,.0f} times as long")


if __name__ == "__main__":
    if (reason := why_no_device()) is not None:
        raise SystemExit(reason)
    mi.set_variant(VARIANT)
    LIGHT = scenes.baked_light(DOME, VIEW, *NODES)
    for size in (256, 1024):
        maps(size)
    designs()
