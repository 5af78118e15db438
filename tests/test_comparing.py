"""Stones side by side: the criterion, places, poses, one grid for all, and the command."""

from __future__ import annotations

import inspect
import json
import math
import os
import re
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from blank_pictures import blank_pictures
from hypothesis import given
from hypothesis import strategies as st
from polyhedra import body, random_polyhedron
from test_displays import assert_fit_for_a_notebook

from raylab.cli import main
from raylab.comparison.alignment import common_grid, pose_of
from raylab.comparison.comparing import SCALES, compare
from raylab.comparison.comparison import Comparison
from raylab.comparison.uncertainty import Estimate
from raylab.comparison.verdicts import judge, judge_all, within_nature, words
from raylab.errors import InputError
from raylab.lighting.dome_file import load_dome
from raylab.report import report_html, tables
from raylab.results.statistics import Statistic
from raylab.scene.settings import TraceSettings
from raylab.scene.view import View
from raylab.stone.cuts.oval_brilliant import oval_brilliant
from raylab.stone.cuts.round_brilliant import round_brilliant
from raylab.stone.extent import extent_of
from raylab.stone.measuring.plane_uncertainty import EXACT, Uncertainty
from raylab.stone.proportions import measure
from raylab.stone.scanning.scan import load_scan
from raylab.tracing import trace

ROOT = Path(__file__).parent.parent
DOME = load_dome("head-shadow")
GOOD = {"table_pct": 57.0, "crown_angle_deg": 34.5, "pavilion_angle_deg": 40.75, "girdle_facets": 16}
QUICK = {"dome": DOME, "known_to_pct": 45.0, "resolution": 40, "settings": TraceSettings(precision=1e-2)}

COARSE = QUICK | {"resolution": 8, "settings": TraceSettings(precision=0.3)}


def brilliant(name: str = "one", key: int = 1, **changed: float):
    """A brilliant cut a little unevenly, and measured."""
    return (
        Uncertainty(0.15, 0.0, 3.0).drawn(round_brilliant(**{**GOOD, **changed}, name=name), (50, key)).relabeled(measured=True)
    )


FINE, LEAKY = brilliant("fine"), brilliant("leaky", 2, pavilion_angle_deg=20.0, diameter_mm=6.0)


@pytest.fixture(scope="module")
def found() -> Comparison:
    return compare(FINE, LEAKY, tilts=(0.0, 12.0), **QUICK)


def estimate(value: float, uncertainty: float, *, width: float = 0.0, error: float = 0.0, shift: float = 0.0) -> Estimate:
    return Estimate(Statistic(value, value, value + width, error), uncertainty, uncertainty / 10.0, shift)


# The criterion.


@pytest.mark.parametrize(
    ("second", "outcome"),
    [
        (estimate(1.11, 0.04), "smaller"),  # 0.11 against 2 x 0.05
        (estimate(1.09, 0.04), "not significant"),
        (estimate(0.89, 0.04), "larger"),
        (estimate(0.91, 0.04), "not significant"),
        (estimate(1.11, 0.0, error=0.04), "smaller"),  # sampling counts like measurement
        (estimate(1.09, 0.0, error=0.04), "not significant"),
        (estimate(0.89, 0.04, width=0.02), "not significant"),  # the bracket reaches up to 0.91
        (estimate(1.11, 0.04, width=0.02), "smaller"),  # and not down
        (estimate(1.11, 0.04, shift=0.02), "not significant"),
        (estimate(1.01, 0.04, shift=-0.10), "not significant"),  # smaller by the correction alone
        (estimate(1.11, 0.04, shift=-0.10), "smaller"),
        (estimate(9.0, math.nan), "unknown"),
    ],
)
def test_the_criterion(second, outcome):
    verdict = judge("leak", ("A", estimate(1.0, 0.03)), ("B", second), coverage=2.0)
    assert verdict.outcome == outcome
    mirrored = judge("leak", ("B", second), ("A", estimate(1.0, 0.03)), coverage=2.0)
    assert (mirrored.low, mirrored.high) == pytest.approx((-verdict.high, -verdict.low), nan_ok=True)
    assert {"A", "B"} <= set(re.findall(r"\w+", verdict.sentence))


