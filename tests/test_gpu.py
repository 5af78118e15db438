"""The engine on a graphics processor: under numba-cuda's simulator, in a process of its own, against the sampled engine."""

import json
import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from simulated_gpu import IN_SINGLE, NODES_NM, POINTS, SIDE, TIMES, cases

import raylab as rl
from raylab import jit
from raylab.designs.design import COLUMNS, trace_designs
from raylab.designs.keys import REASONS
from raylab.errors import StoneError, UnsupportedScene
from raylab.scene.pixel_grid import grid_around
from raylab.scene.settings import TraceSettings
from raylab.stone.cuts.round_rings import ARGUMENTS, round_rings
from raylab.stone.facet_area import MOST_CORNERS, facet_area
from raylab.stone.known_cuts import get_cut
from raylab.tracers import randomizations
from raylab.tracers.gpu.device import why_no_device
from raylab.tracers.gpu.engine import ENGINE
from raylab.tracers.ledger import BOUNCES, GLARE, LEAK, LUMINANCE, SKY, UNTRACED
from raylab.tracers.outline_rays import lattice_lot
from raylab.tracers.sampled import outline
from raylab.tracers.sampled.outline import outline_totals
from raylab.tracers.sampled.sampling import sample_image
from raylab.tracers.totals import LUMINANCE_SQUARE

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


def test_spectra_are_the_luminance_at_each_wavelength(simulated):
    scene = cases()[1]
    luminance, coverage = (np.array(one) for one in simulated[1]["spectra"])
    for wavelength_nm, found in zip(NODES_NM, luminance, strict=True):
        image = sample_image(scene, wavelength_nm, grid_around(scene.stone, scene.view, SIDE))
        assert coverage == pytest.approx(image.fields["coverage"].ravel(), abs=1e-12)
        wanted = np.nan_to_num(image.fields["luminance"]).ravel() * coverage / scene.dome.peak_radiance
        assert found == pytest.approx(wanted, abs=1e-12)
    assert (luminance[0] != luminance[1]).any(), "the index differs"


@pytest.mark.parametrize("number", IN_SINGLE)
def test_single_precision_is_the_same_physics(simulated, number):
    double, found = simulated[number], simulated[number]["single"]
    assert found["mean"] == pytest.approx(double["mean"], abs=2e-6)
    for name, values in double["fields"].items():
        assert np.array(found["fields"][name], float) == pytest.approx(np.array(values, float), abs=2e-4, nan_ok=True), name
    assert found["mean"] != double["mean"]


def test_rounds_built_from_arrays_have_the_rows_of_their_stones(simulated):
    built, by_host = np.array(simulated[-1]["built"]), np.array(simulated[-1]["by_host"])
    assert built == pytest.approx(by_host, abs=1e-12, nan_ok=True)
    assert [REASONS[int(code)][0] for code in built[2:, -1]] == ["out_of_range", "stars_cross_table"]
    assert (built[:2, 0] > 0.1).all()


def test_outlines_tell_where_rays_meet_the_stone_and_where_they_miss(simulated):
    """Without a search, for nearly all; the rest is searched."""
    wrong, left = np.array(simulated[-1]["judged"]).T
    assert (wrong == 0.0).all()
    assert (left < 0.1).all()


def test_lots_leave_means_and_squares_unbiased(simulated):
    """The same rays with and without: what differs has mean 0."""
    plain, lots = (np.array(simulated[-1]["lots"][chance]) for chance in ("0.0", "0.3"))
    off = (lots - plain)[:, [LUMINANCE, SKY, LEAK, BOUNCES, UNTRACED, LUMINANCE_SQUARE]]
    error = off.std(axis=0, ddof=1) / np.sqrt(len(off))
    assert (error > 0.0).all()
    assert (np.abs(off.mean(axis=0)) < 4.0 * error).all()
    assert plain[:, GLARE] == pytest.approx(lots[:, GLARE], abs=1e-12)


