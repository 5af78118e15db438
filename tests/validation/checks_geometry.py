"""The round brilliant's published volumes, slopes, heights and weights, and `measure` against what was built."""

from __future__ import annotations

import math

import numpy as np
import trimesh
from checks import check, off
from polyhedra import published, random_polyhedron, ref
from scipy.spatial import ConvexHull

from raylab.stone.cuts import round_brilliant as brilliant
from raylab.stone.proportions import measure


def _published_stones() -> list[tuple[str, dict[str, float]]]:
    """The stones of `geo.vol`: (key, proportions)."""
    names = ("table_pct", "crown_angle_deg", "pavilion_angle_deg", "girdle_pct", "star_pct", "lower_half_pct")
    keys = [key.removesuffix(".64") for key in published() if key.startswith("geo.vol.") and key.endswith(".64")]
    return [(key, dict(zip(names, map(float, key.removeprefix("geo.vol.").split("_")), strict=True))) for key in keys]


@check
def volumes_in_print() -> float:
    """Volume over diameter cubed with 64 girdle facets, `geo.vol.*.64` (an independent half-space construction); 6 decimals."""
    worst = 0.0
    for key, proportions in _published_stones():
        stone = brilliant.round_brilliant(**proportions, girdle_facets=64, diameter_mm=2.0)
        worst = max(worst, off(stone.volume_mm3 / 8.0, ref(f"{key}.64"), 6e-7))
    return worst


@check
def volumes_of_a_round_girdle() -> float:
    """The same with 1440 girdle facets, `geo.vol.*.inf`, extrapolated from ours with 96 and 192, whose error falls as 1/N^2.

    Tolerance: six decimals, and 0.8e-6 that a 1440-gon of volume 0.2 lacks to a circle.
    """
    worst = 0.0
    for key, proportions in _published_stones():
        some, more = (
            brilliant.round_brilliant(**proportions, girdle_facets=n, diameter_mm=2.0).volume_mm3 / 8.0 for n in (96, 192)
        )
        worst = max(worst, off(more + (more - some) / 3.0, ref(f"{key}.inf"), 1.4e-6))
    return worst


@check
def slopes_in_print() -> float:
    """Slopes of star, upper and lower half and the thin girdle, `geo.vol` (same construction); three decimals."""
    worst = 0.0
    for key, proportions in _published_stones():
        found = measure(brilliant.round_brilliant(**proportions, girdle_facets=64))
        for tier, name in (("star", "star"), ("upper half", "upper"), ("lower half", "lower")):
            slopes = [row.slope_deg for row in found.facets if row.tier == tier]
            worst = max(worst, off(slopes, [ref(f"{key}.{name}")] * len(slopes), 6e-4))
        thin = found.girdle_valley_pct
        worst = max(worst, off(thin.values if thin else math.nan, [ref(f"{key}.gthin")] * 16, 6e-4))
    return worst


@check
def scallops_in_print() -> float:
    """Thick minus thin girdle is about 1.7 %, `geo.scallop` (encyclopedia text; two digits, so 0.05)."""
    found = measure(brilliant.round_brilliant(**_published_stones()[0][1]))
    return off(found.girdle_pct.mean - found.girdle_valley_pct.mean, ref("geo.scallop"), 0.05)


@check
def heights_in_print() -> float:
    """Crown height, pavilion depth and depth of the laboratory article's reference stone, `geo.ref`; one decimal."""
    found = measure(brilliant.round_brilliant(**_published_stones()[0][1]))
    measured = [found.crown_height_pct.mean, found.pavilion_depth_pct.mean, found.depth_pct.mean]
    return off(measured, [ref(f"geo.ref.{name}") for name in ("ch", "pd", "td")], 0.05)


@check
def depths_in_closed_form() -> float:
    """(100 - t)/2 tan(crown) + girdle + 50 tan(pavilion), `geo.td`: measured on the built stone; 6 decimals."""
    worst = 0.0
    for key in [key for key in published() if key.startswith("geo.td.")]:
        table, crown, pavilion, girdle = map(float, key.removeprefix("geo.td.").split("_"))
        angles = {"table_pct": table, "crown_angle_deg": crown, "pavilion_angle_deg": pavilion}
        thicker = measure(brilliant.round_brilliant(**angles, girdle_pct=girdle + 2.0))  # a girdle of 0 can't be built
        worst = max(worst, off(thicker.depth_pct.mean - 2.0, ref(key), 6e-7))
    return worst


