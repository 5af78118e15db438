"""Random convex polyhedra of random index, and the checks that ask the same of each of them.

    python tests/validation/random_polyhedra.py 10000

sends six rays through so many of them under an even sphere of light, by the packet tracer, and traces one in forty by beams in
four views. For each check it prints the largest deviation as a multiple of what is allowed. The tests take a few.
"""

from __future__ import annotations

import sys
from pathlib import Path

sys.path += [str(Path(__file__).parent), str(Path(__file__).parent.parent)]

import checks_beams
import checks_energy

from raylab.tracers.exact.tracer import trace_beams


def main() -> None:
    count = int(sys.argv[1])
    bodies = count // 40
    pairs = checks_beams.random_pairs(0, bodies, views=4)
    print(f"{count} bodies, even sphere of light: {checks_energy.furnace_of_many(count):.3f}", flush=True)
    found = checks_beams.reference_through_points(trace_beams, pairs, points=1, threads=1)
    print(f"{bodies} bodies in 4 views each, beams against the reference: {found:.3f}", flush=True)
    found = checks_beams.sums_close(trace_beams, pairs, threads=1)
    print(f"{bodies} bodies in 4 views each, areas and ledger add up: {found:.3f}")


if __name__ == "__main__":
    main()
