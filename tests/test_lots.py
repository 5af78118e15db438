"""Designs that an engine builds itself have the rows, and the reasons, of designs whose stones are built one by one."""

from __future__ import annotations

import building_engine
import numpy as np
import pytest
from building_engine import POINTS, HostEngine

import raylab as rl
from raylab.designs.columns import Columns, Picked
from raylab.designs.design import COLUMNS, trace_designs
from raylab.designs.keys import REASONS
from raylab.designs.lots import builds_all
from raylab.engine_table import ENGINES
from raylab.scene.settings import TraceSettings
from raylab.sweeps.axes import between, plan_of
from raylab.tracers.engine import BuildingEngine
from raylab.tracers.ledger import LEAK, SCATTERED
from raylab.tracers.randomizations import RANDOMIZATIONS

MANY = {
    "cut": ["round brilliant", "old European cut"],
    "table_pct": [57.0, 58.0],
    "crown_height_pct": [15.0, 16.0],
    "pavilion_angle_deg": [41.0, 89.5],
    "girdle_pct": [3.5, 0.1],
    "girdle_finish": ["polished", "absorbing"],
    "dome": ["head-shadow", "overcast-sky"],
    "tilt_deg": [0.0, 9.0],
    "wavelength_nm": [589.3, 100.0],
    "absorption_per_mm": [0.0, 0.05],
    "girdle_facets": [16, 17],
}
ROUND = {"table_pct": 57.0, "crown_angle_deg": 34.5, "dome": "head-shadow", "girdle_facets": 16}


@pytest.fixture
def engine(monkeypatch):
    """The engine `host`, known for the time of a test."""
    found = HostEngine()
    monkeypatch.setitem(ENGINES, "host", "building_engine")
    monkeypatch.setattr(building_engine, "ENGINE", found)
    return found


SETTINGS = {"min_weight": 1e-2}


def alone(run, engine):
    """The rows of the designs one by one, as of an engine that builds nothing."""
    return trace_designs(list(run), TraceSettings(engine="host", **SETTINGS))


def test_rows_and_reasons_are_those_of_designs_one_by_one(engine):
    """Two cuts under two domes, tilts, finishes and colours; numbers out of range, no stones, an index that isn't known, and
    some that the engine leaves."""
    assert isinstance(engine, BuildingEngine)
    run = plan_of(MANY, {}).run(0, 2**11)
    some = run.at(np.random.default_rng(1).choice(len(run), 400, replace=False))
    found = trace_designs(some, TraceSettings(engine="host", **SETTINGS))
    lots, left = list(engine.lots), len(engine.alone)
    wanted = alone(some, engine)
    np.testing.assert_allclose(found, wanted, rtol=1e-12, atol=1e-12)
    names = {REASONS[int(code)][0] for code in found[:, -1]}
    assert names >= {"traced", "out_of_range", "girdle_vanishes", "index_not_known"}
    assert len(lots) > 8
    assert {lot.cut for lot in lots} == set(MANY["cut"])
    assert sum(len(lot.values["table_pct"]) for lot in lots) > 30
    assert all(
        "crown_height_pct" not in lot.values and lot.stated["girdle_finish"].kind in MANY["girdle_finish"] for lot in lots
    )
    assert 0 < left < (found[:, -1] == 0).sum(), "only what it leaves is built here"


def test_what_it_does_not_build_is_built_here(engine):
    engine.not_built = ("single cut",)
    axes = {"cut": ["round brilliant", "single cut"], "pavilion_angle_deg": [41.0, 42.0]}
    run = plan_of(axes, ROUND).run(0, 4)
    np.testing.assert_allclose(trace_designs(run, TraceSettings(engine="host", **SETTINGS)), alone(run, engine), rtol=1e-12)
    assert [lot.cut for lot in engine.lots] == ["round brilliant"]
    keys = ("table_pct", "crown_angle_deg", "pavilion_angle_deg", "dome")
    assert builds_all(engine, ["round brilliant"], keys)
    assert not builds_all(engine, axes["cut"], keys)
    assert not builds_all(engine, ["round brilliant"], [*keys, "star.slope_deg"]), "facets are moved here"
    assert not builds_all(engine, ["round brilliant"], ["stone", "dome"])


