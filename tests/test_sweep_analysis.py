"""What one does with the rows of a sweep: slabs, profiles, sensitivities, surrogates; against closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest
import xarray as xr

import raylab as rl
from raylab.pictures.sweep_plots import sweep_figure
from raylab.sweeps import slabs as slabs_module
from raylab.sweeps.axes import Between
from raylab.sweeps.points import Points
from raylab.sweeps.slabs import slabs

A, B = 7.0, 0.1
ISHIGAMI = {key: rl.between(-math.pi, math.pi) for key in ("x1", "x2", "x3")}


def ishigami(at):
    """Ishigami and Homma, Proc. ISUMA '90, 398-403 (1990)."""
    return np.sin(at["x1"]) + A * np.sin(at["x2"]) ** 2 + B * at["x3"] ** 4 * np.sin(at["x1"])


def closed_form() -> tuple[list[float], list[float]]:
    """First- and total-order indices, by integration: the parts of the variance by x1, by x2, and by x1 with x3."""
    one, two = 0.5 * (1.0 + B * math.pi**4 / 5.0) ** 2, A**2 / 8.0
    both = B**2 * math.pi**8 * (1.0 / 18.0 - 1.0 / 50.0)
    whole = one + two + both
    return [one / whole, two / whole, 0.0], [(one + both) / whole, two / whole, both / whole]


def sampled(number: int, layout: str = "sobol") -> xr.Dataset:
    """The function at points of its box, as a sweep returns it."""
    points = Points(layout, number, 3, 5).rows(0, number)
    at = {key: ends.low + points[:, k] * (ends.high - ends.low) for k, (key, ends) in enumerate(ISHIGAMI.items())}
    about = {"long_name": "Ishigami's function", "units": "1"}
    return xr.Dataset(
        {"y": ("design", ishigami(at), about)}, {key: ("design", one, {"long_name": key}) for key, one in at.items()}
    )


@pytest.fixture
def small_slabs(monkeypatch):
    """Slabs of at most seven designs, so that there are many."""
    monkeypatch.setattr(slabs_module.slabs, "__defaults__", (7,))


# Slabs


def test_slabs_are_the_whole_in_its_order(small_slabs):
    axes = {"a": [1.0, 2.0, 3.0], "b": [10, 20, 30, 40], "name": ["x", "y"]}
    found = xr.Dataset({"y": (tuple(axes), np.arange(24.0).reshape(3, 4, 2))}, axes)
    parts = list(slabs(found, ["y", "b", "name"]))
    assert [first for first, _ in parts] == [0, 8, 16], "one step of the first axis is more than seven designs"
    whole = {name: np.concatenate([columns[name] for _, columns in parts]) for name in ("y", "b", "name")}
    assert whole["y"].tolist() == list(range(24))
    assert whole["b"].tolist() == [b for _ in range(3) for b in axes["b"] for _ in range(2)]
    assert whole["name"].tolist() == ["x", "y"] * 12


# Sensitivities


def test_sobol_indices_are_those_of_ishigamis_function():
    """Within the intervals of 99.9 % that they state, which are narrow enough to say something."""
    found = rl.sobol_indices(ishigami, ISHIGAMI, number=2048, seed=1, coverage=0.999)
    for order, expected in zip(("first_order", "total_order"), closed_form(), strict=True):
        low, high = found[order + "_low"].values, found[order + "_high"].values
        assert np.all((low <= expected) & (expected <= high)), order
        assert np.all(high - low < 0.25), order
        assert found[order].values == pytest.approx(expected, abs=0.05)
    assert list(found.axis.values) == list(ISHIGAMI)


@pytest.mark.parametrize("layout", ["random", "sobol"])
def test_variance_shares_of_samples_are_first_order_indices(layout, monkeypatch):
    """To 0.03: some standard errors of 4,096 points, and what the width of a class hides."""
    monkeypatch.setattr(slabs_module.slabs, "__defaults__", (1500,))
    shares = rl.variance_shares(sampled(4096, layout), "y")
    assert shares.values == pytest.approx(closed_form()[0], abs=0.03)
    assert shares.axis.values.tolist() == list(ISHIGAMI)


def test_variance_shares_of_a_grid_are_the_analysis_of_its_variance(small_slabs):
    """y = 3 a + b + a b on a full grid: sums of squares by hand."""
    a, b = np.array([-1.0, 0.0, 1.0]), np.array([-1.0, 1.0])
    y = 1e6 + 3.0 * a[:, None] + b + a[:, None] * b
    shares = rl.variance_shares(xr.Dataset({"y": (("a", "b"), y)}, {"a": a, "b": b}), "y")
    by_a, by_b, both = 9.0 * 2.0 / 3.0, 1.0, 2.0 / 3.0
    assert shares.values == pytest.approx(np.array([by_a, by_b]) / (by_a + by_b + both), rel=1e-9)


