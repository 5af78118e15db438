"""The exact tracer: agreement with the reference, closed sums, closed forms, brackets; and each check upset by a mutant."""

from __future__ import annotations

import functools
import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import checks_beams as checks
import numpy as np
import pytest
from both_tracers import gem
from broken_kernels import BEAMS, broken
from checks import fails
from checks_beams import WEDGES, awkward_pairs, random_pairs, regular_bodies

import raylab as rl
from raylab.optics.materials import Material
from raylab.scene.view import View
from raylab.tracers import ledger
from raylab.tracers.exact.tracer import trace_beams

GEM = gem(girdle_facets=32)
"""A brilliant whose girdle has few facets, which all take time in plain Python."""
VIEWS = [View(), View(turn_deg=11.25), View(tilt_deg=7.0, tilt_azimuth_deg=13.0), View(tilt_deg=30.0), View(tilt_deg=75.0)]


@pytest.mark.parametrize("polarized", [True, False])
def test_a_brilliant_agrees_with_the_reference_at_random_points(polarized):
    pairs = [(GEM, view) for view in VIEWS]
    assert checks.reference_through_points(trace_beams, pairs, points=10, precision=5e-3, polarized=polarized) <= 1.0


def test_random_pairs_agree_with_the_reference():
    """Two hundred; random_polyhedra.py traces as many as one likes."""
    assert checks.reference_through_points(trace_beams, random_pairs(0, 50, views=4), points=1, threads=1) <= 1.0


def test_sums_close_on_random_pairs():
    assert checks.sums_close(trace_beams, random_pairs(1000, 150, views=4), threads=1) <= 1.0


def test_sums_close_exactly_along_axes_and_edges():
    assert checks.sums_close(trace_beams, awkward_pairs(), threads=1) <= 1.0


def test_sums_close_on_a_brilliant_to_a_thousandth():
    assert checks.sums_close(trace_beams, [(gem(), view) for view in VIEWS[:3]], precision=1e-3) <= 1.0


def test_furnace():
    assert checks.furnace(trace_beams, random_pairs(300, 20)) <= 1.0


def test_a_wedge_stands_for_the_whole_face():
    assert checks.wedge_is_whole(trace_beams, GEM, WEDGES) <= 1.0


def test_tint_is_exact_over_polygons():
    pairs = [*random_pairs(600, 12), (GEM, View(tilt_deg=12.0, tilt_azimuth_deg=5.0)), (GEM, View(tilt_deg=80.0))]
    assert checks.tint_through_polygons(trace_beams, pairs) <= 1.0


@pytest.mark.parametrize("check", [checks.slab, checks.corner_returns, checks.column_asymmetry])
def test_closed_forms_and_publications(check):
    assert check(trace_beams) <= 1.0


def test_brackets_nest():
    assert checks.brackets_nest(trace_beams) <= 1.0


samples_agree = functools.partial(checks.samples_agree, rays=16_000, precision=5e-3)


def test_samples_agree():
    pairs = [*((GEM, view) for view in VIEWS), *random_pairs(700, 10)]
    assert samples_agree(trace_beams, pairs=pairs) <= 1.0


@pytest.mark.parametrize("view", [VIEWS[0], VIEWS[2]])
def test_sampled_maps_converge(view):
    assert checks.sampled_maps_converge(trace_beams, GEM, view) <= 1.0


# Mutants: what is broken, and the checks that must notice. In plain Python, so on few and simple bodies.

PAIRS = random_pairs(3, 4)
reference = functools.partial(checks.reference_through_points, pairs=PAIRS, precision=0.1)
sums = functools.partial(checks.sums_close, pairs=PAIRS)
wedge = functools.partial(checks.wedge_is_whole, stone=regular_bodies()[-1], cases=WEDGES[2:5], precision=0.15)
tint = functools.partial(checks.tint_through_polygons, pairs=PAIRS[:2])
furnace = functools.partial(checks.furnace, pairs=PAIRS)

