"""Whole images of stones with Lambertian and rough facets against mitsuba, pixel by pixel.

    python tests/validation/mitsuba_finishes.py [PIXELS]

The method is that of `test_benchmark_mitsuba`; `mitsuba_table` says what is printed and when the command ends with an error.
mitsuba's `diffuse`, on both sides, stands for Lambertian facets; its `roughdielectric` with the distribution `ggx` for
rough ones, whose single scattering loses the same light as ours. Its rough surfaces carry no polarization, so the images are
unpolarized. In the last scene the comparison must notice another roughness and another albedo.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

sys.path += [str(Path(__file__).parent), str(Path(__file__).parent.parent)]

import mitsuba_scenes as scenes
from mitsuba_cuts import SHADED_SKY, SIDE_WINDOW
from mitsuba_table import compare, end
from test_benchmark_mitsuba import OVERCAST, TILTED, Case

import raylab as rl
from raylab.scene.view import View

BRILLIANT = rl.round_brilliant(table_pct=57, crown_angle_deg=34.5, pavilion_angle_deg=40.75, girdle_pct=8)
LUMP = scenes.random_stone(1, 1.54)
EVERY_OTHER = {LUMP.facet_name(f): ("rough 0.3", "polished", "lambertian 0.7", "polished")[f % 4] for f in range(len(LUMP))}


def cases(pixels: int) -> dict[str, Case]:
    """The scenes, by name."""
    level, leaning = (SHADED_SKY, View(), False, (16385, 4)), (SIDE_WINDOW, TILTED, False, (2049, 4096))
    made = {
        "diffuse girdle, face-up": Case(BRILLIANT.with_finishes({"girdle": "lambertian 0.8"}), *level),
        "diffuse girdle, tilted": Case(BRILLIANT.with_finishes({"girdle": "lambertian 0.8"}), *leaning),
        "rough girdle, tilted": Case(BRILLIANT.with_finishes({"girdle": "rough 0.3"}), *leaning),
        "rough pavilion mains, face-up": Case(BRILLIANT.with_finishes({"pavilion main": "rough 0.15"}), *level),
        "rough table, tilted": Case(BRILLIANT.with_finishes({"table": "rough 0.5"}), *leaning),
        "irregular, n 1.54, all finishes": Case(LUMP.with_finishes(EVERY_OTHER), OVERCAST, View(), False, (16385, 4)),
    }
    return {name: replace(case, resolution=pixels) for name, case in made.items()}


def broken(case: Case) -> dict[str, Case]:
    """The same with one finish wrong, on our side alone."""
    return {
        f"{right} taken for {wrong}": replace(case, stone=_otherwise(case.stone, right, wrong))
        for right, wrong in {"rough 0.3": "rough 0.4", "lambertian 0.7": "lambertian 0.6"}.items()
    }


def _otherwise(stone: rl.Stone, right: str, wrong: str) -> rl.Stone:
    return stone.with_finishes({stone.facet_name(f): wrong for f, one in enumerate(stone.finishes) if str(one) == right})


def main() -> None:
    found = cases(int(sys.argv[1]) if len(sys.argv) > 1 else 24)
    for name, case in found.items():
        compare(name, case, broken(case) if case.stone.name == LUMP.name else {})
    end()


if __name__ == "__main__":
    main()