def test_chance_alone_has_no_share():
    """Without its correction each axis would have 20/400 of the variance."""
    rng = np.random.default_rng(3)
    found = xr.Dataset({"y": ("design", rng.random(400))}, {"a": ("design", rng.random(400))})
    assert abs(float(rl.variance_shares(found, "y")[0])) < 0.04
    names = xr.Dataset({"y": ("design", [1.0, 1.0, 3.0, 3.0])}, {"name": ("design", ["p", "p", "q", "q"])})
    assert float(rl.variance_shares(names, "y")[0]) == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("ask", "words"),
    [
        (lambda: rl.sobol_indices(ishigami, {}), "not axes"),
        (lambda: rl.sobol_indices(ishigami, {"x1": (0, 1)}), "not axes"),
        (lambda: rl.sobol_indices(ishigami, {"x1": Between(1.0, 0.0)}), "empty range"),
        (lambda: rl.sobol_indices(ishigami, ISHIGAMI, number=1000), "number = 1000: not a power of two"),
        (
            lambda: rl.sobol_indices(lambda at: at["x1"] / 0.0, ISHIGAMI, number=2),
            "2 numbers for 2 designs, 2 of them not finite",
        ),
        (lambda: rl.sobol_indices(lambda at: 1.0, ISHIGAMI, number=2), "1 numbers for 2 designs"),
        (lambda: rl.variance_shares(sampled(16), "z"), "statistic = 'z': unknown variable"),
        (lambda: rl.variance_shares(sampled(16) * np.nan, "y"), "no two different values"),
    ],
)
@pytest.mark.filterwarnings("ignore:divide by zero", "ignore:invalid value")
def test_what_has_no_sensitivity_is_one_line(ask, words):
    with pytest.raises(rl.InputError) as refused:
        ask()
    assert words in str(refused.value)
    assert "\n" not in str(refused.value)


# Profiles


def graded() -> xr.Dataset:
    """y = 10 a - (c - a - b)^2 on a grid with a hole, and a name's axis that adds one."""
    axes = {"a": [0.0, 1.0, 2.0], "b": [0.0, 1.0], "c": [0.0, 1.0, 2.0, 3.0], "name": ["p", "q"]}
    a, b, c, more = np.meshgrid(*(axes[key] for key in ("a", "b", "c")), [0.0, 1.0], indexing="ij")
    y = 10.0 * a - (c - a - b) ** 2 + more
    y[2, 1] = np.nan
    about = {key: (key, values, {"long_name": f"axis {key}", "units": "1"}) for key, values in axes.items()}
    parts = {"y": y, "y_low": y - 0.5, "y_high": y + 0.5}
    return xr.Dataset({name: (tuple(axes), one, {"long_name": name, "units": "1"}) for name, one in parts.items()}, about)


def test_a_profile_is_the_extreme_over_the_axes_that_are_not_shown(small_slabs):
    found = graded()
    over = rl.profile(found, "y", ["b", "a"])
    xr.testing.assert_equal(over.y, found.y.max(("c", "name")).transpose("b", "a"))
    xr.testing.assert_equal(over.y_low, over.y - 0.5)
    assert over["c"].sel(a=1.0, b=1.0) == 2.0, "where c is a + b"
    assert over["name"].sel(a=1.0, b=1.0) == "q"
    assert np.isnan(over["c"].sel(a=2.0, b=1.0)), "no design there has a number"
    low = rl.profile(found, "y", "c", goal="lowest", name="q", b=0.0)
    xr.testing.assert_equal(low.y, found.y.sel(name="q", b=0.0).min("a"))
    panel = sweep_figure(over, "y")
    assert "axis c, axis name where y is highest" in panel.get_suptitle()
    assert np.ma.getmaskarray(panel.axes[0].collections[0].get_array())[1, 2], "hatched"


@pytest.mark.parametrize(
    ("ask", "words"),
    [
        (lambda: rl.profile(graded(), "y", ["d"]), "axes = 'd': no axis of the grid"),
        (lambda: rl.profile(graded(), "y", []), "axes: no axis"),
        (lambda: rl.profile(graded(), "y", ["a"], b=0.3), "b = 0.3: not a value of this axis; expected 0.0, 1.0"),
        (lambda: rl.profile(graded(), "y", ["a"], goal="best"), "expected 'highest' or 'lowest'"),
        (lambda: rl.profile(graded(), "name", ["a"]), "statistic = 'name': not a number"),
        (lambda: rl.profile(sampled(16), "y", ["x1"]), "expected a sweep over a grid"),
    ],
)
def test_profiles_of_what_is_no_grid_are_one_line(ask, words):
    with pytest.raises(rl.InputError) as refused:
        ask()
    assert words in str(refused.value)


