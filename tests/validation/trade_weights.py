"""The trade's rules that estimate a stone's weight from length, width and depth, against the weights of the shipped cuts.

    python tests/validation/trade_weights.py

prints how far each cut is from its rule, at the proportions below and at several ratios of length to width. The rules are those
of diamond (density 3.52): weight in ct = length x width x depth in mm x a factor, which for some cuts depends on the ratio. An
oval's rule takes the square of the mean of length and width, a tapered baguette's the mean of its two ends as its width.

**Every factor is from memory**, as jewellers' handbooks and trade schools give it, without a source at hand; appraisers expect
such an estimate to be within 5 to 10 % of the weight. For the hexagonal step cut and the rose cut no factor is remembered.

**The cushion's factor has a range.** It is nearly that of a square, and a square is what it fits: outlines that fill 0.94 of
length x width, or rounder ones over a pavilion that bulges. The default cushion's outline fills 0.88 and its pavilion falls
straight to the point, so it is 16 % lighter than the rule: 6 % by the outline and 10 % by the pavilion. For such stones the
rule is no estimate; `IN_RANGE` are stones that it is for. That this is the factor's range is our conclusion from volumes.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

import raylab as rl
from raylab.plane_geometry import unit_vector
from raylab.stone.cuts import CUTS

SHARE = 0.10
"""How far a rule may be off."""

Factor = float | dict[float, float]
"""One for every ratio, or by the ratio of length to width; between two ratios, in proportion."""

FACTORS: dict[str, Factor] = {
    "round brilliant": 0.0061,
    "single cut": 0.0061,
    "old European cut": 0.0061,
    "oval brilliant": 0.0062,
    "pear brilliant": {1.25: 0.00615, 1.5: 0.0060, 1.66: 0.0059, 2.0: 0.00575},
    "marquise brilliant": {1.5: 0.00565, 2.0: 0.0058, 2.5: 0.00585, 3.0: 0.00595},
    "cushion brilliant": 0.0082,
    "triangular brilliant": 0.0057,
    "princess cut": 0.0083,
    "cut-cornered brilliant": 0.0081,
    "emerald cut": {1.0: 0.0080, 1.5: 0.0092, 2.0: 0.0100, 2.5: 0.0106},
    "square emerald cut": 0.0080,
    "baguette": 0.00915,
    "tapered baguette": 0.00915,
}
"""By cut; that of single and old European cuts is the round brilliant's."""

STATED: dict[str, dict[str, float]] = {
    "round brilliant": {"table_pct": 57.0, "crown_angle_deg": 34.5, "pavilion_angle_deg": 40.75},
    "single cut": {"table_pct": 60.0, "crown_angle_deg": 34.5, "pavilion_angle_deg": 40.75},
    "old European cut": {"crown_angle_deg": 37.0, "pavilion_angle_deg": 41.0},
    **{name: {"table_pct": 57.0, "girdle_pct": 4.5} for name in ("pear brilliant", "marquise brilliant")},
    "princess cut": {"table_pct": 68.0},
    "cut-cornered brilliant": {"table_pct": 66.0},
    **{name: {"table_pct": 62.0} for name in ("emerald cut", "square emerald cut", "baguette", "tapered baguette")},
}
"""Proportions that a cut doesn't give by default; of others the table has 57 %. Points need a girdle that is not too thin."""


def stone_of(cut: str, **more: Any) -> rl.Stone:
    """A diamond of a cut at its usual proportions."""
    return rl.cut(cut, **STATED.get(cut, {"table_pct": 57.0}), **more)


def bulging(stone: rl.Stone, steep_deg: float, flat_deg: float, share: float) -> rl.Stone:
    """The same crown and girdle over two rings of 32 facets: steep from the girdle in by a `share` of the way, then flat."""
    kept = (stone.normals[:, 2] >= 0.0) | stone.on_girdle
    rim = min(float(stone.vertices_mm[stone.polyhedron.loops[f], 2].min()) for f in np.flatnonzero(stone.on_girdle))
    normals, distances = [*stone.normals[kept]], [*stone.distances_mm[kept]]
    for azimuth_deg in np.arange(32) * 360.0 / 32:
        out = unit_vector(azimuth_deg)
        far = float((stone.outline_mm @ out).max())
        for slope_deg, inward in ((steep_deg, 0.0), (flat_deg, share * far)):
            sine, cosine = math.sin(math.radians(slope_deg)), math.cos(math.radians(slope_deg))
            normals.append(np.array([*(sine * out), -cosine]))
            distances.append(sine * (far - inward) - cosine * (rim - inward * math.tan(math.radians(steep_deg))))
    return rl.Stone.from_planes(normals, distances, redundant="drop", cut=stone.cut)


def cushions() -> list[rl.Stone]:
    """Cushions that the rule is for: one of a nearly square outline, its girdle thick, and three of the default that bulge."""
    full = stone_of(
        "cushion brilliant", side_radius_pct=300.0, corner_radius_pct=10.0, girdle_pct=6.0, lower_half_pct=90.0
    )  # fmt: skip
    default = stone_of("cushion brilliant")
    return [full, bulging(default, 50.0, 35.0, 0.3), bulging(default, 55.0, 33.0, 0.5), bulging(default, 60.0, 33.0, 0.3)]


IN_RANGE = {"cushion brilliant": cushions}
"""What makes the stones that a rule is for, where our cut at its defaults is none."""


def estimate_ct(stone: rl.Stone) -> float:
    """The weight of a diamond by the rule of its cut, at its cut's default of what no length tells."""
    assert stone.cut is not None
    length, width, depth = stone.size_mm
    if stone.cut == "tapered baguette":
        width *= (1.0 + CUTS[stone.cut].keys["narrow_pct"].default / 100.0) / 2.0
    factor = FACTORS[stone.cut]
    if isinstance(factor, dict):
        factor = float(np.interp(length / width, list(factor), list(factor.values())))
    area = ((length + width) / 2.0) ** 2 if stone.cut == "oval brilliant" else length * width
    return float(area * depth * factor)


def heavier(stone: rl.Stone) -> float:
    """By which share a stone is heavier than its rule says."""
    return stone.weight_ct / estimate_ct(stone) - 1.0


def families() -> dict[str, list[rl.Stone]]:
    """The stones that are compared: every cut that has a rule, and those whose factor depends on the ratio at each ratio."""
    made = {}
    for name, factor in FACTORS.items():
        if name in IN_RANGE:
            made[name] = IN_RANGE[name]()
            continue
        made[name] = [stone_of(name)]
        if isinstance(factor, dict):
            made[name] += [stone_of(name, length_ratio=ratio) for ratio in factor]
        if "pavilion_mains" in CUTS[name].keys:
            made[name].append(stone_of(name, pavilion_mains=4))
    return made


def main() -> None:
    print(f"{'':24s} weight over the rule's, less 1")
    for name, stones in families().items():
        print(f"{name:24s} {', '.join(f'{100.0 * heavier(stone):+.1f} %' for stone in stones)}")
    print(
        f"cushion brilliant at its defaults, out of the rule's range: {100.0 * heavier(stone_of('cushion brilliant')):+.1f} %"
    )
    print("no rule: " + ", ".join(name for name in CUTS if name not in FACTORS))


if __name__ == "__main__":
    main()
