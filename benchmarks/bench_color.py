"""Colour: one picture, how its cost grows with the number of wavelengths, stills of a film.

What: a face-up brilliant, 512 x 512, 16 wavelengths, exact engine, warm; the same with 4, 8 and 32 wavelengths; stills of the
film that `save_video` makes by default (400 x 400, 16 wavelengths, tilted, no symmetry left), without writing files.
How: best of 3 wall times, and processor time of the same run: on a machine that others use, half of the processor time is what
two quiet cores would take at best. The film's time is the mean of 5 stills times 200.

    python benchmarks/bench_color.py
"""

from __future__ import annotations

import resource
import time
from collections.abc import Callable
from dataclasses import replace

import raylab as rl
from raylab.pictures.video import PRECISION

STILLS, FILM, FILM_WAVELENGTHS = 5, 200, 12


def best(run: Callable[[], object], times: int = 3) -> tuple[float, float]:
    """Least wall time and the processor time of that run, seconds."""
    found = []
    for _ in range(times):
        wall, processor = time.perf_counter(), time.process_time()
        run()
        found.append((time.perf_counter() - wall, time.process_time() - processor))
    return min(found)


def main() -> None:
    stone = rl.round_brilliant(table_pct=57, crown_angle_deg=34.5, pavilion_angle_deg=40.75)
    scene = rl.Scene(stone, rl.load_dome("head-shadow"), resolution=512)
    rl.picture(scene, wavelengths=2)
    for number in (4, 8, 16, 32):
        wall, processor = best(lambda number=number: rl.picture(scene, wavelengths=number))
        target = "  (target 2 s)" if number == 16 else ""
        print(
            f"{number:3d} wavelengths  {wall:6.2f} s wall  {processor:6.2f} s processor  {processor / number:.4f} each{target}"
        )
    looks = rl.circling(FILM)[:: FILM // STILLS][:STILLS]
    still = replace(scene, resolution=400, precision=PRECISION)
    rl.picture(replace(still, view=looks[1]), wavelengths=2)
    wall, processor = best(lambda: [rl.picture(replace(still, view=look), wavelengths=FILM_WAVELENGTHS) for look in looks], 1)
    each, busy = wall / STILLS, processor / STILLS
    print(f"still of a film   {each:6.2f} s wall  {busy:6.2f} s processor; {FILM}: {FILM * each:.0f} s wall,", end=" ")
    print(f"{FILM * busy / 2:.0f} s on two quiet cores at best  (target 180 s)")
    print(f"peak memory       {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MiB")


if __name__ == "__main__":
    main()
