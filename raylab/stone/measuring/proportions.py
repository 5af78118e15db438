"""Proportions measured on a stone's own polygons: mean, extremes and spread of every quantity.

Nothing is read back from the numbers a stone was built from, and nothing is invented: a quantity whose facets are missing
is absent (None). Which facet is what is taken from the tier names, or from the shape itself where a stone carries none
(see `tiers`). Percentages are of the mean girdle diameter, which is measured at the girdle's corners (see `callipers`).

Definitions: table, ISO 24016:2020 section 8.3.3; star and lower-half length, course glossaries of the trade (lower halves from
memory), in plan as in `round_brilliant`. Common practice, without a source: diameter as by callipers, see there; crown height,
pavilion depth and girdle thickness along z at the mains; girdle at joints and in valleys; total depth; culet from side to
side. Off-centre distances, out-of-round, tilt, twist and painting, with their sources: see `alignment`. Symmetry is told as
lengths and angles; classes of it are grades, and none are given.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, fields
from typing import Any

import numpy as np

from ..stone import Stone
from .alignment import Pattern, apart, azimuth_shifts, out_of_round, painting, table_center, table_tilt, twist
from .callipers import Callipers, Quantity
from .facet_names import name_tiers

_NAMED = {"table", "star", "crown main", "upper half", "girdle", "lower half", "pavilion main", "culet"}

UNEVEN = (
    "crown_angle_deg",
    "pavilion_angle_deg",
    "crown_height_pct",
    "pavilion_depth_pct",
    "girdle_pct",
    "table_pct",
    "azimuth_shift_deg",
)
"""Quantities whose spread says how uneven a stone is; all but the last are among the parameters of Geurts et al. (see
`alignment`)."""


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
    `star_pct`, `lower_half_pct`: lengths in plan. `culet_pct`: across opposite sides, 0 for a point. `out_of_round_pct`:
    largest minus smallest diameter. `table_offcentre_pct`, `culet_offcentre_pct`, `table_to_culet_pct`: distances in plan
    between the centres of table, culet and girdle. `table_tilt_deg`: of the table against the girdle plane.
    `azimuth_shift_deg`: every facet against its place. `twist_deg`: crown mains against pavilion mains.
    `upper_painting_deg`, `lower_painting_deg`: turn of the halves towards their mains, negative where dug out.
    `weight_ct`, `volume_mm3`, `spread_mm2_per_ct`: of the whole stone. `facets`: one row per facet. `tiers_from`:
    ``"names"`` of the stone, or its ``"shape"``.
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
    out_of_round_pct: Quantity
    table_offcentre_pct: Quantity | None
    culet_offcentre_pct: Quantity | None
    table_to_culet_pct: Quantity | None
    table_tilt_deg: Quantity | None
    azimuth_shift_deg: Quantity | None
    twist_deg: Quantity | None
    upper_painting_deg: Quantity | None
    lower_painting_deg: Quantity | None
    weight_ct: float
    volume_mm3: float
    spread_mm2_per_ct: float
    facets: tuple[FacetRow, ...]
    tiers_from: str

    def numbers(self) -> dict[str, float]:
        """One number for each quantity, by name; what is absent is left out.

        Means, the numbers of the whole stone, and how uneven it is: largest minus smallest of the quantities in `UNEVEN`, under
        ``..._spread_pct`` and the like. Shifts of azimuth, whose mean is nothing, come as their spread only.
        """
        told = {f.name: getattr(self, f.name) for f in fields(self)}
        quantities = {key: value for key, value in told.items() if isinstance(value, Quantity)}
        found = {key: value.mean for key, value in quantities.items() if key != "azimuth_shift_deg"}
        for key in filter(quantities.get, UNEVEN):
            stem, _, unit = key.rpartition("_")
            found[f"{stem}_spread_{unit}"] = quantities[key].spread
        return found | {key: value for key, value in told.items() if isinstance(value, float)}

    def to_dict(self) -> dict[str, Any]:
        """Plain numbers, strings, lists and None, ready for JSON."""
        told = {f.name: getattr(self, f.name) for f in fields(self)}
        told = {key: value.to_dict() if isinstance(value, Quantity) else value for key, value in told.items()}
        return {**told, "facets": [asdict(row) for row in self.facets]}


def measure(stone: Stone) -> Measurements:
    """Measure a stone's proportions.

    >>> from raylab.stone.cuts.round_brilliant import round_brilliant
    >>> found = measure(round_brilliant(table_pct=57, crown_angle_deg=34, pavilion_angle_deg=40.7, girdle_pct=2.5))
    >>> round(found.table_pct.mean, 6), round(found.crown_height_pct.mean, 4), round(found.depth_pct.mean, 4)
    (57.0, 14.5019, 60.0087)
    """
    named = with_tiers(stone)
    callipers = Callipers(named)
    pattern = Pattern(callipers)
    table, crown, pavilion = callipers.tier("table"), callipers.tier("crown main"), callipers.tier("pavilion main")
    top, bottom = float(callipers.start[:, 2].max()), float(callipers.start[:, 2].min())
    depth = 100.0 * (top - bottom) / callipers.diameter.mean
    center_of_table, culet = table_center(callipers), callipers.culet_center() if pavilion else None
    rows = zip(named.tiers, named.slope_deg(), named.azimuth_deg(), named.distances_mm, named.polyhedron.areas, strict=True)
    return Measurements(
        name=stone.name,
        material=stone.material.name,
        diameter_mm=callipers.diameter,
        table_pct=callipers.corner_to_corner(callipers.loops[table[0]]) if table else None,
        crown_angle_deg=callipers.slopes(crown),
        pavilion_angle_deg=callipers.slopes(pavilion),
        crown_height_pct=callipers.at_mains(callipers.crown_heights()) if crown else None,
        pavilion_depth_pct=callipers.at_mains(callipers.rim[:, 0] - bottom) if pavilion else None,
        depth_pct=Quantity(depth, "%", (depth,), ("whole stone",)),
        girdle_pct=callipers.at_mains(np.ptp(callipers.rim, axis=1)),
        girdle_joint_pct=callipers.girdle_joints(),
        girdle_valley_pct=callipers.girdle_valleys(),
        star_pct=callipers.stars(),
        lower_half_pct=callipers.lower_halves(),
        culet_pct=callipers.culet(),
        out_of_round_pct=out_of_round(callipers),
        table_offcentre_pct=apart(callipers, center_of_table, callipers.center),
        culet_offcentre_pct=apart(callipers, culet, callipers.center),
        table_to_culet_pct=apart(callipers, center_of_table, culet),
        table_tilt_deg=table_tilt(callipers),
        azimuth_shift_deg=azimuth_shifts(callipers, pattern),
        twist_deg=twist(callipers, pattern),
        upper_painting_deg=painting(callipers, pattern, "upper half"),
        lower_painting_deg=painting(callipers, pattern, "lower half"),
        weight_ct=stone.weight_ct,
        volume_mm3=stone.volume_mm3,
        spread_mm2_per_ct=stone.spread_mm2_per_ct,
        facets=tuple(FacetRow(named.facet_name(f), tier, *map(float, row)) for f, (tier, *row) in enumerate(rows)),
        tiers_from="names" if named is stone else "shape",
    )


def with_tiers(stone: Stone) -> Stone:
    """The stone with its facets named by its shape, if it carries no trade name and has a brilliant's pattern; else itself."""
    if _NAMED & set(stone.tiers):
        return stone
    found = name_tiers(stone.normals, stone.distances_mm, body=stone.polyhedron)
    if found.order == 1:
        return stone
    return stone.relabeled(tiers=found.names, indices=found.indices, symmetry=found.symmetry)
