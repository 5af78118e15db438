"""What raylab says of the toy cut, as JSON: run by `test_house_cut` in a process whose raylab has it among its cuts."""

from __future__ import annotations

import contextlib
import io
import json
import sys
from pathlib import Path
from typing import Any

import raylab as rl
from raylab.cli import main
from raylab.comparison.verdicts import words
from raylab.stone.facet_table import facet_table
from raylab.workbench.answers import Answerer
from raylab.workbench.design_json import stone_of
from raylab.workbench.file_exchange import open_path
from raylab.workbench.pages import Workbench

GIVEN = {"side_slope_deg": 42.0, "table_width_pct": 50.0}
SCENE = """schema = 1
[stone]
cut = "square pyramid"
side_slope_deg = {slope}
weight_ct = 1.0
[dome]
name = "even-sky"
[output]
resolution = 32
precision = 0.05
"""
SWEEP = """schema = 1
[axes]
side_slope_deg = [40, 44]
table_width_pct = [50, 120]
[fixed]
cut = "square pyramid"
dome = "even-sky"
[sweep]
precision = 0.1
"""


def say(*command: str) -> str:
    """What a command prints; its exit code must be 0."""
    record = io.StringIO()
    with contextlib.redirect_stdout(record):
        code = main(command)
    assert code == 0, (command, code)
    return record.getvalue()


def refusal(**given: Any) -> str:
    """The one line in which a stone is refused."""
    try:
        rl.cut("square pyramid", **given)
    except rl.InputError as error:
        return str(error)
    return ""


def facts(folder: Path) -> dict[str, Any]:
    """Everything the test looks at."""
    stone = rl.cut("square pyramid", **GIVEN)
    scenes = [folder / f"{slope}.toml" for slope in (41, 43)]
    for scene in scenes:
        scene.write_text(SCENE.format(slope=scene.stem), encoding="utf-8")
    table = folder / "pyramid.csv"
    table.write_text(facet_table(stone), encoding="utf-8")
    file = folder / "sweep.toml"
    file.write_text(SWEEP, encoding="utf-8")
    coarse = rl.TraceSettings(precision=0.1)
    swept = rl.sweep(
        {"side_slope_deg": rl.steps(40, 44, 3)},
        "even-sky",
        cut="square pyramid",
        settings=coarse,
        processes=1,
        table_width_pct=50,
    )
    mixed = rl.sweep({"cut": ["square pyramid", "square pyramid"], "side_slope_deg": [40.0, 44.0]}, "even-sky", layout="paired",
                     settings=coarse, processes=1)  # fmt: skip
    slopes = rl.gradient({**GIVEN, "cut": "square pyramid"}, "even-sky", settings=coarse)
    best = rl.optimize(
        {"side_slope_deg": (40.0, 44.0)}, "even-sky", cut="square pyramid", statistic="depth_pct", number=4, starts=1,
        scan=3, settings=rl.TraceSettings(precision=0.2), processes=1,
    )  # fmt: skip
    found = rl.measure(stone)
    opened = open_path(scenes[0])
    workbench = Workbench(opened)
    question = {"kind": "picture", "step": "coarse", "design": opened.design, "dome": "even-sky", "maps": ["leak"]}
    compared = rl.compare(
        *(rl.load_stone(scene) for scene in scenes), dome=rl.load_dome("even-sky"), tilts=(0.0,), resolution=8,
        settings=rl.TraceSettings(precision=0.2), known_to_pct=50.0,
    )  # fmt: skip
    return {
        "stone": [len(stone), stone.cut, stone.symmetry.size, sorted(set(stone.tiers))],
        "weight_ct": rl.load_stone(scenes[0]).weight_ct,
        "again": [rl.load_stone(table).cut, float(abs(rl.load_stone(table).normals - stone.normals).max())],
        "unstated": refusal(),
        "foreign": refusal(side_slope_deg=42.0, star_pct=50.0),
        "beyond": refusal(side_slope_deg=42.0, table_width_pct=100.0),
        "twice": refusal(side_slope_deg=42.0, width_mm=5.0, weight_ct=1.0),
        "swept": [list(swept.brightness.dims), swept.side_slope_deg.attrs["long_name"], swept.reason.values.tolist()],
        "mixed": mixed.depth_pct.values.tolist(),
        "gradient": slopes.proportion.values.tolist(),
        "best": best.design,
        "measured": {key: one.mean for key, one in found.items()},
        "words": [words("side_slope_deg").show(42.0), words("side_slope_spread_deg").name],
        "verdicts": [one.sentence for pairs in compared.proportion_verdicts().values() for one in pairs],
        "start": next(cut for cut in workbench.start()["cuts"] if cut["name"] == "square pyramid"),
        "design": opened.design,
        "same": stone_of(opened.design).weight_ct,
        "answer": len(Answerer(workbench.domes).answer(question)),
        "listed": say("cuts"),
        "parameters": say("cuts", "square pyramid"),
        "listed_json": json.loads(say("cuts", "--json")),
        "measure": say("measure", str(scenes[0])),
        "sweep": json.loads(say("sweep", str(file), "--out", str(folder / "swept"), "--json")),
    }


if __name__ == "__main__":
    sys.stdout.write(json.dumps(facts(Path(sys.argv[1]))))
