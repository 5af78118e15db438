"""The field of visibility against tracing a speck, at random places in five cuts; run by hand, not by pytest.

    python tests/validation/specks_by_field.py --places 40
    python tests/validation/specks_by_field.py --places 40 --only pear --field-rays 500000 --rays 192000 --batches 32

At each place it takes what an opaque sphere would take by the field (in fine voxels about the place) and by tracing the stone
with the sphere and without it, and prints how the differences lie against both standard errors. With seven degrees of freedom
on each side, the root mean square of the ratio is up to sqrt(7/5) = 1.18 where the errors are all that differs; with B batches
of rays and a field of far smaller error, sqrt((B - 1)/(B - 3)). Few of the rays meet the sphere, so eight batches know their
own error badly, and ratios scatter with long tails: more rays and more batches tell whether the field or the error is off.
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

import numpy as np

sys.path += [str(Path(__file__).parent), str(Path(__file__).parent.parent)]

from checks_visibility import places_in, predicted, traced

import raylab as rl

SCENES = Path(__file__).parents[2] / "scenes"
CUTS = (
    "well-proportioned.toml",
    *(f"stones/{name}" for name in ("pear.csv", "princess.csv", "cushion.csv", "uneven-pentagon.toml")),
)


def main() -> None:
    """See the module."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--places", type=int, default=40)
    parser.add_argument("--rays", type=int, default=48_000, help="traced with the sphere and without it")
    parser.add_argument("--batches", type=int, default=8, help="of these rays")
    parser.add_argument("--field-rays", type=int, default=48_000)
    parser.add_argument("--only", default="", help="the cuts in whose file names this stands")
    parser.add_argument("--radius-mm", type=float, default=0.06)
    given = parser.parse_args()
    everything, begun = [], time.process_time()
    for number, name in enumerate(CUTS):
        if given.only not in name:
            continue
        file = SCENES / name
        stone = rl.load_scene(file).stone if number == 0 else rl.load_stone(file)
        scene = rl.Scene(stone, "head-shadow")
        places = places_in(scene.stone, given.places, given.radius_mm, np.random.default_rng([63, number]))
        ratios, sizes = [], []
        for key, middle in enumerate(places):
            by_field, one = predicted(scene, middle, given.radius_mm, given.field_rays)
            by_rays, other = traced(scene, middle, given.radius_mm, given.rays, 1000 * number + key, given.batches)
            ratios.append((by_field - by_rays) / np.hypot(one, other))
            sizes.append(np.hypot(one, other) / by_rays)
        everything += ratios
        _say(stone.name, np.array(ratios), np.array(sizes))
    _say("all", np.array(everything), np.array(sizes))
    print(f"{time.process_time() - begun:.0f} s")


def _say(name: str, ratios: np.ndarray, sizes: np.ndarray) -> None:
    for k, what in enumerate(("taken", "lost")):
        one = ratios[:, k]
        print(
            f"{name}, {what}: {len(one)} places, error {100 * np.median(sizes[:, k]):.1f} %; difference over error: mean "
            f"{one.mean():+.2f}, root mean square {np.sqrt((one**2).mean()):.2f}, largest {np.abs(one).max():.1f}",
            flush=True,
        )


if __name__ == "__main__":
    main()
