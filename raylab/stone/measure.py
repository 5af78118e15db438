"""Proportions measured on a stone's own polygons: mean, extremes and spread of every quantity.

Nothing is read back from the numbers a stone was built from, and nothing is invented: a quantity whose facets are missing
is absent (None). Which facet is what is taken from the tier names. Percentages are of the mean girdle diameter, which is
measured at the girdle's corners (see `callipers`).

Definitions: table, ISO 24016:2020 section 8.3.3; star and lower-half length, course glossaries and trade practice, in plan
as in `round_brilliant`; crown height, pavilion depth and girdle thickness, trade practice, along z at the mains.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, fields
from typing import Any

from .callipers import Callipers, Quantity
from .planes import Stone


@dataclass(frozen=True)
class FacetRow:
    """One line of the facet table; slope to the girdle plane, azimuth of the outward normal, distance from the origin."""

    name: str
    tier: str
    slope_deg: float
    azimuth_deg: float
    distance_mm: float
    area_mm2: float


@dataclass(frozen=True)
class Measurements:
    """What `measure` found; None for a quantity whose facets the stone lacks.

    `diameter_mm`: girdle diameter at the outline's corners. `table_pct`: corner to corner. `crown_angle_deg`,
    `pavilion_angle_deg`: slopes of the mains. `crown_height_pct`, `pavilion_depth_pct`: from the girdle's edge at each
    main to the table and to the culet. `depth_pct`: the whole height. `girdle_pct`, `girdle_joint_pct`,
    `girdle_valley_pct`: thickness at the mains, at the joints between halves, and at the thinnest place between those.
    `star_pct`, `lower_half_pct`: lengths in plan. `culet_pct`: across opposite sides, 0 for a point. `weight_ct`, `volume_mm3`,
    `spread_mm2_per_ct`: of the whole stone. `facets`: one row per facet.
    """

    name: str
    material: str
    diameter_mm: Quantity
    table_pct: Quantity | None
    crown_angle_deg: Quantity | None
    pavilion_angle_deg: Quantity | None
    crown_height_pct: Quantity | None
    pavilion_depth_pct: Quantity | None
    depth_pct: Quantity
    girdle_pct: Quantity | None
    girdle_joint_pct: Quantity | None
    girdle_valley_pct: Quantity | None
    star_pct: Quantity | None
    lower_half_pct: Quantity | None
    culet_pct: Quantity | None
    weight_ct: float
    volume_mm3: float
    spread_mm2_per_ct: float
    facets: tuple[FacetRow, ...]

    def to_dict(self) -> dict[str, Any]:
        """Plain numbers, strings, lists and None, ready for JSON."""
        told = {f.name: getattr(self, f.name) for f in fields(self)}
        told = {key: value.to_dict() if isinstance(value, Quantity) else value for key, value in told.items()}
        return {**told, "facets": [asdict(row) for row in self.facets]}


def measure(stone: Stone) -> Measurements:
    """Measure a stone's proportions.

    >>> from raylab.stone.brilliant import round_brilliant
    >>> found = measure(round_brilliant(table_pct=57, crown_angle_deg=34, pavilion_angle_deg=40.7, girdle_pct=2.5))
    >>> round(found.table_pct.mean, 6), round(found.crown_height_pct.mean, 4), round(found.depth_pct.mean, 4)
    (57.0, 14.5019, 60.0087)
    """
    gauge = Callipers(stone)
    table, crown, pavilion = gauge.tier("table"), gauge.tier("crown main"), gauge.tier("pavilion main")
    top, bottom = float(gauge.start[:, 2].max()), float(gauge.start[:, 2].min())
    level = float(gauge.loops[table[0]][:, 2].mean()) if table else top
    depth = 100.0 * (top - bottom) / gauge.diameter.mean
    rows = zip(stone.tiers, stone.slope_deg(), stone.azimuth_deg(), stone.distances_mm, stone.polyhedron.areas, strict=True)
    return Measurements(
        name=stone.name,
        material=stone.material.name,
        diameter_mm=gauge.diameter,
        table_pct=gauge.corner_to_corner(gauge.loops[table[0]]) if table else None,
        crown_angle_deg=gauge.slopes(crown),
        pavilion_angle_deg=gauge.slopes(pavilion),
        crown_height_pct=gauge.at_mains([level - high for _, high in gauge.rim]) if table and crown else None,
        pavilion_depth_pct=gauge.at_mains([low - bottom for low, _ in gauge.rim]) if pavilion else None,
        depth_pct=Quantity(depth, "%", (depth,), ("whole stone",)),
        girdle_pct=gauge.at_mains([high - low for low, high in gauge.rim]),
        girdle_joint_pct=gauge.girdle_joints(),
        girdle_valley_pct=gauge.girdle_valleys(),
        star_pct=gauge.stars(),
        lower_half_pct=gauge.lower_halves(),
        culet_pct=gauge.culet(),
        weight_ct=stone.weight_ct,
        volume_mm3=stone.volume_mm3,
        spread_mm2_per_ct=stone.spread_mm2_per_ct,
        facets=tuple(FacetRow(stone.facet_name(f), tier, *map(float, row)) for f, (tier, *row) in enumerate(rows)),
    )
