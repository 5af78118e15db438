"""``raylab brillianteer``: what it writes and says against the API, and what it refuses."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

import raylab as rl
from raylab.cli import main
from raylab.cli.brillianteer import CAUTION
from raylab.pictures.brillianteering_plots import grid_figure, preview_figure, varied
from raylab.units import with_minus_signs

STONE = Path(__file__).parents[1] / "scenes" / "stones" / "blocked.csv"
FAST = ("--precision", "0.05")
AXES = {"star_pct": [45.0, 55.0], "lower_half_pct": [70.0, 80.0]}


def refused(capfd: pytest.CaptureFixture[str], *words: object) -> str:
    """The one line on stderr that this command line is refused with; exit code 2, nothing on stdout."""
    assert main([*map(str, words)]) == 2
    out, err = capfd.readouterr()
    assert out == ""
    assert err.startswith("raylab: ")
    assert err.count("\n") == 1
    return err.removeprefix("raylab: ").strip()


@pytest.fixture(scope="module")
def dome() -> rl.Dome:
    return rl.load_dome("head-shadow")


@pytest.fixture(scope="module")
def grid(dome):
    return rl.brillianteering_grid(rl.load_stone(STONE), dome, AXES, settings=rl.TraceSettings(precision=0.05))


def test_it_writes_and_says_what_the_api_finds(tmp_path, capfd, dome, grid):
    objective = "least leak with weight_ct >= 1.0"
    words = ("--star-pct", 45, 55, "--lower-half-pct", 70, 80, "--objective", objective, "--show", 2, *FAST)
    assert main(["brillianteer", str(STONE), "--out", str(tmp_path / "out"), *map(str, words), "--json"]) == 0
    facts = json.loads(capfd.readouterr().out)
    out = tmp_path / "out"
    assert sorted(file.name for file in out.iterdir()) == ["choices.png", "finish.json", "grid.nc", "grid.png"]
    assert json.loads((out / "finish.json").read_text()) == facts
    best = rl.best_brillianteering(grid, objective, 2)
    preview = rl.brillianteer(
        rl.load_stone(STONE), dome, [one.choice for one in best], settings=rl.TraceSettings(precision=0.05)
    )
    for record, one in zip(facts["alternatives"], json.loads(json.dumps(preview.to_dict()))["alternatives"], strict=True):
        assert {key: record[key] for key in one} == one
    assert [record["tied_with_first"] for record in facts["alternatives"]] == [one.tied for one in best]
    assert facts["stone"]["weight_now_ct"] == rl.load_stone(STONE).weight_ct
    assert [main["name"] for main in facts["mains"] if main["off"]] == ["pavilion main 5"]  # as make_blocked.py made it
    assert facts["corrections"][0]["change"] == preview.corrections[0].change.to_dict()
    assert facts["caution"] == CAUTION
    for name in ("leak", "lost_points", "brightness_high"):
        np.testing.assert_array_equal(facts["grid"][name], grid[name].values)
    for name in ("choices.png", "grid.png"):
        assert len(np.unique(np.asarray(Image.open(out / name).convert("L")))) > 50


def test_the_table_names_weights_choices_and_the_main_that_is_off(tmp_path, capfd):
    words = ["brillianteer", str(STONE), "--out", str(tmp_path), "--star-pct", "50", "--lower-half-pct", "77", *FAST]
    assert main([*words, "--lower-painting-deg", "-1"]) == 0
    said = capfd.readouterr().out
    stone = rl.load_stone(STONE)
    made = rl.brillianteer(
        stone,
        rl.load_dome("head-shadow"),
        [rl.LastFacets(lower_painting_deg=-1.0)],
        resolution=16,
        settings=rl.TraceSettings(precision=0.05),
    )
    for words_said in (
        f"now {stone.weight_ct:.4f} ct",
        f"{made.stones[0].weight_ct:.4f}  ",
        f"{made.lost_points(0):.2f}",
        with_minus_signs(str(made.choices[0])),
        "pavilion main 5  slope",
        CAUTION,
    ):
        assert words_said in said
    assert not (tmp_path / "grid.png").exists()  # a single choice is no map
    before = (tmp_path / "choices.png").read_bytes()
    assert "--force" in refused(capfd, *words)
    assert (tmp_path / "choices.png").read_bytes() == before


@pytest.mark.parametrize(
    ("words", "record"),
    [
        (("--star-pct", 120), "--star-pct"),
        (("--star-pct", 50, 50), "empty or repeated"),
        (("--objective", "best of all"), "invalid syntax"),
        (("--objective", "most sparkle"), "sparkle"),
        (
            ("--objective", "most brightness with weight_ct >= 2", "--star-pct", 50, "--lower-half-pct", 77),
            "the largest weight is 1.015",
        ),
        (("--show", 7), "--show"),
        (("--dome", "nowhere"), "unknown dome"),
        (("--diameter-mm", 9), "larger than the blocked stone"),
        (("--upper-painting-deg", *range(3), "--lower-painting-deg", *range(3)), "too many values"),
        (("--star-pct", "long"), "--star-pct"),
    ],
    ids=lambda part: "-".join(map(str, part)) if isinstance(part, tuple) else None,
)
def test_what_cannot_be_used_is_refused_in_one_line(tmp_path, capfd, words, record):
    assert record in refused(capfd, "brillianteer", STONE, "--out", tmp_path / "out", *FAST, *words)
    assert list(tmp_path.iterdir()) == []


def test_a_finished_stone_and_a_missing_file_are_refused(tmp_path, capfd):
    whole = STONE.with_name("offer-a.csv")
    said = refused(capfd, "brillianteer", whole, "--out", tmp_path / "out")
    assert f"{whole}: tier = " in said
    assert "not a blocked stone" in said
    assert "nowhere.csv" in refused(capfd, "brillianteer", tmp_path / "nowhere.csv", "--out", tmp_path / "out")
    assert list(tmp_path.iterdir()) == []


def test_all_contrast_maps_have_one_scale(dome):
    choices = [rl.LastFacets(), rl.LastFacets(star_pct=70.0)]
    figure = preview_figure(
        rl.brillianteer(
            rl.load_stone(STONE), dome, choices, resolution=32, coverage=100.0, settings=rl.TraceSettings(precision=0.05)
        )
    )
    first, second = (axes.images[0] for axes in figure.axes[:2])
    assert first.get_clim() == second.get_clim()
    assert not np.array_equal(first.get_array(), second.get_array())


def test_each_cell_shows_its_own_number(grid):
    """Values of all cells lie at their star and lower-half lengths; a choice that can't be cut stays empty."""
    hurt = grid.copy(deep=True)
    for name in hurt.data_vars:
        if name != "reason":
            hurt[name][0, 1] = np.nan
    figure = grid_figure(hurt, (rl.LastFacets(star_pct=55.0, lower_half_pct=80.0),))
    axes = figure.axes[0]
    record = {tuple(note.xy): note.get_text() for note in axes.texts if "." in note.get_text()}
    where = [(55.0, 80.0), (55.0, 70.0), (45.0, 70.0)]
    assert record == {(x, y): f"{float(grid.brightness.sel(star_pct=x, lower_half_pct=y)):.4f}" for x, y in where}
    assert [tuple(note.xy) for note in axes.texts if note.get_text() == "1"] == [(55.0, 80.0)]
    np.testing.assert_array_equal(np.ma.getmaskarray(axes.collections[0].get_array()).ravel(), [False, False, True, False])