@check
def volumes_by_libraries() -> float:
    """Volume and surface against `trimesh` and scipy's ConvexHull, brilliants and 40 random polyhedra; 1e-11 relative."""
    stones = [brilliant.round_brilliant(**p, girdle_facets=f) for _, p in _published_stones() for f in (32, 96)]
    worst = 0.0
    for stone in [*stones, *map(random_polyhedron, range(40))]:
        mesh = trimesh.Trimesh(*stone.triangles(), process=False)
        hull = ConvexHull(stone.vertices_mm)
        volumes = np.array([mesh.volume, hull.volume]) / stone.volume_mm3
        areas = np.array([mesh.area, hull.area]) / stone.polyhedron.areas.sum()
        worst = max(worst, off([*volumes, *areas], np.ones(4), 1e-11), off(mesh.is_watertight, 1, 0.5))
    return worst


@check
def weights_in_print() -> float:
    """Carat per d^2 h of the reference stone, `wt.coef.ref` (2e-6), and its weight at 6.5 mm, `wt.65mm` (5e-4)."""
    stone = brilliant.round_brilliant(**_published_stones()[0][1], diameter_mm=6.5)
    per_size = stone.weight_ct / (6.5**2 * stone.size_mm[2])
    return max(off(per_size, ref("wt.coef.ref"), 2e-6), off(stone.weight_ct, ref("wt.65mm"), 5e-4))


@check
def weight_rule_of_the_handbook() -> float:
    """d^2 h 0.0061, `wt.round` (grading handbook's chapter on weight formulas), within its 3 % over usual proportions."""
    worst = 0.0
    for table, crown, pavilion, girdle in ((53, 34.5, 40.75, 3), (57, 34, 40.7, 2.5), (60, 33, 41, 3.5), (58, 35, 41, 3)):
        stone = brilliant.round_brilliant(
            table_pct=table, crown_angle_deg=crown, pavilion_angle_deg=pavilion, girdle_pct=girdle, diameter_mm=6.08
        )
        rule = ref("wt.round") * 6.08**2 * stone.size_mm[2]
        worst = max(worst, off(stone.weight_ct / rule, 1.0, 0.03))
    return worst


@check
def weights_in_a_lesson() -> float:
    """6.08 x 3.63 mm is 0.82 ct and 7.10 x 4.47 mm 1.37 ct, `wt.ex2`, `wt.ex3` (weight-estimation lesson); the rule's 3 %."""
    worst = 0.0
    for key, diameter, height in (("wt.ex2", 6.08, 3.63), ("wt.ex3", 7.10, 4.47)):
        stone = brilliant.round_brilliant(
            table_pct=57,
            crown_height_pct=14.5,
            girdle_pct=3.5,
            pavilion_depth_pct=100.0 * height / diameter - 18.0,
            diameter_mm=diameter,
        )
        worst = max(worst, off(stone.size_mm[2], height, 1e-9), off(stone.weight_ct / ref(key), 1.0, 0.03))
    return worst


@check
def measured_as_built() -> float:
    """`measure` returns the proportions a brilliant was built from, for any number of girdle facets; 1e-9 of a percent."""
    worst = 0.0
    for facets, culet in ((16, 0.0), (48, 2.0), (96, 0.0)):
        given = {"table_pct": 58.0, "crown_angle_deg": 33.2, "pavilion_angle_deg": 41.1, "star_pct": 54.0}
        given |= {"lower_half_pct": 79.0, "girdle_pct": 3.7, "culet_pct": culet}
        found = measure(brilliant.round_brilliant(**given, girdle_facets=facets, diameter_mm=5.3))
        got = [getattr(found, name) for name in given]
        worst = max(worst, off([[q.mean, q.min, q.max] for q in got], [[v] * 3 for v in given.values()], 1e-9))
        worst = max(worst, off([found.diameter_mm.mean, found.diameter_mm.spread], [5.3, 0.0], 1e-9))
    return worst
