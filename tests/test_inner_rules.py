"""Rules inside searches, stores and derivatives that whole results hardly show."""

from __future__ import annotations

import math
from types import SimpleNamespace

import numpy as np
import pytest

import raylab as rl
from raylab.designs import stepping
from raylab.designs.design import COLUMNS
from raylab.designs.keys import PARAMETERS
from raylab.results.statistics import STATISTICS
from raylab.sweeps import optimizing, sweep_file
from raylab.sweeps.axes import plan_of
from raylab.sweeps.store import Store

DOME = rl.load_dome("head-shadow")
COARSE = rl.TraceSettings(precision=0.2)
REST = {"crown_angle_deg": 34.5, "pavilion_angle_deg": 41.0}
FACTS = {"layout": "paired", "axes": {"table_pct": [57.0, 58.0]}}


def aim_of(limits: dict[str, tuple[float, float]]) -> optimizing._Aim:
    return optimizing._Aim({"table_pct": (50.0, 60.0)}, {}, "brightness", "highest", limits, COARSE)


def test_broken_limits_add_up_as_shares_of_themselves():
    row = np.zeros(len(COLUMNS))
    row[COLUMNS.index("weight_ct")], row[COLUMNS.index("depth_pct")], row[COLUMNS.index("leak")] = 0.5, 66.0, 0.1
    both = {"weight_ct": (1.0, math.inf), "depth_pct": (-math.inf, 60.0)}
    assert aim_of(both).broken(row) == pytest.approx(0.5 + 0.1)
    assert aim_of({"leak": (-math.inf, 0.0)}).broken(row) == pytest.approx(0.1 / 1e-9)
    assert aim_of({"leak": (0.0, 0.2)}).broken(row) == 0.0


def test_a_search_starts_from_a_small_simplex_inside_the_box(monkeypatch):
    started = []

    def record(score, point, *, options, **_):
        started.append((point, options))
        return SimpleNamespace(x=point, fun=0.0, nfev=1)

    monkeypatch.setattr(optimizing, "minimize", record)
    bounds = {"table_pct": (56.0, 58.0), "crown_angle_deg": (34.0, 35.0)}
    rl.optimize(bounds, DOME, number=4, starts=4, scan=3, processes=1, settings=COARSE, pavilion_angle_deg=41.0)
    assert len(started) == 4
    for point, options in started:
        inward = np.diag(np.where(point < 0.5, 0.08, -0.08))
        assert np.allclose(options["initial_simplex"], [point, point + inward[0], point + inward[1]])
        assert (options["xatol"], options["fatol"]) == (1e-3, 0.01)


def test_an_optimum_counts_its_designs_and_keeps_the_bracket():
    best = rl.optimize({"table_pct": (56.0, 58.0)}, DOME, number=2, starts=1, scan=3, processes=1, settings=COARSE, **REST)
    assert best.evaluations > 2 + 3
    alone = rl.sweep({"table_pct": [best.design["table_pct"]]}, DOME, settings=COARSE, **REST)
    assert (best.value.low, best.value.value, best.value.high) == tuple(
        float(alone[name][0]) for name in ("brightness_low", "brightness", "brightness_high")
    )
    assert best.value.low < best.value.high


def test_what_a_search_lacks_is_named():
    with pytest.raises(rl.InputError, match="dome: missing"):
        rl.optimize({"table_pct": (56.0, 58.0)}, settings=COARSE, **REST)
    with pytest.raises(rl.InputError, match="statistic = 'sparkle'"):
        rl.optimize({"table_pct": (56.0, 58.0)}, DOME, statistic="sparkle", settings=COARSE, **REST)


def test_a_dome_may_stand_in_the_design():
    stated = {"table_pct": 57.0, **REST}
    inside = rl.gradient({**stated, "dome": DOME}, keys=["table_pct"], settings=COARSE)
    assert inside.identical(rl.gradient(stated, DOME, keys=["table_pct"], settings=COARSE))


def test_ends_of_a_box_are_numbers_within_reason():
    for ends in ((float(np.nextafter(1e9, 2e9)), 2e9), (0.0, float(np.nextafter(1e9, 2e9)))):
        with pytest.raises(rl.InputError, match="out of range"):
            plan_of({"table_pct": ends}, {**REST, "dome": DOME}, "halton", 2)


def test_a_damaged_part_that_cannot_be_set_aside_is_one_line(tmp_path):
    store = Store(tmp_path / "out", FACTS, lambda: 1)
    store._part(0).write_bytes(b"damaged")
    store.done.add(0)
    (tmp_path / "out" / "damaged").write_text("mine")
    with pytest.raises(rl.InputError, match="finished chunks are kept") as caught:
        store.load(0)
    assert str(store._part(0).name) in str(caught.value)
    store.close()


def test_a_files_keys_are_numbers_unless_they_are_choices():
    kinds = {key: sweep_file._kind(key) for key in PARAMETERS}
    assert kinds == {key: one.kind if one.choices else float for key, one in PARAMETERS.items()}
    assert float in kinds.values()
    assert sweep_file._kind("tilt_deg") is float


def test_a_derivative_that_no_step_gives_is_nan_after_halving_down_to_the_least(monkeypatch):
    steps = []
    monkeypatch.setattr(stepping, "_central", lambda *_: None)
    found = stepping.light_derivative(lambda step: step, lambda stone: steps.append(stone), 1.0)
    assert np.isnan(found.values).all()
    assert np.isnan(found.errors).all()
    assert found.values.shape == found.errors.shape == (len(STATISTICS),)
    assert steps[::2] == [1e-5 / 2**k for k in range(10)]
    assert steps[1::2] == [-step for step in steps[::2]]


def test_a_picture_has_sixteen_wavelengths_and_an_exposure_above_nothing():
    scene = rl.Scene(rl.round_brilliant(table_pct=57.0, **REST, girdle_facets=16), DOME, settings=COARSE, resolution=16)
    assert len(rl.color_picture(scene, spectrum=16).waves.nodes_nm) == 16
    with pytest.raises(rl.InputError, match="ends excluded"):
        rl.face_up_color(scene, exposure=0.0)


def test_a_tilt_names_the_engine_that_was_asked_for():
    stone = rl.round_brilliant(table_pct=57.0, **REST, girdle_facets=16)
    found = rl.tilt(stone, DOME, tilt_deg=[0.0, 5.0], settings=rl.TraceSettings(precision=0.2, engine="beams"))
    assert found.attrs["engine"] == "beams"
