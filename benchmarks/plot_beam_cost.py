"""How the exact tracer's cost grows with facets, precision and wavelengths: measured here, drawn to renders/beam-cost.png.

Processor time on one core, best of three after a run that compiles; diamond, a head's shadow over an even sky.

* Facets: bodies whose planes touch a sphere at random places, within a box, seen from a random side, bracket 1 %; the mean of
  four of each size.
* Precision: a 153-facet brilliant, face-up with the wedge and without, and tilted by 12 degrees.
* Wavelengths: the same brilliant face-up and tilted, 1 to 16 wavelengths from 450 to 650 nm, bracket 0.2 %.

    python benchmarks/plot_beam_cost.py [where.png]

takes about three minutes.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from raylab.lighting.dome import Dome
from raylab.memory import keep_freed_memory
from raylab.scene.scene import Scene
from raylab.scene.settings import TraceSettings
from raylab.scene.view import View
from raylab.stone.cuts.round_brilliant import round_brilliant
from raylab.stone.stone import Stone
from raylab.tracers.exact.beams import Beams
from raylab.tracers.exact.tracer import trace_beams
from raylab.units import SODIUM_D_NM

STONE = round_brilliant(table_pct=57, crown_angle_deg=34.5, pavilion_angle_deg=40.75)
DOME, FACE_UP, TILTED = Dome(head_half_angle_deg=20), View(), View(tilt_deg=12, tilt_azimuth_deg=7)
PLANES = (4, 8, 14, 24, 40, 60, 100, 150, 220)
PRECISIONS = (1e-1, 3e-2, 1e-2, 3e-3, 1e-3, 3e-4, 1e-4)
WAVELENGTHS = (1, 2, 4, 8, 16)
_SHADES = ("#00204c", "#7c7b78", "#c8ac33")  # three of cividis


def seen(stone: Stone, view: View, precision: float = 2e-3) -> Scene:
    """A stone in a view, to be traced to a precision."""
    return Scene(stone, DOME, view, TraceSettings(precision=precision))


def spent(run: Callable[[], Beams], repeats: int = 3) -> tuple[float, int]:
    """Shortest processor time, s, and the number of pieces."""
    beams, times = run(), []
    assert not beams.full
    for _ in range(repeats):
        start = time.process_time()
        run()
        times.append(time.process_time() - start)
    return min(times), beams.pieces


def around_a_sphere(planes: int, rng: np.random.Generator) -> Stone:
    """A diamond whose planes touch a sphere of radius 1 mm at random places, and a box of 2.5 mm that closes it."""
    normals = np.vstack([rng.normal(size=(planes, 3)), np.eye(3), -np.eye(3)])
    return Stone.from_planes(normals, np.repeat([1.0, 1.25], [planes, 6]), redundant="drop")


def grow_facets() -> tuple[list[float], list[float], list[float]]:
    """Mean number of facets, mean time, ms, and mean number of pieces for each of PLANES."""
    rng, sizes, times, counts = np.random.default_rng(4), [], [], []
    for planes in PLANES:
        found = []
        for _ in range(4):
            stone = around_a_sphere(planes, rng)
            view = View(tilt_deg=float(rng.uniform(0, 180)), tilt_azimuth_deg=float(rng.uniform(0, 360)))
            run = spent(lambda: trace_beams(seen(stone, view, 1e-2), SODIUM_D_NM, wedge=False, threads=1))  # noqa: B023
            found.append((len(stone), *run))
        facets, seconds, pieces = np.mean(found, axis=0).tolist()
        print(f"{facets:6.1f} facets: {1e3 * seconds:9.2f} ms, {pieces:9.0f} pieces, {1e6 * seconds / pieces:.2f} us a piece")
        sizes.append(facets)
        times.append(1e3 * seconds)
        counts.append(pieces)
    return sizes, times, counts


def grow_precision() -> dict[str, list[float]]:
    """Times, ms, at PRECISIONS for each view."""
    cases = {"face-up, wedge": (FACE_UP, True), "face-up, whole": (FACE_UP, False), "tilted": (TILTED, True)}
    found: dict[str, list[float]] = {name: [] for name in cases}
    for name, (view, wedge) in cases.items():
        for precision in PRECISIONS:
            seconds, pieces = spent(
                lambda: trace_beams(seen(STONE, view, precision), SODIUM_D_NM, wedge=wedge, threads=1),  # noqa: B023
                1 if precision < 1e-3 else 3,
            )
            print(f"{name}, precision {precision:g}: {1e3 * seconds:.1f} ms, {pieces} pieces")
            found[name].append(1e3 * seconds)
    return found


def grow_wavelengths() -> dict[str, list[float]]:
    """Times, ms, for WAVELENGTHS for each view."""

    def all_of(view: View, count: int) -> Beams:
        return [trace_beams(seen(STONE, view), w, threads=1) for w in np.linspace(450.0, 650.0, count)][-1]

    found: dict[str, list[float]] = {}
    for name, view in (("face-up, wedge", FACE_UP), ("tilted", TILTED)):
        found[name] = [1e3 * spent(lambda: all_of(view, count), 1)[0] for count in WAVELENGTHS]  # noqa: B023
        print(name, "wavelengths:", ", ".join(f"{n}: {t:.0f} ms" for n, t in zip(WAVELENGTHS, found[name], strict=True)))
    return found


def panel(axes: Axes, x: Sequence[float], lines: dict[str, list[float]], label: str, title: str) -> None:
    """Times against x, both logarithmic, each line named at its end."""
    for (name, values), shade in zip(lines.items(), _SHADES, strict=False):
        axes.loglog(x, values, marker="o", markersize=3.5, color=shade, label=name)
    axes.set_xlabel(label)
    axes.set_title(title, fontsize=10, loc="left")
    axes.grid(which="major", color="0.9")
    axes.spines[["top", "right"]].set_visible(False)
    axes.legend(fontsize=8, frameon=False)


def main() -> None:
    where = Path(sys.argv[1] if len(sys.argv) > 1 else "renders/beam-cost.png")
    facets, times, counts = grow_facets()
    precision, wavelengths = grow_precision(), grow_wavelengths()
    figure = Figure(figsize=(12.5, 3.9), layout="constrained")
    one, two, three = figure.subplots(1, 3)
    per_piece = [1e3 * t / n for t, n in zip(times, counts, strict=True)]
    panel(one, facets, {"time / ms": times, "per piece / µs": per_piece}, "facets", "random polyhedra, bracket 1 %")
    panel(two, PRECISIONS, precision, "precision (width of the bracket)", "153-facet brilliant")
    two.invert_xaxis()
    two.set_ylabel("time / ms")
    panel(three, WAVELENGTHS, wavelengths, "wavelengths", "153-facet brilliant, bracket 0.2 %")
    three.set_ylabel("time / ms")
    figure.suptitle("Cost of the exact tracer, processor time on one core", fontsize=11, x=0.01, ha="left")
    figure.savefig(where, dpi=100)
    for name, values in precision.items():
        slope = np.polyfit(np.log(PRECISIONS[2:]), np.log(values[2:]), 1)[0]
        print(f"{name}: time ~ precision^{slope:.2f} from {PRECISIONS[2]:g} down")
    slope = np.polyfit(np.log(facets[3:]), np.log(times[3:]), 1)[0]
    print(f"facets: time ~ facets^{slope:.2f} from {facets[3]:.0f} up; {where}, {where.stat().st_size / 1e3:.0f} kB")


if __name__ == "__main__":
    keep_freed_memory()  # as the command line does
    main()