def test_facets_that_are_moved_and_stones_as_they_are(engine):
    moved = plan_of({"star.slope_deg": [0.0, 0.3]}, {**ROUND, "pavilion_angle_deg": 41.0}).run(0, 2)
    stone = rl.cut("single cut", table_pct=57, crown_angle_deg=34, pavilion_angle_deg=42)
    given = plan_of({"tilt_deg": [0.0, 5.0]}, {"stone": stone, "dome": "even-sky"}).run(0, 2)
    for run in (moved, given):
        np.testing.assert_array_equal(trace_designs(run, TraceSettings(engine="host", **SETTINGS)), alone(run, engine))
    assert not engine.lots


def test_a_design_has_the_same_bits_whatever_is_traced_with_it(engine):
    axes = {"pavilion_angle_deg": between(38.0, 44.0), "star_pct": between(40.0, 60.0), "tilt_deg": [0.0, 5.0]}
    run, settings = plan_of(axes, ROUND, "random", 24, 5).run(0, 24), TraceSettings(engine="host", **SETTINGS)
    together = trace_designs(run, settings)
    for chosen in (np.arange(7), np.arange(23, 24), np.arange(24) % 3 == 0):
        assert trace_designs(run.at(chosen), settings).tobytes() == together[chosen].tobytes()
    assert together.shape == (24, len(COLUMNS))


def test_columns_are_the_designs(engine):
    axes = {"girdle_facets": [16, 32], "pavilion_angle_deg": [40.0, 41.0, 42.0], "dome": ["even-sky", "head-shadow"]}
    plan = plan_of(axes, {**{key: value for key, value in ROUND.items() if key not in axes}})
    run = plan.run(0, len(plan))
    listed = list(run)
    assert [(one["girdle_facets"], one["pavilion_angle_deg"], one["dome"].name) for one in listed[:3]] == [
        (16, 40.0, "even-sky"),
        (16, 40.0, "head-shadow"),
        (16, 41.0, "even-sky"),
    ]
    assert type(listed[0]["girdle_facets"]) is int
    assert list(run.at(np.arange(len(run)) > 9)) == listed[10:]
    assert run.numbers("girdle_facets").tolist() == [one["girdle_facets"] for one in listed]
    assert run.numbers("table_pct").tolist() == [57.0] * len(run)
    less = run.at(np.array([0, 2])).trimmed()
    assert list(less) == [listed[0], listed[2]]
    assert [len(column.values) for column in less.varied.values() if isinstance(column, Picked)] == [1, 1]
    assert list(Columns(0, {"table_pct": np.empty(0)}, {})) == []


def test_errors_are_the_scatter_of_the_randomizations_and_of_what_none_has_met(engine, monkeypatch):
    """Where the girdle absorbs and no ray has met it, of one ray of all; where it doesn't, there is none."""
    met = building_engine.means_of
    seen = []

    def meets_no_girdle(scene):
        means, area = met(scene)
        means[:, SCATTERED] = 0.0
        seen.append(means)
        return means, area

    monkeypatch.setattr(building_engine, "means_of", meets_no_girdle)
    axes = {"girdle_finish": ["polished", "absorbing"]}
    run = plan_of(axes, {**ROUND, "pavilion_angle_deg": 41.0}).run(0, 2)
    rows = trace_designs(run, TraceSettings(engine="host", **SETTINGS))
    assert len(engine.lots) == 2
    found = {name: rows[:, column] for column, name in enumerate(COLUMNS)}
    assert found["scattered_error"] == pytest.approx([0.0, 1.0 / (RANDOMIZATIONS * POINTS)], rel=1e-12)
    scatter = [np.std(means[:, LEAK], ddof=1) / np.sqrt(RANDOMIZATIONS) for means in seen]
    assert found["leak_error"] == pytest.approx(scatter, rel=1e-12)
