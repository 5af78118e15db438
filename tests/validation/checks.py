"""How a validation check is told: a function that returns how many of its own tolerances it is off.

A check holds while the answer is at most 1. The tests assert that it holds; `test_mutants` breaks the physics and asserts
that it no longer does. The docstring of each check names the source of its numbers and the reason of its tolerance.
"""

from __future__ import annotations

from collections.abc import Callable
from contextvars import ContextVar
from typing import Any

import numpy as np
import pytest

from raylab.optics.materials import FRAUNHOFER_NM

Check = Callable[[], float]

REFERENCE_NM = {**FRAUNHOFER_NM, "D": 589.29}
"""Fraunhofer lines at which the reference values were computed: D is the mean of its two lines to two decimals there."""

_FOUND: dict[str, list[Check]] = {}


def check(function: Check) -> Check:
    """Mark a function as a check of its module."""
    _FOUND.setdefault(function.__module__, []).append(function)
    return function


def of_module(module: Any) -> list[Any]:
    """A module's checks as pytest parameters, named by their functions."""
    return [pytest.param(found, id=found.__name__) for found in _FOUND[module.__name__]]


def every_check() -> set[Check]:
    """All checks of all modules imported so far."""
    return {found for several in _FOUND.values() for found in several}


class _BeyondError(Exception):
    """A comparison is more than its tolerance off, and nobody asks for the others."""


_FIRST_ONLY = ContextVar("_FIRST_ONLY", default=False)


def fails(check: Check) -> bool:
    """Whether a check does not hold. The first comparison that is beyond its tolerance ends it."""
    before = _FIRST_ONLY.set(True)
    try:
        return check() > 1.0
    except _BeyondError:
        return True
    finally:
        _FIRST_ONLY.reset(before)


def off(found: Any, expected: Any, tolerance: Any) -> float:
    """Largest |found - expected| in tolerances; infinite where a number is missing or the shapes differ."""
    found, expected = np.asarray(found, dtype=float), np.asarray(expected, dtype=float)
    if found.shape != expected.shape or not np.all(np.isfinite(found)):
        return _noted(float("inf"))
    return _noted(float(np.max(np.abs(found - expected) / tolerance)))


def above(found: Any, least: Any) -> float:
    """0 where every number reaches its least, infinite where one does not."""
    return _noted(0.0 if np.all(np.asarray(found) >= np.asarray(least)) else float("inf"))


def _noted(deviation: float) -> float:
    """The deviation, unless it ends a check that `fails` asks about."""
    if deviation > 1.0 and _FIRST_ONLY.get():
        raise _BeyondError
    return deviation
