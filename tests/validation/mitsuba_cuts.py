"""Whole images of an oval, a pear, a princess and an emerald cut against mitsuba, pixel by pixel, polarised.

    python tests/validation/mitsuba_cuts.py [PIXELS] [TIMES] ["oval brilliant" ...]

The method is that of `test_benchmark_mitsuba`, which does the same for the round brilliant and irregular bodies in every run
of the tests, here with TIMES as many samples; `mitsuba_table` says what is printed and when the command ends with an error.
Every cut is seen face-up under an overcast sky with the observer's head, and tilted under a side window; the oval has four
pavilion mains as well. In every scene the comparison must notice an index 0.7 % too small and a plane turned by half a
degree, which takes some thousand pixels.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np

sys.path += [str(Path(__file__).parent), str(Path(__file__).parent.parent)]

import mitsuba_scenes as scenes
from mitsuba_table import compare, end
from test_benchmark_mitsuba import TILTED, Case

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

USUAL = {"resolution": 48, "times": 2}


def cases(stone: rl.Stone, **size: int) -> dict[str, Case]:
    """The two scenes of a stone, of a resolution and of so many times the samples."""
    return {
        "face-up": Case(stone, SHADED_SKY, View(), True, (16385, 4), **size),
        "tilted": Case(stone, SIDE_WINDOW, TILTED, True, (2049, 4096), **size),
    }


def broken(case: Case) -> dict[str, Case]:
    """The same with one thing wrong, on our side alone."""
    n = case.stone.material.n(scenes.WAVELENGTH_NM) * 2.40 / 2.417
    turned = case.stone.normals.copy()
    largest = int(np.argmax(case.stone.polyhedron.areas * (turned[:, 2] < -0.1)))  # of the pavilion
    turned[largest] += [0.0, 0.0, 0.01]
    other = case.stone.with_planes(turned / np.linalg.norm(turned, axis=1)[:, None], case.stone.distances_mm)
    return {
        "index 0.7 % too small": replace(case, stone=replace(case.stone, material=Material.constant(n))),
        "a plane turned": replace(case, stone=other),
    }


def main() -> None:
    """See the module."""
    given = sys.argv[1:]
    size = {key: int(given.pop(0)) if given and given[0].isdigit() else usual for key, usual in USUAL.items()}
    for name in given or STONES:
        for view, case in cases(STONES[name], **size).items():
            compare(f"{name}, {view}", case, broken(case))
    end()


if __name__ == "__main__":
    main()
