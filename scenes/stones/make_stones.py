"""Makes the two offered stones of the demo: invented stones of the invented Lantern Quay workshop.

    python scenes/stones/make_stones.py

Each is a round brilliant cut a little unevenly (every facet off by chance, the seed stated below) and then "measured": its
facets are written out as a measuring device would tell them, rounded to 0.01 degrees and 0.0001 mm.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

import raylab as rl
from raylab.stone.plane_errors import Uncertainty

HERE = Path(__file__).parent
SEED = 20

OFFERS = {
    "offer-a": {
        "table_pct": 57.0,
        "crown_angle_deg": 34.4,
        "pavilion_angle_deg": 40.8,
        "lower_half_pct": 77.0,
        "diameter_mm": 6.47,
    },
    "offer-b": {
        "table_pct": 59.5,
        "crown_angle_deg": 33.4,
        "pavilion_angle_deg": 41.2,
        "lower_half_pct": 80.0,
        "diameter_mm": 6.52,
    },
}
UNEVEN = {"offer-a": Uncertainty(0.10, 0.0, 3.0), "offer-b": Uncertainty(0.25, 0.0, 5.0)}
"""How unevenly each is cut: tilts of facets in degrees, none shared, and steps in micrometres."""


def table_of_facets(name: str, key: int) -> str:
    """One offered stone as CSV."""
    stone = UNEVEN[name].drawn(rl.round_brilliant(**OFFERS[name], girdle_pct=3.6), (SEED, key))
    lines = [
        f"# Invented: {name} of the invented Lantern Quay workshop, made by scenes/stones/make_stones.py (seed {SEED}, {key}).",
        "# A round brilliant cut a little unevenly, as a measuring device would tell it.",
        "# slope_deg: of the normal from straight up; azimuth_deg: counter-clockwise from +x; distance_mm: from the origin",
        "facet,tier,slope_deg,azimuth_deg,distance_mm",
    ]
    slope = np.degrees(np.arctan2(np.hypot(stone.normals[:, 0], stone.normals[:, 1]), stone.normals[:, 2]))
    for f, (tier, index) in enumerate(zip(stone.tiers, stone.indices, strict=True)):
        lines.append(f"{index},{tier},{slope[f]:.2f},{stone.azimuth_deg()[f]:.2f},{stone.distances_mm[f]:.4f}")
    return "\n".join(lines) + "\n"


def main() -> None:
    for key, name in enumerate(OFFERS):
        (HERE / f"{name}.csv").write_text(table_of_facets(name, key), encoding="utf-8")


if __name__ == "__main__":
    main()
