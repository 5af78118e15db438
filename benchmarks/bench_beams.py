"""Speed of the exact tracer: one face, an exact map against sampled ones, and what one wavelength can tell the next.

All figures and ratios come from one run; times are the best of several, after a run that compiles. Ratios are of processor
time, all threads together, because other programs on the machine stretch a long run's wall time more than a short one's.

* One face: a 153-facet brilliant (57 and 96 of the girdle) face-up, head's shadow, one core, polarized: bracket of at most
  0.2 % of the view's light, with the wedge and without; and tilted, with two threads.
* An exact map of 512 x 512 pixels, s and p averaged as mitsuba's fastest variants do it, no sample in it: the error that is
  left is what was left untraced. From the precisions below the coarsest is taken whose map is within the target of the
  converged one (precision 1e-5), root-mean-square over the pixels that the stone covers wholly.
  - against our own rays at RMSE 0.005: a real run, see bench_mitsuba.py;
  - against mitsuba at RMSE 0.002: the fit of bench_mitsuba.py, c/sqrt(n) with independent samples, against the exact map; its
    time is extrapolated twice: to n = (c/0.002)^2 samples, and from 256 x 256 to four times as many pixels at the same number
    of paths a second. With stratified samples mitsuba needs fewer (see benchmarks/README.md).
* The tree of one wavelength as a guide to the next: the floor at which it ended spares the next one's rounds. Its share of
  pieces with the same path says how much else there is to share.
* Building: a stone of each cut from its proportions (`python benchmarks/bench_beams.py building` measures this alone).

    python benchmarks/bench_beams.py [--no-mitsuba | building]
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from typing import Any, TypeVar

import numpy as np

from raylab.lighting.dome import Dome
from raylab.memory import keep_freed_memory
from raylab.scene.pixel_grid import grid_around
from raylab.scene.scene import Scene
from raylab.scene.settings import TraceSettings
from raylab.scene.view import View
from raylab.stone.cuts.round_brilliant import round_brilliant
from raylab.stone.known_cuts import cuts
from raylab.tracers.exact import schedule as rounds
from raylab.tracers.exact.beams import Beams
from raylab.tracers.exact.image import exact_image
from raylab.tracers.exact.tracer import trace_beams
from raylab.tracers.ledger import UNTRACED
from raylab.units import SODIUM_D_NM

STONE = round_brilliant(table_pct=57, crown_angle_deg=34.5, pavilion_angle_deg=40.75)
DOME, FACE_UP, TILTED = Dome(head_half_angle_deg=20), View(), View(tilt_deg=12, tilt_azimuth_deg=7)
PRECISIONS = (2e-2, 1e-2, 5e-3, 2e-3, 1e-3, 5e-4, 2e-4)
NM = SODIUM_D_NM
Found = TypeVar("Found")


def seen(view: View, **settings: Any) -> Scene:
    """The stone in a view, with settings by name."""
    return Scene(STONE, DOME, view, TraceSettings(**settings))


def best(run: Callable[[], Found], repeats: int) -> tuple[Found, float, float]:
    """What a run gives, the shortest of some wall times and of processor times, s; one run before is not counted."""
    found, wall, spent = run(), [], []
    for _ in range(repeats):
        start, used = time.perf_counter(), time.process_time()
        found = run()
        wall.append(time.perf_counter() - start)
        spent.append(time.process_time() - used)
    return found, min(wall), min(spent)


def one_face() -> None:
    """Time to a bracket of 0.2 %."""
    print(f"one face, {len(STONE)} facets, bracket of at most 0.2 %")
    cases = (
        ("face-up, wedge, 1 core", FACE_UP, True, 1, 15.0),
        ("face-up, whole, 1 core", FACE_UP, False, 1, 200.0),
        ("tilted 12 degrees, 1 core", TILTED, True, 1, None),
        ("tilted 12 degrees, 2 threads", TILTED, True, 2, None),
    )
    for what, view, wedge, threads, target in cases:
        beams, wall, spent = best(lambda: trace_beams(seen(view), NM, wedge=wedge, threads=threads), 9)  # noqa: B023
        width = beams.totals.mean[UNTRACED]
        assert width <= 2e-3, width
        aim = "" if target is None else f"  (target {target:.0f} ms)"
        print(
            f"  {what:29} {1e3 * wall:6.1f} ms, processor {1e3 * spent:6.1f} ms{aim}; "
            f"{beams.pieces} pieces, bracket {100 * width:.3f} %"
        )


def exact(view: View, resolution: int, precision: float) -> np.ndarray:
    """The exact luminance map, s and p averaged."""
    beams = trace_beams(seen(view, precision=precision, polarized=False, max_bounces=2000), NM)
    return exact_image(beams, grid_around(STONE, view, resolution), NM).fields["luminance"]


def exact_seconds(target: float, reference: np.ndarray, inside: np.ndarray) -> float:
    """Processor time of the coarsest exact 512 x 512 map within a root-mean-square error."""
    for precision in PRECISIONS:
        image, wall, spent = best(lambda: exact(FACE_UP, 512, precision), 7)  # noqa: B023
        error = float(np.sqrt(np.mean((image - reference)[inside] ** 2)))
        if error <= target:
            print(f"  exact at precision {precision:g}: RMSE {error:.5f}, {1e3 * wall:.1f} ms, processor {1e3 * spent:.1f} ms")
            return spent
    raise SystemExit("no precision reached the target")


def maps(with_mitsuba: bool) -> None:
    """An exact map against sampled ones."""
    import bench_mitsuba as sampled

    print("map of 512 x 512 pixels, face-up, s and p averaged, 2 threads; times of sampled maps are processor times")
    sampled.timed = lambda run, repeats=5: best(run, min(repeats, 2))[::2]
    reference = exact(FACE_UP, 512, 1e-5)
    sampled.FRAME, sampled.RESOLUTION = grid_around(STONE, FACE_UP, 512), 512
    sampled.INSIDE = inside = sampled.scenes.covered(STONE, FACE_UP, sampled.FRAME)
    fast = exact_seconds(0.005, reference, inside)
    sampled.TARGET = 0.005
    slow = sampled.raylab_seconds(reference)
    print(f"  the exact map is {slow / fast:.0f} times faster than our rays at RMSE 0.005  (target: faster)")
    if with_mitsuba:
        fast = exact_seconds(0.002, reference, inside)
        sampled.FRAME, sampled.RESOLUTION, sampled.TARGET = grid_around(STONE, FACE_UP, 256), 256, 0.002
        sampled.INSIDE = sampled.scenes.covered(STONE, FACE_UP, sampled.FRAME)
        variants = sorted({sampled.scenes.use_variant(False), "scalar_rgb"})
        quarter = min(sampled.mitsuba_seconds(variant, exact(FACE_UP, 256, 1e-5)) for variant in variants)
        print(f"  mitsuba extrapolated to 512 x 512 and RMSE 0.002: {4.0 * quarter:.0f} s")
        print(f"  the exact map is {4.0 * quarter / fast:.0f} times faster than mitsuba at RMSE 0.002  (target 1000)")


def guide() -> None:
    """What the tree of one wavelength saves the next."""
    print("the tree at 589.3 nm as a guide to another wavelength, 1 core, processor time")
    usual, deal = rounds.FIRST_FLOOR, rounds._deal
    for what, view, repeats in (("face-up, wedge", FACE_UP, 9), ("tilted", TILTED, 3)):
        for wavelength in (594.3, 656.3):
            one, _, plain = best(lambda: trace_beams(seen(view), wavelength, threads=1), repeats)  # noqa: B023
            floors: list[float] = []
            rounds._deal = lambda active, rules, *rest: (floors.append(rules.floor), deal(active, rules, *rest))[1]  # noqa: B023
            guiding = trace_beams(seen(view), NM)
            rounds._deal = deal
            rounds.FIRST_FLOOR = floors[-1] / (2e-3 * float(guiding.areas_mm2.sum()))
            *_, guided = best(lambda: trace_beams(seen(view), wavelength, threads=1), repeats)  # noqa: B023
            rounds.FIRST_FLOOR = usual
            alike = len(keys(one) & keys(guiding)) / len(keys(one))
            print(
                f"  {what:15} {wavelength} nm: {1e3 * plain:.1f} ms alone, {1e3 * guided:.1f} ms from the known floor; "
                f"{100 * alike:.0f} % of the pieces have a path in common"
            )


def keys(beams: Beams) -> set[int]:
    """A number for each path that a piece took."""
    found: list[int] = []
    for before, facet in beams.nodes.tolist():
        found.append(hash((found[before] if before >= 0 else 0, facet)))
    return set(found)


def building() -> None:
    """Time to build a stone of each cut."""
    print("a stone from its proportions, processor time  (target 3 ms)")
    usual = {"table_pct": 57.0, "crown_angle_deg": 34.5, "pavilion_angle_deg": 40.75}
    for cut in cuts():
        given = {key: usual[key] for key, one in cut.keys.items() if key in usual and one.default is None}
        stone, _, spent = best(lambda: cut.stone(**given), 100)  # noqa: B023
        print(f"  {cut.name:22} {len(stone):4} facets {1e3 * spent:6.2f} ms")


if __name__ == "__main__":
    keep_freed_memory()  # as the command line does
    building()
    if "building" not in sys.argv:
        one_face()
        maps("--no-mitsuba" not in sys.argv)
        guide()
