"""Axes of a sweep beside proportions: stones as they are, offsets of facets, and what is changed of the dome."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import raylab as rl
from raylab.designs.keys import REASONS
from raylab.sweeps.sweep_file import read_sweep_file

COARSE = rl.TraceSettings(precision=0.1)
HEAD = rl.load_dome("head-shadow")


def brilliant(name: str = "one", **changed: float) -> rl.Stone:
    proportions = {"table_pct": 57.0, "crown_angle_deg": 34.5, "pavilion_angle_deg": 40.75, "girdle_facets": 16, **changed}
    return rl.round_brilliant(**proportions, name=name)


ONE, STEEP = brilliant(), brilliant("steep", pavilion_angle_deg=42.0)


def swept(axes, dome="head-shadow", **options):
    return rl.sweep(axes, dome, **{"settings": COARSE, "processes": 1, **options})


def numbers(stone: rl.Stone, dome: rl.Dome = HEAD, view: rl.View | None = None) -> tuple[float, float, float]:
    """What the library says of a stone by itself."""
    found = rl.statistics_of(rl.Scene(stone, dome, view or rl.View(), COARSE))
    return found["brightness"].value, found["leak"].value, stone.weight_ct


def here(found, **place) -> tuple[float, float, float]:
    one = found.sel(place)
    return float(one.brightness), float(one.leak), float(one.weight_ct)


def test_stones_as_they_are_and_their_files(tmp_path):
    rl.save_stone(STEEP, tmp_path / "steep.csv")
    found = swept({"stone": [ONE, tmp_path / "steep.csv"], "tilt_deg": [0.0, 5.0]})
    assert found.brightness.dims == ("stone", "tilt_deg")
    assert found.stone.values.tolist() == ["one", "steep"]
    assert here(found, stone="one", tilt_deg=0.0) == numbers(ONE)
    other = numbers(rl.load_stone(tmp_path / "steep.csv"), view=rl.View(tilt_deg=5.0))
    assert here(found, stone="steep", tilt_deg=5.0) == other
    assert not {"cut", "material", "table_pct"} & set(found.coords)
    tinted = swept({"absorption_per_mm": [0.0, 0.1]}, stone=ONE)
    assert str(tinted.stone.values) == "one"
    assert float(tinted.absorbed[0]) == 0.0 < float(tinted.absorbed[1])
    assert swept({"material": ["diamond", "zircon"]}, stone=ONE).weight_ct.values[1] != ONE.weight_ct


def test_offsets_move_facets_of_a_cut_and_of_a_stone():
    moved = rl.deviate(ONE, {"pavilion main 3": rl.Offset(slope_deg=0.5, depth_mm=0.01)})
    axes = {"pavilion main 3.slope_deg": [0.0, 0.5], "pavilion main 3.depth_mm": [0.01]}
    place = {"pavilion main 3.slope_deg": 0.5, "pavilion main 3.depth_mm": 0.01}
    of_stone = swept(axes, stone=ONE)
    assert here(of_stone, **place) == numbers(moved)
    fixed = {"table_pct": 57.0, "crown_angle_deg": 34.5, "pavilion_angle_deg": 40.75, "girdle_facets": 16}
    assert here(swept(axes, **fixed), **place) == numbers(moved)
    about = of_stone["pavilion main 3.slope_deg"].attrs
    assert (about["long_name"], about["units"]) == ("slope offset of pavilion main 3", "degree")
    whole = rl.deviate(ONE, {"upper half": rl.Offset(painting_deg=1.0)})
    painted = swept({"upper half.painting_deg": [1.0]}, stone=ONE)
    assert here(painted, **{"upper half.painting_deg": 1.0}) == numbers(whole)


def test_a_dome_changed_along_an_axis():
    found = swept({"head_half_angle_deg": [0.0, 10.0], "tray_radiance": [0.0, 0.5]}, stone=ONE)
    for head, tray in ((0.0, 0.5), (10.0, 0.0)):
        dome = replace(HEAD, head_half_angle_deg=head, tray_radiance=tray)
        assert here(found, head_half_angle_deg=head, tray_radiance=tray) == numbers(ONE, dome)
    dark = swept({"sky_radiance": [0.25, -1.0]}, replace(HEAD, absolute=True), stone=ONE)
    assert float(dark.brightness[0]) == pytest.approx(float(found.brightness.sel(head_half_angle_deg=10.0)[0]), abs=0.2)
    assert [REASONS[code][0] for code in dark.reason.values] == ["traced", "out_of_range"]
    domes = [replace(HEAD, name=f"head {half}", head_half_angle_deg=half) for half in (5.0, 10.0)]
    assert swept({"dome": domes}, None, stone=ONE).dome.values.tolist() == ["head 5.0", "head 10.0"]


def test_a_facet_that_some_stones_lack_is_a_reason():
    found = swept({"stone": [ONE, brilliant("with a culet", culet_pct=2.0)], "culet.depth_mm": [0.005]})
    assert [REASONS[code][0] for code in found.reason.values.ravel()] == ["no_such_facet", "traced"]


BY_PROPORTIONS = {"table_pct": 57, "crown_angle_deg": 34, "pavilion_angle_deg": 41}


@pytest.mark.parametrize(
    ("axes", "fixed", "line"),
    [
        ({"stone": [ONE, ONE]}, {}, "stone = ['one', 'one']: repeated value; expected different names"),
        ({"stone": [ONE, 3]}, {}, "stone = 3: wrong type; expected a Stone, or the file of one"),
        ({"stone": ["none.csv"]}, {}, "none.csv: no such file"),
        ({"stone": [ONE]}, {"table_pct": 57}, "table_pct: a stone has proportions of its own; expected no proportions"),
        ({"stone": [ONE]}, {"tilt_dge": 5}, "tilt_dge: unknown design key; did you mean 'tilt_deg'?"),
        (
            {"pavilion mian.slope_deg": [1]},
            {"stone": ONE},
            "pavilion mian.slope_deg: unknown tier or facet; did you mean 'pavi",
        ),
        (
            {"pavilion main 30.slope_deg": [1]},
            {"stone": ONE},
            "pavilion main 30.slope_deg: unknown tier or facet; did you mean",
        ),
        (
            {"crown man.slope_deg": [0.1]},
            BY_PROPORTIONS,
            "crown man.slope_deg: unknown tier or facet; did you mean 'crown main'?",
        ),
        (
            {"crown main.painting_deg": [0.1]},
            BY_PROPORTIONS,
            "not a tier that is painted; expected one of upper half, lower half",
        ),
        ({"star.slpoe_deg": [0.1]}, {"stone": ONE}, "star.slpoe_deg: unknown design key"),
    ],
)
def test_what_makes_no_axis_is_one_line(axes, fixed, line):
    with pytest.raises(rl.InputError) as refused:
        swept(axes, **fixed)
    assert line in str(refused.value)
    assert "\n" not in str(refused.value)


def test_derivatives_need_proportions():
    with pytest.raises(rl.InputError, match="no proportions to derive by"):
        rl.gradient({"stone": ONE}, "head-shadow")


def test_a_folder_keeps_stones_and_offsets_apart(tmp_path):
    """Not only their names: a stone of the same name with other planes is another sweep."""
    axes = {"pavilion main 3.slope_deg": [0.0, 0.25]}
    first = swept(axes, stone=ONE, out=tmp_path / "out")
    assert first.identical(swept(axes, stone=ONE, out=tmp_path / "out"))
    with pytest.raises(rl.InputError, match=r"another sweep: fixed\.stone differs"):
        swept(axes, stone=STEEP.relabeled(name="one"), out=tmp_path / "out")


def test_a_sweep_file_states_them(tmp_path: Path):
    rl.save_stone(ONE, tmp_path / "one.csv")
    (tmp_path / "mine.toml").write_text(
        """
