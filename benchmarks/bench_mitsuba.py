"""Time to equal error: raylab's rays against mitsuba's fastest CPU variant, in one run.

What: a luminance map of 256 x 256 pixels of a 153-facet brilliant face-up, even sky with a head's shadow, s and p averaged at
every bounce by both (which is what mitsuba's fastest variants do). Wanted: a root-mean-square error of 0.005 over all pixels
that the stone covers wholly, brightest radiance 1.
How the error is measured: against a converged map, the mean of four raylab maps of 8 x 8 samples on average and path end
1e-5; its own error is told from the scatter of the four. raylab agrees with mitsuba pixel by pixel within the noise
(tests/validation/test_benchmark_mitsuba.py), so the reference favours neither.

* raylab: the smallest mean of k x k samples whose error is within the target, path end 4e-3 (its bias counts in the error).
* mitsuba: the error c/sqrt(n) of n samples per pixel is taken from renders of three sizes; the time for n = (c/0.005)^2 is n
  times the time per sample of the largest render. Independent samples must follow this law. The error of its stratifying
  samplers falls faster, so what is printed for them is the fit through the largest render and hardly less than they need;
  --large renders them at 529 samples per pixel as well. No Russian roulette, the same longest path. Its compiled variant is
  used where LLVM 19 or newer is found (DRJIT_LIBLLVM_PATH helps), and its plain one is timed too.

Compilation is not counted for either: every kernel runs once before it is timed. Times are processor time, all threads
together, the best of several runs: other programs on the machine disturb them less than the clock's.

    python benchmarks/bench_mitsuba.py [--large] [--polarized]
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

from raylab.lighting.dome import Dome
from raylab.scene.pixel_grid import grid_around
from raylab.scene.scene import Scene
from raylab.scene.settings import TraceSettings
from raylab.scene.view import View
from raylab.stone.cuts.round_brilliant import round_brilliant
from raylab.tracers.sampled.sampling import sample_image
from raylab.units import SODIUM_D_NM

TARGET, RESOLUTION, END = 0.005, 256, 4e-3
SIZES = (4, 25, 121, 529) if "--large" in sys.argv else (4, 25, 121)  # squares of primes, which a sampler asks for
POLARIZED = "--polarized" in sys.argv
STONE = round_brilliant(table_pct=57, crown_angle_deg=34.5, pavilion_angle_deg=40.75)
DOME, VIEW = Dome(head_half_angle_deg=20), View()
FRAME = grid_around(STONE, VIEW, RESOLUTION)
INSIDE = scenes.covered(STONE, VIEW, FRAME)


def rms(image: np.ndarray, reference: np.ndarray) -> float:
    """Root-mean-square difference over the wholly covered pixels."""
    return float(np.sqrt(np.mean((image - reference)[INSIDE] ** 2)))


def timed(run: Callable[[], np.ndarray], repeats: int = 5) -> tuple[np.ndarray, float]:
    """A run's image and the shortest of some processor times."""
    times = []
    for _ in range(repeats):
        start = time.process_time()
        image = run()
        times.append(time.process_time() - start)
    return image, min(times)


def ours(cells: int, seed: int, end: float = END) -> np.ndarray:
    """raylab's luminance map of cells x cells samples per pixel on average."""
    options: dict[str, Any] = {"samples": cells**2, "seed": seed, "min_weight": end, "polarized": POLARIZED}
    scene = Scene(STONE, DOME, VIEW, TraceSettings(**options))
    return sample_image(scene, SODIUM_D_NM, FRAME).fields["luminance"]


def converged() -> np.ndarray:
    """The reference map."""
    parts = np.array([ours(8, 100 + seed, end=1e-5) for seed in range(4)])
    own = np.sqrt(np.mean(parts.var(axis=0, ddof=1)[INSIDE] / 4.0))
    print(f"reference: own error {own:.5f}")
    return np.asarray(parts.mean(axis=0))


def raylab_seconds(reference: np.ndarray) -> float:
    """Time of the smallest map within the target."""
    ours(2, seed=0)
    for cells in range(3, 20):
        error = rms(ours(cells, seed=cells), reference)
        if error <= TARGET:
            _, seconds = timed(lambda: ours(cells, seed=cells))  # noqa: B023
            rate = cells**2 * RESOLUTION**2 / seconds / 1e6
            print(f"raylab: {cells**2} samples per pixel, error {error:.5f}, {seconds:.2f} s ({rate:.1f} million rays/s)")
            return seconds
    raise SystemExit("raylab did not reach the target")


def mitsuba_seconds(variant: str, reference: np.ndarray, sampler: str = "independent") -> float:
    """Time that mitsuba would need for the target, from three renders."""
    mi.set_variant(variant)
    light = scenes.baked_light(DOME, VIEW, 16385, 4)
    sensor = {**scenes.sensor(STONE, VIEW, FRAME), "sampler": {"type": sampler}}
    parts = {
        "integrator": {"type": "path", "max_depth": 66, "rr_depth": 100_000},
        "sensor": sensor,
        **scenes.meshes(STONE, STONE.material.n(589.3)),
        "light": scenes.emitter(light),
    }
    scene = mi.load_dict({"type": "scene", **parts})
    scenes.render(scene, 4, seed=1)
    sizes, constants = SIZES[:3] if sampler == "independent" else SIZES, []
    for samples in sizes:
        image, seconds = timed(lambda: scenes.render(scene, samples, seed=2), repeats=2 if samples == sizes[-1] else 1)  # noqa: B023
        constants.append(rms(image, reference) * np.sqrt(samples))
    if sampler == "independent":  # the law that the time is told by
        assert max(constants) < 1.05 * min(constants), constants
    needed = (constants[-1] / TARGET) ** 2
    rate = sizes[-1] * RESOLUTION**2 / seconds / 1e6
    found = ", ".join(f"{c:.3f}" for c in constants)
    total = needed * seconds / sizes[-1]
    print(f"{variant}, {sampler}: c = {found}; {needed:.0f} samples per pixel, {total:.1f} s at {rate:.1f} million paths/s")
    return total


def main() -> None:
    reference = converged()
    fast = raylab_seconds(reference)
    compiled, plain = scenes.use_variant(POLARIZED), "scalar_spectral_polarized" if POLARIZED else "scalar_rgb"
    slow = min(mitsuba_seconds(variant, reference) for variant in sorted({compiled, plain}))
    print(f"raylab is {slow / fast:.1f} times faster than independent samples at an error of {TARGET}")
    found = {sampler: mitsuba_seconds(compiled, reference, sampler) for sampler in ("orthogonal", "multijitter", "stratified")}
    quickest = min(found, key=lambda sampler: found[sampler])
    print(f"and {found[quickest] / fast:.1f} times faster than its quickest sampler, {quickest}  (target 10)")


if __name__ == "__main__":
    main()
