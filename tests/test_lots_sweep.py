"""Sweeps by an engine that builds stones: a chunk is a block, whoever traces it writes it, and no bit depends on who."""

from __future__ import annotations

import os
import signal
from pathlib import Path

import building_engine
import psutil
import pytest
import xarray as xr
from building_engine import HostEngine

import raylab as rl
from raylab.designs.keys import EXCLUDED, REASONS
from raylab.engine_table import ENGINES
from raylab.sweeps import engine_choice, gathering, probing, sizing
from raylab.sweeps.axes import plan_of

AXES = {"pavilion_angle_deg": rl.between(39.0, 43.0), "girdle_pct": rl.between(0.0, 4.0), "dome": ["head-shadow", "even-sky"]}
FIXED = {"table_pct": 57.0, "crown_angle_deg": 34.5, "girdle_facets": 16}
FLAT = rl.LinearBound({"pavilion_angle_deg": 1}, at_most=42.0)
NUMBER, BLOCK = 64, 12


@pytest.fixture
def known(monkeypatch, tmp_path_factory):
    """The engine `host`, known here and in every process that is started: through a module that Python imports first."""
    place, here = tmp_path_factory.mktemp("site"), str(Path(__file__).parent)
    row = "from raylab.engine_table import ENGINES\nENGINES['host'] = 'building_engine'\n"
    (place / "sitecustomize.py").write_text(row)
    monkeypatch.setenv("PYTHONPATH", os.pathsep.join([str(place), here, str(Path(rl.__file__).parents[1])]))
    monkeypatch.setitem(ENGINES, "host", "building_engine")
    monkeypatch.setattr(building_engine, "ENGINE", HostEngine())
    monkeypatch.setattr("raylab.sweeps.dealing.block_shape.__defaults__", (BLOCK,))


def swept(out, **other):
    settings = rl.TraceSettings(engine="host", min_weight=1e-2)
    how = {"layout": "random", "number": NUMBER, "conditions": [FLAT], "settings": settings, "processes": 1}
    return rl.sweep(AXES, out=out, **{**how, **FIXED, **other})


def files(out: Path) -> dict[str, bytes]:
    place = out / "sweep.zarr"
    return {str(file.relative_to(place)): file.read_bytes() for file in place.rglob("*") if file.is_file()}


def test_blocks_are_written_by_workers_and_a_killed_one_loses_its_own(known, tmp_path, monkeypatch):
    """In this process, in two, and in two of which one is killed with -9; then all numbers in one table."""
    here, told = tmp_path / "here", []
    swept(here, zarr=True, progress=lambda done, total: told.append(done))
    assert told == [0, 12, 24, 36, 48, 60, 64], "a chunk is a block"
    assert not building_engine.ENGINE.alone, "all is built by the engine"
    killed, there = [], tmp_path / "there"

    def kill(done, total):
        if done and not killed:  # later there may be one that has ended and has no command line any more
            workers = [one.pid for one in psutil.Process().children() if "raylab.sweeps.workers" in one.cmdline()]
            killed.append(workers[0])
            os.kill(workers[0], signal.SIGKILL)
            (there / "sweep.zarr" / "leak" / "3.0123.partial").write_bytes(b"half")  # as it may leave one

    with monkeypatch.context() as patch:
        patch.setattr("raylab.sweeps.pieces.Pieces.write", None)  # this process writes none
        swept(there, zarr=True, processes=2, progress=kill)
    assert killed
    assert files(there) == files(here)
    found = swept(None)
    assert {REASONS[code][0] for code in found.reason.values} == {"traced", "girdle_vanishes", "excluded"}
    assert ((found.reason == EXCLUDED) == (found.pavilion_angle_deg > 42.0)).all()
    xr.testing.assert_identical(rl.load_sweep(here).load(), found)


def test_a_sweep_that_is_broken_off_loses_the_blocks_in_hand(known, tmp_path):
    class BrokenOffError(Exception):
        pass

    def stop(done, total):
        if done >= 24:
            raise BrokenOffError

    with pytest.raises(BrokenOffError):
        swept(tmp_path / "a", zarr=True, progress=stop)
    again: list[float] = []
    swept(tmp_path / "a", zarr=True, progress=lambda done, total: again.append(done))
    assert again[0] == 24
    swept(tmp_path / "b", zarr=True)
    assert files(tmp_path / "a") == files(tmp_path / "b")


class WithDevices(HostEngine):
    """Says that it has two devices."""

    def devices(self):
        return 2

    def only(self, device):
        return {"THE_DEVICE": str(device)}


