"""Rules of changes, previews and grids of choices: what is traced as asked, written, ordered and tied."""

from __future__ import annotations

from dataclasses import asdict, replace

import numpy as np
import pytest
import xarray as xr

import raylab as rl
from raylab.cutting import choices, mains, preview, repolishing
from raylab.cutting.blocked import blocked_stone
from raylab.cutting.choices import WEIGHTS
from raylab.cutting.last_facets import finished
from raylab.cutting.mains import MOVES, main_gradient
from raylab.cutting.objective import read_objective
from raylab.cutting.viewing import change, differences, seen
from raylab.results.statistics import STATISTICS, Statistic, columns
from raylab.scene.pixel_grid import grid_around
from raylab.tracing import maps_on

STONE = rl.load_stone("scenes/stones/blocked.csv")
DOME = rl.load_dome("head-shadow")
LOOSE = rl.TraceSettings(precision=0.2, engine="beams")
TURNED = rl.View(turn_deg=10.0)


class Stopped(Exception):  # noqa: N818 - what happens, as pytest's own names have it
    """Enough was seen of a call."""


def of_scene(scene: rl.Scene) -> tuple[object, ...]:
    return scene.stone, scene.dome, scene.view, scene.settings, scene.resolution


# --- what changes in light -----------------------------------------------------------------------------------------------


def test_a_difference_keeps_what_is_certain_and_adds_errors_in_squares():
    old, new = {"leak": Statistic(0.3, 0.2, 0.35, 0.03)}, {"leak": Statistic(0.5, 0.4, 0.75, 0.04)}
    found = differences(old, new)["leak"]
    assert (found.value, found.low, found.high, found.error) == pytest.approx((0.2, 0.05, 0.55, 0.05), rel=1e-12)


def test_maps_have_256_pixels_a_side_unless_stated():
    assert seen(STONE, DOME, None, None).resolution == 256
    assert seen(STONE, DOME, None, None, 31).resolution == 31


@pytest.fixture(scope="module")
def whole() -> rl.Stone:
    return finished(blocked_stone(STONE), rl.LastFacets())


@pytest.fixture(scope="module")
def smaller(whole):
    return rl.what_if(whole, whole.scaled(0.8), DOME, what="cut down", view=TURNED, resolution=16, settings=LOOSE)


def test_a_change_is_traced_as_asked_and_written_whole(whole, smaller):
    """The change against that of the plain numbers of two stones."""
    assert of_scene(smaller.before.scene) == (whole, DOME, TURNED, LOOSE, 16)
    assert smaller.after.scene.stone.weight_ct == pytest.approx(0.8**3 * whole.weight_ct, rel=1e-12)
    assert not {"path", "path_name"} & {*smaller.before.maps, *smaller.after.maps}
    assert set(smaller.change.light) == set(smaller.before.summary.statistics) == {*STATISTICS, "symmetry"}
    alone = change(smaller.before.scene, smaller.after.scene.stone).light
    assert any(one.value for one in alone.values())
    for name in STATISTICS:
        assert alone[name] == smaller.change.light[name]
    light = {
        name: {"change": one.value, "low": one.low, "high": one.high, "error": one.error}
        for name, one in smaller.change.light.items()
    }
    assert smaller.to_dict() == {
        "what": "cut down",
        "weight_before_ct": whole.weight_ct,
        "lost_points": 100.0 * (whole.weight_ct - smaller.after.scene.stone.weight_ct),
        "weight_ct": smaller.after.scene.stone.weight_ct,
        "light": light,
        "before": smaller.before.summary.to_dict(),
        "after": smaller.after.summary.to_dict(),
    }


@pytest.fixture(scope="module")
def larger(whole):
    return rl.what_if(whole.scaled(0.8), whole, DOME, view=TURNED, resolution=16, settings=LOOSE)


def test_a_difference_map_is_after_less_before_where_both_stones_are(smaller, larger):
    """On the pixels of the stone before, whether the one after is smaller or larger."""
    for found in (smaller, larger):
        before = found.before.maps
        after = maps_on(found.after, grid_around(found.before.scene.stone, TURNED, 16)).dataset()
        both = ((before.coverage > 0.0) & (after.coverage > 0.0)).values
        assert 0 < both.sum() < 256
        for name in ("luminance", "leak", "coverage"):
            difference = found.difference[name].values
            np.testing.assert_allclose(difference[both], (after[name] - before[name]).values[both], rtol=0, atol=1e-12)
            assert np.isnan(difference[~both]).all()
        assert np.nanmax(np.abs(found.difference.luminance)) > 0.1