# The Pareto front in slabs


@pytest.mark.parametrize("many", [5, 10_000])
def test_the_front_of_a_ball_holds_its_octant(many, small_slabs, monkeypatch):
    """Of points in a ball and on its surface, those on the surface where all three numbers are positive."""
    monkeypatch.setattr("raylab.sweeps.pareto.MANY", many)
    monkeypatch.setattr("raylab.sweeps.pareto.SOME", 3)
    rng = np.random.default_rng(1)
    points = rng.normal(size=(300, 3))
    points /= np.linalg.norm(points, axis=1)[:, None]
    inside = 0.5 * points
    every = np.concatenate([inside, points])
    found = xr.Dataset({name: ("design", every[:, k]) for k, name in enumerate("abc")})
    front = rl.pareto(found, dict.fromkeys("abc", "highest")).values
    octant = (every > 0.0).all(axis=1) & (np.arange(600) >= 300)
    assert front[octant].all(), "nothing exceeds a point of the sphere that all three numbers pull outward"
    plain = [not any((one >= other).all() and (one > other).any() for one in every) for other in every]
    assert front.tolist() == plain, "the definition, pair by pair"


# Surrogates


def test_a_surrogate_tells_its_error_as_it_is():
    """The error that cross-validation tells, against that at fresh points of the function."""
    model = rl.surrogate(sampled(1024, "random"), "y", most=800)
    fresh = sampled(2048, "halton")
    inside = np.all([(fresh[key] >= one.low) & (fresh[key] <= one.high) for key, one in model.axes.items()], axis=0)
    at = {key: fresh[key].values[inside] for key in ISHIGAMI}
    error = float(np.sqrt(np.mean((model(at) - fresh.y.values[inside]) ** 2)))
    assert model.rmse == pytest.approx(error, rel=0.25)
    assert model.rmse < 0.2 * model.spread
    assert model.designs == 800


def test_a_plane_is_its_own_surrogate_and_noise_has_none():
    rng = np.random.default_rng(2)
    at = {key: ("design", rng.uniform(0.0, 10.0, 200)) for key in "ab"}
    plane = rl.surrogate(xr.Dataset({"y": ("design", 3.0 * at["a"][1] - at["b"][1])}, at), "y")
    assert plane.rmse < 1e-9
    assert plane({"a": 5.0, "b": [1.0, 2.0]}) == pytest.approx([14.0, 13.0])
    noise = rl.surrogate(xr.Dataset({"y": ("design", rng.normal(size=200))}, at), "y")
    assert noise.rmse > 0.9 * noise.spread


def test_a_surrogates_grid_is_profiled_and_drawn():
    model = rl.surrogate(sampled(1024), "y", most=400)
    values = np.linspace(-3.0, 3.0, 7)
    grid = model.grid({"x1": values, "x2": values}, x3=0.5)
    assert grid.y.dims == ("x1", "x2")
    assert float(grid.y[2, 3]) == pytest.approx(float(model({"x1": values[2], "x2": values[3], "x3": 0.5})), rel=1e-9)
    over = rl.profile(model.grid(dict.fromkeys(ISHIGAMI, values)), "y", ["x1", "x2"])
    assert over.y.values.min() >= grid.y.values.min()
    assert "error" not in over.y.attrs["long_name"]
    assert float(over.y_error.max()) == model.rmse
    assert "where y is highest" in sweep_figure(over, "y").get_suptitle()


@pytest.mark.parametrize(
    ("ask", "words"),
    [
        (lambda model: model({"x1": 0.0, "x2": 0.0}), "x3: missing"),
        (lambda model: model({"x1": 0.0, "x2": 0.0, "x3": 0.0, "x4": 0.0}), "x4: no axis of the surrogate"),
        (lambda model: model({"x1": 0.0, "x2": 9.0, "x3": 0.0}), "x2 = 9.0: beyond the designs of the sweep"),
        (lambda model: model.grid(dict.fromkeys(ISHIGAMI, np.zeros(300))), "axes = 27000000: too many points"),
        (lambda model: rl.surrogate(sampled(16), "y"), "16 designs have numbers; expected an axis, and at least 20"),
        (lambda model: rl.surrogate(graded(), "y"), "axes = 'name': not a number"),
    ],
)
def test_what_a_surrogate_cannot_say_is_one_line(ask, words):
    model = rl.surrogate(sampled(32), "y")
    with pytest.raises(rl.InputError) as refused:
        ask(model)
    assert words in str(refused.value)
