"""The designs of a sweep: points made run by run, conditions between axes, and how designs are dealt out."""

from __future__ import annotations

import math
import pickle
import warnings
from dataclasses import replace

import numpy as np
import pytest
import xarray as xr
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import qmc

import raylab as rl
from raylab.cli import main
from raylab.cli.sweep import _facts
from raylab.designs.design import COLUMNS
from raylab.designs.keys import EXCLUDED, REASONS
from raylab.sweeps import points as points_module
from raylab.sweeps.axes import plan_of
from raylab.sweeps.counting import count_of
from raylab.sweeps.dealing import Deal, block_shape
from raylab.sweeps.points import MOST_KEPT, MOST_POINTS, Points
from raylab.sweeps.sweep_file import read_sweep_file
from raylab.sweeps.workers import Chunk, Work
from raylab.tracers.engines import settled

FLAT = rl.LinearBound({"crown_angle_deg": 1, "pavilion_angle_deg": 1}, at_most=76)
GRID = {"crown_angle_deg": [33.0, 34.0, 35.0], "pavilion_angle_deg": [40.0, 41.0, 42.0]}
FIXED = {"table_pct": 57.0, "dome": "even-sky"}


# Points


@pytest.mark.parametrize("layout", MOST_POINTS)
def test_points_are_those_of_their_maker_whatever_is_asked_for_first(layout, monkeypatch):
    monkeypatch.setattr(points_module, "BLOCK", 16)
    makers = {"sobol": qmc.Sobol, "halton": qmc.Halton, "latin": qmc.LatinHypercube}
    rng = np.random.default_rng(7)
    whole = makers[layout](d=3, rng=rng).random(128) if layout in makers else rng.random((128, 3))
    points = Points(layout, 128, 3, 7)
    with warnings.catch_warnings():
        warnings.simplefilter("error")  # scipy's, that a run of Sobol' numbers is out of balance
        for start, stop in ((100, 101), (0, 16), (5, 90), (127, 128), (0, 128), (20, 20)):
            assert np.array_equal(points.rows(start, stop), whole[start:stop])


def test_an_axis_that_is_made_when_asked_for_is_a_sequence():
    axes = {"crown_angle_deg": rl.between(30, 40), "dome": ["even-sky", "head-shadow"]}
    plan = plan_of(axes, {"table_pct": 57.0, "pavilion_angle_deg": 41.0}, "random", 5000, 3)
    column = plan.columns["crown_angle_deg"]
    whole = list(column)
    assert (len(column), column[4999], column[-1], column[4095:4098]) == (5000, whole[-1], whole[-1], tuple(whole[4095:4098]))
    assert column[10:2:-3] == tuple(whole[10:2:-3])
    assert column[7:7] == ()
    with pytest.raises(IndexError):
        column[5000]
    design = next(plan.designs(4999, 9999))
    assert (design["crown_angle_deg"], design["dome"]) == (whole[-1], plan.columns["dome"][4999])


def test_ten_million_designs_are_no_list(tmp_path):
    """The plan, one of its last designs, and what tells it from others: in a moment."""
    axes = {key: rl.between(30 + k, 31 + k) for key, k in (("crown_angle_deg", 0), ("pavilion_angle_deg", 10))}
    plan = plan_of(axes, FIXED, "sobol", 2**24)
    assert len(plan) == 16_777_216
    assert 40.0 <= next(plan.designs(2**24 - 1, 2**24))["pavilion_angle_deg"] < 41.0
    plan.run(2**24 - 2**17, 2**24 - 2**16)
    assert all(len(column.points._made) <= MOST_KEPT for column in plan.columns.values())
    assert len(pickle.dumps(plan)) < 20_000, "to a worker go no points"


def test_more_layers_than_a_latin_hypercube_is_made_of_are_refused():
    with pytest.raises(rl.InputError, match="a whole number from 1 to 1048576"):
        plan_of({"crown_angle_deg": rl.between(30, 40)}, {**FIXED, "pavilion_angle_deg": 41.0}, "latin", 2**20 + 1)


# Conditions


def met(condition, **design) -> bool:
    return condition(design)