def test_processes_share_the_devices(known, monkeypatch):
    """Several to a device, at most the cores; worker k has device k modulo their number."""
    monkeypatch.setattr(building_engine, "ENGINE", WithDevices())
    engine = building_engine.ENGINE
    for cores, wanted in ((1, 1), (3, 3), (64, 2 * sizing.A_DEVICE)):
        monkeypatch.setattr(os, "sched_getaffinity", lambda _, cores=cores: set(range(cores)))
        assert sizing.processes_of(None, engine) == wanted
        assert sizing.processes_of(None, HostEngine()) == 1
        assert sizing.processes_of(5, engine) == 5
    seen = []
    monkeypatch.setattr(gathering, "in_processes", lambda chunks, work, around: seen.append(around) or iter(()))
    crew = gathering.Crew(rl.TraceSettings(engine="host"), None, 3, False)
    list(crew.trace(iter(()), 3, None))
    assert seen == [[{"THE_DEVICE": "0"}, {"THE_DEVICE": "1"}, {"THE_DEVICE": "0"}]]
    assert engine_choice.builds_every(plan_of(AXES, FIXED, "random", 8), engine)


def test_a_device_is_probed_where_it_traces(known, monkeypatch):
    """By a worker process that is given the first device, or by the cluster; nothing is traced in this process."""
    engine = WithDevices()
    monkeypatch.setattr(building_engine, "ENGINE", engine)
    plan, settings, asked = plan_of(AXES, FIXED, "random", 8), rl.TraceSettings(engine="host"), []

    class Future:
        def result(self):
            return 7.0

    class Client:
        def submit(self, work, **_):
            asked.append(work.__self__)
            return Future()

    monkeypatch.setattr(probing, "answer_of", lambda probe, around: asked.append((probe, around)) or 5.0)
    around = [engine.only(0), engine.only(1)]
    assert probing.cost_s(plan, settings, 0, around, None) == 5.0
    assert probing.cost_s(plan, settings, 0, around, Client()) == 7.0
    (probe, there), in_cluster = asked
    assert there == {"THE_DEVICE": "0"}
    assert sum(map(len, probe.runs)) == sum(map(len, in_cluster.runs)) > 0
    assert engine.lots == engine.alone == []


@pytest.mark.parametrize(
    ("settings", "axes", "taken"),
    [
        ({"standard_error": 1e-2}, {}, "host"),
        ({}, {}, None),
        ({"standard_error": 1e-2, "precision_of": ("brightness",)}, {}, None),
        ({"standard_error": 1e-2, "engine": "beams"}, {}, None),
        ({"standard_error": 1e-2}, {"cut": ["round brilliant", "single cut"]}, None),
        ({"standard_error": 1e-2}, {"girdle_finish": ["polished", "lambertian 0.5"]}, None),
        ({"standard_error": 1e-2}, {"girdle_finish": ["polished", "absorbing"]}, "host"),
    ],
)
def test_an_engine_is_taken_by_itself_where_no_bracket_is_asked_for(known, settings, axes, taken, monkeypatch):
    """Not where numbers are to be exact, an engine is named, it builds not all of the stones, or can't trace some."""
    engine = WithDevices(not_built=("single cut",))
    monkeypatch.setattr(building_engine, "ENGINE", engine)
    monkeypatch.setattr(WithDevices, "supports", lambda self, scene: "no" if scene.stone.scatters else None)
    for name in [name for name in ENGINES if name.startswith("gpu")]:
        monkeypatch.delitem(ENGINES, name)
    monkeypatch.setattr(engine_choice, "MANY", 7)
    fixed = {**FIXED, "dome": "even-sky", "pavilion_angle_deg": 41.0}
    all_axes = {"girdle_pct": rl.between(0.0, 4.0), **axes}
    plan, asked = plan_of(all_axes, fixed, "random", 8), rl.TraceSettings(**settings)
    assert engine_choice.chosen(plan, asked) == taken
    assert engine_choice.chosen(plan_of(all_axes, fixed, "random", 7), asked) is None, "not enough designs"
    monkeypatch.setattr(WithDevices, "devices", lambda self: 0)
    assert engine_choice.chosen(plan, asked) is None


def test_the_engine_taken_is_told(known, monkeypatch, capsys):
    monkeypatch.setattr(building_engine, "ENGINE", WithDevices())
    monkeypatch.setattr(engine_choice, "MANY", 3)
    found = swept(None, number=4, conditions=[], settings=rl.TraceSettings(standard_error=0.5, min_weight=1e-2), progress=True)
    assert found.attrs["engine"] == "host"
    assert found.attrs["standard_error"] == 0.5
    assert "the engine host was found and traces the sweep" in capsys.readouterr().err
