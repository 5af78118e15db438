"""The engine on a graphics processor: under numba-cuda's simulator, in a process of its own, against the sampled engine."""

import json
import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from simulated_gpu import POINTS, SIDE, TIMES, cases

import raylab as rl
from raylab.designs.design import COLUMNS, trace_designs
from raylab.errors import UnsupportedScene
from raylab.scene.pixel_grid import grid_around
from raylab.scene.settings import TraceSettings
from raylab.tracers import randomizations
from raylab.tracers.gpu.device import why_no_device
from raylab.tracers.gpu.engine import ENGINE
from raylab.tracers.sampled import outline
from raylab.tracers.sampled.outline import outline_totals
from raylab.tracers.sampled.sampling import sample_image

HERE = Path(__file__).parent


@pytest.fixture(scope="module")
def simulated(tmp_path_factory):
    """What the kernels give, in pure Python."""
    pytest.importorskip("numba_cuda")
    file = tmp_path_factory.mktemp("gpu") / "found.json"
    around = {**os.environ, "NUMBA_ENABLE_CUDASIM": "1", "NUMBA_DISABLE_JIT": "1", "PYTHONPATH": str(HERE.parent)}
    subprocess.run([sys.executable, "-W", "ignore", str(HERE / "simulated_gpu.py"), str(file)], env=around, check=True)
    return json.loads(file.read_text())


@pytest.mark.parametrize("number", range(len(cases())))
def test_kernels_give_what_the_sampled_engine_gives(simulated, monkeypatch, number):
    monkeypatch.setattr(randomizations, "USUAL_POINTS", POINTS)
    monkeypatch.setattr(outline, "RANDOMIZATIONS", TIMES)
    scene, found = cases()[number], simulated[number]
    assert outline_totals(scene, 589.3, None).mean == pytest.approx(np.array(found["mean"]), abs=1e-12)
    image = sample_image(scene, 589.3, grid_around(scene.stone, scene.view, SIDE))
    assert set(image.fields) == set(found["fields"])
    for name, values in image.fields.items():
        far = 1e-7 if "error" in name else 1e-12  # the error is the root of a difference
        assert np.array(found["fields"][name], float) == pytest.approx(values.ravel(), abs=far, nan_ok=True)


def test_designs_in_a_batch_have_the_numbers_of_one_at_a_time(simulated):
    assert simulated[-1]["rows"] == pytest.approx(np.array(simulated[-1]["alone"]), abs=1e-12, nan_ok=True)
    assert simulated[-1]["reasons"][0] == 0 != simulated[-1]["reasons"][1]


def test_without_a_processor_the_engine_says_why():
    if why_no_device() is None:
        pytest.skip("there is a graphics processor")
    with pytest.raises(UnsupportedScene, match=r"gpu.*(numba-cuda|graphics processor|CUDA)"):
        rl.trace(cases()[0].stone, "head-shadow", engine="gpu", resolution=8)
    axes = {"pavilion_angle_deg": [40.0]}
    with pytest.raises(UnsupportedScene, match="gpu"):
        rl.sweep(axes, "head-shadow", table_pct=57, crown_angle_deg=34.5, settings=TraceSettings(engine="gpu"))


def test_what_it_does_not_carry_is_refused_first():
    scene = cases()[0]
    eyed = rl.View(distance_mm=250.0, pupil_mm=4.0)
    assert "pupil" in ENGINE.supports(replace(scene, view=eyed))
    speck = rl.Inclusion.sphere((0, 0, 0), 0.1)
    assert "inclusions" in ENGINE.supports(replace(scene, stone=scene.stone.with_inclusions([speck])))
    assert "scatter" in ENGINE.supports(replace(scene, stone=scene.stone.with_finishes({"girdle": "lambertian 0.5"})))


def test_columns_are_those_of_every_sweep():
    assert trace_designs([], TraceSettings(engine="rays")).shape == (0, len(COLUMNS))