def test_sentences_are_plain_and_hold_the_numbers():
    a, b = ("A", estimate(0.70, 0.003)), ("B", estimate(0.66, 0.004))
    assert judge("brightness", a, b).sentence == (
        "Brightness: A 70.00 %, B 66.00 %; A larger than B by 4.00 percentage points (3.00 to 5.00)."
    )
    assert judge("brightness", b, a).sentence == (
        "Brightness: B 66.00 %, A 70.00 %; A larger than B by 4.00 percentage points (3.00 to 5.00)."
    )
    assert judge("contrast_rms", ("A", estimate(0.5, 0.03)), ("C", estimate(0.51, 0.04))).sentence == (
        "Contrast (RMS): A 0.500, C 0.510; the difference of 0.010 is not significant (below about 0.100)."
    )


def test_two_words_for_two_reasons():
    """A measurement leaves a difference without significance; tracing alone leaves it unresolved; none is none."""
    designed = judge("leak", ("A", estimate(0.1, 0.0, width=0.02)), ("B", estimate(0.11, 0.0, width=0.02)))
    assert designed.outcome == "not resolved"
    assert designed.sentence.endswith(
        "the difference of 1.00 percentage points is finer than the tracing resolves (about 2.00)."
    )
    assert judge("leak", ("A", estimate(0.1, 0.03)), ("B", estimate(0.11, 0.0))).outcome == "not significant"
    same = judge("table_pct", ("A", estimate(57.0, 0.0)), ("B", estimate(57.0 + 1e-9, 0.0)))
    assert (same.outcome, same.sentence) == ("equal", "Table size: A 57.00 %, B 57.00 %; no difference.")
    assert judge("table_pct", ("A", estimate(57.0, 0.0)), ("B", estimate(57.4, 0.0))).phrase == (
        "B larger than A by 0.40 percentage points"
    )


@given(numbers=st.tuples(*[st.floats(0.0, 1.0)] * 2), shifts=st.tuples(*[st.floats(-0.2, 0.2)] * 2), u=st.floats(0.0, 0.05))
def test_the_difference_is_that_of_the_shown_numbers_and_lies_in_its_range(numbers, shifts, u):
    a, b = (estimate(value, u, shift=shift) for value, shift in zip(numbers, shifts, strict=True))
    verdict = judge("brightness", ("A", a), ("B", b))
    assert verdict.low <= verdict.difference <= verdict.high
    corrected = a.best - b.best
    assert verdict.low - 1e-12 <= corrected <= verdict.high + 1e-12
    assert verdict.established <= (abs(verdict.difference) > verdict.least)
    if verdict.outcome != "equal":
        first, second, apart = map(float, re.findall(r"\d+\.\d+", verdict.sentence)[:3])
        assert max(abs(first - second), 0.01) == pytest.approx(apart, abs=1e-9)


def test_no_number_is_minus_nothing():
    assert words("brightness").bare(-1e-9) == "0.00"


def test_nothing_measured_has_no_uncertainty():
    """Designs are exact; a measured stone beside one keeps its uncertainty; what the user states counts for all."""
    design = round_brilliant(**GOOD)
    found = compare(design, FINE, tilts=(0.0,), **COARSE)
    assert found.uncertainties == (EXACT, Uncertainty())
    assert {one.uncertainty for one in (*found.light[0][0].values(), *found.proportions[0].values())} == {0.0}
    assert found.proportions[1]["weight_ct"].uncertainty > 0.0
    assert "from proportions and was not measured" in " ".join(report_html(found, blank_pictures(2)).split())
    stated = Uncertainty(0.02, 0.02, 1.0)
    assert compare(design, FINE, tilts=(0.0,), uncertainty=stated, **COARSE).uncertainties == (stated, stated)


def test_every_number_has_words(found):
    for name in (*found.light[0][0], *found.proportions[0]):
        assert words(name).name
        assert "_" not in words(name).name
        assert "pct" not in words(name).name


def test_no_shift_leads_beyond_what_a_number_can_be():
    """An even stone's symmetry of 1 is shifted down by errors; the true stone is not expected above 1 for that."""
    assert within_nature("symmetry", estimate(1.0, 0.05, shift=-0.3)).best == 1.0
    assert within_nature("symmetry", estimate(0.9, 0.05, shift=-0.05)).best == pytest.approx(0.95)
    assert within_nature("leak", estimate(0.01, 0.05, shift=0.02)).best == 0.0
    assert within_nature("culet_offcentre_pct", estimate(0.1, 0.05, shift=0.2)).best == 0.0
    assert within_nature("twist_deg", estimate(0.1, 0.05, shift=0.2)).best == pytest.approx(-0.1)
    assert math.isnan(within_nature("leak", estimate(0.01, math.nan, shift=math.nan)).best)


