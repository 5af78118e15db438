"""The measure of the structure: an engine and a statistic are one file and one row each, and are then known everywhere.

The toys live in `tests/house`. Each is registered in a process of its own, before anything else of raylab is imported, as a row
written in the table would be.
"""

from __future__ import annotations

import ast
import inspect
import json
import os
import subprocess
import sys
from dataclasses import fields
from pathlib import Path

import numpy as np
import pytest
from small_scenes import beams_of, scene_of, scene_text

import raylab as rl
from raylab.cli import main
from raylab.engine_table import ENGINES
from raylab.results.statistics import STATISTICS, SYMMETRY, description_of
from raylab.tracers.engines import engine_for, engine_named
from raylab.tracers.exact.engine import BeamEngine, notes_of
from raylab.tracers.ledger import ABSORBED, ENTRIES, HEAD, LEAK, LUMINANCE, SCATTERED, SKY
from raylab.tracers.totals import MOMENTS, Totals

HERE = Path(__file__).parent
ROOT = Path(rl.__file__).parent
STONE = rl.round_brilliant(table_pct=57, crown_angle_deg=34.5, pavilion_angle_deg=40.75, girdle_facets=32)
DOME = rl.load_dome("head-shadow")
FAR = rl.View(distance_mm=250.0)
SCENE = scene_text(16)
SWEEP = """\
schema = 1
[axes]
tilt_deg = [0.0, 4.0]
[fixed]
table_pct = 57
crown_angle_deg = 34.5
pavilion_angle_deg = 40.75
girdle_facets = 32
dome = "head-shadow"
[sweep]
precision = 0.1
max_bounces = 3
"""


