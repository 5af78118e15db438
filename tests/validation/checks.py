"""How a validation check is told: a function that returns how many of its own tolerances it is off.

A check holds while the answer is at most 1. The tests assert that it holds; `test_mutants` breaks the physics and asserts
that it no longer does. The docstring of each check names the source of its numbers and the reason of its tolerance.
"""

from __future__ import annotations

from collections.abc import Callable
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


def off(found: Any, expected: Any, tolerance: Any) -> float:
    """Largest |found - expected| in tolerances; infinite where a number is missing or the shapes differ."""
    found, expected = np.asarray(found, dtype=float), np.asarray(expected, dtype=float)
    if found.shape != expected.shape or not np.all(np.isfinite(found)):
        return float("inf")
    return float(np.max(np.abs(found - expected) / tolerance))


def above(found: Any, least: Any) -> float:
    """0 where every number reaches its least, infinite where one does not."""
    return 0.0 if np.all(np.asarray(found) >= np.asarray(least)) else float("inf")
