"""Makes the demo's two offered stones, invented stones of the invented Lantern Quay workshop, as facet tables and as scans:

    python scenes/stones/make_stones.py

Each is a round brilliant cut a little unevenly: every facet off by chance, and its pavilion set a little to one side of its
crown, culet and all. It is then "measured" twice. The facet table states the facets as a device would, rounded to 0.01
degrees and 0.0001 mm. The scan is a mesh of points in even directions, turned at random, each off by chance (`NOISE_MM`), in
mm: PLY states no unit, so read it with `--unit mm`. The seed is stated below, so the files come out the same again.
"""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from pathlib import Path

import numpy as np
import trimesh

import raylab as rl
from raylab.stone.facet_table import facet_table
from raylab.stone.offsets import Offset, deviate

HERE = Path(__file__).parent
SEED = 20
NOISE_MM = 0.002

OFFERS = {
    "offer-a": {"table_pct": 57.0, "crown_angle_deg": 34.4, "pavilion_angle_deg": 40.8, "diameter_mm": 6.47},
    "offer-b": {"table_pct": 59.5, "crown_angle_deg": 33.4, "pavilion_angle_deg": 41.2, "diameter_mm": 6.52},
}
UNEVEN = {"offer-a": rl.Uncertainty(0.10, 0.0, 3.0), "offer-b": rl.Uncertainty(0.25, 0.0, 5.0)}
"""How unevenly each is cut: tilts of facets in degrees, none shared, and steps in micrometres."""

ASIDE_MM = {"offer-a": (0.01, 0.0), "offer-b": (-0.03, 0.025)}
"""Where the pavilion stands against the crown."""


def true_stone(name: str, key: int) -> rl.Stone:
    """One offered stone as it really is, which nobody who measures it knows."""
    even = rl.round_brilliant(**OFFERS[name], girdle_pct=3.6, girdle_facets=64, name=f"{name} (invented)")
    below = [f for f, tier in enumerate(even.tiers) if tier in ("pavilion main", "lower half")]
    aside = {even.facet_name(f): Offset(depth_mm=-float(even.normals[f, :2] @ ASIDE_MM[name])) for f in below}
    return UNEVEN[name].drawn(deviate(even, aside), (SEED, key))


def table(stone: rl.Stone, maker: str) -> str:
    """The stone's facet table, its numbers rounded; `maker` says what made it."""
    lines = facet_table(stone).splitlines()
    said = [line for line in lines if line.startswith("#")]
    rows = list(csv.DictReader(line for line in lines if not line.startswith("#")))
    for row in rows:
        places = {"slope_deg": 2, "azimuth_deg": 2, "distance_mm": 4}
        row.update({column: f"{float(row[column]):.{digits}f}" for column, digits in places.items()})
    text = io.StringIO()
    writer = csv.DictWriter(text, rows[0].keys(), lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    origin = f"# Invented stone of the invented Lantern Quay workshop, made by scenes/stones/{maker}."
    return "\n".join([origin, *said, text.getvalue()])


def scan(stone: rl.Stone, key: int) -> bytes:
    """The stone as a mesh in mm: points in even directions, as a scanner would give them."""
    rng = np.random.default_rng((SEED, key, 1))
    ball = trimesh.creation.icosphere(subdivisions=5)
    reach = (ball.vertices @ stone.normals.T / stone.distances_mm).max(axis=1)
    points = ball.vertices / reach[:, None] + rng.normal(0.0, NOISE_MM, ball.vertices.shape)
    turn = trimesh.transformations.random_rotation_matrix(rng.random(3))[:3, :3]
    return bytes(trimesh.Trimesh(points @ turn.T, ball.faces, process=False).export(file_type="ply"))


def main() -> None:
    for key, name in enumerate(OFFERS):
        stone = true_stone(name, key)
        claimed = replace(stone, symmetry=rl.SymmetryGroup(8, 0.0))
        (HERE / f"{name}.csv").write_text(table(claimed, f"make_stones.py (seed {SEED}, {key})"), encoding="utf-8")
        (HERE / f"{name}.ply").write_bytes(scan(stone, key))


if __name__ == "__main__":
    main()