def test_planes_of_rings_are_those_of_the_cut():
    """Of 40 random rounds, painted ones and such with a culet among them; those that are none for the same reason."""
    cut, faults = get_cut("round brilliant"), set()
    random = np.random.default_rng(8)
    low, high = [45.0, 25.0, 36.0, 5.0, 60.0, -6.0, -6.0, 0.3, -1.0], [75.0, 45.0, 46.0, 70.0, 99.0, 6.0, 6.0, 6.0, 4.0]
    for numbers in random.uniform(low, high, (40, 9)):
        values = dict(zip(ARGUMENTS, (*numbers[:8], max(0.0, numbers[8])), strict=True))
        fault, rim, table, depth, *rings = round_rings.py_func(*values.values())
        faults.add(fault)
        if fault:
            with pytest.raises(StoneError) as none:
                cut.planes(cut.settled(values))
            assert cut.reasons[fault - 1].name == none.value.reason
            continue
        tiers = {one.tier.name: one for one in cut.planes(cut.settled(values))}
        for tier, ring in zip(("star", "crown main", "upper half", "lower half", "pavilion main"), rings[:5], strict=True):
            tangent, distance = ring
            normal = tiers[tier].normals[0]
            assert np.hypot(*normal[:2]) / abs(normal[2]) == pytest.approx(tangent, rel=1e-12)
            assert tiers[tier].distances == pytest.approx(distance / np.hypot(tangent, 1.0), rel=1e-12)
        for tier, azimuth in zip(("upper half", "lower half"), rings[5:], strict=True):
            assert np.arctan2(*tiers[tier].normals[0][1::-1]) == pytest.approx(azimuth, abs=1e-12)
        assert tiers["table"].distances == pytest.approx(table, rel=1e-12)
        assert rim == values["girdle_pct"] / 200.0
        assert depth == pytest.approx(-cut.stone(**values, diameter_mm=1.0).vertices_mm[:, 2].min(), rel=1e-9)
    assert len(faults) >= 4


def test_the_area_of_a_facet_is_that_of_its_polygon():
    stone = rl.round_brilliant(table_pct=57, crown_angle_deg=34.5, pavilion_angle_deg=40.8, culet_pct=2, girdle_facets=16)
    planes = np.column_stack([stone.normals, stone.distances_mm])
    one, other = np.empty((MOST_CORNERS, 2)), np.empty((MOST_CORNERS, 2))
    found = [facet_area(planes, len(planes), row, 50.0, one, other) for row in range(len(planes))]
    assert np.array(found) == pytest.approx(stone.polyhedron.areas, rel=1e-9)
    assert found @ stone.distances_mm / 3.0 == pytest.approx(stone.volume_mm3, rel=1e-12)
    outside = np.vstack([planes, [0.0, 0.0, 1.0, 50.0]])
    assert facet_area(outside, len(outside), len(planes), 50.0, one, other) == 0.0


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


def test_scenes_begin_with_the_lattice_that_usually_does():
    usual = randomizations.Usual(610, np.array([1.0, 1.4, np.nan]))  # in the root mean square 1.217 times the wanted error
    assert usual.first() == 987
    assert randomizations.Usual(610, np.array([0.9])).first() == 610
    assert randomizations.Usual(610, np.array([1e9])).first() == randomizations.LATTICES[-1]
    own = np.array([0.5, 1.0, 2.0])
    judged = usual.judged(987, own)
    expected = 1.217 * (610 / 987) ** 0.75
    assert (np.abs(judged - expected) < np.abs(own - expected)).all(), "nearer to what is usual"
    assert (np.diff(judged) > 0.0).all()


def test_each_variant_of_a_kernel_is_kept_in_files_of_its_own():
    cuda, dispatcher = pytest.importorskip("numba.cuda"), pytest.importorskip("numba.cuda.dispatcher")
    from raylab.tracers.gpu.kept import kept

    found = [kept(cuda.jit(lattice_lot.py_func), name)._cache for name in ("single-192", "single-512")]
    assert all(isinstance(one, dispatcher.CUDACache) for one in found)
    assert len({one._cache_file._index_path for one in found}) == 2
    assert jit.stamp("raylab.tracers.outline_rays") in found[0]._cache_file._version, "good for one state of its modules"
