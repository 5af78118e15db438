"""Whole images of an oval, a pear, a princess and an emerald cut against mitsuba, pixel by pixel, polarised.

    python tests/validation/mitsuba_cuts.py [PIXELS] ["oval brilliant" ...]

The method is that of `test_benchmark_mitsuba`, which does the same for the round brilliant and irregular bodies in every run of
the tests: independent images by both programs, a z for each pixel from their measured scatter, and four measures of how far the
z and the means depart from chance, in units of what is allowed (each must be below 1). Every cut is seen face-up under an
overcast sky with the observer's head, and tilted under a side window; the oval has four pavilion mains as well. A window's edge
is blurred over 0.09 degrees in mitsuba's map. Light that leaves by few facets in few directions can lie within that: a window
that ended at azimuth -50 put 14 % of the light of two pixels of the princess cut 0.012 degrees inside it, and their z at 7.5.
This one ends at -53. The last lines show that the comparison notices broken physics: an index 0.7 % too small, and a plane
turned by half a degree, each of which must exceed 1.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path
from time import process_time

import numpy as np

sys.path += [str(Path(__file__).parent), str(Path(__file__).parent.parent)]

import mitsuba_scenes as scenes
from test_benchmark_mitsuba import TILTED, Case, disagreements, mitsuba_pixels, raylab_pixels

import raylab as rl
from raylab.lighting.dome import Dome, Zone
from raylab.optics.materials import Material
from raylab.scene.view import View

SHADED_SKY = Dome(sky="overcast", head_half_angle_deg=16, tray_radiance=0.1)
SIDE_WINDOW = Dome(sky_radiance=0.2, zones=(Zone((15, 65), (-53, 47)),), head_half_angle_deg=10, tray_radiance=0.05)
STONES = {
    "oval brilliant": rl.oval_brilliant(table_pct=57, girdle_facets=48),
    "oval brilliant, four mains": rl.oval_brilliant(table_pct=57, girdle_facets=48, pavilion_mains=4),
    "pear brilliant": rl.pear_brilliant(table_pct=57, girdle_facets=48, girdle_pct=4.5),
    "princess cut": rl.princess_cut(table_pct=68),
    "emerald cut": rl.emerald_cut(table_pct=62),
}


def cases(stone: rl.Stone, pixels: int) -> dict[str, Case]:
    """The two scenes of a stone."""
    return {
        "face-up": Case(stone, SHADED_SKY, View(), True, (16385, 4), resolution=pixels),
        "tilted": Case(stone, SIDE_WINDOW, TILTED, True, (2049, 4096), resolution=pixels),
    }


def broken(case: Case) -> dict[str, Case]:
    """The same with one thing wrong, on our side alone."""
    n = case.stone.material.n(scenes.WAVELENGTH_NM) * 2.40 / 2.417
    turned = case.stone.normals.copy()
    k = int(np.argmin(turned[:, 2] + 2.0 * (turned[:, 2] < -0.95)))  # a pavilion facet, of a steep kind
    turned[k] += [0.0, 0.0, 0.01]
    other = case.stone.with_planes(turned / np.linalg.norm(turned, axis=1)[:, None], case.stone.distances_mm)
    return {
        "index 0.7 % too small": replace(case, stone=replace(case.stone, material=Material.constant(n))),
        "a plane turned": replace(case, stone=other),
    }


def row(name: str, ours: np.ndarray, theirs: np.ndarray, seconds: float) -> str:
    """One row of the table. Pixels in which the repeats of neither program differ have no z and are compared alone."""
    still = (ours.std(axis=0) == 0.0) & (theirs.std(axis=0) == 0.0)
    apart = float(np.abs(ours[0, still] - theirs[0, still]).max(initial=0.0))
    found = disagreements(ours[:, ~still], theirs[:, ~still])
    words = "  ".join(f"{key} {value:5.2f}" for key, value in found.items())
    return f"{name:36s} {words}  ({(~still).sum()} pixels; {still.sum()} without scatter, apart {apart:.0e}; {seconds:.0f} s)"


def main() -> None:
    pixels, names = int(sys.argv[1]) if len(sys.argv) > 1 else 32, sys.argv[2:] or list(STONES)
    for name in names:
        for view, case in cases(STONES[name], pixels).items():
            start = process_time()
            theirs = mitsuba_pixels(case)
            print(row(f"{name}, {view}", raylab_pixels(case), theirs, process_time() - start), flush=True)
            if name == names[-1]:
                for mistake, wrong in broken(case).items():
                    print(row(f"  {mistake}", raylab_pixels(wrong), theirs, 0.0), flush=True)


if __name__ == "__main__":
    main()
