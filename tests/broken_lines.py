"""A function with one of its lines replaced: what a test of a mutant runs."""

from __future__ import annotations

import inspect
import textwrap
from typing import Any

import pytest


def broken(patch: pytest.MonkeyPatch, function: Any, line: str, instead: str) -> None:
    """One line of a function replaced by another, in place, so that whoever holds the function runs the broken one."""
    source = textwrap.dedent(inspect.getsource(function))
    if source.count(line) != 1:
        raise ValueError(f"{line!r} occurs {source.count(line)} times in {function.__name__}")
    made: dict[str, Any] = {}
    future = "from __future__ import annotations\n"
    exec(compile(future + source.replace(line, instead), "<broken>", "exec"), dict(function.__globals__), made)  # noqa: S102
    patch.setattr(function, "__code__", made[function.__name__].__code__)