def test_every_pair_has_a_verdict():
    values = {"A": estimate(1.0, 0.03), "B": estimate(1.1, 0.03), "C": estimate(1.2, 0.03)}
    verdicts = judge_all("leak", values, coverage=2.5)
    assert [(one.first, one.second, one.outcome) for one in verdicts] == [
        ("A", "B", "not significant"),
        ("A", "C", "smaller"),
        ("B", "C", "not significant"),
    ]


# Poses and the common grid.


def test_stones_are_laid_alike():
    lying = FINE.moved(View(turn_deg=13.0).rotation(), [0.4, -0.3, 0.2])
    here, there = pose_of(FINE).lay(FINE), pose_of(lying).lay(lying)
    assert there.normals == pytest.approx(here.normals, abs=1e-9)
    assert there.vertices_mm[:, :2].max() == pytest.approx(here.vertices_mm[:, :2].max(), abs=1e-9)
    even = round_brilliant(**GOOD)
    assert pose_of(even).lay(even).distances_mm == pytest.approx(even.distances_mm, abs=1e-9)


def test_a_design_has_the_numbers_of_its_trace_to_the_last_digit():
    """The page, ``raylab render`` and the report show the same stone with the same number, tail's rays included."""
    designs = [round_brilliant(**{**GOOD, "pavilion_angle_deg": slope}) for slope in (40.75, 41.2)]
    found = compare(*designs, dome=DOME, tilts=(7.0,), resolution=8)
    for design, summary in zip(designs, found.summaries[0], strict=True):
        own = trace(design, DOME, View(tilt_deg=7.0), resolution=64).summary
        assert [summary.brightness, summary.contrast_rms] == [own.brightness, own.contrast_rms]
        assert summary.brightness.error > 0.0, "a part is sampled, so that the same number means the same rays"


def test_equal_length_and_true_size(found):
    sizes = [measure(stone).diameter_mm.mean for stone in found.shown]
    common = (measure(FINE).diameter_mm.mean + measure(LEAKY).diameter_mm.mean) / 2.0
    assert sizes == pytest.approx([common] * 2, rel=1e-9)
    true = compare(FINE, LEAKY, tilts=(0.0,), scale="true size", **QUICK)
    assert [measure(s).diameter_mm.mean for s in true.shown] == pytest.approx(
        [measure(s).diameter_mm.mean for s in (FINE, LEAKY)]
    )
    assert true.proportions[1]["diameter_mm"].statistic.value == found.proportions[1]["diameter_mm"].statistic.value
    assert true.light[0][0]["leak"].statistic.low == pytest.approx(found.light[0][0]["leak"].statistic.low, abs=1e-9)


def test_stones_of_different_cuts_at_equal_length_and_equal_area():
    """A round one of 6.5 mm beside an oval of 7 by 5 mm: lengths 6.75 mm, or outlines of their mean root of area."""
    offered = round_brilliant(**GOOD), oval_brilliant(table_pct=58.0, length_ratio=1.4, girdle_facets=16)
    found = {scale: compare(*offered, tilts=(0.0,), scale=scale, **COARSE) for scale in SCALES}
    lengths = [extent_of(stone).length_mm for stone in found["equal length"].shown]
    assert lengths == pytest.approx([6.75, 6.75], rel=1e-3)
    areas = [stone.outline_area_mm2 for stone in offered]
    wanted = np.mean(np.sqrt(areas)) ** 2
    assert [stone.outline_area_mm2 for stone in found["equal area"].shown] == pytest.approx([wanted] * 2, rel=1e-9)
    assert [stone.outline_area_mm2 for stone in found["true size"].shown] == pytest.approx(areas, rel=1e-9)
    assert {"diameter_mm", "width_mm"}.isdisjoint(found["true size"].proportion_verdicts())
    for scale, one in found.items():
        page = report_html(one, blank_pictures(2))
        assert ("outlines of one area" in page, "at true size" in page) == (scale == "equal area", scale == "true size")
        assert "7.000 by 5.000 mm" in page
        assert "6.500 mm diameter" in page


def test_the_command_offers_the_scales_of_the_library():
    from raylab.cli.compare import compare as command

    assert re.findall("'(.+?)'", inspect.signature(command).parameters["scale"].annotation) == list(SCALES)


