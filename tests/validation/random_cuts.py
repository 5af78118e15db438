"""Stones of the shipped cuts at random proportions, and every check on many of them.

    python tests/validation/random_cuts.py 500 ["oval brilliant" ...]

traces so many stones of each cut (or of those named), each in two views, and prints for every check the largest deviation as a
multiple of what is allowed. The tests trace a few.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np

sys.path += [str(Path(__file__).parent), str(Path(__file__).parent.parent)]

from raylab.errors import StoneError
from raylab.scene.view import View
from raylab.stone.cuts import CUTS
from raylab.stone.cuts.cut import Cut
from raylab.stone.stone import Stone

MATERIALS = ("diamond", "sapphire", "quartz")


def random_stones(cut: Cut, count: int, key: int = 0) -> Iterator[Stone]:
    """Stones whose numbers are drawn evenly from the ranges of the page's sliders; those that are none are drawn again."""
    rng, made = np.random.default_rng([60, key, list(CUTS).index(cut.name)]), 0
    while made < count:
        given = {one.key: rng.uniform(one.slider.low, one.slider.high) for one in cut.parameters if one.slider is not None}
        whole = [one for one in cut.parameters if one.multiple and one.slider is not None]
        given |= {
            one.key: one.multiple * int(rng.integers(one.low / one.multiple, one.high / one.multiple + 1)) for one in whole
        }
        material = MATERIALS[int(rng.integers(len(MATERIALS)))]
        try:
            stone = cut.made(material=material, **{key: float(value) for key, value in given.items()})
        except StoneError:
            continue
        made += 1
        yield stone


def random_views(count: int, key: int = 0) -> list[View]:
    """Views that lean by up to 40 degrees, turned about the axis by any angle."""
    rng = np.random.default_rng([61, key])
    return [View(*numbers) for numbers in rng.uniform((0.0, 0.0, 0.0), (40.0, 360.0, 360.0), (count, 3)).tolist()]


def pairs_of(cut: Cut, count: int, key: int = 0) -> list[tuple[Stone, View]]:
    """Random stones of a cut, each with a view: the first as it lies, face-up."""
    views = [View(), *random_views(count - 1, key)]
    return list(zip(random_stones(cut, count, key), views, strict=True))


def main() -> None:
    import checks_beams as checks

    from raylab.tracers.exact.tracer import trace_beams

    count, names = int(sys.argv[1]), sys.argv[2:] or list(CUTS)
    print(f"{count} stones a cut; the largest deviation as a multiple of what is allowed")
    print(f"{'':24s} sums    reference  samples")
    for name in names:
        pairs = pairs_of(CUTS[name], count, key=1)
        sums = checks.sums_close(trace_beams, pairs)
        paths = checks.reference_through_points(trace_beams, pairs, points=2)
        samples = checks.samples_agree(trace_beams, pairs)
        print(f"{name:24s} {sums:6.3f}  {paths:6.3f}     {samples:6.3f}", flush=True)


if __name__ == "__main__":
    main()
