"""Makes the demo's stones of other cuts, invented stones of the invented Lantern Quay workshop:

    python scenes/stones/make_other_cuts.py

A pear, a cushion and a princess cut as facet tables, an oval and an emerald cut as scans, and a cushion that is blocked. Each
is cut a little unevenly: every facet is off by chance. A facet table states the facets as a device would, rounded to 0.01
degrees and 0.0001 mm. A scan is a mesh of points in mm, each off by chance (`NOISE_MM`), turned at random; PLY states no unit,
so read it with `--unit mm`. The blocked cushion has table, mains and girdle alone; one corner of its pavilion is 0.4 degrees
too steep. The seed is stated below, so the files come out the same again.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import trimesh
from make_blocked import BLOCKED
from make_blocked import UNEVEN as CAREFUL
from make_stones import table
from scipy.spatial import ConvexHull

import raylab as rl
from raylab.stone.offsets import Offset, deviate

HERE = Path(__file__).parent
SEED = 31
POINTS, NOISE_MM = 6000, 0.0015
UNEVEN = rl.Uncertainty(0.10, 0.0, 3.0)
"""How unevenly each is cut: tilts of facets in degrees, none shared, and steps in micrometres."""

TABLES = {
    "pear": rl.pear_brilliant(table_pct=58, length_ratio=1.55, girdle_pct=4.5, girdle_facets=48, width_mm=5.2),
    "cushion": rl.cushion_brilliant(
        table_pct=60,
        crown_angle_deg=35.5,
        pavilion_angle_deg=41.2,
        girdle_pct=4,
        girdle_facets=48,
        length_ratio=1.15,
        width_mm=5.6,
    ),
    "princess": rl.princess_cut(table_pct=68, pavilion_angle_deg=59, length_ratio=1.04, width_mm=5.3),
}
SCANS = {
    "oval": rl.oval_brilliant(table_pct=58, length_ratio=1.42, girdle_pct=4.5, girdle_facets=32, width_mm=5.6),
    "emerald": rl.emerald_cut(table_pct=62, length_ratio=1.35, crown_steps=2, pavilion_steps=2, corner_pct=18, width_mm=5.2),
}
HALF_DONE = rl.cushion_brilliant(table_pct=59, girdle_pct=4.2, girdle_facets=48, length_ratio=1.12, width_mm=6.1)
TOO_STEEP = {"pavilion main 3": Offset(slope_deg=0.4)}


def cut_unevenly(stone: rl.Stone, name: str, key: int, uneven: rl.Uncertainty = UNEVEN) -> rl.Stone:
    """The stone as it really is."""
    return replace(uneven.drawn(stone, (SEED, key)), name=f"{name} (invented)")


def scan(stone: rl.Stone, key: int) -> bytes:
    """The stone as a mesh in mm: points in directions that are even for a ball stretched to its size."""
    rng = np.random.default_rng((SEED, key, 1))
    step = np.arange(POINTS) + 0.5
    height, around = 1.0 - 2.0 * step / POINTS, np.pi * (1.0 + 5.0**0.5) * step  # a spiral of golden angles
    level = np.sqrt(1.0 - height**2)
    ball = np.column_stack([level * np.cos(around), level * np.sin(around), height])
    mesh = trimesh.Trimesh(ball, ConvexHull(ball).simplices, process=False)
    mesh.fix_normals()
    points = ball * stone.size_mm
    points /= (points @ stone.normals.T / stone.distances_mm).max(axis=1)[:, None]
    points += rng.normal(0.0, NOISE_MM, points.shape)
    turn = trimesh.transformations.random_rotation_matrix(rng.random(3))[:3, :3]
    return bytes(trimesh.Trimesh(points @ turn.T, mesh.faces, process=False).export(file_type="ply"))


def blocked(whole: rl.Stone) -> rl.Stone:
    """The same without stars and halves, and with a rough girdle."""
    keep = [f for f, tier in enumerate(whole.tiers) if tier in BLOCKED]
    return rl.Stone.from_planes(
        whole.normals[keep],
        whole.distances_mm[keep],
        tiers=[whole.tiers[f] for f in keep],
        indices=[whole.indices[f] for f in keep],
        finishes=["absorbing" if whole.tiers[f] == "girdle" else "polished" for f in keep],
        cut=whole.cut,
        symmetry=whole.symmetry,
    )


def main() -> None:
    made = {name: cut_unevenly(even, name, key) for key, (name, even) in enumerate({**TABLES, **SCANS}.items())}
    half_done = cut_unevenly(deviate(blocked(HALF_DONE), TOO_STEEP), "blocked cushion", len(made), CAREFUL)
    for name, stone in {**{name: made[name] for name in TABLES}, "blocked-cushion": half_done}.items():
        claimed = replace(stone, symmetry=HALF_DONE.symmetry if name not in TABLES else TABLES[name].symmetry)
        (HERE / f"{name}.csv").write_text(table(claimed, f"make_other_cuts.py (seed {SEED})"), encoding="utf-8")
    for key, name in enumerate(SCANS):
        (HERE / f"{name}.ply").write_bytes(scan(made[name], key))


if __name__ == "__main__":
    main()