def test_a_change_has_no_words_and_256_pixels_a_side_unless_stated(monkeypatch, larger):
    def record(*given):
        raise Stopped(given[2:])

    monkeypatch.setattr(repolishing, "seen", record)
    with pytest.raises(Stopped) as asked:
        rl.what_if(STONE, STONE, DOME)
    assert asked.value.args == ((None, None, 256),)
    assert larger.what == ""


# --- choices side by side ------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def told() -> list[float]:
    """The shares of the work that the preview reports."""
    return []


@pytest.fixture(scope="module")
def two(told) -> preview.Preview:
    """Two choices for the demo stone. By these small uncertainties twenty times over, one main is off."""
    return rl.brillianteer(
        STONE,
        DOME,
        [rl.LastFacets(star_pct=55.0), rl.LastFacets()],
        view=TURNED,
        uncertainty=rl.Uncertainty(angle_deg=0.01),
        coverage=20.0,
        resolution=24,
        settings=LOOSE,
        progress=lambda done, total: told.append(done / total),
    )


@pytest.fixture(scope="module")
def plain() -> preview.Preview:
    """A choice for the demo stone ground down. By such uncertainties no main is off."""
    large = rl.Uncertainty(angle_deg=5.0, distance_um=1000.0)
    return rl.brillianteer(STONE, DOME, diameter_mm=6.2, uncertainty=large, coverage=0.5, settings=LOOSE)


def test_a_preview_is_made_as_asked(two, plain):
    assert of_scene(two.scene) == (two.blocked.stone, DOME, TURNED, LOOSE, 24)
    assert two.coverage == 20.0
    assert [main.name for main in two.mains if main.off] == ["pavilion main 5"] == [one.name for one in two.corrections]
    assert {main.slope_uncertainty_deg for main in two.mains} == {0.01}
    for result, stone in zip(two.results, two.stones, strict=True):
        assert of_scene(result.scene) == (stone, DOME, TURNED, LOOSE, 24)
        assert not {"path", "path_name"} & {*result.maps}
    assert (plain.scene.resolution, plain.scene.view, plain.scene.settings) == (256, rl.View(), LOOSE)
    assert plain.choices == (rl.LastFacets(),)
    assert rl.measure(plain.blocked.stone).diameter_mm.mean == pytest.approx(6.2, rel=1e-12)


def test_a_preview_writes_what_it_holds(two):
    assert two.to_dict() == {
        "stone": {"name": STONE.name, "material": "diamond", "weight_now_ct": STONE.weight_ct},
        "dome": "head-shadow",
        "view": asdict(TURNED),
        "alternatives": [
            {
                "choice": asdict(choice),
                "weight_ct": stone.weight_ct,
                "lost_points": 100.0 * (STONE.weight_ct - stone.weight_ct),
                "facets": len(stone),
                **result.summary.to_dict(),
            }
            for choice, stone, result in zip(two.choices, two.stones, two.results, strict=True)
        ],
        "coverage": 20.0,
        "mains": [main.to_dict() for main in two.mains],
        "corrections": [correction.to_dict() for correction in two.corrections],
        "derivatives": {
            "pavilion main 5": {
                move: dict(
                    zip([*STATISTICS, "weight_points"], two.derivatives.derivative[:, 0, k].values.tolist(), strict=True)
                )
                for k, move in enumerate(MOVES)
            }
        },
        "derivative_units": {"slope_deg": "degree", "azimuth_deg": "degree", "depth_mm": "0.01 mm"},
    }


def test_a_preview_without_a_main_that_is_off_has_no_derivatives(plain):
    assert plain.derivatives is None
    facts = plain.to_dict()
    assert (facts["corrections"], facts["derivatives"], facts["derivative_units"]) == ([], {}, {})


def test_progress_of_a_preview_runs_from_0_to_1_in_equal_steps_of_a_kind(two, told):
    """Two traces, and three derivatives by the one main that is off, which begin where corrections have ended."""
    assert len(told) == 2 + 3
    assert told[1] == pytest.approx(2.0 * told[0])
    step = told[3] - told[2]
    assert told[4] - told[3] == pytest.approx(step)
    assert told[2] - step >= told[1] > told[0] > 0.0
    assert told[4] == pytest.approx(1.0)


