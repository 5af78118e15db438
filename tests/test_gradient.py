"""`gradient`: steps against dual numbers, against closed forms, against whole sweeps."""

from __future__ import annotations

import math

import numpy as np
import pytest
from dual_light import Body, Dual, ledger_of_paths
from small_scenes import beams_of, scene_of

import raylab as rl
from raylab.designs.gradients import HALF_STEPS, _derivative
from raylab.designs.keys import complete
from raylab.designs.stepping import UNMATCHED, _hashed
from raylab.results.statistics import STATISTICS
from raylab.results.statistics.limits import limits_of
from raylab.results.summary import record

BASE = {"table_pct": 57.0, "crown_angle_deg": 34.5, "pavilion_angle_deg": 40.75, "star_pct": 50.0, "lower_half_pct": 77.0}
COARSE = 0.04
FEW = 0.1
"""Precision that leaves few paths: each is followed in plain Python."""


def stone(**other):
    return rl.round_brilliant(**{**BASE, **other})


def by_dual_numbers(key: str, dome) -> dict[str, tuple[float, float]]:
    """Value and derivative of area means by one proportion, along all the paths that the exact tracer finds."""
    step = 1e-4
    body = Body(stone(), stone(**{key: BASE[key] - step}), stone(**{key: BASE[key] + step}), step)
    beams = beams_of(stone(), dome, precision=FEW)
    # The wedge that the polygons tile: a triangle from the centre that is wider than the stone.
    (ax, ay), (bx, by) = ((-b, a) for a, b in beams.symmetry.cuts)
    ends = [np.array([ax, ay]), np.array([bx, by])]
    points = beams.vertices_mm
    reach = 2.0 * np.hypot(*points.T).max()
    ends = [end * (1.0 if (points @ end).max() > 0.0 else -1.0) * reach for end in ends]
    corners = [(0.0, 0.0), *(tuple(map(float, end)) for end in ends)]
    if ends[0][0] * ends[1][1] < ends[0][1] * ends[1][0]:
        corners = [corners[0], corners[2], corners[1]]
    paths = [beams.path(polygon) for polygon in range(len(beams))]
    total = ledger_of_paths(body, paths, corners, stone().material.n(589.3))
    mean = {name: value / total["area"] for name, value in total.items()}
    assert total["area"].x == pytest.approx(beams.areas_mm2.sum(), rel=1e-10), "the paths tile the wedge"
    return {name: (value.x, value.dot) for name, value in mean.items()}


@pytest.mark.parametrize("key", ["pavilion_angle_deg", "crown_angle_deg", "table_pct"])
def test_steps_agree_with_dual_numbers(key):
    """Two methods that share only planes and paths: stepping the engine, and carrying derivatives through every formula."""
    dome = rl.load_dome("overcast-sky")
    dual = by_dual_numbers(key, dome)
    found = rl.gradient(BASE, dome, keys=[key], settings=rl.TraceSettings(precision=FEW))
    limits = limits_of(scene_of(stone(), dome), 589.3)
    traced = record(589.3, beams_of(stone(), dome, precision=FEW).totals, limits).statistics
    for name in ("brightness", "sky", "leak", "untraced"):
        here = found.sel(statistic=name, proportion=key)
        value, derivative = dual[name]
        assert traced[name].value == pytest.approx(value, abs=1e-10), name
        # Error of the steps as estimated (factor 4), and of the dual planes' own step: third derivatives times 1e-8.
        tolerance = 4.0 * float(here.derivative_error) + 1e-7
        assert float(here.derivative) == pytest.approx(derivative, abs=tolerance), name
        assert abs(derivative) > 10.0 * tolerance, "a derivative of zero would prove nothing"


def test_the_ledgers_derivatives_sum_to_zero():
    found = rl.gradient(BASE, "head-shadow", settings=rl.TraceSettings(precision=COARSE))
    entries = found.derivative.sel(statistic=["sky", "head", "leak", "absorbed", "scattered", "untraced"])
    error = float(found.derivative_error.max())
    np.testing.assert_allclose(entries.sum("statistic"), 0.0, atol=1e-7 + 6.0 * error)
    assert float(np.abs(entries).max()) > 1e-3


