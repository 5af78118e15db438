"""A sweep from a TOML file: the arguments of `sweep` and its pictures.

schema = 1
title = "..."

[axes]                                        # at least one; keys as in `sweep`
pavilion_angle_deg = { start = 38, stop = 43, number = 51 }
table_pct = [53, 57, 61]                      # or values
star_pct = { low = 40, high = 60 }            # or, in layouts that fill a box, its ends
"pavilion main 3.slope_deg" = [-0.2, 0, 0.2]  # or the offset of a facet or a tier
stone = ["w-1.csv", "w-2.csv"]                # or, in place of proportions, stone files beside this one

[fixed]                                       # common to all designs
crown_angle_deg = 34.5
dome = "head-shadow"                          # a built-in dome, or a dome file beside this one

[sweep]                                       # optional: layout, number, seed; engine, precision, polarized, max_bounces
layout = "grid"

[[condition]]                                 # optional, as many as wanted: only designs that meet all are traced
sum = { crown_angle_deg = 1, pavilion_angle_deg = 1 }
at_most = 76                                  # or at_least, or both

[plots]                                       # optional: statistics to draw, and the one that ranks the designs
statistics = ["brightness", "contrast_rms"]
extremes = "brightness"
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ..demo import own_or_demo
from ..designs.deviations import deviation
from ..designs.keys import KEYS, NAMED, PARAMETERS, STONE
from ..errors import InputError, nearest
from ..reading import reader
from ..results.statistics import STATISTICS
from ..scene.settings import TraceSettings
from ..toml_tables import Table, read_toml, schema, schema_of
from .axes import Between, Plan, Steps, plan_of
from .conditions import LinearBound


def _kind(key: str) -> type:
    """What a file states for a key: a choice as it is, else a number."""
    return PARAMETERS[key].kind if key in PARAMETERS and PARAMETERS[key].choices else float


_DRAWN = ("brightness", "contrast_rms", "leak")
_TOP = schema(
    title=(str, ""),
    description=(str, ""),
    axes=(dict, ...),
    fixed=(dict, {}),
    sweep=(dict, {}),
    condition=(list[dict[str, Any]], []),
    plots=(dict, {}),
)
_FIXED = {key: (str if key in NAMED else _kind(key), None) for key in KEYS}
_LAYOUT = ("layout", "number", "seed")
_RUN = schema_of(
    TraceSettings,
    omit=("wavelengths_nm", "samples", "min_weight", "seed"),  # a design's own, and a sampling engine's
    layout=(str, "grid"),
    number=(int, None),
    seed=(int, 0),
)
_PLOTS = schema(statistics=(list[str], list(_DRAWN)), extremes=(str, "brightness"))
_CONDITION = schema(sum=(dict, ...), at_least=(float, None), at_most=(float, None))
_RANGE, _BOX = schema(start=(float, ...), stop=(float, ...), number=(int, ...)), schema(low=(float, ...), high=(float, ...))


@dataclass(frozen=True)
class SweepFile:
    """A sweep as a file says it.

    Attributes: `title`; `axes`, `fixed`, `layout`, `conditions` and `settings`, the arguments of `sweep`; `plan`, the designs;
    `statistics`, what to draw; `extremes`, the statistic whose largest and smallest values `extremes.png` shows.
    """

    title: str
    axes: dict[str, Any]
    fixed: dict[str, Any]
    layout: dict[str, Any]
    conditions: tuple[LinearBound, ...]
    settings: TraceSettings
    plan: Plan
    statistics: tuple[str, ...]
    extremes: str

    @property
    def arguments(self) -> dict[str, Any]:
        """Keyword arguments for `sweep`."""
        how = {**self.layout, "conditions": self.conditions, "settings": self.settings}
        return {"axes": self.axes, **how, **self.fixed}


@reader
def read_sweep_file(path: str | Path) -> SweepFile:
    """The sweep in a TOML file, or the demo sweep of a name. Raises InputError for anything that can't be used."""
    path = own_or_demo(path)
    top = read_toml(path, str(path)).checked(_TOP)
    axes = {key: _axis(top.part("axes"), key) for key in top.values["axes"]}
    stated = top.part("fixed")
    moved = {key: (float, None) for key in stated.values if deviation(key) is not None}
    fixed = {key: _near(top, key, value) for key, value in stated.checked(schema(**_FIXED, **moved)).values.items()}
    run = top.part("sweep").checked(_RUN)
    layout = {key: value for key, value in run.values.items() if key in _LAYOUT}
    settings = run.build(TraceSettings, **{key: value for key, value in run.values.items() if key not in _LAYOUT})
    conditions = tuple(_condition(one.checked(_CONDITION)) for one in top.parts("condition"))
    plots = top.part("plots").checked(_PLOTS)
    statistics, extremes = tuple(plots.values.get("statistics", _DRAWN)), plots.values.get("extremes", "brightness")
    for key, names in (("statistics", statistics), ("extremes", (extremes,))):
        for name in names:
            if name not in STATISTICS:
                raise plots.fault("unknown statistic", key, name, nearest(name, STATISTICS))
    try:
        plan = plan_of(axes, fixed, **layout, conditions=conditions)
    except InputError as error:
        if error.file is not None:  # a dome file's own fault
            raise
        sections = {"sweep": _RUN.model_fields, "axes": axes, "fixed": fixed}
        section = next((name for name, keys in sections.items() if error.key in keys), None)
        if section is None and any(error.key in one.sum for one in conditions):
            section = "condition"
        raise error.within(file=top.file, section=section) from error
    return SweepFile(top.values.get("title", ""), axes, fixed, layout, conditions, settings, plan, statistics, extremes)


def _condition(stated: Table) -> LinearBound:
    return stated.build(LinearBound, **{key: value for key, value in stated.values.items() if value is not None})


def _axis(axes: Table, key: str) -> Any:
    """An axis as `sweep` takes it: steps, the ends of a box, or a list of values."""
    value = axes.values[key]
    if isinstance(value, Mapping):
        box = "low" in value or "high" in value
        found = axes.part(key).checked(_BOX if box else _RANGE).values
        return Between(**found) if box else Steps(**found)
    if not isinstance(value, list):
        raise axes.fault("not an axis", key, value, "values in brackets, {start, stop, number} or {low, high}")
    return [_near(axes, key, one) for one in value]


def _near(table: Table, key: str, value: Any) -> Any:
    """A dome's or stone's file from the folder of the sweep file; any other value as it is."""
    found = isinstance(value, str) and (key == STONE or (key == "dome" and value.endswith(".toml")))
    return str(Path(table.file).parent / value) if found else value