def test_choices_side_by_side_are_limited_in_number(monkeypatch):
    monkeypatch.setattr(preview, "MOST_ALTERNATIVES", 1)
    assert len(rl.brillianteer(STONE, DOME, coverage=100.0, resolution=8, settings=LOOSE).stones) == 1
    with pytest.raises(rl.InputError, match="wrong number of choices"):
        rl.brillianteer(STONE, DOME, [rl.LastFacets()] * 2)
    with pytest.raises(rl.InputError, match=r"coverage = 100\.5: out of range"):
        rl.brillianteer(STONE, DOME, coverage=100.5)


def test_nobody_is_shown_progress_who_did_not_ask(monkeypatch):
    base = blocked_stone(STONE)
    asked = []

    def record(progress, *_, **__):
        asked.append(progress)
        raise Stopped

    for module in (choices, mains, preview):
        monkeypatch.setattr(module, "reporter", record)
    for work in (
        lambda: rl.brillianteer(STONE, DOME),
        lambda: rl.brillianteering_grid(STONE, DOME, {"star_pct": [50.0]}),
        lambda: main_gradient(base, rl.LastFacets(), rl.Scene(base.stone, DOME, settings=LOOSE)),
    ):
        with pytest.raises(Stopped):
            work()
    assert asked == [False, False, False]


def test_derivatives_stand_by_main_and_move_in_the_unit_of_the_move(monkeypatch):
    """Of every main where none is named; the derivative by millimetres counts per hundredth of one."""
    size, base = len(STATISTICS) + 1, blocked_stone(STONE)

    def fake(_blocked, _choice, _scene, facet, move):
        return np.full(size, facet + 100.0 * list(MOVES).index(move)), np.full(size, 0.5)

    monkeypatch.setattr(mains, "_derivative", fake)
    scene = rl.Scene(base.stone, DOME, settings=LOOSE)
    told: list[tuple[float, float]] = []
    found = main_gradient(base, rl.LastFacets(), scene, progress=lambda done, total: told.append((done, total)))
    assert told == [(k, 48) for k in range(1, 49)]
    assert found.main.values.tolist() == [base.stone.facet_name(f) for f in base.mains]
    assert found.statistic.values.tolist() == [*STATISTICS, "weight_points"]
    assert "per unit displacement of the main" in found.attrs["definition"]
    for move, unit, factor in (("slope_deg", "degree", 1.0), ("azimuth_deg", "degree", 1.0), ("depth_mm", "0.01 mm", 0.01)):
        here = found.sel(move=move)
        assert here.unit.item() == unit
        wanted = factor * (np.array(base.mains) + 100.0 * list(MOVES).index(move))
        np.testing.assert_allclose(here.derivative, np.broadcast_to(wanted, (size, 16)), rtol=1e-15)
        np.testing.assert_allclose(here.derivative_error, 0.5 * factor, rtol=1e-15)


# --- grids of choices ----------------------------------------------------------------------------------------------------

TILTED = rl.View(tilt_deg=8.0, tilt_azimuth_deg=20.0)
CHOICE = rl.LastFacets(lower_half_pct=80.0, lower_painting_deg=-0.5)


def test_a_grid_is_traced_and_labelled_as_asked():
    told: list[tuple[float, float]] = []
    grid = rl.brillianteering_grid(
        STONE,
        DOME,
        {"star_pct": [52, 1]},
        choice=CHOICE,
        view=TILTED,
        diameter_mm=6.2,
        settings=LOOSE,
        progress=lambda done, total: told.append((done, total)),
    )
    start = blocked_stone(STONE, 6.2)
    one = finished(start, replace(CHOICE, star_pct=52.0))
    seen_so = rl.trace(one, DOME, TILTED, resolution=8, precision=0.2, by_facet=False).summary.brightness
    here = grid.sel(star_pct=52.0)
    assert (float(here.brightness), float(here.brightness_low)) == (seen_so.value, seen_so.low)
    assert float(here.weight_ct) == one.weight_ct
    assert float(here.lost_points) == pytest.approx(100.0 * (start.stone.weight_ct - one.weight_ct), rel=1e-12)
    with pytest.raises(rl.StoneError) as impossible:
        finished(start, replace(CHOICE, star_pct=1.0))
    assert grid.reason.values.tolist() == [impossible.value.problem, ""]
    assert told == [(1, 2), (2, 2)]
    assert grid.star_pct.dtype == float
    units = {"star_pct": "%", "weight_ct": "ct", "lost_points": "0.01 ct", "brightness": "1"}
    assert {name: grid[name].attrs["units"] for name in units} == units
    assert grid.attrs == {
        "stone": STONE.name,
        "dome": "head-shadow",
        "weight_now_ct": start.stone.weight_ct,
        "precision": 0.2,
        "lower_half_pct": 80.0,
        "upper_painting_deg": 0.0,
        "lower_painting_deg": -0.5,
    }


