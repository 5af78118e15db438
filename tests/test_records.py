"""What files and dictionaries hold, by name: variables, dimensions, units and labels that readers of results rely on.

`data/record_names.json` holds them; ``python tests/test_records.py`` writes it anew, for changes that are meant.
"""

from __future__ import annotations

import functools
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import xarray as xr

import raylab as rl
from raylab.comparison.uncertainty import Estimate
from raylab.comparison.verdicts import judge
from raylab.results.statistics.definition import Statistic

FILE = Path(__file__).parent / "data" / "record_names.json"
BASE = {"table_pct": 57.0, "crown_angle_deg": 34.5, "pavilion_angle_deg": 40.75}
DOME = rl.load_dome("head-shadow")
COARSE = rl.TraceSettings(precision=0.2)


def names_in(record: Any) -> Any:
    """A dataset's or dictionary's names and texts; numbers are left out."""
    if isinstance(record, xr.Dataset):
        arrays = {str(name): [list(map(str, one.dims)), names_in(one.attrs)] for name, one in record.variables.items()}
        return {"arrays": arrays, "attributes": sorted(record.attrs)}
    if isinstance(record, dict):
        return {str(key): names_in(value) for key, value in record.items()}
    if isinstance(record, (list, tuple)):
        return [names_in(record[0])] if record else []
    return record if isinstance(record, str) else None


@functools.cache
def result() -> rl.Result:
    return rl.trace(rl.round_brilliant(**BASE, girdle_facets=16), DOME, resolution=24, precision=0.2, by_facet=True)


def estimate(value: float) -> Estimate:
    return Estimate(Statistic(value, value - 0.01, value + 0.01, 0.001), 0.02, 0.003, 0.004, 0.0005)


@functools.cache
def comparison() -> rl.Comparison:
    stones = [rl.round_brilliant(**{**BASE, "pavilion_angle_deg": angle}, name=f"at {angle}") for angle in (40.75, 42.0)]
    return rl.compare(*stones, dome=DOME, tilts=(0.0, 9.0), known_to_pct=45.0, resolution=24, settings=COARSE)


RECORDS: dict[str, Callable[[], Any]] = {
    "maps": lambda: result().maps,
    "summary": lambda: result().summary.to_dict(),
    "tilt": lambda: rl.tilt(rl.round_brilliant(**BASE), DOME, tilt_deg=[0.0, 5.0], settings=COARSE),
    "tilt and turn": lambda: rl.tilt(
        rl.round_brilliant(**BASE), DOME, tilt_deg=[0.0, 5.0], turn_deg=[1.0, 2.0], settings=COARSE
    ),
    "gradient": lambda: rl.gradient(BASE, "head-shadow", keys=["table_pct"], settings=COARSE),
    "sweep": lambda: rl.sweep({"table_pct": [57.0, 58.0]}, "head-shadow", crown_angle_deg=34.5, pavilion_angle_deg=41.0),
    "scan": lambda: (
        rl.optimize(
            {"table_pct": (56.0, 58.0)},
            "head-shadow",
            number=2,
            scan=3,
            starts=1,
            processes=1,
            settings=COARSE,
            crown_angle_deg=34.5,
            pavilion_angle_deg=41.0,
        ).scan
    ),
    "estimate": lambda: estimate(0.5).to_dict(),
    "verdict": lambda: judge("brightness", ("one", estimate(0.5)), ("other", estimate(0.9))).to_dict(),
    "comparison": lambda: comparison().to_dict(),
    "difference of maps": lambda: (lambda found: found.difference("luminance", *found.labels).attrs)(comparison()),
    "maps of a comparison": lambda: comparison().maps,
}


@pytest.mark.parametrize("name", RECORDS)
def test_names_units_and_labels_are_as_readers_know_them(name):
    assert names_in(RECORDS[name]()) == json.loads(FILE.read_text("utf-8"))[name]


if __name__ == "__main__":
    rows = [f"{json.dumps(name)}: {json.dumps(names_in(make()), sort_keys=True)}" for name, make in RECORDS.items()]
    FILE.write_text("{\n" + ",\n".join(rows) + "\n}\n")
