"""The kernels of scattering with one line changed, in plain Python: the checks notice."""

from __future__ import annotations

import functools

import both_tracers
import checks_scattering as scattering
import pytest
from broken_kernels import broken
from polyhedra import random_polyhedron

CHAIN = ("ledger", "surface", "microfacets", "scattering", "packets", "sampled.rays")
STONES = [scattering.some_finishes(random_polyhedron(key, n=1.7, absorption_per_mm=0.2), key) for key in (2, 5)]

agree = functools.partial(scattering.agree_on, STONES, 10)
slab = functools.partial(scattering.slab_on, 0.5, 150)

MUTANTS = {
    "directions even over the hemisphere": (
        "scattering",
        "out, up, angle = math.sqrt(first), math.sqrt(1.0 - first), ",
        "out, up, angle = math.sqrt(1.0 - first**2), first, ",
        [agree],
    ),
    "half of the azimuths": ("scattering", "2.0 * math.pi * second", "math.pi * second", [agree]),
    "the same numbers at every facet": ("scattering", "met, FIRST_AXIS), keyed", "0, FIRST_AXIS), keyed", [agree]),
    "scattered outwards": ("packets", "cosine_about(-p[_NX + k], -p", "cosine_about(p[_NX + k], -p", [agree]),
    "light that would have passed forgotten": (
        "packets",
        "light = p[_WEIGHT + k] + p[_I + k]",
        "light = p[_I + k]",
        [agree, slab],
    ),
    "all of it goes on": ("packets", "= light * albedo, 0.0", "= light, 0.0", [agree]),
    "still polarized": ("packets", "light * albedo, 0.0, 0.0, 0.0", "light * albedo, p[_Q + k], 0.0, 0.0", [agree]),
    "also passes": ("packets", "p[_WEIGHT + k], p[_CONE + k] = 0.0, 0.0", "p[_CONE + k] = 0.0", [agree]),
    "what a wall takes from outside not booked": ("scattering", "+= 1.0 - albedo", "+= 0.0", [agree]),
    "remembered anew at every facet": ("scattering", "if row[MET] == 0.0:", "if True:", [agree]),
    "mirrors not squeezed to what is seen": (
        "microfacets",
        "v = 0.5 * (1.0 - z) * whole + 0.5 * (1.0 + z) * v",
        "v = v",
        [agree],
    ),
    "mirrors not stretched back": ("microfacets", "hx = roughness * (", "hx = (", [agree]),
    "no shadows": (
        "microfacets",
        "    return 2.0 / (1.0 + math.sqrt(1.0 + ",
        "    return 1.0 + 0.0 * (1.0 + math.sqrt(1.0 + ",
        [agree],
    ),
    "through the facet's plane": ("microfacets", "if cosine <= 0.0:", "if cosine == 0.0:", [agree]),
    "shadowed light not booked": ("scattering", "ledger[UNTRACED] += stands * (", "ledger[UNTRACED] += 0.0 * (", [agree]),
    "shares exchanged": ("scattering", "return reflects, passes", "return passes, reflects", [agree]),
    "glare whole": ("sampled.rays", "glare * reflects, i * passes", "glare, i * passes", [agree]),
    "what passes whole": ("packets", "p[_WEIGHT + k] *= passes", "p[_WEIGHT + k] *= 1.0", [agree]),
    "the facet's own normal": ("packets", "= -x, -y, -z", "= p[_NX + k], p[_NY + k], p[_NZ + k]", [agree]),
    "luminance by scattering left out": (
        "scattering",
        "for channel in range(PARTS):",
        "for channel in range(1, PARTS):",
        [agree],
    ),
}


@pytest.mark.parametrize("mutant", MUTANTS)
def test_mutant_is_caught(mutant, monkeypatch):
    module, line, instead, noticed_by = MUTANTS[mutant]
    with broken(CHAIN, module, line, instead) as tracer:
        monkeypatch.setattr(both_tracers.rays, "trace_rays", tracer.trace_rays)
        for check in noticed_by:
            assert check() > 1.0, check.func.__name__