MUTANTS = {
    "flipped clip side": (
        "clipping",
        "-1.0 if gain < -slack else (1.0 if gain > slack else 0.0)",
        "-1.0 if gain > slack else (1.0 if gain < -slack else 0.0)",
        [reference],
    ),
    "cut in the wrong place": (
        "clipping",
        "share = corners[a, GAIN] / (corners[a, GAIN] - corners[b, GAIN])",
        "share = 0.5",
        [reference],
    ),
    "lost corner": ("clipping", "if v >= sides and corners[v, BORDER] >= 0.0:", "if v >= sides:", [sums]),
    "dropped pieces": (
        "beam_kernel",
        "for cell in range(count):\n            for k",
        "for cell in range(min(count, 1)):\n            for k",
        [sums],
    ),
    "neighbors that hold nothing back": ("single_facet", "met >= 0 and outside == 0, t", "met >= 0, t", [reference]),
    "lost Jacobian of the entry": (
        "beam_optics",
        "= areas[k], areas[k]",
        "= areas[k] / max(stone.planes[rows[k], :3] @ turn[2], 0.1), areas[k]",
        [sums],
    ),
    "entry surface taken for a wavefront": (
        "beam_optics",
        "h = (level - (nx * ex + ny * ey + nz * ez)) / cos_i",
        "h = (level if part == 0 else 0.0) / cos_i",
        [reference],
    ),
    "bent mirror": ("beam_optics", "twice = 2.0 * (", "twice = 1.99 * (", [reference]),
    "flipped phase": ("surface", "c * u - d * v", "c * u + d * v", [reference]),
    "exit counted twice": (
        "beam_kernel",
        "tally_exit(piece_ledger, weight, tx",
        "tally_exit(piece_ledger, 2.0 * weight, tx",
        [sums, reference, furnace],
    ),
    "wrong order of a wedge of turns": (
        "shared_symmetry",
        "first, angle = 0.0, 2.0 * math.pi / order",
        "first, angle = 0.0, math.pi / order",
        [wedge],
    ),
    "wrong order of a wedge of mirrors": (
        "shared_symmetry",
        "mirror[0, 0]), math.pi / order",
        "mirror[0, 0]), 2.0 * math.pi / order",
        [wedge],
    ),
    "path length from the last facet": ("beam_kernel", "beam[SLIDE] += slide", "beam[SLIDE] = slide", [tint]),
    "series cut short": ("mean_transmission", "_TERMS = 24", "_TERMS = 2", [tint]),
}


def test_the_unbroken_tracer_passes_in_plain_python_too():
    with broken(BEAMS, "exact.tracer", "lost=batch.lost,", "lost=batch.lost,") as tracer:
        assert max(check(tracer.trace_beams) for check in (reference, sums, wedge, tint, furnace)) <= 1.0


@pytest.mark.filterwarnings("ignore::RuntimeWarning")  # from the broken physics
@pytest.mark.parametrize("mutant", MUTANTS)
def test_mutant_is_caught(mutant):
    module, line, instead, noticed_by = MUTANTS[mutant]
    with broken(BEAMS, module if module in BEAMS else f"exact.{module}", line, instead) as tracer:
        for check in noticed_by:
            assert fails(functools.partial(check, tracer.trace_beams))


# Mutants of the compiled tracer, for checks that need its speed.


def instead(change: Callable[[rl.Scene], rl.Scene]) -> checks.Trace:
    """The tracer, but of a changed scene."""
    return lambda scene, *rest, **options: trace_beams(change(scene), *rest, **options)


def less_index(scene: rl.Scene, share: float = 0.01) -> rl.Scene:
    """An index by a share too small."""
    material = Material.constant((1.0 - share) * scene.stone.material.n(589.3))
    return replace(scene, stone=replace(scene.stone, material=material))


def turned_plane(scene: rl.Scene) -> rl.Scene:
    """One plane turned by a tenth of a degree."""
    normals = scene.stone.normals.copy()
    normals[0] += math.radians(0.1) * normals[1]
    normals[0] /= np.linalg.norm(normals[0])
    return replace(scene, stone=scene.stone.with_planes(normals, scene.stone.distances_mm))


def untraced_for_sky(*scene: Any, **options: Any) -> Any:
    """The tracer, but it takes what it has not traced for sky."""
    beams = trace_beams(*scene, **options)
    mean = beams.totals.mean.copy()
    mean[ledger.SKY] += mean[ledger.UNTRACED]
    beams.__dict__["totals"] = replace(beams.totals, mean=mean)  # a cached property
    return beams


WRONG = {
    checks.slab: instead(less_index),
    checks.corner_returns: instead(turned_plane),
    checks.column_asymmetry: instead(functools.partial(less_index, share=0.05)),
    checks.brackets_nest: untraced_for_sky,
    functools.partial(samples_agree, pairs=[(GEM, VIEWS[0])]): instead(less_index),
    functools.partial(checks.sampled_maps_converge, stone=GEM, view=VIEWS[2]): instead(less_index),
}


@pytest.mark.parametrize("check", WRONG, ids=lambda check: getattr(check, "func", check).__name__)
def test_compiled_mutant_is_caught(check):
    assert fails(functools.partial(check, WRONG[check]))
