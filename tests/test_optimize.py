"""`optimize`: against closed forms, against a grid, and what it says about the neighbourhood."""

from __future__ import annotations

import math

import numpy as np
import pytest

import raylab as rl

FIXED = {"table_pct": 57.0, "crown_angle_deg": 34.5, "girdle_pct": 3.5}
QUICK = {"settings": rl.TraceSettings(precision=0.2), "processes": 1, "number": 8, "starts": 2}
"""For aims that need no light."""


def test_the_heaviest_stone_within_a_depth_is_the_deepest_allowed():
    """In closed form: (100 - t)/2 tan(crown) + girdle + 50 tan(pavilion) = 61 gives the angle."""
    best = rl.optimize(
        {"pavilion_angle_deg": (38.0, 44.0)},
        "even-sky",
        statistic="weight_ct",
        limits={"depth_pct": (None, 61.0)},
        **FIXED,
        **QUICK,
    )
    crown = 21.5 * math.tan(math.radians(34.5))
    angle = math.degrees(math.atan((61.0 - crown - 3.5) / 50.0))
    assert best.design["pavilion_angle_deg"] == pytest.approx(angle, abs=6.0 * 1e-3)  # the search's tolerance in the box
    assert best.geometry["depth_pct"] <= 61.0
    band = best.bands["pavilion_angle_deg"]
    assert band.high_end == "limit"
    assert band.high == pytest.approx(angle, abs=6.0 / 40 / 2**5)
    assert band.low_end == "loss"


def test_a_band_ends_where_the_stated_loss_is_reached():
    """Weight against pavilion angle is smooth: the band's end is where it has fallen by the loss, by a fine scan."""
    best = rl.optimize({"pavilion_angle_deg": (38.0, 44.0)}, "even-sky", statistic="weight_ct", loss=0.02, **FIXED, **QUICK)
    assert best.design["pavilion_angle_deg"] == pytest.approx(44.0, abs=6e-3)
    fine = rl.sweep(
        {"pavilion_angle_deg": rl.steps(38.0, 44.0, 401)},
        "even-sky",
        settings=rl.TraceSettings(precision=0.9),
        processes=1,
        **FIXED,
    )
    kept = fine.pavilion_angle_deg.values[fine.weight_ct.values >= best.value.value - 0.02]
    assert best.bands["pavilion_angle_deg"].low == pytest.approx(kept.min(), abs=6.0 / 40 / 2**5 + 6.0 / 400)
    assert best.bands["pavilion_angle_deg"].high_end == "bounds"


def test_no_better_design_lies_on_a_grid():
    """Contrast under a head's shadow over two angles: the search finds at least the best of 13 x 13 designs."""
    box = {"crown_angle_deg": (32.0, 36.0), "pavilion_angle_deg": (40.0, 42.0)}
    settings = {"settings": rl.TraceSettings(precision=0.02), "table_pct": 57.0}
    best = rl.optimize(box, "head-shadow", statistic="brightness", number=32, starts=3, processes=1, scan=11, **settings)
    axes = {key: rl.steps(*ends, 13) for key, ends in box.items()}
    grid = rl.sweep(axes, "head-shadow", processes=1, **settings)
    assert best.value.value >= float(grid.brightness.max()) - 0.002
    assert best.value.low <= best.value.value <= best.value.high
    single = rl.round_brilliant(table_pct=57.0, **best.design)
    assert (
        best.value.value == rl.trace(single, rl.load_dome("head-shadow"), resolution=8, precision=0.02).summary.brightness.value
    )
    assert best.ends[0][1] == best.value.value
    assert all(one[1] >= other[1] for one, other in zip(best.ends, best.ends[1:], strict=False))
    for key, (low, high) in box.items():
        assert low <= best.bands[key].low <= best.design[key] <= best.bands[key].high <= high
        assert set(best.scan.moved.values) == set(box)


def test_a_search_repeated_finds_the_same():
    box = {"crown_angle_deg": (32.0, 36.0), "pavilion_angle_deg": (40.0, 42.0)}
    settings = {"settings": rl.TraceSettings(precision=0.1), "table_pct": 57.0, "number": 8, "starts": 2, "processes": 1}
    one, other = (rl.optimize(box, "head-shadow", statistic="brightness", scan=3, **settings) for _ in range(2))
    assert one.design == other.design
    assert one.bands == other.bands


