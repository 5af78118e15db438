"""A finished sweep read again, and the Pareto front of its numbers."""

from __future__ import annotations

import json

import numpy as np
import pytest
import xarray as xr

import raylab as rl
from raylab.sweeps.pareto import pareto

ANGLES = {"table_pct": 57, "crown_angle_deg": 34.5}


@pytest.fixture(scope="module")
def done(tmp_path_factory):
    """A small sweep, what it returned and the folder that it left."""
    folder = tmp_path_factory.mktemp("sweep") / "out"
    axes = {"pavilion_angle_deg": [40.0, 41.0], "dome": ["head-shadow", "even-sky"], "star_pct": [5, 50]}
    coarse = rl.TraceSettings(precision=0.2)
    return rl.sweep(axes, settings=coarse, processes=1, out=folder, girdle_facets=16, **ANGLES), folder


def test_a_sweep_is_read_as_it_was_returned(done, tmp_path):
    found, folder = done
    assert found.identical(rl.load_sweep(folder))
    assert found.identical(rl.load_sweep(str(folder / "sweep.nc")))
    elsewhere = tmp_path / "mine.nc"
    elsewhere.write_bytes((folder / "sweep.nc").read_bytes())
    assert found.identical(rl.load_sweep(elsewhere))


def test_what_is_no_finished_sweep_is_one_line(done, tmp_path):
    def refusal(path):
        with pytest.raises(rl.InputError) as refused:
            rl.load_sweep(path)
        assert "\n" not in str(refused.value)
        return str(refused.value)

    _, folder = done
    manifest, result = (folder / "sweep.json").read_text(), (folder / "sweep.nc").read_bytes()
    assert "no such file" in refusal(tmp_path / "none.nc")
    assert "no sweep in this folder" in refusal(tmp_path)
    open_one = tmp_path / "open"
    open_one.mkdir()
    facts = json.loads(manifest)
    del facts["result_sha256"]
    (open_one / "sweep.json").write_text(json.dumps(facts))
    assert "the sweep of 8 designs is not finished" in refusal(open_one)
    (open_one / "sweep.json").write_text("[1]")
    assert "not the description of a sweep" in refusal(open_one)
    (open_one / "sweep.json").write_text(manifest)
    (open_one / "sweep.nc").write_bytes(result[:-1] + bytes([result[-1] ^ 1]))
    assert "damaged result" in refusal(open_one)
    assert "damaged result" in refusal(open_one / "sweep.nc")
    (tmp_path / "text.nc").write_text("not NetCDF")
    assert "text.nc" in refusal(tmp_path / "text.nc")
    (tmp_path / "other.nc").write_bytes(bytes(xr.Dataset({"x": 1}).to_netcdf(engine="h5netcdf")))
    assert "not the result of a sweep" in refusal(tmp_path / "other.nc")


# The Pareto front


def slow_front(values: np.ndarray, doubts: np.ndarray) -> list[bool]:
    """The definition, pair by pair."""

    def dominates(a: int, b: int) -> bool:
        lead = [values[a, k] - values[b, k] - np.hypot(doubts[a, k], doubts[b, k]) for k in range(values.shape[1])]
        return all(one >= 0 for one in lead) and any(one > 0 for one in lead)

    known = [bool(np.isfinite(row).all()) for row in values]
    rows = range(len(values))
    return [known[b] and not any(known[a] and dominates(a, b) for a in rows) for b in rows]


@pytest.mark.parametrize("objectives", [1, 2, 3, 4])
@pytest.mark.parametrize("coverage", [0.0, 2.0])
def test_the_front_is_that_of_its_definition(objectives, coverage):
    """Many ties, because values are rounded to tenths, and missing numbers."""
    rng = np.random.default_rng((objectives, int(coverage)))
    for count in (0, 1, 2, 60):
        values = rng.integers(0, 8, (count, objectives)) / 8.0  # exact in binary, so that ties stay ties
        values[rng.random(values.shape) < 0.05] = np.nan
        errors = rng.integers(0, 3, values.shape) / 64.0
        names = [f"n{k}" for k in range(objectives)]
        goals = ["highest" if k % 2 else "lowest" for k in range(objectives)]
        columns = {name: ("design", values[:, k]) for k, name in enumerate(names)}
        doubts = {f"{name}_error": ("design", errors[:, k]) for k, name in enumerate(names)}
        front = pareto(xr.Dataset({**columns, **doubts}), dict(zip(names, goals, strict=True)), coverage=coverage)
        signs = np.where(np.array(goals) == "highest", 1.0, -1.0)
        assert front.values.tolist() == slow_front(values * signs, coverage * errors)


def test_ties_missing_numbers_and_directions():
    found = xr.Dataset({"a": ("d", [1.0, 1.0, 0.5, np.nan, 2.0]), "b": ("d", [1.0, 1.0, 0.5, 9.0, 0.5])})
    assert pareto(found, {"a": "highest", "b": "highest"}).values.tolist() == [True, True, False, False, True]
    assert pareto(found, {"a": "lowest", "b": "lowest"}).values.tolist() == [False, False, True, False, False]
    assert pareto(found, {"a": "highest", "b": "lowest"}).values.tolist() == [False, False, False, False, True]
    front = pareto(found, {"a": "highest"})
    assert (front.name, front.dtype, front.attrs["long_name"]) == ("pareto", bool, "on the Pareto front of the highest a")


def test_the_front_of_a_sweep_has_its_axes(done):
    found, _ = done
    front = rl.pareto(found, {"brightness": "highest", "pavilion_angle_deg": "lowest"})
    assert front.dims == ("pavilion_angle_deg", "dome", "star_pct")
    assert not front.sel(star_pct=5).any(), "no stone, no number"
    assert front.sel(pavilion_angle_deg=40.0, star_pct=50).any()
    kept = found.stack(design=front.dims).isel(design=front.values.ravel())
    assert kept.sizes["design"] == int(front.sum())
    assert kept.brightness.notnull().all()


@pytest.mark.parametrize(
    ("objectives", "line"),
    [
        ({}, "no objective"),
        ({"brigthness": "highest"}, "objectives = 'brigthness': unknown variable; did you mean 'brightness'?"),
        ({"brightness": "up"}, "brightness = 'up': unknown goal; expected 'highest' or 'lowest'"),
        ({"dome": "highest"}, "objectives = 'dome': not a number"),
    ],
)
def test_objectives_that_are_none(done, objectives, line):
    with pytest.raises(rl.InputError) as refused:
        rl.pareto(done[0], objectives)
    assert line in str(refused.value)