schema = 1
[axes]
stone = ["one.csv"]
"pavilion main 3.slope_deg" = { start = -0.2, stop = 0.2, number = 3 }
head_half_angle_deg = [5, 16]
[fixed]
dome = "head-shadow"
"star.depth_mm" = 0.002
"""
    )
    request = read_sweep_file(tmp_path / "mine.toml")
    assert request.plan.shape == (1, 3, 2)
    design = next(request.plan.designs(0, 1))
    assert design["stone"].name == "one"
    assert (design["star.depth_mm"], design["pavilion main 3.slope_deg"]) == (0.002, -0.2)
    (tmp_path / "mine.toml").write_text('schema = 1\n[axes]\ntilt_deg = [1]\n[fixed]\ndome = "even-sky"\n"satr.depth" = 1')
    with pytest.raises(rl.InputError, match=r"mine\.toml: .*satr\.depth.*unknown key"):
        read_sweep_file(tmp_path / "mine.toml")


def test_pictures_of_such_sweeps():
    from raylab.pictures.sweep_plots import sweep_figure

    found = swept({"pavilion main 3.slope_deg": [-0.3, 0.0, 0.3], "stone": [ONE, STEEP]})
    words = [text.get_text() for axes in sweep_figure(found, "brightness").axes for text in axes.get_legend().get_texts()]
    assert words == ["stone one", "stone steep"]
    assert np.isfinite(found.brightness).all()