def script(row: str, text: str, folder: Path) -> str:
    """What a script prints that runs in a folder after the row is in its table."""
    done = subprocess.run(
        [sys.executable, "-c", f"{row}\n{text}"],
        cwd=folder,
        env={**os.environ, "PYTHONPATH": os.pathsep.join((str(ROOT.parent), str(HERE / "house")))},
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


# Engines.

TOY_ENGINE = "from raylab.engine_table import ENGINES; ENGINES['toy'] = 'toy_engine'"
USING_IT = """
import json
import raylab as rl
from raylab.cli import main

stone = rl.round_brilliant(table_pct=57, crown_angle_deg=34.5, pavilion_angle_deg=40.75, girdle_facets=32)
dome = rl.load_dome("head-shadow")
result = rl.trace(stone, dome, resolution=8, engine="toy")
found = {"engine": result.summary.engine, "brightness": result.summary.brightness.value, "notes": dict(result.summary.notes)}
found["usual"] = rl.trace(stone, dome, resolution=8, precision=0.1).summary.engine
found["light"] = float(rl.color_picture(result.scene, spectrum=2).linear().max())
refusals = {
    "tilted": lambda: rl.trace(stone, dome, rl.View(tilt_deg=5.0), engine="toy"),
    "swept": lambda: rl.sweep({"tilt_deg": [5.0]}, dome, settings=rl.TraceSettings(engine="toy"), table_pct=57,
                              crown_angle_deg=34.5, pavilion_angle_deg=40.75),
    "compared": lambda: rl.compare(stone, stone, dome=dome, settings=rl.TraceSettings(engine="toy")),
}
for what, refused in refusals.items():
    try:
        refused()
    except rl.UnsupportedScene as error:
        found[what] = str(error)
found["render"] = main(["render", "s.toml", "--out", "out"])
found["option"] = main(["render", "s.toml", "--out", "tilted", "--engine", "toy", "--tilt-deg", "5"])
main(["render", "--help"])
main(["engines"])
print("\\n" + json.dumps(found))
"""


def test_a_toy_engine_is_one_file_and_one_row(tmp_path):
    (tmp_path / "s.toml").write_text(SCENE + 'engine = "toy"\n')
    out = script(TOY_ENGINE, USING_IT, tmp_path)
    found = json.loads(out.splitlines()[-1])
    assert (found["engine"], found["usual"], found["brightness"]) == ("toy", "beams", 1.0)
    assert found["notes"]["toy"] == "nothing here is true"
    assert found["light"] == pytest.approx(1.0, abs=1e-6)
    assert found["tilted"] == "engine: the engine `toy` can't trace this scene: toys lie flat"
    needs_exact = "engine: the engine `toy` can't trace this scene: this work needs an exact engine, and the engine samples"
    assert found["swept"] == found["tilted"]
    assert found["compared"] == needs_exact
    assert (found["render"], found["option"]) == (0, 2)
    assert json.loads((tmp_path / "out" / "summary.json").read_text())["engine"] == "toy"
    assert "toy: nothing here is true" in out
    assert "[choices: beams, rays, gpu, gpu-single, toy]" in " ".join(out.split())
    assert "a toy: every view ray goes to the sky" in out


def test_rows_of_engines_are_sound_and_in_the_order_of_preference():
    assert list(ENGINES) == ["beams", "rays", "gpu", "gpu-single"]
    for name in ENGINES:
        one = engine_named(name)
        assert one.name == name
        assert one.description
        if one.supports(scene_of(STONE, DOME)) is not None:  # without its processor
            continue
        result = one.trace(scene_of(STONE, DOME, resolution=8, precision=0.1), 589.3)
        assert (result.engine, result.wavelength_nm) == (name, 589.3)
        assert (result.polygons is not None) is one.exact
        assert np.any(result.totals.covariance) is not np.bool_(one.exact)
    assert engine_for(scene_of(STONE, DOME)).name == "beams"
    assert engine_for(scene_of(STONE, DOME, FAR)).name == "rays"


def test_a_scene_that_no_exact_engine_can_trace_is_refused_with_each_reason():
    view = "the engine `beams` can't trace this scene: it needs a parallel view, and the view has distance_mm = 250"
    with pytest.raises(rl.UnsupportedScene) as one:
        rl.trace(STONE, DOME, FAR, engine="beams")
    assert str(one.value) == f"engine: {view}"
    with pytest.raises(rl.UnsupportedScene) as all_of_them:
        engine_for(scene_of(STONE, DOME, FAR), exact=True)
    samples = "the engine `rays` can't trace this scene: this work needs an exact engine, and the engine samples"
    assert (
        str(all_of_them.value)
        == f"engine: {view}; {'; '.join(samples.replace('rays', name) for name in ('rays', 'gpu', 'gpu-single'))}"
    )
    for refused in (
        lambda: beams_of(STONE, DOME, FAR),
        lambda: rl.fire_map(rl.Scene(STONE, DOME, FAR)),
        lambda: rl.face_up_color(rl.Scene(STONE, DOME, FAR)),
        lambda: rl.compare(STONE, STONE, dome=DOME, view=FAR),
        lambda: rl.what_if(STONE, STONE, DOME, view=FAR),
        lambda: rl.tilt(STONE, DOME, settings=rl.TraceSettings(engine="rays")),
    ):
        with pytest.raises(rl.UnsupportedScene, match=r"the engine `\w+` can't trace this scene: "):
            refused()


def test_a_scene_file_whose_engine_can_not_trace_it_is_named(tmp_path, monkeypatch, capsys):
    (tmp_path / "s.toml").write_text(SCENE + 'engine = "beams"\n[view]\ndistance_mm = 250\n')
    monkeypatch.chdir(tmp_path)
    reason = "the engine `beams` can't trace this scene: it needs a parallel view, and the view has distance_mm = 250"
    assert main(["render", "s.toml", "--out", "out"]) == 2
    assert capsys.readouterr().err == f"raylab: s.toml: output.engine: {reason}\n"
    assert main(["tilt", "s.toml", "--out", "out"]) == 2
    assert capsys.readouterr().err == f"raylab: s.toml: output.engine: {reason}\n"
    assert main(["scenes", ".", "--json"]) == 0
    assert reason in json.loads(capsys.readouterr().out)[0]["fault"]
    (tmp_path / "s.toml").write_text(SCENE + "[view]\ndistance_mm = 250\n")
    assert main(["render", "s.toml", "--out", "out", "--engine", "beams"]) == 2
    assert capsys.readouterr().err == f"raylab: --engine: {reason}\n"


@pytest.mark.parametrize("path", sorted(ROOT.rglob("*.py")), ids=lambda path: str(path.relative_to(ROOT)))
def test_nothing_outside_the_tracers_asks_for_an_engine_by_name(path):
    """What a caller needs of an engine it asks of the engine: `exact`, `polygons`."""
    if path.parent.is_relative_to(ROOT / "tracers"):
        return
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Compare):
            compared = {one.value for one in ast.walk(node) if isinstance(one, ast.Constant) and isinstance(one.value, str)}
            assert not compared & ENGINES.keys(), f"line {node.lineno}"


# Settings.


def test_the_keywords_of_trace_are_the_settings():
    given = inspect.signature(rl.trace).parameters
    own = ("stone", "dome", "view", "resolution", "by_facet", "progress", "unknown")
    settings = {name: one.default for name, one in given.items() if name not in own}
    assert settings == {one.name: one.default for one in fields(rl.TraceSettings)}
    assert given["resolution"].default == rl.Scene(STONE, DOME).resolution