def test_cells_of_one_row_have_a_height(grid):
    """Where one number alone varies, its cells fill the panel, each about its value."""
    for narrow in (grid.isel(lower_half_pct=[0]), grid.isel(star_pct=[0], lower_half_pct=[1])):
        for axes in grid_figure(narrow).axes[:4]:
            corners = axes.collections[0].get_coordinates()
            assert np.ptp(corners[..., 0]) > 0.5
            assert np.ptp(corners[..., 1]) > 0.5
            assert axes.get_xlim() == (corners[..., 0].min(), corners[..., 0].max())
            assert axes.get_ylim() == (corners[..., 1].min(), corners[..., 1].max())


def test_axes_are_laid_out_longest_first():
    assert varied({"star_pct": 2, "lower_half_pct": 3, "upper_painting_deg": 1}) == (["lower_half_pct", "star_pct"], [])
    assert varied({"star_pct": 4, "lower_half_pct": 3, "upper_painting_deg": 2}) == (
        ["star_pct", "lower_half_pct"],
        ["upper_painting_deg"],
    )


SCENE = STONE.parents[1] / "well-proportioned.toml"


def test_a_facet_polished_again_is_the_apis(tmp_path, capfd, dome):
    words = ["repolish", str(SCENE), "--facet", "pavilion main 3", "--slope-deg", "0.5", "--out", str(tmp_path), *FAST]
    assert main([*words, "--json"]) == 0
    facts = json.loads(capfd.readouterr().out)
    assert sorted(file.name for file in tmp_path.iterdir()) == ["repolish.json", "repolish.png", "stone.csv"]
    before = rl.load_stone(SCENE)
    after = rl.repolish(before, "pavilion main 3", slope_deg=0.5)
    record = rl.what_if(before, after, dome, what=facts["what"], settings=rl.TraceSettings(precision=0.05))
    assert facts == {**json.loads(json.dumps(record.to_dict())), "caution": CAUTION}
    written = rl.load_stone(tmp_path / "stone.csv")
    assert written.weight_ct == pytest.approx(after.weight_ct, rel=1e-9)
    assert facts["lost_points"] == pytest.approx(100.0 * (before.weight_ct - written.weight_ct), abs=1e-6)
    assert main([*words, "--force"]) == 0
    said = capfd.readouterr().out
    assert "pavilion main 3: slope +0.5°" in said
    assert f"{facts['lost_points']:.2f} points" in said
    assert CAUTION in said


@pytest.mark.parametrize(
    ("words", "record"),
    [
        (("--facet", "pavilion mian", "--slope-deg", 1), "pavilion main"),
        (("--facet", "table"), "no change"),
        (("--facet", "table", "--depth-mm", -0.1), "--depth-mm"),
        (("--facet", "table", "--depth-mm", 2), "girdle has no thickness"),
        (("--facet", "table", "--depth-mm", 0.6), "star 0"),
    ],
    ids=str,
)
def test_an_impossible_move_is_named_in_one_line(tmp_path, capfd, words, record):
    assert record in refused(capfd, "repolish", SCENE, "--out", tmp_path / "out", *words)
    assert list(tmp_path.iterdir()) == []