def test_geometry_against_closed_forms():
    """Depth: (100 - t)/2 tan(crown) + girdle + 50 tan(pavilion), percent, derived by hand."""
    found = rl.gradient({**BASE, "girdle_pct": 3.5}, "even-sky", settings=rl.TraceSettings(precision=0.2))
    depth = found.derivative.sel(statistic="depth_pct")
    per_degree = math.pi / 180.0
    closed = {
        "table_pct": -0.5 * math.tan(math.radians(34.5)),
        "crown_angle_deg": 21.5 / math.cos(math.radians(34.5)) ** 2 * per_degree,
        "pavilion_angle_deg": 50.0 / math.cos(math.radians(40.75)) ** 2 * per_degree,
        "girdle_pct": 1.0,
        "star_pct": 0.0,
        "lower_half_pct": 0.0,
    }
    for key, value in closed.items():
        assert float(depth.sel(proportion=key)) == pytest.approx(value, abs=1e-8), key
    weight = found.derivative.sel(statistic="weight_ct")
    scaled = rl.gradient(
        {**BASE, "diameter_mm": 6.5}, "even-sky", keys=["diameter_mm"], settings=rl.TraceSettings(precision=0.2)
    )
    here = scaled.sel(statistic="weight_ct", proportion="diameter_mm")
    assert float(here.derivative) == pytest.approx(3.0 * float(here.value) / 6.5, rel=1e-9), "weight grows with the cube"
    assert float(weight.sel(proportion="girdle_pct")) > 0.0


def test_light_does_not_depend_on_size():
    found = rl.gradient(
        {**BASE, "diameter_mm": 6.5}, "head-shadow", keys=["diameter_mm"], settings=rl.TraceSettings(precision=COARSE)
    )
    light = found.sel(statistic=list(STATISTICS), proportion="diameter_mm")
    np.testing.assert_allclose(light.derivative, 0.0, atol=1e-7)
    np.testing.assert_allclose(light.slope, 0.0, atol=1e-10)


def test_absorption_darkens_at_the_rate_of_the_mean_path():
    """In a tinted stone d(absorbed)/da at a = 0 is the mean path length of the light: positive and a few diameters long."""
    found = rl.gradient(
        {**BASE, "absorption_per_mm": 0.002}, "even-sky", keys=["absorption_per_mm"], settings=rl.TraceSettings(precision=5e-3)
    )
    absorbed = found.sel(statistic="absorbed", proportion="absorption_per_mm")
    assert float(absorbed.slope_low) <= float(absorbed.derivative) <= float(absorbed.slope_high)
    assert 6.5 < float(absorbed.derivative) < 65.0
    brightness = found.derivative.sel(statistic="brightness", proportion="absorption_per_mm")
    assert float(brightness) < 0.0


def test_slopes_are_those_of_a_sweep():
    found = rl.gradient(
        BASE,
        "head-shadow",
        keys=["pavilion_angle_deg"],
        half_step={"pavilion_angle_deg": 0.2},
        settings=rl.TraceSettings(precision=5e-3),
    )
    fixed = {key: value for key, value in BASE.items() if key != "pavilion_angle_deg"}
    ends = rl.sweep(
        {"pavilion_angle_deg": [40.55, 40.95]}, "head-shadow", settings=rl.TraceSettings(precision=5e-3), processes=1, **fixed
    )
    for name in STATISTICS:
        here = found.sel(statistic=name, proportion="pavilion_angle_deg")
        assert float(here.slope) == pytest.approx(float(ends[name][1] - ends[name][0]) / 0.4, abs=1e-9)
        low = float(ends[name + "_low"][1] - ends[name + "_high"][0]) / 0.4
        assert float(here.slope_low) == pytest.approx(low, abs=1e-9)
        assert float(here.slope_low) <= float(here.slope) <= float(here.slope_high)
    assert float(found.half_step[0]) == 0.2


def test_a_slope_counts_a_jump_that_the_derivative_does_not():
    """Under a narrow ring of light nearly all is jumps: between them its brightness hardly changes."""
    dome = rl.Dome(sky_radiance=0.0, zones=(rl.Zone(elevation_deg=(58.0, 62.0)),))
    found = rl.gradient(BASE, dome, keys=["pavilion_angle_deg"], settings=rl.TraceSettings(precision=0.05))
    here = found.sel(statistic="brightness", proportion="pavilion_angle_deg")
    ends = [
        rl.trace(stone(pavilion_angle_deg=40.75 + side * 0.1), dome, resolution=8, precision=0.05).summary.brightness.value
        for side in (-1.0, 1.0)
    ]
    assert float(here.slope) == pytest.approx((ends[1] - ends[0]) / 0.2, abs=1e-9)
    assert abs(float(here.slope) - float(here.derivative)) > 10.0 * float(here.derivative_error) + 1e-6