def test_one_grid_holds_every_stone_in_every_view(found):
    grid = common_grid(found.shown, found.views, 40)
    assert found.maps.luminance.dims == ("stone", "tilt_deg", "y", "x")
    assert found.maps.luminance.shape == (2, 2, 40, 40)
    assert found.maps.x.values == pytest.approx(grid.x_mm)
    for k in range(2):
        for v in range(2):
            layers = found.maps.isel(stone=k, tilt_deg=v)
            covered = float(layers.coverage.sum()) * grid.pixel_mm**2
            assert covered == pytest.approx(found.summaries[v][k].area_mm2, rel=1e-9)  # nothing is cut off
            mean = float((layers.leak * layers.coverage).sum() / layers.coverage.sum())
            assert mean == pytest.approx(found.light[v][k]["leak"].statistic.low, abs=1e-9)


def test_the_difference_map_is_the_difference(found):
    layers = found.difference("luminance")
    expected = found.maps.luminance.values[0] - found.maps.luminance.values[1]
    assert np.array_equal(layers.values, expected, equal_nan=True)
    assert np.array_equal(found.difference("luminance", "B", "A").values, -expected, equal_nan=True)
    assert layers.attrs["long_name"] == "luminance, A minus B"


# Verdicts on stones.


def test_a_leaky_stone_leaks_and_a_stone_is_not_distinguished_from_itself(found):
    """A pavilion of 20 degrees lets through what falls straight onto it: the critical angle of diamond is 24.4 degrees."""
    assert found.light_verdicts(0)["leak"][0].outcome == "smaller"
    assert found.light_verdicts(0)["brightness"][0].outcome == "larger"
    assert found.proportion_verdicts()["pavilion_angle_deg"][0].outcome == "larger"
    turned = FINE.moved(View(turn_deg=90.0).rotation())
    twice = compare(FINE, turned, tilts=(0.0,), **{**QUICK, "known_to_pct": 15.0})
    every = [pairs[0] for pairs in (*twice.light_verdicts(0).values(), *twice.proportion_verdicts().values())]
    assert {verdict.outcome for verdict in every} == {"not significant"}
    for name, one in twice.light[0][0].items():
        other = twice.light[0][1][name].statistic
        error = 5.0 * math.hypot(one.statistic.error, other.error)  # of the rays that tell symmetry
        assert other.value == pytest.approx(one.statistic.value, abs=1e-6 + error), name


def test_bodies_without_names_and_without_a_pattern_are_compared_too():
    bare = body(FINE.normals, FINE.distances_mm, name="bare")
    found = compare(bare, random_polyhedron(4), tilts=(0.0,), **COARSE)
    assert [one.tiers_from for one in found.measurements] == ["shape", "shape"]
    assert found.stones[0].tiers == FINE.tiers
    assert found.light[0][0]["leak"].statistic.low == pytest.approx(
        trace(pose_of(FINE).lay(FINE), DOME, resolution=8, precision=0.3).summary.ledger["leak"].low, abs=1e-9
    )
    assert set(found.proportion_verdicts()) == {
        "depth_pct",
        "length_mm",
        "width_mm",
        "length_ratio",
        "weight_ct",
        "volume_mm3",
        "spread_mm2_per_ct",
    }
    assert "symmetry" not in found.light_verdicts(0)
    assert "unknown for" not in report_html(found, blank_pictures(2))


def test_a_number_that_one_of_three_stones_lacks_still_tells_the_other_two_apart(found):
    """A third stone without a symmetry of its own takes nothing from what is said of the first two."""
    bare = {name: one for name, one in found.light[0][0].items() if name != "symmetry"}
    light = tuple((*row, bare) for row in found.light)
    three = replace(
        found, labels=(*found.labels, "C"), uncertainties=(*found.uncertainties, EXACT), light=light,
        proportions=(*found.proportions, {}), stones=(*found.stones, found.stones[0]),
    )  # fmt: skip
    first, *others = three.light_verdicts(0)["symmetry"]
    assert first == found.light_verdicts(0)["symmetry"][0]
    assert [(one.first, one.second, one.outcome) for one in others] == [("A", "C", "unknown"), ("B", "C", "unknown")]
    assert three.proportion_verdicts()["crown_angle_deg"][0] == found.proportion_verdicts()["crown_angle_deg"][0]
    (row,) = [row for row in tables.light(three)[0]["rows"] if row["name"].startswith("Symmetry")]
    assert [cell["value"] for cell in row["cells"]][2:] == ["-"]
    assert three.certain_word() == "significant"
    assert three.certain_word(("C",)) == "resolved"


