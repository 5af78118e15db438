"""Sampled engine against the reference tracer on many random stones with random inclusions; run by hand, not by pytest.

    python tests/validation/random_inclusions.py --stones 60

For each stone it traces rays from all sides by both, and prints the largest difference of any number of any ray, the largest
distance of the ledger's sum from 1, and how many rays met an inclusion.
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

import numpy as np

sys.path += [str(Path(__file__).parent), str(Path(__file__).parent.parent)]

from both_tracers import ENTRIES, RICH, by_rays, by_reference, on_threads
from checks_inclusions import cut_off, some_inclusions
from polyhedra import random_polyhedron, random_rays

from raylab.tracers import ledger


def main() -> None:
    """See the module."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--stones", type=int, default=60)
    parser.add_argument("--rays", type=int, default=20)
    given = parser.parse_args()
    apart = open_ = 0.0
    met = total = differ = 0
    begun = time.process_time()
    for key in range(given.stones):
        plain = random_polyhedron(
            key, n=1.3 + 0.02 * (key % 60), absorption_per_mm=0.3 * (key % 3), absorbing_share=0.1 * (key % 2)
        )
        stone = cut_off(key) if key % 10 == 9 else some_inclusions(plain, key)
        rays, rules = random_rays(stone, given.rays, key), {"polarized": key % 4 != 0, "min_weight": 1e-3}
        slow = by_reference(stone, *rays, RICH, **rules)
        with on_threads(1):
            fast = by_rays(stone, *rays, RICH, **rules)
        off = np.abs(fast - slow).max(axis=1)
        differ += int((~(off <= 1e-10)).sum())
        apart = np.maximum(apart, off.max())  # which keeps a number that is none
        open_ = np.maximum(open_, np.abs(fast[:, ENTRIES].sum(axis=1) - 1.0).max())
        met, total = met + int((fast[:, ledger.INCLUDED] > 0.0).sum()), total + given.rays
    print(f"{given.stones} stones, {total} rays, {met} met an inclusion; {time.process_time() - begun:.0f} s")
    print(f"largest difference {apart:.1e} ({differ} rays above 1e-10); ledger open by at most {open_:.1e}")


if __name__ == "__main__":
    main()