def test_a_grid_has_at_least_one_axis_and_no_more_choices_than_allowed(monkeypatch):
    monkeypatch.setattr(choices, "MOST_CHOICES", 1)
    assert rl.brillianteering_grid(STONE, DOME, {"star_pct": [50.0]}, settings=LOOSE).reason.size == 1
    for axes in ({}, {"star_pct": [50.0, 52.0]}):
        with pytest.raises(rl.InputError, match="wrong number of combinations"):
            rl.brillianteering_grid(STONE, DOME, axes, settings=LOOSE)


def grid_of(brightness: list[tuple[float, float, float]], weight_ct: list[float]) -> xr.Dataset:
    """A grid of star lengths 40, 45, 50, ... with these numbers and brackets (value, low, high); the others are 0."""
    names = [*columns(), *WEIGHTS]
    numbers = {name: np.zeros(len(weight_ct)) for name in names} | {"weight_ct": np.array(weight_ct)}
    for k, part in enumerate(("", "_low", "_high")):
        numbers["brightness" + part] = np.array([row[k] for row in brightness])
    variables = {name: ("star_pct", values) for name, values in numbers.items()}
    reason = ("star_pct", np.array([""] * len(weight_ct)))
    axis = {"star_pct": 40.0 + 5.0 * np.arange(len(weight_ct))}
    return xr.Dataset({**variables, "reason": reason}, axis, {"lower_half_pct": 81.0})


FOUR = grid_of([(0.5, 0.45, 0.55), (0.6, 0.55, 0.65), (0.7, 0.65, 0.75), (0.8, 0.75, 0.85)], [1.03, 1.02, 1.01, 1.0])
"""Neighbours' brackets touch."""


def stars(objective: str, count: int = 9) -> list[float]:
    return [one.choice.star_pct for one in rl.best_brillianteering(FOUR, objective, count)]


def test_choices_are_ordered_by_the_number_sought():
    assert stars("most brightness") == [55.0, 50.0, 45.0, 40.0]
    assert stars("least brightness") == [40.0, 45.0, 50.0, 55.0]
    first, *rest = rl.best_brillianteering(FOUR, "least weight_ct")
    assert len(rest) == 2
    assert first.choice == rl.LastFacets(star_pct=55.0, lower_half_pct=81.0)
    assert (first.numbers["brightness"], first.numbers["weight_ct"]) == (0.8, 1.0)


@pytest.mark.parametrize(
    ("limit", "kept"),
    [
        ("brightness >= 0.6", [55.0, 50.0]),
        ("brightness <= 0.7", [45.0, 40.0]),
        ("brightness >= 0.65", [55.0, 50.0]),
        ("brightness <= 0.65", [45.0, 40.0]),
        ("weight_ct >= 1.02", [45.0, 40.0]),
        ("weight_ct <= 1.01", [55.0, 50.0]),
        ("weight_ct >= 1.005 and brightness >= 0.5", [50.0, 45.0]),
    ],
)
def test_a_limit_is_kept_by_the_whole_bracket(limit, kept):
    assert stars(f"most brightness with {limit}") == kept


@pytest.mark.parametrize("aim", ["most", "least"])
def test_a_choice_is_tied_where_its_bracket_reaches_that_of_the_first(aim):
    assert [one.tied for one in rl.best_brillianteering(FOUR, f"{aim} brightness")] == [False, True, False]
    assert [one.tied for one in rl.best_brillianteering(FOUR, f"{aim} weight_ct")] == [False, False, False]


def test_an_objective_keeps_its_words():
    known = ["brightness", "weight_ct"]
    assert read_objective("  least brightness with weight_ct >= 1 ", known).text == "least brightness with weight_ct >= 1"
    with pytest.raises(rl.InputError, match="'one' is not a number") as refused:
        read_objective("most brightness with weight_ct >= one", known)
    assert refused.value.value == "most brightness with weight_ct >= one"
