"""Makes the blocked stone of the demo: an invented stone of the invented Lantern Quay workshop, half finished.

    python scenes/stones/make_blocked.py

Table, crown mains and pavilion mains are polished, a little unevenly (by chance, the seed stated below), and one pavilion main
is 0.4 degrees too steep. Then the stone is "measured": slopes and azimuths to 0.01 degrees, distances to 0.0001 mm. The
girdle is rounded and rough.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

import raylab as rl
from raylab.stone.measuring.plane_uncertainty import Uncertainty
from raylab.stone.offsets import Offset, deviate

HERE = Path(__file__).parent
SEED = 7
UNEVEN = Uncertainty(0.04, 0.0, 2.0)
"""How unevenly it is cut: tilts of facets in degrees, none shared, and steps in micrometres."""

BLOCKED = ("table", "crown main", "girdle", "pavilion main")


def blocked() -> rl.Stone:
    """The blocked stone before it is measured: that of a round brilliant, without stars and halves."""
    whole = rl.round_brilliant(table_pct=57, crown_angle_deg=34.4, pavilion_angle_deg=40.8, girdle_pct=3.6, diameter_mm=6.46)
    keep = [f for f, tier in enumerate(whole.tiers) if tier in BLOCKED]
    even = rl.Stone.from_planes(
        whole.normals[keep],
        whole.distances_mm[keep],
        tiers=[whole.tiers[f] for f in keep],
        indices=[whole.indices[f] for f in keep],
        symmetry=rl.SymmetryGroup(8, 0.0),
    )
    return deviate(UNEVEN.drawn(even, (SEED,)), {"pavilion main 5": Offset(slope_deg=0.4)})


def table_of_facets() -> str:
    """The blocked stone as CSV."""
    stone = blocked()
    lines = [
        f"# Invented: a blocked stone of the invented Lantern Quay workshop; see scenes/stones/make_blocked.py (seed {SEED}).",
        "# Table and mains polished and measured, girdle rounded and rough, stars and halves still to come.",
        "# unit: mm",
        "# cut: round brilliant",
        "# material: diamond",
        "# finish: girdle = absorbing",
        "# symmetry: 8, mirror 0",
        "# name: W-7, blocked (invented)",
        "facet,tier,side,slope_deg,azimuth_deg,distance_mm",
    ]
    sides = np.where(stone.normals[:, 2] < -1e-9, "down", "up")
    slope = np.round(np.degrees(np.arctan2(np.hypot(*stone.normals[:, :2].T), np.abs(stone.normals[:, 2]))), 2)
    for f, (tier, index) in enumerate(zip(stone.tiers, stone.indices, strict=True)):
        angles = f"{slope[f]:.2f},{stone.azimuth_deg()[f] % 360:.2f}"
        lines.append(f"{index},{tier},{sides[f]},{angles},{stone.distances_mm[f]:.4f}")
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    (HERE / "blocked.csv").write_text(table_of_facets(), encoding="utf-8")
