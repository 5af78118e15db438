"""The engines on a graphics processor: bit patterns, ledgers, and random designs of each cut against the exact engine."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pytest
from compared import ROUNDING, WAVELENGTH_NM, Awaited, compared, exactly, scenes_of, values_of
from numba import config, cuda

import raylab as rl
from raylab.designs.design import trace_designs
from raylab.scene.pixel_grid import grid_around
from raylab.stone.cuts import CUTS
from raylab.sweeps.axes import plan_of
from raylab.tracers.engines import engine_named
from raylab.tracers.gpu import area_sums, batches, blocks
from raylab.tracers.gpu.blocks import Real
from raylab.tracers.gpu.single import with_names
from raylab.tracers.outline_rays import fan_of, generator_of

SIMULATED = bool(config.ENABLE_CUDASIM)
POINTS = 4 if SIMULATED else 89
SOME = 2 if SIMULATED else 16
PRECISIONS = {"gpu": np.float64, "gpu-single": np.float32}
"""Each engine's kind of number."""
ROUNDS = {
    "pavilion_angle_deg": [40.0, 40.5, 41.0, 41.5],
    "crown_angle_deg": [33.0, 34.0, 35.0, 36.0],
    "table_pct": [57.0, 57.0, 89.0, 60.0],
    "girdle_facets": [16] * 4,
    "dome": ["head-shadow"] * 4,
}


def means_of(scenes: list[rl.Scene], real: Real) -> np.ndarray:
    return batches.outline_means(scenes, WAVELENGTH_NM, POINTS, [fan_of(scene) for scene in scenes], real)


@pytest.fixture(scope="module")
def some() -> list[rl.Scene]:
    """Designs of a cut that is not built on the processor, face-up and tilted."""
    return scenes_of("single cut", range(SOME), rl.TraceSettings(min_weight=1e-2))


@pytest.mark.parametrize("engine", PRECISIONS)
def test_bits_are_the_same_again_and_in_any_company(some, engine):
    real = PRECISIONS[engine]
    all_at_once = means_of(some, real)
    assert np.array_equal(all_at_once, means_of(some, real))
    assert np.array_equal(all_at_once[::-1], means_of(some[::-1], real))
    assert np.array_equal(all_at_once[:1], means_of(some[:1], real))


@pytest.mark.parametrize("engine", PRECISIONS)
def test_bits_are_the_same_on_every_device(some, engine):
    """On the first again where there is one alone."""
    real, found = PRECISIONS[engine], []
    for device in cuda.gpus:
        with device:
            found.append(means_of(some[:2], real))
    assert all(np.array_equal(found[0], one) for one in [*found, means_of(some[:2], real)])


@pytest.mark.parametrize("engine", PRECISIONS)
def test_larger_blocks_give_the_same_to_rounding(some, engine):
    """Twice as many threads share out the rays otherwise, and so add them up in another order."""
    real, rounding = PRECISIONS[engine], ROUNDING[engine]
    threads = 2 * blocks.THREADS
    variant, plain = next((one, kernel) for one, kernel in area_sums.outline_sums.items() if one.real is real)
    larger = with_names(plain.py_func if hasattr(plain, "py_func") else plain.fn, THREADS=threads)
    kernel = cuda.jit(larger)
    count = len(some)
    peak, fans = some[0].dome.peak_radiance, [fan_of(scene) for scene in some]
    out, steps = cuda.device_array((count, batches.RANDOMIZATIONS, blocks.SUMS)), cuda.device_array(count, np.int64)
    kernel[count, threads](
        batches.on_card(batches.lowered(some, [WAVELENGTH_NM] * count), real), batches.on_card(batches.together(fans), real),
        batches.on_card(some[0].dome.table, real), batches.rules_of(some[0].settings, real, batches.CHANCE),
        POINTS, generator_of(POINTS), cuda.to_device(np.arange(count)), 1, batches.scale_for(POINTS, peak), out, steps,
    )  # fmt: skip
    sums = out.copy_to_host()
    assert max(len(scene.stone) for scene in some) <= variant.most
    assert sums[..., :-1] / sums[..., -1:] == pytest.approx(means_of(some, real), abs=10 * rounding)
    assert (steps.copy_to_host() > 0).all()


@pytest.mark.parametrize("engine", PRECISIONS)
def test_designs_built_on_the_device_have_their_bits_in_any_lot(engine):
    plan = plan_of(ROUNDS, {}, "paired")
    settings = rl.TraceSettings(engine=engine, min_weight=1e-2)
    together = trace_designs(plan.run(0, 4), settings)
    alone = np.concatenate([trace_designs(plan.run(k, k + 1), settings) for k in range(4)])
    assert np.array_equal(together, alone, equal_nan=True)
    assert np.isfinite(together[:2, 0]).all()


@pytest.mark.parametrize("engine", PRECISIONS)
def test_maps_close_their_ledger(some, engine):
    scene = some[1].with_settings(samples=4)
    grid = grid_around(scene.stone, scene.view, 2 if SIMULATED else 64)
    fields = engine_named(engine).trace(scene, WAVELENGTH_NM, grid).fields
    met = fields["coverage"] > 0.0
    total = sum(fields[name] for name in ("sky", "head", "leak", "absorbed", "scattered", "untraced"))
    assert met.any()
    assert total[met] == pytest.approx(1.0, abs=ROUNDING[engine])


@pytest.fixture(scope="module")
def awaited(designs, request) -> Iterator[Awaited]:
    """The exact brackets of the cuts that are tested."""
    wanted = {item.callspec.params["cut"]: None for item in request.session.items if "cut" in getattr(item, "fixturenames", ())}
    with exactly(wanted, designs) as brackets:
        yield brackets


@pytest.mark.parametrize("cut", CUTS)
@pytest.mark.parametrize("engine", PRECISIONS)
def test_random_designs_are_within_the_exact_brackets_and_errors(engine, cut, designs, awaited):
    found = compared(engine, values_of(engine, cut, designs), awaited[cut])
    assert not found.wrong, str(found)
