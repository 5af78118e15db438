"""What makes a process start fast: hulls without the rest of scipy, kernels that load without numba's compiler."""

from __future__ import annotations

import sys
import time

import pytest
import scipy.spatial
from numba import int64
from numba.core.dispatcher import Dispatcher
from numba.core.errors import TypingError
from numba.core.types import Literal

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


@pytest.fixture(scope="module")
def used() -> dict[str, Dispatcher]:
    """The kernels that a stone and a trace need."""
    rl.trace(BRILLIANT, "head-shadow", resolution=16, precision=0.1)
    found = {
        f"{name}.{key}": kernel
        for name, module in sys.modules.items()
        if name.startswith(("raylab.stone.polyhedron", "raylab.tracers."))
        for key, kernel in vars(module).items()
        if isinstance(kernel, Dispatcher) and kernel.overloads
    }
    assert {"raylab.stone.polyhedron._facing_out", "raylab.tracers.exact.beam_kernel._trace"} <= set(found)
    return found


def test_kernels_of_a_trace_load_without_linear_algebra(used):
    for name, kernel in used.items():
        for compiled in kernel.overloads.values():
            environments = compiled.referenced_envs or compiled._find_referenced_environments()  # as loaded, or just compiled
            assert not {one.globals["__name__"] for one in environments} & set(LOADING), name


def test_no_kernel_of_a_trace_is_compiled_for_a_constant(used):
    for name, kernel in used.items():
        assert not [kinds for kinds in kernel.overloads if any(isinstance(kind, Literal) for kind in kinds)], name


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
        with compiling.one_kernel():
            compiling.begin("outer")
            with compiling.one_kernel():
                compiling.begin("inner")
        with compiling.one_kernel():
            compiling.begin("next")
    assert heard == ["outer", "next"]


def halved(x):
    return x / unknown  # noqa: F821 - there is none


def test_a_kernel_that_fails_to_compile_leaves_the_next_one_reported(tmp_path, monkeypatch):
    monkeypatch.setattr("numba.core.config.CACHE_DIR", str(tmp_path))
    heard: list[str] = []
    with compiling.heard_by(heard.append):
        with pytest.raises(TypingError):
            jit.njit()(halved)(3.0)
        assert jit.njit()(doubled)(3.0) == 6.0
    assert heard == [f"{__name__}.halved", f"{__name__}.doubled"]


def counted(x, step):
    return x + step


def test_a_kernel_is_compiled_once_for_a_constant_and_for_a_number(tmp_path, monkeypatch):
    """numba takes a constant for a type of its own; then a variable that begins as one asks for two kernels."""
    monkeypatch.setattr("numba.core.config.CACHE_DIR", str(tmp_path))
    inner = jit.njit()(counted)

    @jit.njit()
    def outer(times):
        found = 0
        for _ in range(times):
            found = inner(found, 2)
        return found

    assert outer(3) == 6
    assert [kind.args for kind in inner.nopython_signatures] == [(int64, int64)]


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
