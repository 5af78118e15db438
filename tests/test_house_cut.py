"""A new cut is one file and one row: a toy cut put among raylab's cuts, and everything that lists or uses cuts follows."""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
from inspect import Parameter, signature
from pathlib import Path
from typing import Any, get_args

import pytest

import raylab as rl
from raylab.cutting.last_facets import CHOICES
from raylab.stone.cuts import CUTS
from raylab.stone.known_cuts import measured_by_key
from raylab.stone.tier import SHARED

HERE = Path(__file__).parent


@pytest.fixture(scope="module")
def facts(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """What a raylab with the toy cut says; the package is copied with its compiled code."""
    home = tmp_path_factory.mktemp("house")
    package = Path(rl.__file__).parent
    shutil.copytree(package, home / "raylab")
    cuts = home / "raylab" / "stone" / "cuts"
    shutil.copy(HERE / "toy_cut.py", cuts / "square_pyramid.py")
    table = (cuts / "__init__.py").read_text(encoding="utf-8")
    row = "        ROUND_BRILLIANT,\n"
    assert table.count(row) == 1
    table = table.replace(row, row + "        PYRAMID,\n")
    table = table.replace("from .cut import Cut\n", "from .cut import Cut\nfrom .square_pyramid import PYRAMID\n")
    (cuts / "__init__.py").write_text(table, encoding="utf-8")
    done = subprocess.run(
        [sys.executable, HERE / "toy_cut_checks.py", home],
        env={**os.environ, "PYTHONPATH": str(home)},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


def test_the_toy_is_built_and_refused_by_name(facts):
    assert facts["stone"] == [13, "square pyramid", 8, ["girdle", "lower side", "table", "upper side"]]
    assert facts["unstated"] == "side_slope_deg: missing; expected 10 to 80 degrees"
    assert facts["foreign"].startswith(
        "star_pct: no parameter of the square pyramid, but of the round brilliant and others; expected one of side_slope_deg"
    )
    assert facts["beyond"].startswith(
        "table_width_pct = 100.0: the table would reach beyond the girdle; expected at most 99.99 %"
    )
    assert facts["twice"].startswith("weight_ct: width_mm and weight_ct are alternatives")


def test_files_hold_it(facts):
    assert facts["weight_ct"] == pytest.approx(1.0, rel=1e-12)
    cut, off = facts["again"]
    assert cut == "square pyramid"
    assert off <= 1e-15


def test_designs_sweeps_and_searches_know_its_keys(facts):
    assert facts["swept"] == [["side_slope_deg"], "slope of the lower sides", [0, 0, 0]]
    assert facts["mixed"][0] < facts["mixed"][1]
    assert facts["gradient"] == ["side_slope_deg", "table_width_pct"], "not the size"
    assert facts["best"]["side_slope_deg"] == pytest.approx(44.0, abs=0.05)
    assert facts["sweep"]["reasons"] == {"traced": 2, "sides_miss_each_other": 2}


def test_it_is_measured_as_its_own_file_says(facts):
    assert set(facts["measured"]) == {"diameter_mm", "depth_pct", "side_slope_deg"}
    assert facts["measured"]["side_slope_deg"] == pytest.approx(42.0, abs=1e-12)
    assert facts["words"] == ["42.00°", "slope of the lower sides, largest minus smallest"]
    assert any(re.match("Slope of the lower sides: A .*; B larger than A by", line) for line in facts["verdicts"])
    assert "slope of the lower sides" in facts["measure"]
    assert "square pyramid" in facts["measure"]


def test_the_page_gets_its_sliders(facts):
    shown = {one["key"]: one for one in facts["start"]["parameters"]}
    assert shown["side_slope_deg"]["slider"] == {"low": 30.0, "high": 60.0, "step": 0.1}
    assert (shown["side_slope_deg"]["label"], shown["side_slope_deg"]["unit"]) == ("Slope of the lower sides", "°")
    assert set(shown) == {"side_slope_deg", "table_width_pct", "width_mm"}
    assert (facts["design"]["kind"], facts["design"]["cut"]) == ("proportions", "square pyramid")
    assert facts["same"] == pytest.approx(1.0, rel=1e-9), "a weight becomes the width that gives it"
    assert facts["answer"] > 10_000, "a picture"


def test_the_command_line_lists_it(facts):
    assert re.search(r"square pyramid +a toy", facts["listed"])
    assert facts["parameters"].startswith("square pyramid: a toy")
    assert "10 to 80 degrees" in facts["parameters"]
    first, *others = CUTS
    assert [cut["name"] for cut in facts["listed_json"]] == [first, "square pyramid", *others]


# --- the cuts that raylab ships --------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", CUTS)
def test_a_cuts_own_function_has_its_parameters(name):
    """`rl.round_brilliant` for "round brilliant": each parameter of the cut once, with its default and its kind."""
    cut, function = CUTS[name], getattr(rl, name.lower().replace(" ", "_").replace("-", "_"))
    facts = signature(function, eval_str=True).parameters
    assert set(facts) == {*cut.keys, "material", "name"}
    alternatives = {key for pair in cut.alternatives for key in pair}
    for key, one in cut.keys.items():
        stated = None if key in alternatives else one.default
        wanted = Parameter.empty if stated is None and key not in alternatives and not one.optional else stated
        assert facts[key].default == wanted, key
        kinds = {one.kind, type(None)} if key in alternatives else {one.kind}
        assert {*(get_args(facts[key].annotation) or [facts[key].annotation])} >= kinds, key
        assert facts[key].kind is Parameter.KEYWORD_ONLY
    assert facts["name"].default == name


@pytest.mark.parametrize("name", CUTS)
def test_a_cut_is_reported_consistently(name):
    cut = CUTS[name]
    tiers = {tier.name: tier for tier in cut.tiers}
    assert len(tiers) == len(cut.tiers)
    assert all(set(tier.mates) <= set(tiers) for tier in cut.tiers)
    assert all(tier.painted_toward is None or tiers[tier.painted_toward].main for tier in cut.tiers)
    assert all(tier.borders is None or tiers[tier.borders] in SHARED for tier in cut.tiers)
    assert cut.size in cut.keys
    for one in cut.parameters:
        assert one.label
        assert one.description
        assert one.instead_of is None or one.instead_of in cut.keys
        if one.default is not None:
            assert one.plain(one.default) == one.default
            one.checked(one.default)
        if one.slider is not None:
            assert one.low <= one.slider.low < one.slider.high <= one.high
    for one in cut.measured:
        assert one.key not in cut.keys or one.label == cut.keys[one.key].label


def test_a_key_means_the_same_in_every_cut():
    for cut in CUTS.values():
        for one in cut.measured:
            known = measured_by_key()[one.key]
            assert (known.label, known.unit) == (one.label, one.unit)
        for one in cut.parameters:
            same = [other.keys[one.key] for other in CUTS.values() if one.key in other.keys]
            assert {(other.label, other.unit, other.kind) for other in same} == {(one.label, one.unit, one.kind)}


def test_last_facets_are_their_choices():
    facts = signature(rl.LastFacets).parameters
    assert list(facts) == [one.key for one in CHOICES]
    assert [facts[one.key].default for one in CHOICES] == [one.default for one in CHOICES]


def test_the_command_for_last_facets_has_an_option_for_each_choice():
    from raylab.cli.brillianteer import brillianteer

    assert {one.key for one in CHOICES} <= set(signature(brillianteer).parameters)


def test_a_tiers_name_stands_for_one_side():
    sides: dict[str, set[str]] = {}
    for cut in CUTS.values():
        for tier in cut.tiers:
            sides.setdefault(tier.name, set()).add(tier.side)
    assert all(len(found) == 1 for found in sides.values())


def test_the_general_door():
    given = {"table_pct": 57, "crown_angle_deg": 34.5, "pavilion_angle_deg": 40.75, "material": "spinel", "name": "mine"}
    one, other = rl.cut("round brilliant", **given), rl.round_brilliant(**given)
    assert (one.normals == other.normals).all()
    assert (one.name, one.material, one.cut) == ("mine", other.material, "round brilliant")
    with pytest.raises(rl.InputError, match="cut = 'round briliant': unknown cut; did you mean 'round brilliant'"):
        rl.cut("round briliant", **given)
    assert [cut.name for cut in rl.cuts()] == list(CUTS)