def test_within_a_band_the_loss_is_kept():
    box = {"pavilion_angle_deg": (40.0, 42.0)}
    settings = {"settings": rl.TraceSettings(precision=0.01), "table_pct": 57.0, "crown_angle_deg": 34.5}
    best = rl.optimize(
        box, "overcast-sky", goal="lowest", statistic="leak", loss=0.02, number=16, starts=2, processes=1, **settings
    )
    band = best.bands["pavilion_angle_deg"]
    inside = best.scan.where(
        (best.scan.pavilion_angle_deg >= band.low) & (best.scan.pavilion_angle_deg <= band.high), drop=True
    )
    assert float(inside.leak.max()) <= best.value.value + 0.02
    outside = best.scan.leak.values[np.searchsorted(best.scan.pavilion_angle_deg.values, band.high)]
    assert band.high_end == "bounds" or outside > best.value.value + 0.02
    assert "lowest leak: " in str(best)
    assert f"pavilion_angle_deg = {best.design['pavilion_angle_deg']:.3f}" in str(best)


def test_limits_on_light_and_on_weight_hold():
    best = rl.optimize(
        {"pavilion_angle_deg": (39.0, 43.0), "table_pct": (53.0, 63.0)},
        "head-shadow",
        statistic="brightness",
        limits={"leak": (None, 0.12), "weight_ct": (1.0, None)},
        crown_angle_deg=34.5,
        settings=rl.TraceSettings(precision=0.03),
        number=16,
        starts=2,
        scan=5,
        processes=1,
    )
    found = best.scan.isel(design=0)
    assert best.geometry["weight_ct"] >= 1.0
    assert set(found.coords) >= {"moved", "pavilion_angle_deg", "table_pct"}
    stone = rl.round_brilliant(crown_angle_deg=34.5, **best.design)
    summary = rl.trace(stone, rl.load_dome("head-shadow"), resolution=8, precision=0.03).summary
    assert summary.ledger["leak"].value <= 0.12


def test_a_size_may_be_chosen():
    best = rl.optimize(
        {"diameter_mm": (5.0, 8.0)}, "even-sky", statistic="weight_ct", goal="lowest", limits={"weight_ct": (0.8, None)},
        pavilion_angle_deg=40.75, **FIXED, **QUICK,
    )  # fmt: skip
    assert best.value.value == pytest.approx(0.8, abs=0.002)
    assert best.bands["diameter_mm"].low_end == "limit"


def test_where_there_is_no_stone_a_band_says_why():
    best = rl.optimize(
        {"girdle_pct": (0.5, 4.0)}, "even-sky", statistic="depth_pct", goal="lowest", pavilion_angle_deg=40.75,
        table_pct=57.0, crown_angle_deg=34.5, **QUICK,
    )  # fmt: skip
    assert best.bands["girdle_pct"].low_end == "girdle_vanishes"


@pytest.mark.parametrize(
    ("settings", "words"),
    [
        ({"bounds": {}}, "bounds: no key to vary"),
        ({"bounds": {"pavilion_angle_deg": [40.0, 41.0]}}, "pavilion_angle_deg = [40.0, 41.0]: no bounds"),
        ({"bounds": {"pavilion_angle_deg": (41.0, 40.0)}}, "empty range"),
        ({"bounds": {"pavilion_angel_deg": (40.0, 41.0)}}, "did you mean 'pavilion_angle_deg'?"),
        ({"statistic": "brightnes"}, "did you mean 'brightness'?"),
        ({"goal": "best"}, "goal = 'best': unknown goal"),
        ({"limits": {"depth": (None, 60.0)}}, "did you mean 'depth_pct'?"),
        ({"limits": {"depth_pct": (61.0, 60.0)}}, "depth_pct = (61.0, 60.0): empty limit"),
        ({"limits": {"depth_pct": (None, 40.0)}}, "no traced design meets the limits"),
        ({"number": 12}, "number = 12: not a power of two"),
        ({"starts": 9}, "starts = 9: out of range"),
        ({"loss": -1.0}, "loss = -1.0: out of range"),
        (
            {"settings": rl.TraceSettings(engine="rays")},
            "the engine `rays` can't trace this scene: this work needs an exact engine",
        ),
    ],
)
def test_what_cannot_be_sought_is_reported_in_one_line(settings, words):
    given = {"bounds": {"pavilion_angle_deg": (40.0, 41.0)}, "dome": "even-sky", **FIXED, **QUICK, **settings}
    with pytest.raises(rl.InputError) as caught:
        rl.optimize(**given)
    assert words in str(caught.value)