def test_values_are_those_of_a_plain_trace(found):
    alone = trace(found.shown[1], DOME, View(tilt_deg=12.0), resolution=20, precision=1e-2).summary
    for name in ("brightness", "contrast_rms", "glare"):
        assert found.light[1][1][name].statistic == getattr(alone, name)
    assert "untraced" in found.light[0][0]
    assert "untraced" not in found.light_verdicts(0)
    assert "absorbed" not in found.light_verdicts(0)  # nothing is absorbed in clear stones


def test_everything_is_reported_as_json(found):
    outcome = json.loads(json.dumps(found.to_dict()))
    assert [view["tilt_deg"] for view in outcome["views"]] == [0.0, 12.0]
    leak = outcome["views"][0]["values"]["B"]["leak"]
    assert leak["bracket_low"] <= leak["value"] <= leak["bracket_high"]
    assert leak["uncertainty"] > 0.0
    assert outcome["views"][0]["verdicts"]["leak"][0]["outcome"] == "smaller"
    assert outcome["poses"]["A"]["scaled"] * measure(FINE).diameter_mm.mean == pytest.approx(
        outcome["poses"]["B"]["scaled"] * measure(LEAKY).diameter_mm.mean
    )
    assert outcome["uncertainty"]["A"] == {"angle_deg": 0.05, "common_angle_deg": 0.05, "distance_um": 3.0}
    assert not any(word in json.dumps(outcome).lower() for word in ("grade", "score", "price", "rank", "best_"))


def test_the_same_seed_gives_the_same_comparison_and_progress_is_reported():
    outcome: list[float] = []
    once = compare(FINE, LEAKY, tilts=(0.0,), **COARSE)
    again = compare(FINE, LEAKY, tilts=(0.0,), **COARSE, progress=lambda done, total: outcome.append(done / total))
    assert json.dumps(again.to_dict()) == json.dumps(once.to_dict())
    assert outcome == sorted(outcome)
    assert len(outcome) == 2 + 2 * 8  # traces, then errors of both sizes for each stone
    assert outcome[-1] == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("stones", "changed", "line"),
    [
        ((FINE,), {}, "stones = 1: wrong number of stones; expected 2 to 26 stones"),
        ((FINE, FINE), {"tilts": (5.0, 5.0)}, "tilts = [5.0, 5.0]: empty or repeated"),
        ((FINE, FINE), {"tilts": ()}, "tilts = []: empty or repeated"),
        (
            (FINE, FINE),
            {"scale": "huge"},
            "scale = 'huge': unknown scale; expected 'equal length' or 'equal area' or 'true size'",
        ),
        (
            (FINE, FINE),
            {"view": View(distance_mm=250.0)},
            "engine: the engine `beams` can't trace this scene: it needs a parallel view",
        ),
        (
            (FINE, FINE),
            {"settings": TraceSettings((500.0, 600.0))},
            "wavelengths_nm = [500.0, 600.0]: more than one wavelength; expected a single wavelength",
        ),
        ((FINE, FINE), {"uncertainty": [Uncertainty()]}, "uncertainty = 1: wrong number of uncertainties; expected 1 or 2"),
        ((FINE, FINE), {"resolution": 0}, "resolution = 0: out of range"),
        ((FINE, FINE), {"coverage": 0.0}, "coverage = 0.0: out of range"),
    ],
)
def test_what_cannot_be_compared_is_reported_in_one_line(stones, changed, line):
    with pytest.raises(InputError) as caught:
        compare(*stones, **{**QUICK, **changed})
    assert str(caught.value).startswith(line)


# The command.

STONE = """\
schema = 1
[stone]
cut = "round brilliant"
name = "[red]{name}[/red]"
table_pct = {table}
crown_angle_deg = 34.5
pavilion_angle_deg = 40.75
girdle_facets = 16
"""
FEW = ("--known-to-pct", "45", "--resolution", "24", "--precision", "0.02", "--tilt-deg", "0")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "a.toml").write_text(STONE.format(name="a", table=55))
    (tmp_path / "b.toml").write_text(STONE.format(name="b", table=62))
    return tmp_path


def raylab(*words: str | Path, cwd: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "raylab", *map(str, words)],
        cwd=cwd,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        timeout=240,
        check=False,
    )


