"""The kernels of inclusions with one line changed, in plain Python: the checks notice."""

from __future__ import annotations

import functools

import both_tracers
import checks_inclusions as inclusions
import pytest
from broken_kernels import broken
from polyhedra import random_polyhedron

CHAIN = ("ledger", "surface", "crossings", "packets", "sampled.rays")
STONES = [inclusions.some_inclusions(random_polyhedron(key, n=1.7, absorption_per_mm=0.2), key) for key in (2, 5)]

across = functools.partial(inclusions.agree_on, [inclusions.cut_off(5)], 6)
agree = functools.partial(inclusions.agree_on, STONES, 8)
closes = functools.partial(inclusions.closes_on, STONES[:1], 8)

BOOKED = "out[int(p[_RAY + k]), ABSORBED] += taken"

MUTANTS = {
    "nearest point of the line instead of the segment": (
        "crossings",
        "    near = min(max(ab / bb, 0.0), length)\n    return aa",
        "    near = ab / bb\n    return aa",
        [across],
    ),
    "ellipsoid without its cross term": ("crossings", "aa - 2.0 * near * ab + near", "aa - near * ab + near", [agree]),
    "disc of endless lines": ("crossings", "return 0.0 <= t <= length and ox", "return 0.0 <= t and ox", [across]),
    "disc as large as its plane": ("crossings", " and ox * ox + oy * oy + oz * oz < radius * radius", "", [agree]),
    "body that lines cross anywhere": ("crossings", "return first < last", "return True", [agree]),
    "last face left out": ("crossings", "in range(begin, end):", "in range(begin, end - 1):", [agree]),
    "only the first inclusion counts": ("packets", "in range(transmittance.size):", "in range(1):", [agree]),
    "surrounding sphere too small": (
        "packets",
        "p[_WEIGHT + k] >= reach * reach or",
        "p[_WEIGHT + k] >= 0.2 * reach * reach or",
        [agree],
    ),
    "light that passes with its old polarization": (
        "packets",
        "p[_Q + k] *= left",
        "p[_Q + k] *= 1.0",
        [agree],
    ),
    "taken light not booked": ("packets", BOOKED, BOOKED.replace("taken", "0.0"), [agree, closes]),
    "half of it booked": ("packets", "taken = p[_STANDS + k] * p[_I + k] * (", "taken = 0.5 * p[_I + k] * (", [agree, closes]),
}


@pytest.mark.parametrize("mutant", MUTANTS)
def test_mutant_is_caught(mutant, monkeypatch):
    module, line, instead, noticed_by = MUTANTS[mutant]
    with broken(CHAIN, module, line, instead) as tracer:
        monkeypatch.setattr(both_tracers.rays, "trace_rays", tracer.trace_rays)
        for check in noticed_by:
            assert check() > 1.0, check.func.__name__
