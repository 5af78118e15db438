"""Whole images of stones with opaque spheres inside against mitsuba, pixel by pixel, polarised.

    python tests/validation/mitsuba_inclusions.py [PIXELS]

The method is that of `test_benchmark_mitsuba`; `mitsuba_table` says what is printed and when the command ends with an error.
In mitsuba an inclusion is a surface that reflects nothing. The comparison must notice a stone without its inclusions, spheres a
tenth too large, and one moved by a tenth of a millimetre.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

sys.path += [str(Path(__file__).parent), str(Path(__file__).parent.parent)]

import mitsuba_scenes as scenes
from mitsuba_cuts import SHADED_SKY, SIDE_WINDOW
from mitsuba_table import compare, end
from test_benchmark_mitsuba import BRILLIANT, TILTED, Case

from raylab.scene.view import View
from raylab.stone.inclusions.inclusion import Inclusion
from raylab.stone.stone import Stone

SPOTS = [((0.5, 0.25, 0.1), 0.3), ((-0.9, 0.3, -0.6), 0.25)]


def spotted(stone: Stone, grown: float = 1.0, moved_mm: float = 0.0) -> Stone:
    """The stone with two black spheres, one of them moved along x."""
    (x, y, z), radius = SPOTS[0]
    first = Inclusion.sphere((x + moved_mm, y, z), grown * radius)
    return stone.with_inclusions([first, Inclusion.sphere(SPOTS[1][0], grown * SPOTS[1][1])])


def main() -> None:
    """See the module."""
    pixels = int(sys.argv[1]) if len(sys.argv) > 1 else 24
    cases = {
        "brilliant, face-up": Case(spotted(BRILLIANT), SHADED_SKY, View(), True, (16385, 4), resolution=pixels),
        "irregular, tilted": Case(
            spotted(scenes.random_stone(3, 2.0)), SIDE_WINDOW, TILTED, True, (2049, 4096), resolution=pixels
        ),
    }
    for name, case in cases.items():
        stones = {
            "without inclusions": case.stone.with_inclusions(()),
            "a tenth too large": spotted(case.stone, grown=1.1),
            "one moved by 0.1 mm": spotted(case.stone, moved_mm=0.1),
        }
        compare(name, case, {mistake: replace(case, stone=stone) for mistake, stone in stones.items()})
    end()


if __name__ == "__main__":
    main()