def test_a_bound_is_met_where_it_is_reached_to_rounding():
    assert met(FLAT, crown_angle_deg=35.0, pavilion_angle_deg=41.0)
    assert not met(FLAT, crown_angle_deg=35.0, pavilion_angle_deg=41.001)
    tenth = rl.LinearBound({"a": 1, "b": 1}, at_most=0.3, at_least=0.3)
    assert 0.1 + 0.2 != 0.3
    assert met(tenth, a=0.1, b=0.2)
    assert not met(tenth, a=0.1, b=0.2 + 1e-8)
    assert not met(tenth, a=0.1, b=0.2 - 1e-8)
    ratio = rl.LinearBound({"a": 1, "b": -2.5}, at_least=0)
    assert [met(ratio, a=5.0, b=b) for b in (1.9, 2.0, 2.1)] == [True, True, False]
    assert str(ratio) == "a - 2.5 b at least 0"


@pytest.mark.parametrize(
    ("stated", "words"),
    [
        ({"sum": {}, "at_most": 1}, "sum: not a sum of keys"),
        ({"sum": {"a": 1}}, "at_least or at_most: missing"),
        ({"sum": {"a": math.nan}, "at_most": 1}, "sum: a = nan: out of range"),
        ({"sum": {"a": "1"}, "at_most": 1}, "sum: a = '1': not a number"),
        ({"sum": {"dome": 1}, "at_most": 1}, "dome: has names, not numbers"),
        ({"sum": {"a": 1}, "at_most": 1, "at_least": 2}, "at_least = 2: empty range"),
        ({"sum": {"a": 1}, "at_most": math.inf}, "at_most = inf: out of range"),
    ],
)
def test_bounds_that_are_none_are_one_line(stated, words):
    with pytest.raises(rl.InputError) as refused:
        rl.LinearBound(**stated)
    assert words in str(refused.value)


def odd(design) -> bool:
    return design["crown_angle_deg"] != 34.0


def swept(**other) -> xr.Dataset:
    given = {"axes": GRID, "processes": 1, "settings": rl.TraceSettings(precision=0.2), **FIXED, **other}
    return rl.sweep(**given)


def test_what_a_condition_excludes_is_told_and_keeps_its_place(capsys):
    """35 with 42 is too steep, and the function takes all of 34: five are left, with the numbers that they have anyway."""
    found, whole = swept(conditions=[FLAT, odd], progress=True), swept()
    excluded = found.reason == EXCLUDED
    assert REASONS[EXCLUDED][0] == "excluded"
    assert excluded.values.tolist() == [[False] * 3, [True] * 3, [False, False, True]]
    for name in ("brightness", "weight_ct", "depth_pct"):
        assert np.array_equal(found[name].where(~excluded), whole[name].where(~excluded), equal_nan=True)
        assert found[name].where(excluded).isnull().all()
    assert found.attrs["conditions"] == "crown_angle_deg + pavilion_angle_deg at most 76; odd"
    told = "5 of 9 designs meet the conditions: crown_angle_deg + pavilion_angle_deg at most 76 excludes 1; odd excludes 3"
    assert told in capsys.readouterr().err


def test_conditions_change_no_number_in_pieces_and_go_to_workers(tmp_path):
    limits = {
        "axes": {key: rl.between(values[0], values[-1]) for key, values in GRID.items()},
        "layout": "random",
        "number": 12,
    }
    limits["conditions"] = [lambda design: design["crown_angle_deg"] < 34.5]
    alone = swept(**limits)
    assert 0 < int((alone.reason == EXCLUDED).sum()) < 12
    xr.testing.assert_identical(swept(**limits, out=tmp_path / "z", zarr=True).load(), alone)
    plan = plan_of(limits["axes"], FIXED, "random", 12, conditions=limits["conditions"])
    told = plan_of(limits["axes"], FIXED, "random", 12, conditions=[rl.LinearBound({"crown_angle_deg": 1}, at_most=34.5)])
    assert (plan.anywhere, told.anywhere) == (False, True)
    settings = settled(rl.TraceSettings(precision=0.2))
    for work, kept in (
        (Work(replace(plan, conditions=()), settings, None), plan.kept(2, 12)),
        (Work(told, settings, None), None),
    ):
        sent, chunk = pickle.loads(pickle.dumps((work, Chunk(0, 2, 12, kept))))  # as they go to a worker
        rows = sent.traced(chunk)
        for column, name in enumerate(COLUMNS):
            assert np.array_equal(rows[:, column], alone[name].values[2:], equal_nan=True), name


def test_functions_are_told_apart_by_what_they_exclude(tmp_path):
    found = swept(out=tmp_path, conditions=[odd])
    xr.testing.assert_identical(swept(out=tmp_path, conditions=[lambda design: design["crown_angle_deg"] % 2 == 1]), found)
    with pytest.raises(rl.InputError, match="another sweep: its conditions exclude other designs"):
        swept(out=tmp_path, conditions=[FLAT])
    with pytest.raises(rl.InputError, match="another sweep: its conditions exclude other designs"):
        swept(out=tmp_path)