def test_steps_are_small_enough_to_find_every_path_again():
    """The estimated error is honest: a derivative from other steps lies within it (factor 10) and the rounding of 1e-7."""
    full = complete({**BASE, "dome": "overcast-sky"})
    settings = rl.TraceSettings(precision=COARSE)
    first = _derivative(full, "crown_angle_deg", settings)
    nudged = _derivative({**full, "crown_angle_deg": 34.5 + 1e-9}, "crown_angle_deg", settings)
    assert np.isfinite(first.values[0])
    tolerance = 10.0 * (first.errors + nudged.errors) + 1e-6
    assert np.all(np.abs(first.values - nudged.values) <= tolerance)
    assert UNMATCHED < 1e-10


def test_what_cannot_be_derived_is_reported():
    with pytest.raises(rl.InputError, match="crown_angel_deg: unknown design key"):
        rl.gradient({**BASE, "crown_angel_deg": 3.0}, "even-sky")
    with pytest.raises(rl.InputError, match=r"keys = 'dome': not a number of this design"):
        rl.gradient(BASE, "even-sky", keys=["dome"])
    with pytest.raises(rl.InputError, match=r"keys: nothing to derive by; expected some of crown_angle_deg, .*star_angle_deg"):
        rl.gradient({"cut": "rose cut"}, "even-sky")
    at_the_end = (
        r"length_ratio = 1\.0: a slope needs steps of 0\.01 to both sides; expected 0\.01 or more from the ends of 1 to 2"
    )
    with pytest.raises(rl.InputError, match=at_the_end):
        rl.gradient(
            {"cut": "princess cut", "table_pct": 65, "length_ratio": 1.0},
            "even-sky",
            settings=rl.TraceSettings(precision=COARSE),
        )
    with pytest.raises(rl.StoneError, match="the girdle vanishes"):
        rl.gradient({**BASE, "girdle_pct": 0.5}, "even-sky")
    with pytest.raises(rl.StoneError, match="the girdle vanishes"):
        rl.gradient({**BASE, "girdle_pct": 2.0}, "even-sky", half_step={"girdle_pct": 1.9})
    with pytest.raises(rl.InputError, match="the refractive index of diamond is unknown at this wavelength"):
        rl.gradient({**BASE, "wavelength_nm": 100.0}, "even-sky")


def test_paths_have_names_of_their_own():
    """Every path of a real trace, and all short ones, by hashing against tuples."""
    beams = beams_of(stone(), rl.load_dome("even-sky"), precision=5e-3)
    names = _hashed(beams.nodes)
    paths: list[tuple[int, ...]] = []
    for before, facet in beams.nodes:
        paths.append((*(paths[before] if before >= 0 else ()), int(facet)))
    assert len(set(paths)) == len(set(names.tolist()))
    assert len(paths) > 1000


def test_dual_numbers_themselves():
    """Against derivatives known in closed form."""
    x = Dual(0.7, 1.0)
    y = (1.0 - x * x) / (2.0 + x)
    assert y.dot == pytest.approx((-2.0 * 0.7 * 2.7 - (1.0 - 0.49)) / 2.7**2, rel=1e-14)
    root = (x - 1.0).sqrt()
    assert root.x == pytest.approx(1j * math.sqrt(0.3))
    assert root.dot == pytest.approx(1.0 / (2j * math.sqrt(0.3)))
    assert (root * Dual(1j, 0.0)).size2().dot == pytest.approx(-1.0), "|x - 1| falls as x rises to 1"


def test_every_unit_of_a_parameter_has_a_step():
    numbers = [one for cut in rl.cuts() for one in cut.parameters if one.continuous]
    assert {one.unit for one in numbers} <= set(HALF_STEPS)


def test_an_oval_grows_as_its_ratio():
    """An oval with one point below is a stretched round: length and weight are proportional to the ratio, the width stays."""
    design = {"cut": "oval brilliant", "table_pct": 58.0, "length_ratio": 1.4, "width_mm": 5.0, "girdle_facets": 16}
    found = rl.gradient(design, "even-sky", keys=["length_ratio"], settings=rl.TraceSettings(precision=0.3))
    here = found.derivative.sel(proportion="length_ratio")
    value = found.value.sel(statistic="weight_ct")
    assert float(here.sel(statistic="length_mm")) == pytest.approx(5.0, rel=1e-6)
    assert float(here.sel(statistic="width_mm")) == pytest.approx(0.0, abs=1e-6)
    assert float(here.sel(statistic="weight_ct")) == pytest.approx(float(value) / 1.4, rel=1e-6)
    assert float(found.half_step.sel(proportion="length_ratio")) == 0.01