def test_the_command_writes_everything_and_says_the_numbers(folder, capsys, monkeypatch):
    (folder / "b.toml").rename(folder / "Zweite Größe.toml")
    offers = ("a.toml", "Zweite Größe.toml", "--no-looks")
    done = raylab("compare", *offers, "--out", "deep/out", *FEW, cwd=folder)
    assert (done.returncode, done.stderr) == (0, "")
    maps = {f"{stone}-{name}.png" for stone in ("a", "zweite-grosse") for name in ("luminance", "contrast", "leak")}
    drawings = {"ledger.svg", "a-drawing.svg", "zweite-grosse-drawing.svg"}
    pair = {"a-and-zweite-grosse-verdicts.svg", "a-and-zweite-grosse-difference.png"}
    out = folder / "deep" / "out"
    assert set(os.listdir(out)) == {"report.html", "comparison.json", *maps, *drawings, *pair}
    facts = json.loads((out / "comparison.json").read_text())
    assert facts["stones"]["A"]["name"] == "[red]a[/red]"
    assert "A  [red]a[/red]: diamond" in done.stdout
    for verdict in (pairs[0] for pairs in facts["views"][0]["verdicts"].values()):
        assert verdict["sentence"] in done.stdout
    assert (out / "a-leak.png").read_bytes().startswith(b"\x89PNG")
    assert (out / "ledger.svg").read_text().startswith("<?xml")
    assert "no grade, no valuation and no cutting order" in done.stdout
    monkeypatch.chdir(folder)
    assert main(["compare", *offers, "--out", "deep/out", *FEW]) == 2
    outcome = capsys.readouterr().err
    assert "exists already; nothing was written" in outcome
    assert outcome.count("\n") == 1


def test_the_command_prints_json_for_machines(folder, capsys, monkeypatch):
    monkeypatch.chdir(folder)
    assert main(["compare", "a.toml", "b.toml", "--json", "--scale", "true size", *FEW]) == 0
    outcome = capsys.readouterr()
    assert outcome.err == ""
    assert json.loads(outcome.out)["scale"] == "true size"
    assert sorted(folder.iterdir()) == [folder / "a.toml", folder / "b.toml"]


def test_a_scans_own_scatter_counts(monkeypatch, folder):
    """Facet by facet for the scanned stone; as stated for the other."""
    seen: dict[str, list[Uncertainty]] = {}

    def caught(*stones, uncertainty, **_):
        seen["doubts"] = uncertainty
        raise InputError("seen enough")

    monkeypatch.setattr("raylab.comparison.comparing.compare", caught)
    scan = ROOT / "scenes" / "stones" / "offer-a.ply"
    assert main(["compare", str(scan), str(folder / "a.toml"), "--unit", "mm", "--angle-deg", "0.04"]) == 2
    scanned, stated = seen["doubts"]
    report = load_scan(scan, unit="mm").report
    assert scanned == report.uncertainty(Uncertainty(angle_deg=0.04))
    assert max(scanned.angle_deg) > 0.04
    assert stated == Uncertainty(angle_deg=0.04)
    assert main(["compare", str(scan), str(folder / "a.toml"), "--unit", "mm"]) == 2
    assert seen["doubts"] == [report.uncertainty(Uncertainty()), EXACT]


@pytest.mark.parametrize(
    ("given", "line"),
    [
        (("a.toml",), "stones = 1: wrong number of stones"),
        (("a.toml", "c.toml"), "c.toml: "),
        (("a.toml", "b.toml", "--dome", "dark"), "dome = 'dark'"),
        (("a.toml", "b.toml", "--angle-deg", "-1"), "--angle-deg = -1.0: out of range"),
        (("a.toml", "b.toml", "--tilt-deg", "0", "--tilt-deg", "0"), "--tilt-deg = [0.0, 0.0]"),
        (("a.toml", "b.toml", "--known-to-pct", "0"), "--known-to-pct = 0.0: out of range"),
        (("a.toml", "b.toml", "--scale", "huge"), "--scale"),
    ],
)
def test_the_command_refuses_in_one_line(folder, given, line, capsys, monkeypatch):
    monkeypatch.chdir(folder)
    assert main(["compare", *given, "--out", "out"]) == 2
    outcome = capsys.readouterr()
    assert outcome.out == ""
    assert outcome.err.startswith("raylab: ")
    assert line in outcome.err
    assert outcome.err.count("\n") == 1
    assert not (folder / "out").exists()


# In a notebook


def test_a_notebook_shows_every_stone_number_and_verdict(found):
    text = assert_fit_for_a_notebook(found, pictures=2 * len(found.views))
    for k in range(len(found.views)):
        assert found.light_verdicts(k)["brightness"][0].phrase in text
        assert all(words("leak").show(each["leak"].statistic.value) in text for each in found.light[k])
    assert "A (fine)" in text
    assert len(repr(found)) < 200