@pytest.mark.parametrize(
    ("conditions", "words"),
    [
        ([rl.LinearBound({"crown_angle": 1}, at_most=1)], "crown_angle: no key of every design"),
        ([76], "conditions = 76: not a condition"),
        (rl.LinearBound({"crown_angle_deg": 1}, at_most=1), "not a list; expected a list of conditions, also of one"),
        ([lambda design: None], "conditions: the condition <lambda> gave None for a design; expected True or False"),
        ([lambda design: design["crown"]], "conditions: the condition <lambda> failed on a design: KeyError: 'crown'"),
        ([lambda design: False], "no design is left: 0 of 9 designs meet the conditions: <lambda> excludes 9"),
    ],
)
def test_conditions_that_cannot_be_are_one_line(conditions, words):
    with pytest.raises(rl.InputError) as refused:
        swept(conditions=conditions)
    assert words in str(refused.value)
    assert "\n" not in str(refused.value)


FILE = """
schema = 1
[axes]
crown_angle_deg = [33, 34, 35]
pavilion_angle_deg = [40, 41, 42]
[fixed]
table_pct = 57
dome = "even-sky"
[sweep]
precision = 0.2
[[condition]]
sum = { crown_angle_deg = 1, pavilion_angle_deg = 1 }
at_most = 76
[[condition]]
sum = { crown_angle_deg = 2, table_pct = -1 }
at_least = 10
[plots]
statistics = ["leak"]
"""


def test_a_file_states_conditions(tmp_path, capsys):
    path = tmp_path / "s.toml"
    path.write_text(FILE)
    request = read_sweep_file(path)
    assert request.plan.conditions == (FLAT, rl.LinearBound({"crown_angle_deg": 2, "table_pct": -1}, at_least=10))
    assert count_of(request.plan).traced == 5
    found = rl.sweep(**request.arguments, processes=1, progress=True)
    assert "5 of 9 designs meet the conditions" in capsys.readouterr().err
    assert _facts(request, found)["reasons"] == {"traced": 5, "excluded": 4}


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("crown_angle_deg = 1,", "crown_angel_deg = 1,", "condition.crown_angel_deg: no key of every design"),
        ("at_most = 76", "below = 76", "condition#1.below = 76: unknown key"),
        ("at_most = 76", "at_most = 'low'", "condition#1.at_most = 'low': wrong type; expected a number"),
        ("at_most = 76\n", "", "condition#1.at_least or condition#1.at_most: missing"),
        ("at_most = 76", "at_most = 60", "no design is left: 0 of 9 designs meet the conditions"),
        ("{ crown_angle_deg = 2, table_pct = -1 }", "3", "condition#2.sum = 3: wrong type"),
        ("table_pct = -1", "table_pct = 'a'", "condition#2.sum: table_pct = 'a': not a number"),
    ],
)
def test_faults_of_conditions_in_a_file_are_one_line(old, new, words, tmp_path, capsys):
    path = tmp_path / "s.toml"
    path.write_text(FILE.replace(old, new))
    assert main(["sweep", str(path), "--out", str(tmp_path / "out")]) == 2
    line = capsys.readouterr().err
    assert words in line
    assert line.count("\n") == 1
    assert not (tmp_path / "out").exists()


# How designs are dealt out


@given(
    shape=st.lists(st.integers(1, 6), min_size=1, max_size=4).map(tuple),
    most=st.integers(1, 60),
    size=st.integers(1, 40),
    whole=st.booleans(),
)
def test_blocks_and_chunks_share_out_all_designs(shape, most, size, whole):
    """Each design lies in one chunk and one block; a block's box of the array is the run of its designs."""
    deal = Deal(shape, shape if whole else block_shape(shape, most), size)
    numbers = np.arange(math.prod(shape)).reshape(shape)
    seen: list[int] = []
    for block in range(deal.blocks):
        run = numbers[tuple(slice(*ends) for ends in deal.corner(block))].ravel().tolist()
        assert run == list(range(*deal.block_span(block)))
        assert whole or len(run) <= most
        seen += run
    assert seen == list(range(math.prod(shape)))
    traced: list[int] = []
    for chunk in range(deal.chunks):
        start, stop = deal.span(chunk)
        first, last = deal.block_span(deal.block_of(chunk))
        assert first <= start <= stop <= last
        assert stop - start <= size
        traced += range(start, stop)
    assert traced == seen
