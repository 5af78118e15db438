"""What a scene can't have is bounded by zero, in every engine's numbers and at every door; see `results.statistics.limits`."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest
from small_scenes import scene_of, scene_text
from workbench_link import unpack

import raylab as rl
from raylab.cli import main
from raylab.results.summary import record_of
from raylab.stone.inclusions.shapes import Disc
from raylab.tracers.engines import engine_named
from raylab.tracers.ledger import ENTRIES
from raylab.workbench.answers import Answerer

ANGLES = {"table_pct": 57, "crown_angle_deg": 34.5, "pavilion_angle_deg": 40.75, "girdle_facets": 32}
CLEAR = rl.round_brilliant(**ANGLES)
TINTED = replace(CLEAR, material=CLEAR.material.tinted(0.05))
HEAD, NO_HEAD = rl.load_dome("head-shadow"), rl.Dome()
FEW = rl.TraceSettings(precision=0.05)
CLOSED = ["absorbed", "scattered"]
"""In a clear stone whose facets are polished."""


def with_speck(transmittance: float) -> rl.Stone:
    return CLEAR.with_inclusions(rl.Inclusion(Disc((0.0, 0.5, 0.5), 0.1), transmittance))


def finished(finish: str) -> rl.Stone:
    return rl.round_brilliant(**ANGLES, girdle_finish=finish)


@pytest.mark.parametrize(
    ("engine", "stone", "dome", "closed"),
    [
        ("beams", CLEAR, HEAD, CLOSED),
        ("beams", CLEAR, NO_HEAD, ["head", *CLOSED]),
        ("beams", TINTED, HEAD, ["scattered"]),
        ("beams", finished("absorbing"), HEAD, ["absorbed"]),
        ("rays", CLEAR, NO_HEAD, ["head", *CLOSED]),
        ("rays", TINTED, HEAD, ["scattered"]),
        ("rays", finished("absorbing"), HEAD, ["absorbed"]),
        ("rays", finished("lambertian 0.9"), HEAD, ["absorbed"]),
        ("rays", finished("lambertian 1"), HEAD, CLOSED),
        ("rays", with_speck(0.5), HEAD, ["scattered"]),
        ("rays", with_speck(1.0), HEAD, CLOSED),
    ],
)
def test_untraced_light_widens_only_what_a_scene_can_have(engine, stone, dome, closed):
    """By as much as there is of it; and one is a sum of six numbers between the ends of the brackets."""
    scene = scene_of(stone, dome, resolution=12, precision=0.05, min_weight=0.03)
    found = record_of(scene, engine_named(engine).trace(scene, 589.3)).statistics
    wide = found["untraced"].high
    assert wide > 1e-3
    for entry in ENTRIES[:-1]:
        one = found[entry]
        if entry in closed:
            assert (one.value, one.low, one.high, one.error) == (0.0, 0.0, 0.0, 0.0), entry
        else:
            assert one.high - one.low == pytest.approx(wide, rel=1e-9), entry
    assert sum(found[entry].low for entry in ENTRIES) == pytest.approx(1.0 - wide, abs=1e-12)
    assert sum(found[entry].high for entry in ENTRIES) + 1e-12 >= 1.0


def test_a_body_colour_counts_at_its_wavelengths():
    stone = replace(CLEAR, material=CLEAR.material.tinted([(450.0, 0.05), (550.0, 0.0)]))
    found = rl.trace(stone, HEAD, wavelengths_nm=(450.0, 550.0), resolution=8, precision=0.05, by_facet=False).summary
    blue, red = (one.statistics["absorbed"] for one in found.records)
    assert blue.width > 1e-3
    assert (red.low, red.high) == (0.0, 0.0)
    assert found.ledger["absorbed"].width == pytest.approx(blue.width / 2.0)


def test_a_narrow_bracket_of_what_can_not_be_is_there_at_once():
    found = rl.trace(CLEAR, HEAD, resolution=8, precision=0.05, precision_of=("absorbed",), by_facet=False).summary
    assert found.ledger["untraced"].high > 0.02, "nothing was traced for its sake"
    assert "precision_of" not in found.notes


def test_every_door_says_so(tmp_path, monkeypatch):
    """The library, sweeps, comparisons, the command line, and the page."""
    doors = {}
    doors["trace"] = rl.trace(CLEAR, HEAD, resolution=8, precision=0.05).summary.to_dict()["brackets"]
    swept = rl.sweep({"pavilion_angle_deg": [40.75]}, HEAD, settings=FEW, table_pct=57, crown_angle_deg=34.5)
    doors["sweep"] = {entry: [float(swept[entry + end][0]) for end in ("_low", "_high")] for entry in ENTRIES}
    two = rl.compare(CLEAR, finished("polished"), dome=HEAD, tilts=(0.0,), resolution=8, settings=FEW)
    light = two.light[0][0]
    doors["compare"] = {entry: [light[entry].statistic.low, light[entry].statistic.high] for entry in ENTRIES}
    monkeypatch.chdir(tmp_path)
    (tmp_path / "s.toml").write_text(scene_text(8) + "precision = 0.05\n")
    assert main(["render", "s.toml", "--out", "out"]) == 0
    doors["render"] = json.loads((tmp_path / "out" / "summary.json").read_text())["brackets"]
    asked = {"kind": "picture", "id": 1, "side": "a", "step": "coarse", "dome": "head", "maps": ["leak"], "facet": None}
    design = {"kind": "proportions", "cut": "round brilliant", "material": "diamond", "diameter_mm": 6.5, **ANGLES}
    doors["page"] = unpack(Answerer({"head": HEAD}).answer({**asked, "design": design}))[0]["summary"]["brackets"]
    for door, brackets in doors.items():
        assert brackets["leak"][1] > brackets["leak"][0], door
        assert [brackets[entry] for entry in CLOSED] == [[0.0, 0.0], [0.0, 0.0]], door
