"""A compiled tracer with one line of its source changed, run in plain Python: compiled kernels can't be patched."""

from __future__ import annotations

import contextlib
import importlib.util
import sys
import types
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from raylab import jit

_EXACT = (
    "nearest_plane",
    "single_facet",
    "clipping",
    "beam_optics",
    "beam_batch",
    "beam_kernel",
    "mean_transmission",
    "schedule",
    "entering",
    "tracer",
)
BEAMS = ("ledger", "surface", "shared_symmetry", *(f"exact.{name}" for name in _EXACT))
"""The modules of `raylab.tracers` between a surface and `trace_beams`, each after those it imports."""
RAYS = ("ledger", "surface", "facet_search", "packets", "sampled.rays")
"""The same up to `trace_rays`."""


@contextlib.contextmanager
def broken(chain: tuple[str, ...], module: str, line: str, instead: str) -> Iterator[Any]:
    """The last module of a chain, with `line`, which must occur once in `module`, replaced by `instead`.

    All modules of the chain are read anew without compilation; everybody else goes on using the compiled ones.
    """
    names = {name: f"raylab.tracers.{name}" for name in chain}
    before = {full: importlib.import_module(full) for full in names.values()}
    compile_later, jit.njit = jit.njit, lambda **_: lambda function: function
    try:
        for name, full in names.items():
            spec = importlib.util.find_spec(full)
            source = Path(str(spec and spec.origin)).read_text(encoding="utf-8")
            if name == module:
                if source.count(line) != 1:
                    raise ValueError(f"{line!r} occurs {source.count(line)} times in {module}")
                source = source.replace(line, instead)
            fresh = types.ModuleType(full)
            fresh.__package__ = full.rpartition(".")[0]
            _install(full, fresh)
            exec(compile(source, f"<broken {name}>", "exec"), fresh.__dict__)  # noqa: S102 (our own source)
        yield fresh
    finally:
        jit.njit = compile_later
        for full, module_before in before.items():
            _install(full, module_before)


def _install(full: str, module: types.ModuleType) -> None:
    """Make a module the one that further imports find."""
    sys.modules[full] = module
    package, _, name = full.rpartition(".")
    setattr(sys.modules[package], name, module)
