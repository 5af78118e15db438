"""The field of visibility against tracing a speck, at random places in five cuts; run by hand, not by pytest.

    python tests/validation/specks_by_field.py --places 40
    python tests/validation/specks_by_field.py --places 40 --only pear --field-rays 500000 --rays 192000 --batches 32
    python tests/validation/specks_by_field.py --places 40 --again --rays 96000 --batches 32

At each place it takes what an opaque sphere would take by the field (in fine voxels about the place) and by tracing the stone
with the sphere and without it, and prints how the differences lie against both standard errors. With seven degrees of freedom
on each side, the root mean square of the ratio is up to sqrt(7/5) = 1.18 where the errors are all that differs; with B batches
of rays and a field of far smaller error, sqrt((B - 1)/(B - 3)). Few of the rays meet the sphere, so eight batches know their
own error badly, and ratios scatter with long tails: more rays and more batches tell whether the field or the error is off.

With `--again` it prints instead how much of what the field counts meets the sphere a second time, and so is not there to be
taken: the same rays are traced with the opaque sphere and with a nearly clear one, whose loss goes by every meeting.
"""

from __future__ import annotations

import argparse
import sys
import time
from dataclasses import replace
from pathlib import Path

import numpy as np

sys.path += [str(Path(__file__).parent), str(Path(__file__).parent.parent)]

from checks_visibility import extent, places_in, predicted, traced

import raylab as rl
from raylab.tracers.ledger import INCLUDED
from raylab.tracers.sampled.view_rays import sample_points

SCENES = Path(__file__).parents[2] / "scenes"
CUTS = (
    "well-proportioned.toml",
    *(f"stones/{name}" for name in ("pear.csv", "princess.csv", "cushion.csv", "uneven-pentagon.toml")),
)


NEARLY_CLEAR = 0.99


def main() -> None:
    """See the module."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--places", type=int, default=40)
    parser.add_argument("--rays", type=int, default=48_000, help="traced with the sphere and without it")
    parser.add_argument("--batches", type=int, default=8, help="of these rays")
    parser.add_argument("--field-rays", type=int, default=48_000)
    parser.add_argument("--only", default="", help="the cuts in whose file names this stands")
    parser.add_argument("--radius-mm", type=float, default=0.06)
    parser.add_argument("--again", action="store_true", help="only how much light meets the sphere again")
    given = parser.parse_args()
    everything, begun = [], time.process_time()
    for number, name in enumerate(CUTS):
        if given.only not in name:
            continue
        file = SCENES / name
        stone = rl.load_scene(file).stone if number == 0 else rl.load_stone(file)
        scene = rl.Scene(stone, "head-shadow")
        places = places_in(scene.stone, given.places, given.radius_mm, np.random.default_rng([63, number]))
        if given.again:
            _say_again(scene, places, given, 1000 * number)
            continue
        ratios, sizes = [], []
        for key, middle in enumerate(places):
            by_field, one = predicted(scene, middle, given.radius_mm, given.field_rays)
            by_rays, other = traced(scene, middle, given.radius_mm, given.rays, 1000 * number + key, given.batches)
            ratios.append((by_field - by_rays) / np.hypot(one, other))
            sizes.append(np.hypot(one, other) / by_rays)
        everything += ratios
        _say(stone.name, np.array(ratios), np.array(sizes))
    if everything:
        _say("all", np.array(everything), np.array(sizes))
    print(f"{time.process_time() - begun:.0f} s")


def _say_again(scene: rl.Scene, places: np.ndarray, given: argparse.Namespace, first_key: int) -> None:
    low, high = (f(extent(scene.stone, scene.view), axis=0) for f in (np.min, np.max))
    taken = np.empty((len(places), given.batches, 2))  # of each batch of rays: by the opaque sphere, and by all meetings
    for key, middle in enumerate(places):
        rng = np.random.default_rng([61, first_key + key])
        for batch in range(given.batches):
            points = rng.uniform(low, high, (given.rays // given.batches, 2))
            for k, clear in enumerate((0.0, NEARLY_CLEAR)):
                sphere = rl.Inclusion.sphere(middle, given.radius_mm, transmittance=clear)
                rows, hit = sample_points(points, replace(scene, stone=scene.stone.with_inclusions(sphere)), 589.3)
                taken[key, batch, k] = rows[hit, INCLUDED].mean() / (1.0 - clear)
    again = taken[..., 1] - taken[..., 0]
    unit, error = taken[..., 0].mean(axis=1).sum(), again.std(axis=1, ddof=1) / np.sqrt(given.batches)
    shift = (again.mean(axis=1) / (taken[..., 0].std(axis=1, ddof=1) / np.sqrt(given.batches))).mean()
    print(
        f"{scene.stone.name}: over {len(places)} places {100 * again.mean(axis=1).sum() / unit:.2f} +-"
        f" {100 * np.sqrt((error**2).sum()) / unit:.2f} % of what is taken is met again; {shift:.2f} standard errors (mean)",
        flush=True,
    )


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
