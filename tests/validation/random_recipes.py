"""Stones of the shipped cuts at random proportions, each written as a recipe and read back.

    python tests/validation/random_recipes.py 100 ["oval brilliant" ...]

prints for each cut (or those named) the largest difference of a plane, as a unit normal and in mm, in how many recipes a tier
that slopes is known by its planes alone, and the stones that no recipe gives back. The tests write one stone of each cut.
"""

from __future__ import annotations

import sys
import tempfile
import tomllib
from pathlib import Path

import numpy as np

sys.path += [str(Path(__file__).parent)]

from random_cuts import random_stones

import raylab as rl
from raylab.stone.cuts import CUTS


def apart(one: rl.Stone, other: rl.Stone) -> float:
    """How far each plane lies from the nearest one of its tier on the other stone; infinite where tiers differ in number."""
    if sorted(one.tiers) != sorted(other.tiers):
        return np.inf
    worst = 0.0
    for tier in set(one.tiers):
        a, b = one.facets_of(tier), other.facets_of(tier)
        normals = np.abs(one.normals[a][:, None] - other.normals[b][None]).max(axis=2)
        far = np.maximum(normals, np.abs(one.distances_mm[a][:, None] - other.distances_mm[b][None]))
        worst = max(worst, float(far.min(axis=1).max()), float(far.min(axis=0).max()))
    return worst


def main() -> None:
    count, names = int(sys.argv[1]), sys.argv[2:] or list(CUTS)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "one.toml"
        for name in names:
            worst, planes, shapes, refused = 0.0, 0, set(), []
            for stone in random_stones(CUTS[name], count):
                try:
                    rl.save_stone(stone, path, force=True)
                    worst = max(worst, apart(stone, rl.load_stone(path)))
                except rl.InputError as error:
                    refused.append(str(error))
                    continue
                stated = tomllib.loads(path.read_text(encoding="utf-8"))["stone"]
                planes += any("distance_mm" in entry and entry["slope_deg"] > 0.0 for entry in stated["tier"])
                shapes.add(stated["outline"]["shape"])
            print(f"{name}: {count} stones, {', '.join(sorted(shapes))}; off by {worst:.1e}; {planes} with planes alone; "
                  f"{len(refused)} refused {refused[:2] or ''}", flush=True)  # fmt: skip


if __name__ == "__main__":
    main()
