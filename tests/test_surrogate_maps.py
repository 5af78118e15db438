"""Surrogates as the page gets them for its heat map; `test_page_strips` looks at the map itself."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from invented_sweep import invented_sweep, summed

import raylab as rl
from raylab.stone.known_cuts import get_cut
from raylab.workbench.design_json import DEMO, usual_design
from raylab.workbench.surrogate_maps import around, of_sweep, packed

DOMES = {"head-shadow": rl.load_dome("head-shadow")}


def test_terms_sum_to_the_surrogate():
    model = rl.surrogate(invented_sweep(), "brightness")
    for u in np.random.default_rng(1).random((5, 3)):
        at = {key: one.low + u[k] * (one.high - one.low) for k, (key, one) in enumerate(model.axes.items())}
        assert summed(model, u) == pytest.approx(float(model(at)), abs=1e-9)


def test_designs_around_a_stone_are_those_of_its_cut():
    """A single cut, whose diameter alone decides its weight, so that the surrogate of weight has a closed form."""
    design = usual_design(
        get_cut("single cut"), "S-1 (invented)", table_pct=60.0, crown_angle_deg=35.0, pavilion_angle_deg=42.0
    )
    shares: list[float] = []
    question = {"design": design, "dome": "head-shadow", "keys": ["diameter_mm"], "lows": [4.0], "highs": [6.0], "designs": 64}
    model = around(question, DOMES, lambda done, total: shares.append(done / total))
    weight = next(one for one in model["numbers"] if one["key"] == "weight_ct")
    stone = rl.cut("single cut", table_pct=60, crown_angle_deg=35, pavilion_angle_deg=42, diameter_mm=5.0)
    assert shares == sorted(shares)
    assert model["designs"] == 64
    assert weight["high"] / weight["low"] == pytest.approx(1.5**3, rel=0.1)
    assert weight["rmse"] < 0.01 * stone.weight_ct


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"keys": ["cut"]}, "keys = 'cut': no number of the design"),
        ({"keys": []}, "wrong number of axes"),
        ({"lows": [43.0]}, "pavilion_angle_deg = [43.0, 42.0]: empty range"),
        ({"designs": 10_000}, "designs = 10000"),
        ({"dome": "none"}, "unknown dome"),
    ],
)
def test_what_has_no_heat_map_is_one_line(change: dict[str, Any], words: str):
    asked = {
        "design": DEMO,
        "dome": "head-shadow",
        "keys": ["pavilion_angle_deg"],
        "lows": [40.0],
        "highs": [42.0],
        "designs": 64,
    }
    with pytest.raises(rl.InputError) as refused:
        around({**asked, **change}, DOMES, lambda done, total: None)
    assert words in str(refused.value)
    assert "\n" not in str(refused.value)


def test_a_file_that_is_no_sweep_is_one_line(tmp_path: Path):
    with pytest.raises(rl.InputError, match=r"^not a NetCDF file"):
        packed(b"no file")
    with pytest.raises(rl.InputError, match=r"nowhere"):
        of_sweep(tmp_path / "nowhere")
