"""Run by `test_gpu.py` under numba-cuda's simulator: python simulated_gpu.py FILE writes what the kernels give for `cases`."""

import json
import sys
from pathlib import Path

import numpy as np

import raylab as rl
from raylab.optics.materials import get_material
from raylab.scene.scene import Scene
from raylab.scene.settings import TraceSettings

POINTS, TIMES, SIDE, SAMPLES = 4, 2, 3, 4
"""Rays of a randomization, randomizations, pixels along a side, samples of each."""
ANGLES = {"table_pct": 60, "crown_angle_deg": 30}
DESIGNS = [{"pavilion_angle_deg": 44.0}, {"pavilion_angle_deg": 89.5}, {"pavilion_angle_deg": 46.0}]


def cases() -> list[Scene]:
    """A perspective view under an image of the sky; tint, absorbing girdle and tilt under zones; a view from the side."""
    picture = rl.Dome("picture", sky="image", image=np.random.default_rng(3).random((6, 12)))
    tinted = get_material("diamond").tinted(0.05)
    plain = rl.cut("single cut", **ANGLES, pavilion_angle_deg=44)
    bruted = rl.cut("single cut", **ANGLES, pavilion_angle_deg=44, girdle_finish="absorbing", material=tinted)
    settings = TraceSettings(samples=SAMPLES, min_weight=1e-2)
    return [
        Scene(plain, picture, rl.View(distance_mm=60.0), settings),
        Scene(bruted, rl.load_dome("side-window"), rl.View(12.0, 30.0), settings),
        Scene(plain, rl.load_dome("head-shadow"), rl.View(90.0, 20.0), settings),
    ]


def main() -> None:
    """Everything runs in pure Python, so the numbers of rays, pixels and threads are the least that show a fault."""
    import _numba_cuda_redirector  # noqa: F401 - done by site-packages' .pth file otherwise

    from raylab.designs.design import trace_designs
    from raylab.scene.pixel_grid import grid_around
    from raylab.tracers import randomizations
    from raylab.tracers.gpu import batches, engine, kernels, single, single_engine

    randomizations.USUAL_POINTS = POINTS
    batches.RANDOMIZATIONS = TIMES
    tables = (kernels.OUTLINE_SUMS, kernels.PIXEL_MEANS, kernels.OUTLINE_SUMS_SINGLE, kernels.PIXEL_MEANS_SINGLE)
    functions = [*single._MADE.values(), *(kernel for table in tables for kernel in table.values())]
    for names in (vars(kernels), *(one.fn.__globals__ for one in functions)):
        names |= {"THREADS": 2, "RANDOMIZATIONS": TIMES}
    batches.CHANCE = 0.0
    engine.why_no_device = lambda: None
    found = []
    for scene in cases():
        traced = engine.ENGINE.trace(scene, 589.3, grid_around(scene.stone, scene.view, SIDE))
        fields = {name: values.ravel().tolist() for name, values in traced.fields.items()}
        found.append({"mean": traced.totals.mean.tolist(), "fields": fields})
        traced = single_engine.ENGINE.trace(scene, 589.3, grid_around(scene.stone, scene.view, SIDE))
        found[-1]["single"] = {
            "mean": traced.totals.mean.tolist(),
            "fields": {name: values.ravel().tolist() for name, values in traced.fields.items()},
        }
    light = {"dome": rl.load_dome("head-shadow"), "wavelength_nm": 589.3, "cut": "single cut", **ANGLES}
    designs, settings = [{**light, **one} for one in DESIGNS], TraceSettings(engine="gpu", min_weight=1e-2)
    together = trace_designs(designs, settings)
    alone = np.concatenate([trace_designs([one], settings) for one in designs])
    found[-1] |= {"rows": together.tolist(), "alone": alone.tolist(), "reasons": together[:, -1].tolist()}
    Path(sys.argv[1]).write_text(json.dumps(found))


if __name__ == "__main__":
    main()