def test_a_mistyped_keyword_of_trace_is_reported():
    with pytest.raises(rl.InputError, match=r"precison: unknown keyword; did you mean 'precision'\?"):
        rl.trace(STONE, DOME, precison=0.1)  # type: ignore[arg-type]


# Statistics.

TOY_STATISTIC = (
    "from raylab.results.statistics import STATISTICS; from toy_statistic import SURPLUS; STATISTICS['surplus'] = SURPLUS"
)
SHOWING_IT = """
import json
import raylab as rl
from raylab.cli import main
from raylab.report import report_html, tables
from raylab.report.pictures import drawn
from raylab.workbench.file_exchange import open_demo
from raylab.workbench.pages import Workbench

stone = rl.round_brilliant(table_pct=57, crown_angle_deg=34.5, pavilion_angle_deg=40.75, girdle_facets=32)
other = rl.round_brilliant(table_pct=57, crown_angle_deg=34.5, pavilion_angle_deg=38, girdle_facets=32)
dome, coarse = rl.load_dome("head-shadow"), rl.TraceSettings(precision=0.1)
design = {"table_pct": 57, "crown_angle_deg": 34.5, "pavilion_angle_deg": 40.75, "girdle_facets": 32}
summary = rl.trace(stone, dome, resolution=8, precision=0.1).summary
one = summary.statistics["surplus"]
found = {"value": one.value, "expected": summary.ledger["sky"].value - summary.ledger["leak"].value, "low": one.low}
swept = rl.sweep({"tilt_deg": [0.0, 5.0]}, dome, settings=coarse, processes=1, **design)
found["swept"] = [float(swept.surplus[0]), float(swept.surplus_low[0]), swept.surplus.attrs["definition"]]
found["tilted"] = float(rl.tilt(stone, dome, [0.0], settings=coarse).surplus[0])
slopes = rl.gradient(design, dome, keys=["pavilion_angle_deg"], settings=coarse).derivative.sel(proportion="pavilion_angle_deg")
found["derivative"] = float(slopes.sel(statistic="surplus"))
found["by entries"] = float(slopes.sel(statistic="sky") - slopes.sel(statistic="leak"))
best = rl.optimize({"pavilion_angle_deg": (40.0, 41.0)}, dome, statistic="surplus", number=2, starts=1, scan=3, processes=1,
                   settings=coarse, table_pct=57, crown_angle_deg=34.5, girdle_facets=32)
found["best"] = best.statistic
grid = rl.brillianteering_grid(rl.load_stone("blocked.csv"), dome, {"star_pct": [50.0]}, settings=coarse)
found["wished"] = rl.best_brillianteering(grid, "most surplus with surplus >= -1")[0].numbers["surplus"]
pair = rl.compare(stone, other, dome=dome, tilts=(0.0,), known_to_pct=45.0, resolution=16, settings=coarse)
found["sentence"] = pair.light_verdicts(0)["surplus"][0].sentence
found["rows"] = [row["name"] for row in tables.light(pair)[0]["rows"]]
found["page of the report"] = "Surplus of the sky (toy)" in report_html(pair, drawn(pair))
found["start"] = [row for row in Workbench(open_demo()).start()["statistics"] if row["key"] == "surplus"]
found["render"] = main(["render", "s.toml", "--out", "out"])
found["sweep"] = main(["sweep", "sweep.toml", "--out", "swept"])
main(["statistics"])
print("\\n" + json.dumps(found))
"""


def test_a_toy_statistic_is_one_file_and_one_row(tmp_path):
    (tmp_path / "s.toml").write_text(SCENE)
    (tmp_path / "sweep.toml").write_text(SWEEP + '[plots]\nstatistics = ["surplus"]\nextremes = "surplus"\n')
    (tmp_path / "blocked.csv").write_bytes((ROOT.parent / "scenes" / "stones" / "blocked.csv").read_bytes())
    out = script(TOY_STATISTIC, SHOWING_IT, tmp_path)
    found = json.loads(out.splitlines()[-1])
    assert found["value"] == pytest.approx(found["expected"], abs=1e-15)
    assert found["low"] < found["value"]
    assert found["swept"] == [found["value"], found["low"], "area mean of the sky's share less the leak's (a toy)"]
    assert found["tilted"] == found["value"]
    assert found["derivative"] == pytest.approx(found["by entries"], rel=1e-9)
    assert found["best"] == "surplus"
    assert -1.0 < found["wished"] < 1.0
    assert found["sentence"].startswith("Surplus of the sky (toy): ")
    assert "percentage points" in found["sentence"]
    assert "Surplus of the sky (toy)" in found["rows"]
    assert found["page of the report"]
    label, definition = "surplus of the sky (toy)", "area mean of the sky's share less the leak's (a toy)"
    assert found["start"] == [{"key": "surplus", "label": label, "definition": definition, "entry": False}]
    assert (found["render"], found["sweep"]) == (0, 0)
    facts = json.loads((tmp_path / "out" / "summary.json").read_text())
    assert facts["stats"]["surplus"] == pytest.approx(facts["ledger"]["sky"] - facts["ledger"]["leak"], abs=1e-15)
    assert (tmp_path / "swept" / "surplus.png").exists()
    assert definition in out
    assert any(line.split()[:1] == ["surplus"] for line in out.splitlines())


