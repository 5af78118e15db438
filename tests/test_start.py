"""What makes a process start fast: hulls without the rest of scipy, kernels that load without numba's compiler."""

from __future__ import annotations

import sys
import time

import pytest
import scipy.spatial
from numba.core.dispatcher import Dispatcher

import raylab as rl
from raylab import compiling, convex_hulls, jit
from raylab.cli.console import Compiling

BRILLIANT = rl.round_brilliant(table_pct=57, crown_angle_deg=34.5, pavilion_angle_deg=40.75)
LOADING = ("numba.np.arraymath", "numba.np.linalg")
"""Modules of numba that import scipy.linalg."""


def test_hulls_are_those_of_scipy():
    assert convex_hulls.ConvexHull is scipy.spatial.ConvexHull
    assert convex_hulls.QhullError is scipy.spatial.QhullError


def test_loading_the_hulls_leaves_no_module_half_done(monkeypatch):
    for name in convex_hulls._COMPILED:
        monkeypatch.delitem(sys.modules, name, raising=False)
    before = dict(sys.modules)
    assert convex_hulls._hulls().ConvexHull is convex_hulls.ConvexHull
    assert dict(sys.modules) == before


def test_a_scipy_with_another_layout_is_imported_whole(monkeypatch):
    monkeypatch.setattr(convex_hulls, "_COMPILED", ("scipy.spatial._nowhere",))
    assert convex_hulls._hulls() is scipy.spatial


def test_kernels_of_a_trace_load_without_linear_algebra():
    rl.trace(BRILLIANT, "head-shadow", resolution=16, precision=0.1)
    used = {
        f"{name}.{key}": kernel
        for name, module in sys.modules.items()
        if name.startswith(("raylab.stone.polyhedron", "raylab.tracers."))
        for key, kernel in vars(module).items()
        if isinstance(kernel, Dispatcher) and kernel.overloads
    }
    assert {"raylab.stone.polyhedron._facing_out", "raylab.tracers.exact.beam_kernel._trace"} <= set(used)
    for name, kernel in used.items():
        for compiled in kernel.overloads.values():
            environments = compiled.referenced_envs or compiled._find_referenced_environments()  # as loaded, or just compiled
            assert not {one.globals["__name__"] for one in environments} & set(LOADING), name


def doubled(x):
    return 2.0 * x


def test_a_kernel_is_told_of_before_it_is_compiled_and_not_when_it_is_loaded(tmp_path, monkeypatch):
    """A kernel that another one needs is not reported by itself."""
    monkeypatch.setattr("numba.core.config.CACHE_DIR", str(tmp_path))
    for told in ([f"{__name__}.doubled"], []):
        heard: list[str] = []
        with compiling.heard_by(heard.append):
            assert jit.njit()(doubled)(3.0) == 6.0
        assert heard == told
    heard = []
    with compiling.heard_by(heard.append):
        compiling.begin("outer")
        compiling.begin("inner")
        compiling.end()
        compiling.end()
        compiling.begin("next")
        compiling.end()
    assert heard == ["outer", "next"]


@pytest.mark.parametrize(("terminal", "after_s", "said"), [(True, 0.0, 2), (False, 0.0, 0), (False, 11.0, 1)])
def test_compiling_is_said_on_a_terminal_and_elsewhere_when_it_is_long(terminal, after_s, said, monkeypatch, capsys):
    say, start_s = Compiling(), time.monotonic()
    monkeypatch.setattr(sys.stderr, "isatty", lambda: terminal)
    say("stone.polyhedron._around")
    monkeypatch.setattr(time, "monotonic", lambda: start_s + after_s + 0.5)
    say("tracers.rim.rim_of")
    lines = capsys.readouterr().err.splitlines()
    assert len(lines) == said
    assert lines[-1:] == ["raylab: compiling, once for this installation: tracers.rim.rim_of"][: len(lines)]
