"""Colour, in three parts, each a command of its own:

    python benchmarks/bench_color.py picture     one picture: face-up brilliant, 512 x 512, 16 wavelengths, exact engine, warm
    python benchmarks/bench_color.py growth      the same with 4 to 64 wavelengths, and a tilted stone with 4 to 32
    python benchmarks/bench_color.py film        the film that `raylab film` makes by default: 200 stills, 400 x 400, MP4
    python benchmarks/bench_color.py film 50     as many of its stills, spread over it, and the time of 200 at that rate

How: best of 3 wall times, and processor time of the same run. The film is a real one, written to a temporary folder; its memory
is the process's resident size after a tenth of the stills and at the end.
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import raylab as rl
from raylab.memory import keep_freed_memory

FILM = 200


def best(run: Callable[[], object], times: int = 3) -> tuple[float, float]:
    """Least wall time and the processor time of that run, seconds; one run before, so that all is compiled."""
    run()
    found = []
    for _ in range(times):
        wall, processor = time.perf_counter(), time.process_time()
        run()
        found.append((time.perf_counter() - wall, time.process_time() - processor))
    return min(found)


def scene(view: rl.View | None = None) -> rl.Scene:
    stone = rl.round_brilliant(table_pct=57, crown_angle_deg=34.5, pavilion_angle_deg=40.75)
    return rl.Scene(stone, rl.load_dome("head-shadow"), view or rl.View(), resolution=512)


def one_picture() -> None:
    wall, processor = best(lambda: rl.color_picture(scene(), spectrum=16))
    print(f"512 x 512, 16 wavelengths: {wall:.2f} s wall (target 2 s), {processor:.2f} s processor")


def growth() -> None:
    for words, view, numbers in (("face-up", rl.View(), (4, 8, 16, 32, 64)), ("tilted", rl.View(12.0, 33.0), (4, 8, 16, 32))):
        for number in numbers:
            wall, processor = best(lambda number=number, view=view: rl.color_picture(scene(view), spectrum=number))
            each = f"{1e3 * wall / number:5.1f} ms wall and {1e3 * processor / number:5.1f} ms processor for each"
            print(f"{words:8s} {number:3d} wavelengths: {wall:5.2f} s, {each}", flush=True)


def film(number: int = FILM) -> None:
    looks = rl.circling(FILM)[:: FILM // number][:number]
    memory, start = {}, time.perf_counter()

    def note(done: int, total: int) -> None:
        memory[done] = resident_mb()

    with tempfile.TemporaryDirectory() as folder:
        rl.save_video(scene().stone, scene().dome, Path(folder) / "film.mp4", looks, progress=note)
        wall = time.perf_counter() - start
    each = wall / len(looks)
    print(f"{len(looks)} stills with their MP4: {wall:.0f} s, {each:.3f} s each, {FILM * each:.0f} s for {FILM} (target 180 s)")
    print(f"resident memory: {memory[len(looks) // 10]:.0f} MB after a tenth, {memory[len(looks)]:.0f} MB at the end")


def resident_mb() -> float:
    """Resident size of this process, MB (Linux)."""
    for line in Path("/proc/self/status").read_text(encoding="ascii").splitlines():
        if line.startswith("VmRSS:"):
            return int(line.split()[1]) / 1024.0
    raise RuntimeError("no resident size told")


PARTS: dict[str, Callable[..., None]] = {"picture": one_picture, "growth": growth, "film": film}

if __name__ == "__main__":
    if not sys.argv[1:] or sys.argv[1] not in PARTS:
        sys.exit(__doc__)
    keep_freed_memory()  # as the command line does
    PARTS[sys.argv[1]](*map(int, sys.argv[2:]))