def test_rows_of_statistics_are_sound():
    """Brackets hold the value, lie within the span, and the gradient is the derivative of the value (central differences)."""
    assert set(ENTRIES) < STATISTICS.keys()
    assert description_of("symmetry") is SYMMETRY
    assert description_of("weight_ct") is None
    mean = scene_of(STONE, rl.Dome(head_half_angle_deg=12, tray_radiance=0.2), rl.View(7.0, 20.0), precision=0.05)
    totals = engine_for(mean).trace(mean, 589.3).totals
    limits = dict.fromkeys((SKY, HEAD, LEAK, ABSORBED, SCATTERED), 1.0) | {LUMINANCE: 1.7}
    rng, step = np.random.default_rng(5), 1e-6
    for key, one in STATISTICS.items():
        assert (one.key, bool(one.label), bool(one.definition)) == (key, True, True)
        found = one.of(totals, limits)
        assert one.span[0] <= found.low <= found.value <= found.high, key
        gradient = one.gradient(totals.mean, 1.7)
        along = rng.normal(size=MOMENTS)
        ends = [one.of(Totals(1.0, totals.mean + side * step * along, totals.covariance), limits).value for side in (1, -1)]
        assert gradient @ along == pytest.approx((ends[0] - ends[1]) / (2.0 * step), rel=1e-6, abs=1e-9), key


# What is weaker than asked for is said.


def test_a_bracket_wider_than_requested_is_said_with_what_to_do():
    summary = rl.trace(STONE, DOME, resolution=8, max_bounces=4).summary
    untraced = summary.ledger["untraced"].value
    assert untraced > 2e-3
    note = f"untraced share {untraced:.3g} exceeds the requested precision 0.002; brackets are wider"
    assert summary.notes["precision"] == f"{note}; a max_bounces above 4 narrows them"
    assert summary.to_dict()["notes"]["precision"] == summary.notes["precision"]
    assert dict(rl.trace(STONE, DOME, resolution=8).summary.notes) == {}
    both = rl.trace(STONE, DOME, resolution=8, max_bounces=4, wavelengths_nm=(486.1, 656.3)).summary
    assert both.notes["precision"].count(" nm ") == 2


def test_work_that_ended_early_and_beams_that_were_lost_are_said():
    scene = scene_of(STONE, DOME, rl.View(7.0, 20.0), precision=1e-3)
    few = BeamEngine(max_beams=500).trace(scene, 589.3)
    assert few.polygons.full
    assert few.notes["max_beams"] == "tracing ended at 500 polygons; use a larger precision or a sampled engine"
    assert "max_bounces" not in few.notes["precision"]
    whole = beams_of(STONE, DOME, precision=0.05)
    assert notes_of(whole, rl.TraceSettings(precision=0.05)) == {}
    object.__setattr__(whole, "lost", 3)
    assert notes_of(whole, rl.TraceSettings(precision=0.05))["rounding"].startswith("3 beams were lost to rounding")


@pytest.mark.parametrize(
    ("words", "line"),
    [
        (("render", "s.toml"), "precision: "),
        (("tilt", "s.toml", "--to-deg", "2"), "3 of 3 angles leave more than 0.002 of the light untraced"),
        (("sweep", "sweep.toml"), "2 of 2 designs have brackets wider than the requested precision 0.1"),
        (("repolish", "s.toml", "--facet", "table", "--depth-mm", "0.01", "--precision", "0.1"), ""),
    ],
)
def test_commands_say_so_too(tmp_path, monkeypatch, capsys, words, line):
    (tmp_path / "s.toml").write_text(SCENE + "max_bounces = 3\n")
    (tmp_path / "sweep.toml").write_text(SWEEP)
    monkeypatch.chdir(tmp_path)
    assert main([*words, "--out", "out"]) == 0
    out = capsys.readouterr().out
    if line:
        assert line in out
        assert "max_bounces" in out
    else:
        assert "exceeds the requested precision" not in out
