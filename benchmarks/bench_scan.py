"""Scans: are all facets of known stones found, how far off are they in their own errors, and what does a large scan cost?

    python benchmarks/bench_scan.py [STONES]
    python benchmarks/bench_scan.py large [oval]

The first form makes random brilliants (200 by default), scans each with noise of 0.5 to 5 um and compares every facet with
the truth; the second times `load_scan` on a binary STL of a million triangles in a process of its own, by the clock and by
processor time, and tells the most memory that it took; an oval's girdle is sought flat by flat. Kernels are compiled before the
clock runs. Other cuts: tests/validation/scanned_cuts.py.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import trimesh

import raylab as rl

ROOT = Path(__file__).parents[1]
sys.path.insert(0, str(ROOT / "tests"))
import scanned  # noqa: E402

SEED = 4


def recovery(stones: int) -> None:
    """Facets missed, found beyond, and errors of slope in standard errors, over random brilliants."""
    missed = beyond = sparse = 0
    pulls: list[float] = []
    refused: list[str] = []
    start = time.perf_counter()
    for k in range(stones):
        rng = np.random.default_rng([SEED, k])
        stone = scanned.random_brilliant(rng)
        vertices, triangles = scanned.sampled(stone, 5, rng) if k % 2 else scanned.tessellated(stone, 3)
        vertices = scanned.noisy(vertices, rng.uniform(0.0005, 0.005), rng)
        turn = scanned.random_rotation(rng)
        try:
            scan = rl.stone_from_mesh(vertices @ turn.T + rng.normal(size=3), rng.permutation(triangles))
        except rl.InputError as error:
            refused.append(f"{k}: {error}")
            continue
        found = scanned.agreement(scan, stone)
        lacking = set(found.missing) & scanned.well_sampled(stone, vertices)
        sparse += len(found.missing) - len(lacking)
        missed += len(lacking)
        beyond += len(found.beyond)
        pulls += found.pulls.values()
        if lacking or found.beyond or max(map(abs, found.pulls.values())) > 4.0:
            worst = max(found.pulls.items(), key=lambda pull: abs(pull[1]))
            print(f"stone {k}: missed {sorted(lacking)}, beyond {found.beyond}, worst {worst[0]} {worst[1]:.2f}")
    away = np.abs(pulls)
    print(f"{stones} brilliants in {time.perf_counter() - start:.0f} s; refused: {refused or 'none'}")
    print(f"facets compared {len(pulls)}; missed {missed}, beyond {beyond}; fewer than 10 points and not found {sparse}")
    rms, beyond_4 = np.sqrt(np.mean(away**2)), (away > 4.0).sum()
    print(f"slope errors in standard errors: rms {rms:.3f}, largest {away.max():.2f}, {beyond_4} beyond 4")


def large(oval: bool) -> None:
    """Time and memory of a scan of a million triangles of a brilliant or of an oval."""
    rng = np.random.default_rng(SEED)
    stone = rl.oval_brilliant(table_pct=57.0, length_ratio=1.6, width_mm=6.5) if oval else scanned.brilliant()
    ball = trimesh.creation.uv_sphere(count=(502, 502))
    out = ball.vertices @ scanned.random_rotation(rng).T
    vertices, triangles = out / (out @ stone.normals.T / stone.distances_mm).max(axis=1)[:, None], ball.faces
    vertices = scanned.noisy(vertices, 0.002, rng)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "large.stl"
        path.write_bytes(trimesh.Trimesh(vertices, triangles, process=False).export(file_type="stl"))
        del vertices, triangles
        small = scanned.sampled(stone, 5, rng)
        rl.stone_from_mesh(scanned.noisy(small[0], 0.002, rng), small[1])  # compiles
        subprocess.run([sys.executable, __file__, "one", str(path)], check=True)


def one(path: str) -> None:
    start, used = time.perf_counter(), time.process_time()
    scan = rl.load_scan(path, unit="mm")
    took, used = time.perf_counter() - start, time.process_time() - used
    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
    print(f"{scan.report.triangles} triangles: {took:.1f} s, processor time {used:.1f} s, most memory {most:.0f} MiB")
    print(f"{len(scan.stone)} facets, girdle: {scan.report.girdle}")
    print(f"noise {scan.report.noise_um:.3f} um of 2, explained {scan.report.explained_pct:.2f} %")


if __name__ == "__main__":
    if sys.argv[1:2] == ["one"]:
        one(sys.argv[2])
    elif sys.argv[1:2] == ["large"]:
        large("oval" in sys.argv[2:])
    else:
        recovery(int(sys.argv[1]) if len(sys.argv) > 1 else 200)
