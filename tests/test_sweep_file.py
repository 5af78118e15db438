"""Sweep files, the command, and the pictures."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
import xarray as xr

import raylab as rl
from raylab.cli import main
from raylab.pictures.sweep_plots import extremes_figure, sweep_figure
from raylab.results.statistics import STATISTICS
from raylab.sweeps.axes import between, plan_of, steps
from raylab.sweeps.sweep_file import read_sweep_file

SHIPPED = sorted((Path(__file__).parents[1] / "scenes" / "sweeps").glob("*.toml"))
SMALL = """
schema = 1
title = "Small"

[axes]
pavilion_angle_deg = { start = 40, stop = 42, number = 3 }
crown_angle_deg = [33, 35]
girdle_pct = [3.5, 0.5]

[fixed]
table_pct = 57
dome = "head-shadow"

[sweep]
precision = 0.05

[plots]
statistics = ["brightness", "leak"]
"""


def written(folder: Path, text: str = SMALL) -> Path:
    path = folder / "small.toml"
    path.write_text(text)
    return path


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_shipped_sweeps_are_sound(path):
    """All are read, and their first and last designs are stones."""
    request = read_sweep_file(path)
    assert request.title
    for number in (0, len(request.plan) - 1):
        design = next(request.plan.designs(number, number + 1))
        assert rl.round_brilliant(**{key: design[key] for key in ("table_pct", "crown_angle_deg", "pavilion_angle_deg")})


def test_a_file_says_what_a_call_says(tmp_path):
    request = read_sweep_file(written(tmp_path))
    assert request.axes == {"pavilion_angle_deg": steps(40.0, 42.0, 3), "crown_angle_deg": [33, 35], "girdle_pct": [3.5, 0.5]}
    found = rl.sweep(**request.arguments, processes=1)
    same = rl.sweep(request.axes, "head-shadow", table_pct=57, settings=rl.TraceSettings(precision=0.05), processes=1)
    xr.testing.assert_identical(found, same)
    assert len(request.plan) == found.brightness.size == 12


def test_a_dome_file_lies_beside_the_sweep_file(tmp_path):
    (tmp_path / "mine.toml").write_text('schema = 1\nsky = "even"\nhead_half_angle_deg = 5\n')
    request = read_sweep_file(written(tmp_path, SMALL.replace('"head-shadow"', '"mine.toml"')))
    assert request.plan.fixed["dome"].head_half_angle_deg == 5.0
    both = SMALL.replace('dome = "head-shadow"', "").replace("[fixed]", 'dome = ["mine.toml", "even-sky"]\n[fixed]')
    assert [dome.name for dome in read_sweep_file(written(tmp_path, both)).plan.columns["dome"]] == ["mine", "even-sky"]


def test_a_box_to_fill(tmp_path):
    text = SMALL.replace("{ start = 40, stop = 42, number = 3 }", "{ low = 40, high = 42 }")
    text = text.replace("[sweep]", '[sweep]\nlayout = "halton"\nnumber = 5\nseed = 2')
    request = read_sweep_file(written(tmp_path, text))
    assert request.plan == plan_of(request.axes, request.plan.fixed, "halton", 5, 2)
    assert len(request.plan) == 5


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("crown_angle_deg", "crown_angel_deg", "axes.crown_angel_deg: unknown design key; did you mean 'crown_angle_deg'?"),
        ("[33, 35]", "33", "axes.crown_angle_deg = 33: not an axis"),
        ("[33, 35]", '["low", 35]', "axes.crown_angle_deg = 'low': not a number"),
        ("number = 3", "count = 3", "axes.pavilion_angle_deg.count = 3: unknown key"),
        ("number = 3", "number = 2.5", "axes.pavilion_angle_deg.number = 2.5: wrong type"),
        ("number = 3", "number = 0", "pavilion_angle_deg: number = 0: out of range"),
        ('"head-shadow"', '"head-shade"', "fixed.dome = 'head-shade': unknown dome"),
        ('"head-shadow"', '"absent.toml"', "absent.toml: no such file"),
        ("table_pct = 57", "table_pct = '57'", "fixed.table_pct = '57': wrong type; expected a number"),
        ("table_pct = 57", "tabel_pct = 57", "fixed.tabel_pct = 57: unknown key; did you mean 'table_pct'?"),
        ("precision = 0.05", "precison = 0.05", "sweep.precison = 0.05: unknown key; did you mean 'precision'?"),
        ("precision = 0.05", 'layout = "gird"', "sweep.layout = 'gird': unknown layout; did you mean 'grid'?"),
        ('"leak"]', '"leek"]', "plots.statistics = 'leek': unknown statistic; did you mean 'leak'?"),
        ("[plots]", "[plot]", "plot: unknown key; did you mean 'plots'?"),
        ("schema = 1", "schema = 2", "schema = 2: unknown file format"),
    ],
)
def test_faults_in_a_file_are_one_line_with_file_and_key(tmp_path, old, new, words, capsys):
    path = written(tmp_path, SMALL.replace(old, new))
    assert main(["sweep", str(path), "--out", str(tmp_path / "out")]) == 2
    line = capsys.readouterr().err
    assert words in line
    assert str(path) in line or "absent.toml" in line
    assert line.count("\n") == 1
    assert not (tmp_path / "out").exists()


def test_the_command(tmp_path, capsys, monkeypatch):
    path, out = written(tmp_path), tmp_path / "out"
    command = ["sweep", str(path), "--out", str(out), "--processes", "1"]
    assert main(command) == 0
    text = capsys.readouterr().out
    assert "12 designs: 6 traced, 6 girdle vanishes" in text
    assert sorted(file.name for file in out.iterdir()) == [
        "brightness.png",
        "extremes.png",
        "leak.png",
        "sweep.json",
        "sweep.nc",
    ]
    assert all((out / f"{name}.png").read_bytes().startswith(b"\x89PNG") for name in ("brightness", "extremes", "leak"))
    monkeypatch.setattr("raylab.files.save_png", lambda figure, path, **_: path.write_bytes(b"drawn again"))
    first = (out / "sweep.nc").read_bytes()
    (out / "leak.png").write_bytes(b"the user's own")
    (out / "extremes.png").unlink()
    assert main(command) == 0
    assert "existing pictures kept: brightness.png, leak.png;" in capsys.readouterr().out
    assert (out / "leak.png").read_bytes() == b"the user's own"
    assert (out / "extremes.png").read_bytes() == b"drawn again"
    assert main([*command, "--json"]) == 0, "a sweep that is done is read"
    facts = json.loads(capsys.readouterr().out)
    assert (out / "sweep.nc").read_bytes() == first
    found = xr.load_dataset(out / "sweep.nc")
    best = facts["statistics"]["brightness"]["highest"]
    assert best["value"] == float(found.brightness.max())
    assert float(found.brightness_high.sel(best["design"])) == best["high"]
    assert (float(found.brightness_error.sel(best["design"])) or None) == best["error"]
    assert facts["reasons"] == {"traced": 6, "girdle_vanishes": 6}
    path.write_text(SMALL.replace("table_pct = 57", "table_pct = 58"))
    assert main(command) == 2
    assert "the folder holds another sweep: fixed.table_pct differs" in capsys.readouterr().err
    assert (out / "sweep.nc").read_bytes() == first
    assert main([*command, "--force"]) == 0
    assert (out / "sweep.nc").read_bytes() != first
    assert (out / "leak.png").read_bytes() == b"drawn again"


# Pictures


def made(axes: dict, **settings) -> xr.Dataset:
    """A dataset of the right form, quickly: a wide bracket."""
    return rl.sweep(axes, settings.pop("dome", "even-sky"), processes=1, settings=rl.TraceSettings(precision=0.2), **settings)


GIVEN = {"table_pct": 57.0, "crown_angle_deg": 34.5, "pavilion_angle_deg": 41.0}


def without(*keys: str) -> dict[str, float]:
    return {key: value for key, value in GIVEN.items() if key not in keys}


def drawn(figure) -> list:
    """The axes of a figure that hold a picture, not a colour bar."""
    figure.draw_without_rendering()
    return [axes for axes in figure.axes if axes.get_visible() and axes.get_label() != "<colorbar>"]


def test_one_axis_is_a_line_with_its_bracket():
    found = made({"table_pct": [53.0, 57.0, 61.0]}, **without("table_pct"))
    (axes,) = drawn(sweep_figure(found, "brightness"))
    np.testing.assert_array_equal(axes.lines[0].get_xydata(), np.column_stack([found.table_pct, found.brightness]))
    band = axes.collections[0].get_paths()[0].vertices[:, 1]
    assert (band.min(), band.max()) == (float(found.brightness_low.min()), float(found.brightness_high.max()))
    assert (axes.get_xlabel(), axes.get_ylabel()) == ("table size / %", "brightness")


def test_a_picture_is_of_a_number_of_the_sweep():
    found = made({"table_pct": [53.0, 57.0, 61.0]}, **without("table_pct"))
    with pytest.raises(rl.InputError, match=r"statistic = 'brightnes': no number of this sweep; did you mean 'brightness'\?"):
        rl.sweep_figure(found, "brightnes")
    with pytest.raises(rl.InputError, match="statistic = 'reason': no number of this sweep"):
        rl.sweep_figure(found, "reason")


def test_two_axes_are_a_heat_map_that_leaves_out_what_is_no_stone():
    found = made({"girdle_pct": [3.5, 2.5, 0.5], "crown_angle_deg": [33.0, 35.0]}, **without("crown_angle_deg"))
    figure = sweep_figure(found, "leak")
    (axes,) = drawn(figure)
    shown = axes.collections[0].get_array()
    assert np.array_equal(np.ma.getmaskarray(shown), np.isnan(found.leak.values))
    assert (axes.get_xlabel(), axes.get_ylabel()) == ("crown angle / °", "girdle thickness / %")
    assert (sorted(axes.get_xticks()), sorted(axes.get_yticks())) == ([33.0, 35.0], [0.5, 2.5, 3.5])
    assert "hatched: no numbers" in figure.get_suptitle()
    assert axes.collections[0].get_cmap().name == "cividis"


def test_three_axes_are_slices_on_one_scale_and_names_get_their_own():
    axes = {"table_pct": [53.0, 57.0, 61.0], "dome": ["even-sky", "head-shadow"], "star_pct": [45.0, 50.0, 55.0]}
    panels = drawn(sweep_figure(made(axes, dome=None, **without("table_pct")), "brightness"))
    assert [panel.get_title(loc="left") for panel in panels] == ["dome even-sky", "dome head-shadow"]
    assert len({panel.collections[0].get_clim() for panel in panels}) == 1


def test_lines_for_names():
    found = made({"table_pct": [53.0, 61.0], "material": ["diamond", "spinel"]}, **without("table_pct"))
    (axes,) = drawn(sweep_figure(found, "brightness"))
    assert [text.get_text() for text in axes.get_legend().get_texts()] == ["material diamond", "material spinel"]


def test_names_alone_stand_side_by_side():
    found = made({"dome": ["even-sky", "overcast-sky"]}, dome=None, **GIVEN)
    (axes,) = drawn(sweep_figure(found, "brightness"))
    assert [text.get_text() for text in axes.get_xticklabels()] == ["even-sky", "overcast-sky"]


def test_further_axes_are_held_where_the_statistic_is_highest():
    axes = {
        "table_pct": [53.0, 57.0],
        "star_pct": [45.0, 55.0],
        "crown_angle_deg": [33.0, 35.0],
        "lower_half_pct": [72.0, 82.0],
    }
    found = made(axes, **without("table_pct", "crown_angle_deg"))
    panels = drawn(sweep_figure(found, "brightness"))
    best = max(float(np.nanmax(panel.collections[0].get_array())) for panel in panels)
    assert best == float(found.brightness.max())


def test_samples_are_clouds_one_for_each_axis():
    axes = {"table_pct": between(53.0, 61.0), "star_pct": between(45.0, 55.0)}
    found = made(axes, layout="latin", number=4, **without("table_pct"))
    panels = drawn(sweep_figure(found, "brightness"))
    assert [panel.get_xlabel() for panel in panels] == ["table size / %", "star length / %"]


def test_of_very_many_samples_some_are_drawn_and_it_is_said(monkeypatch):
    monkeypatch.setattr("raylab.pictures.sweep_plots._MOST_SAMPLES", 2)
    axes = {"table_pct": [53.0, 55.0, 57.0]}
    figure = sweep_figure(made(axes, layout="paired", **without("table_pct")), "brightness")
    (panel,) = drawn(figure)
    assert panel.lines[0].get_xdata().tolist() == [53.0, 57.0]
    assert "brightness of 2 of 3 designs" in figure.get_suptitle()


def test_a_sweep_without_a_stone_is_drawn_empty():
    found = made({"girdle_pct": [0.1, 0.2]}, **GIVEN)
    assert drawn(sweep_figure(found, "brightness"))
    plan = plan_of({"girdle_pct": [0.1, 0.2]}, {**GIVEN, "dome": "even-sky"})
    assert drawn(extremes_figure(plan, found, "brightness", rl.TraceSettings(precision=0.2))) == []


def test_designs_of_the_largest_and_smallest_value_are_the_ones_reported():
    axes = {"table_pct": [50.0, 57.0, 64.0]}
    found = made(axes, **without("table_pct"))
    plan = plan_of(axes, {**without("table_pct"), "dome": "even-sky"})
    panels = drawn(extremes_figure(plan, found, "brightness", rl.TraceSettings(precision=0.2, engine="rays"), count=1))
    order = found.brightness.values.argsort()
    for panel, number in zip(panels, (order[-1], order[0]), strict=True):
        assert panel.get_title(loc="left").endswith(f"table size {axes['table_pct'][number]:g} %")


def test_every_statistic_can_be_drawn():
    found = made({"table_pct": [53.0, 61.0]}, **without("table_pct"))
    for statistic in STATISTICS:
        assert drawn(sweep_figure(found, statistic))
