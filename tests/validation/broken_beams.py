"""The exact tracer with one line of its source changed, in plain Python: compiled kernels can't be patched."""

from __future__ import annotations

import contextlib
import importlib.util
import sys
import types
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import raylab.tracers.exact
from raylab import jit

CHAIN = (
    "nearest_plane",
    "single_facet",
    "clipping",
    "beam_optics",
    "beam_batch",
    "beam_kernel",
    "mean_transmission",
    "shared_symmetry",
    "schedule",
    "beams",
)
"""The modules between a facet and `trace_beams`, each after those it imports."""


@contextlib.contextmanager
def broken(module: str, line: str, instead: str) -> Iterator[Callable[..., Any]]:
    """`trace_beams` with `line`, which must occur once in raylab/tracers/exact/`module`.py, replaced by `instead`."""
    names = {name: f"raylab.tracers.exact.{name}" for name in CHAIN}
    before = {name: sys.modules.get(full) for name, full in names.items()}
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
            fresh.__package__ = "raylab.tracers.exact"
            sys.modules[full] = fresh
            setattr(raylab.tracers.exact, name, fresh)
            exec(compile(source, f"<broken {name}>", "exec"), fresh.__dict__)  # noqa: S102 (our own source)
        yield sys.modules[names["beams"]].trace_beams
    finally:
        jit.njit = compile_later
        for name, full in names.items():
            sys.modules.pop(full)
            if before[name] is not None:
                sys.modules[full] = before[name]
                setattr(raylab.tracers.exact, name, before[name])
