"""`sweep`: its designs, its numbers, and that neither processes nor a cluster change them."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading

import numpy as np
import psutil
import pytest
import xarray as xr

import raylab as rl
from raylab.cli import main
from raylab.designs.design import trace_designs
from raylab.designs.keys import REASONS
from raylab.results.statistics import STATISTICS
from raylab.sweeps.axes import LAYOUTS, SAMPLERS, between, plan_of, steps

FIXED = {"table_pct": 57.0, "crown_angle_deg": 34.5, "pavilion_angle_deg": 40.75}
FAST = 0.02
"""A wide bracket, for tests that are not about the numbers."""


def swept(axes, dome="head-shadow", precision=FAST, **options):
    given = {key: value for key, value in FIXED.items() if key not in axes}
    return rl.sweep(axes, dome, **{"settings": rl.TraceSettings(precision=precision), "processes": 1, **given, **options})


def reasons(found: xr.Dataset) -> list[str]:
    return [REASONS[code][0] for code in found.reason.values.ravel()]


def test_a_sweep_is_its_single_traces_bit_for_bit():
    axes = {"pavilion_angle_deg": [39.0, 41.5], "tilt_deg": [0.0, 7.0], "dome": ["head-shadow", "overcast-sky"]}
    found = swept(axes, None, precision=2e-3)
    assert found.brightness.dims == ("pavilion_angle_deg", "tilt_deg", "dome")
    for place in np.ndindex(found.brightness.shape):
        one = {key: found[key].values[k] for key, k in zip(axes, place, strict=True)}
        stone = rl.round_brilliant(**{**FIXED, "pavilion_angle_deg": float(one["pavilion_angle_deg"])})
        view = rl.View(tilt_deg=float(one["tilt_deg"]))
        summary = rl.trace(stone, rl.load_dome(str(one["dome"])), view, resolution=8).summary
        for name, statistic in summary.statistics.items():
            if name != "symmetry":
                here = tuple(float(found[name + part][place]) for part in ("", "_low", "_high"))
                assert here == (statistic.value, statistic.low, statistic.high), name
        assert float(found.area_mm2[place]) == summary.area_mm2
        assert float(found.weight_ct[place]) == stone.weight_ct
        assert float(found.spread_mm2_per_ct[place]) == stone.spread_mm2_per_ct


def test_depth_and_diameter_are_the_measured_ones():
    found = swept({"crown_angle_deg": [30.0, 36.0], "culet_pct": [0.0, 3.0], "diameter_mm": [6.5, 9.0]})
    for place in np.ndindex(found.weight_ct.shape):
        crown, culet, diameter = (float(found[key][k]) for key, k in zip(found.weight_ct.dims, place, strict=True))
        stone = rl.round_brilliant(**{**FIXED, "crown_angle_deg": crown}, culet_pct=culet, diameter_mm=diameter)
        assert float(found.depth_pct[place]) == pytest.approx(rl.measure(stone).depth_pct.mean, rel=1e-12)


def test_what_is_given_is_a_coordinate_and_what_follows_a_variable():
    by_weight = swept({"weight_ct": [0.5, 1.0]})
    assert "weight_ct" not in by_weight.data_vars
    assert float(by_weight.width_mm[1] / by_weight.width_mm[0]) == pytest.approx(2.0 ** (1 / 3), rel=1e-12)
    by_size = swept({"diameter_mm": [float(d) for d in by_weight.width_mm]})
    assert by_size.weight_ct.values == pytest.approx([0.5, 1.0], rel=1e-12)
    np.testing.assert_allclose(by_size.brightness, by_weight.brightness, rtol=1e-12)


def test_brackets_enclose_a_finer_trace_and_the_ledger_closes():
    axes = {"table_pct": [53.0, 62.0], "lower_half_pct": [70.0, 85.0]}
    coarse, fine = swept(axes, precision=0.02), swept(axes, precision=1e-3)
    for name in STATISTICS:
        assert np.all(coarse[name + "_low"] <= fine[name] + 1e-12), name
        assert np.all(coarse[name + "_high"] >= fine[name] - 1e-12), name
    assert np.all(coarse.brightness_high - coarse.brightness_low <= 0.02)
    entries = sum(coarse[name] for name in ("sky", "head", "leak", "absorbed", "scattered", "untraced"))
    np.testing.assert_allclose(entries, 1.0, atol=1e-12)


def test_impossible_designs_say_why_and_stop_nothing():
    found = swept(
        {"girdle_pct": [3.5, 0.5], "star_pct": [50.0, 2.0, 120.0], "lower_half_pct": [77.0], "culet_pct": [0.0, 30.0]}
    )
    at = {"girdle_pct": 3.5, "star_pct": 50.0, "culet_pct": 0.0, "lower_half_pct": 77.0}

    def why(**other):
        return REASONS[int(found.reason.sel({**at, **other}))][0]

    assert why() == "traced"
    assert why(girdle_pct=0.5) == "girdle_vanishes"
    assert why(star_pct=2.0) == "stars_cross_table"
    assert why(star_pct=120.0) == "out_of_range"
    assert why(culet_pct=30.0) == "lower_halves_past_culet"
    traced = found.reason == 0
    assert found.reason.attrs["flag_meanings"].split() == [name for name, _ in REASONS]
    for name in (*STATISTICS, "weight_ct", "area_mm2"):
        assert np.array_equal(np.isfinite(found[name]), traced), name


def test_a_wavelength_without_an_index_is_a_reason():
    found = swept({"wavelength_nm": [589.3, 200.0], "material": ["diamond", "zircon"]})
    assert reasons(found) == ["traced", "traced", "index_not_known", "index_not_known"]
    assert list(found.material.values) == ["diamond", "zircon"]


def test_every_variable_says_what_it_is():
    found = swept({"pavilion_angle_deg": steps(40.0, 41.0, 2)})
    assert {name + part for name in STATISTICS for part in ("", "_low", "_high")} <= set(found.data_vars)
    for name, variable in {**found.data_vars, **found.coords}.items():
        assert variable.attrs["long_name"], name
        assert "units" in variable.attrs or variable.dtype.kind == "U" or name == "reason", name
    assert found.pavilion_angle_deg.attrs["units"] == "degree"
    assert found.brightness_low.attrs["definition"] == STATISTICS["brightness"].definition
    assert (found.attrs["precision"], found.attrs["polarized"]) == (FAST, 1)
    assert float(found.star_pct) == 50.0
    assert str(found.dome.values) == "head-shadow"


# Layouts


def test_axes_as_ranges_and_as_values():
    plan = plan_of(
        {"pavilion_angle_deg": steps(38, 43, 51), "table_pct": np.array([53, 57])}, {"crown_angle_deg": 34, "dome": "even-sky"}
    )
    assert plan.shape == (51, 2)
    assert plan.columns["pavilion_angle_deg"][::50] == (38.0, 43.0)
    assert plan.columns["pavilion_angle_deg"][10] == pytest.approx(39.0, abs=1e-14)
    designs = list(plan.designs(0, 10**6))
    assert len(designs) == len(plan) == 102
    assert [d["table_pct"] for d in designs[:4]] == [53.0, 57.0, 53.0, 57.0], "the last axis changes fastest"
    assert list(plan.designs(7, 9)) == designs[7:9]


def test_pairs_go_together():
    found = swept({"crown_angle_deg": [33.0, 35.0], "pavilion_angle_deg": [41.2, 40.6]}, layout="paired")
    assert found.brightness.dims == ("design",)
    assert found.crown_angle_deg.dims == ("design",)
    alone = swept({"crown_angle_deg": [35.0]}, pavilion_angle_deg=40.6)
    assert float(found.brightness[1]) == float(alone.brightness[0])


@pytest.mark.parametrize("kind", [list, tuple, np.array])
@pytest.mark.parametrize("layout", ["grid", "paired", "sobol"])
def test_a_plain_sequence_is_its_values(kind, layout):
    """Whatever it looks like: three numbers are three values, not 42 designs from 40 to 41."""
    number = 4 if layout == "sobol" else None
    fixed = {"table_pct": 57, "crown_angle_deg": 34, "dome": "even-sky"}
    plan = plan_of({"pavilion_angle_deg": kind((40, 41, 42))}, fixed, layout, number)
    assert set(plan.columns["pavilion_angle_deg"]) <= {40.0, 41.0, 42.0}
    assert len(plan) == (number or 3)


@pytest.mark.parametrize("layout", SAMPLERS)
def test_samples_fill_the_box_evenly_and_again(layout):
    axes = {"crown_angle_deg": between(30.0, 40.0), "table_pct": between(50.0, 60.0), "dome": ["even-sky", "head-shadow"]}
    fixed = {"pavilion_angle_deg": 41.0}
    plan = plan_of(axes, fixed, layout, 64, seed=3)
    crown = np.array(plan.columns["crown_angle_deg"])
    table = np.array(plan.columns["table_pct"])
    assert np.all((crown >= 30.0) & (crown < 40.0))
    assert np.all((table >= 50.0) & (table < 60.0))
    # Far better than chance: of 64 random points in 8 bins the fullest holds 13 or more in most draws.
    assert (np.histogram(crown, 8, (30.0, 40.0))[0].max() <= 10) == (layout != "random")
    assert abs(np.corrcoef(crown, table)[0, 1]) < 0.25
    assert {dome.name for dome in plan.columns["dome"]} == {"even-sky", "head-shadow"}
    assert plan_of(axes, fixed, layout, 64, seed=3).columns["table_pct"] == plan.columns["table_pct"]
    other = plan_of(axes, fixed, layout, 64, seed=4).columns["table_pct"]
    assert other != plan.columns["table_pct"]
    assert not set(other) & set(table)


@pytest.mark.parametrize(
    ("axes", "settings", "words"),
    [
        ({"pavilon_angle_deg": [40.0]}, {}, "pavilon_angle_deg: unknown design key; did you mean 'pavilion_angle_deg'?"),
        ({}, {}, "axes: no axis to sweep"),
        ({"star_pct": []}, {}, "star_pct: not a list of values"),
        ({"star_pct": "fifty"}, {}, "not an axis"),
        ({"star_pct": between(40.0, 60.0)}, {}, "star_pct = Between(low=40.0, high=60.0): not an axis"),
        ({"star_pct": steps(40.0, 60.0, 2.5)}, {}, "star_pct: number = 2.5"),
        ({"star_pct": steps(40.0, 60.0, 1)}, {}, "too few values"),
        ({"star_pct": [50.0, 50.0]}, {}, "repeated value"),
        ({"star_pct": [50.0, float("nan")]}, {}, "star_pct = nan: out of range"),
        ({"star_pct": [50.0, True]}, {}, "star_pct = True: not a number"),
        ({"dome": ["head-shadow"]}, {}, "dome: given as an axis and as a fixed value"),
        (
            {"crown_height_pct": [15.0]},
            {"crown_angle_deg": 34.0},
            "crown_angle_deg and crown_height_pct are alternatives; give only one",
        ),
        ({"material": ["diamnod"]}, {}, "did you mean 'diamond'?"),
        ({"girdle_finish": ["absorbin"]}, {}, "girdle_finish = 'absorbin': unknown finish; did you mean 'absorbing'?"),
        ({"star_pct": [50.0], "table_pct": [55.0, 57.0]}, {"layout": "paired"}, "paired axes have different lengths"),
        ({"star_pct": [50.0]}, {"layout": "gird"}, "did you mean 'grid'?"),
        ({"star_pct": [50.0]}, {"number": 4}, "number = 4: not used by the layout grid"),
        ({"star_pct": between(40.0, 60.0)}, {"layout": "sobol", "number": 12}, "number = 12: not a power of two"),
        ({"star_pct": between(40.0, 60.0)}, {"layout": "halton"}, "number: not a whole number"),
        ({"star_pct": between(60.0, 40.0)}, {"layout": "latin", "number": 4}, "empty range"),
        ({"star_pct": [50.0]}, {"precision": 0.0}, "precision = 0.0: out of range"),
        (
            {"star_pct": [50.0]},
            {"polarized": False},
            "polarized: a setting, not a design key; expected settings=TraceSettings(",
        ),
        ({"star_pct": [50.0]}, {"settings": rl.TraceSettings((500.0, 600.0))}, "more than one wavelength; expected a single"),
        ({"star_pct": [50.0]}, {"processes": 0}, "processes = 0: not a number of processes"),
        ({"star_pct": [50.0]}, {"scheduler": "tcp://127.0.0.1:1"}, "no answer from the scheduler"),
    ],
)
def test_what_cannot_be_swept_is_reported_in_one_line(axes, settings, words, monkeypatch):
    monkeypatch.setattr("raylab.sweeps.workers.PATIENCE", "1s")
    with pytest.raises(rl.InputError) as caught:
        swept(axes, **settings)
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)


def test_what_a_design_must_say():
    with pytest.raises(rl.InputError, match="dome: missing"):
        rl.sweep({"star_pct": [50.0]}, **FIXED)
    with pytest.raises(rl.InputError, match="pavilion_angle_deg or pavilion_depth_pct: missing"):
        rl.sweep({"star_pct": [50.0]}, "even-sky", table_pct=57, crown_angle_deg=34)


def test_layouts_are_the_documented_ones():
    assert len(LAYOUTS) == 6
    assert all(f'"{layout}"' in rl.sweep.__doc__ for layout in LAYOUTS)


# Who computes


AXES = {"crown_angle_deg": steps(30.0, 38.0, 4), "pavilion_angle_deg": steps(38.5, 42.5, 4), "girdle_pct": [3.5, 0.5]}


@pytest.fixture(scope="module")
def alone() -> xr.Dataset:
    """The sweep of AXES in this process."""
    return swept(AXES)


def workers() -> list[int]:
    """Process ids of the workers that this process has started and that still run."""
    mine = psutil.Process().children()
    return [child.pid for child in mine if "raylab.sweeps.workers" in child.cmdline()]


def test_two_processes_change_no_bit(alone):
    facts = []
    found = swept(AXES, processes=2, progress=lambda done, total: facts.append((done, total)))
    xr.testing.assert_identical(found, alone)
    assert facts[0] == (0, 32)
    assert facts[-1] == (32, 32)
    assert [done for done, _ in facts] == sorted(done for done, _ in facts)
    assert len(facts) > 4, "several chunks for each process"


def test_a_killed_process_is_replaced_and_its_designs_done_again(alone):
    """The worker is killed with -9 while it computes; the sweep ends as if nothing had happened."""
    killed = []

    def kill(done, total):
        if done and not killed:
            killed.extend(workers()[:1])
            os.kill(killed[0], signal.SIGKILL)

    xr.testing.assert_identical(swept(AXES, processes=2, progress=kill), alone)
    assert killed


def test_workers_end_with_a_sweep_that_is_broken_off():
    """Ctrl-C in a terminal reaches all processes of a group. It is for the one that started them, which ends them: of two dozen
    sweeps three showed the traceback of a worker that was just being imported."""

    def stop(done, total):
        if done:
            assert workers()
            assert [one for one in workers() if os.getpgid(one) == os.getpgid(0)] == []
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        swept(AXES, processes=2, progress=stop)
    assert workers() == []


def test_an_error_in_a_worker_comes_up_here(monkeypatch):
    """A worker whose code differs refuses the work; here its id is made to differ."""
    monkeypatch.setattr("raylab.sweeps.workers.code_id", lambda module: "0" * 64)
    with pytest.raises(rl.RaylabError, match=r"this worker has another raylab than the sweep"):
        swept(AXES, processes=2)


def test_workers_that_die_again_and_again_end_the_sweep(monkeypatch):
    monkeypatch.setattr("raylab.sweeps.workers.sys.executable", "/bin/false")
    with pytest.raises(rl.RaylabError, match="a worker process died 3 times on the same designs"):
        swept(AXES, processes=2)


def test_a_script_needs_no_main_guard(tmp_path):
    script = tmp_path / "script.py"
    script.write_text(
        "import raylab as rl\n"
        "from raylab.sweeps.axes import Steps\n"
        f"coarse = rl.TraceSettings(precision={FAST})\n"
        f"found = rl.sweep({AXES!r}, 'head-shadow', table_pct=57, settings=coarse, processes=2)\n"
        "print(found.brightness.size)\n"
    )
    done = subprocess.run([sys.executable, str(script)], capture_output=True, text=True, env=_env(), timeout=120)
    assert (done.returncode, done.stdout, done.stderr) == (0, "32\n", "")


def _env() -> dict[str, str]:
    return {**os.environ, "PYTHONPATH": os.path.dirname(os.path.dirname(rl.__file__))}


@pytest.fixture(scope="module")
def cluster():
    """A real cluster of two worker processes on this machine."""
    distributed = pytest.importorskip("distributed", reason="dask is not installed (extra: cluster)")
    with distributed.LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None) as running:
        yield running


def test_a_cluster_changes_no_bit(alone, cluster):
    xr.testing.assert_identical(swept(AXES, processes=None, scheduler=cluster.scheduler_address), alone)


def test_the_command_takes_a_schedulers_address(cluster, tmp_path, monkeypatch, capsys):
    (tmp_path / "s.toml").write_text(
        "schema = 1\n[axes]\npavilion_angle_deg = [40, 41, 42]\n[fixed]\ntable_pct = 57\ncrown_angle_deg = 34\n"
        'dome = "even-sky"\n[sweep]\nprecision = 0.1\n[plots]\nstatistics = ["leak"]\n'
    )
    out = tmp_path / "out"
    assert main(["sweep", str(tmp_path / "s.toml"), "--out", str(out), "--scheduler", cluster.scheduler_address]) == 0
    assert "3 designs: 3 traced" in capsys.readouterr().out
    monkeypatch.setattr("raylab.sweeps.workers.PATIENCE", "1s")
    assert main(["sweep", str(tmp_path / "s.toml"), "--out", str(tmp_path / "b"), "--scheduler", "nowhere:1"]) == 2
    assert "scheduler = 'nowhere:1': no answer from the scheduler" in capsys.readouterr().err


def test_a_worker_killed_during_a_cluster_run_loses_nothing(alone, cluster, tmp_path):
    from distributed import Client

    with Client(cluster) as client:
        pids = client.run(os.getpid)
        killed = []

        def kill(done, total):
            if done and not killed:
                killed.append(next(iter(pids.values())))
                os.kill(killed[0], signal.SIGKILL)

        found = swept(AXES, processes=None, scheduler=client, progress=kill, out=tmp_path)
        xr.testing.assert_identical(found, alone)
        assert xr.load_dataset(tmp_path / "sweep.nc", engine="h5netcdf").identical(alone)
        assert killed
        assert killed[0] not in client.run(os.getpid).values()


def test_threads_of_one_process_may_sweep_at_once(alone):
    """As in a server, or on a dask worker of several threads."""
    found: dict[int, xr.Dataset] = {}
    threads = [threading.Thread(target=lambda k=k: found.__setitem__(k, swept(AXES))) for k in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    for one in found.values():
        xr.testing.assert_identical(one, alone)
    assert len(found) == 2


def test_a_stone_is_shared_by_designs_that_differ_in_light_only(monkeypatch):
    built = []
    import raylab.designs.design as design

    real = design.stone_of
    monkeypatch.setattr(design, "stone_of", lambda given: built.append(given) or real(given))
    plan = plan_of({"star_pct": [45.0, 55.0], "tilt_deg": [0.0, 5.0, 10.0]}, {**FIXED, "dome": "even-sky"})
    trace_designs(plan.designs(0, 6), rl.TraceSettings(precision=0.1))
    assert [given["star_pct"] for given in built] == [45.0, 55.0]
