"""Averages over light from all sides that hold for every convex body, and those of hexagonal prisms in print."""

from __future__ import annotations

import functools
import math

import numpy as np
from checks import check, off
from polyhedra import entering_rays, hexagonal_prism, isotropic_rays, published, random_polyhedron, ref
from scipy.integrate import quad

from raylab.lighting.dome import Dome
from raylab.optics import fresnel as optics
from raylab.stone.stone import Stone
from raylab.tracers import ledger
from raylab.tracers import stone_table as tables
from raylab.tracers.sampled import rays

EVEN = Dome(sky_radiance=1.0, tray_radiance=1.0)
CHOSEN = (3, 8, 21)
"""Keys of the random polyhedra; any would do."""


def _diffuse(n_from: float, n_to: float) -> float:
    """Reflectance of diffuse light: the integral of R(theta) sin(2 theta) over 0 to 90 degrees."""

    def integrand(theta: float) -> float:
        return float(optics.fresnel(math.degrees(theta), n_from, n_to).reflectance) * math.sin(2.0 * theta)

    kink = math.asin(min(1.0, n_to / n_from))
    pieces = [(0.0, kink), (kink, math.pi / 2.0)] if kink < math.pi / 2.0 else [(0.0, math.pi / 2.0)]
    return sum(quad(integrand, *piece, epsabs=1e-12, epsrel=1e-12, limit=400)[0] for piece in pieces)


@check
def diffuse_reflectance() -> float:
    """r_e and r_i, `diff` (Walsh 1926, Duntley 1942, Judd 1942 closed form), by quadrature of our R; 1e-9."""
    worst = 0.0
    for key in [key for key in published() if key.startswith("diff.ext.")]:
        n = key.removeprefix("diff.ext.")
        found = [_diffuse(1.0, float(n)), _diffuse(float(n), 1.0)]
        worst = max(worst, off(found, [ref(key), ref(f"diff.int.{n}")], 1e-9))
    return worst


@check
def diffuse_reflectance_in_print() -> float:
    """0.092 outside and 0.596 inside glass of 1.5 (Judd 1942, Duntley 1942; from memory); half a unit of the last digit."""
    return off([_diffuse(1.0, 1.5), _diffuse(1.5, 1.0)], [ref("diff.lit.ext15"), ref("diff.lit.int15")], 5e-4)


@functools.cache
def _isotropic(key: int, count: int = 100_000) -> tuple[np.ndarray, np.ndarray, float, Stone]:
    """Rows of isotropic rays through a random polyhedron, which of them hit, the area they are spread over, the stone."""
    stone = random_polyhedron(key, n=2.417)
    origins, directions, area = isotropic_rays(stone, count, np.random.default_rng([40, key]))
    out, hit, _ = rays.trace_rays(
        origins, directions, tables.stone_table(stone, 589.3), EVEN.table, np.eye(3), rules=rays.PathRules(min_weight=0.5)
    )
    return out, hit, area, stone


@check
def light_that_enters() -> float:
    """Of isotropic light that meets any convex body, r_e is reflected at its surface, `diff.ext.2.417`; 4.5 standard errors."""
    worst = 0.0
    for key in CHOSEN:
        out, hit, _, _ = _isotropic(key)
        glare = out[hit, ledger.GLARE]
        worst = max(worst, off(glare.mean(), ref("diff.ext.2.417"), 4.5 * glare.std() / math.sqrt(len(glare))))
    return worst


@check
def mean_projected_area() -> float:
    """A convex body's mean projected area is a quarter of its surface (Cauchy 1841), `cauchy`; 4.5 standard errors."""
    worst = 0.0
    for key in CHOSEN:
        _, hit, area, stone = _isotropic(key)
        surface = stone.polyhedron.areas.sum()
        error = area * math.sqrt(hit.mean() * (1.0 - hit.mean()) / len(hit))
        worst = max(worst, off(area * hit.mean(), ref("cauchy") * surface, 4.5 * error))
    return worst


@check
def mean_chord() -> float:
    """Isotropic straight lines through a convex body are 4V/S long on average (Cauchy, Czuber; textbook): path lengths.

    Seen as absorption in a body of index 1 + 1e-9 with a coefficient so small that absorption is length; 4.5 standard errors.
    """
    worst, coefficient = 0.0, 1e-6
    for key in CHOSEN:
        stone = random_polyhedron(key, n=1.0 + 1e-9, absorption_per_mm=coefficient)
        origins, directions, _ = isotropic_rays(stone, 40_000, np.random.default_rng([41, key]))
        out, hit, _ = rays.trace_rays(origins, directions, tables.stone_table(stone, 589.3), EVEN.table, np.eye(3))
        length = out[hit, ledger.ABSORBED] / coefficient
        expected = 4.0 * stone.volume_mm3 / stone.polyhedron.areas.sum()
        worst = max(worst, off(length.mean(), expected, 4.5 * length.std() / math.sqrt(len(length))))
    return worst


def asymmetry(stone: Stone, count: int, key: int) -> tuple[float, float]:
    """Mean cosine of scattering of randomly turned particles and its standard error; diffraction left out.

    A view ray is a photon run backwards, and runs as well forwards: its weights are where the photon's energy goes.
    """
    origins, directions = entering_rays(stone, count, np.random.default_rng([50, key]))
    table = tables.stone_table(stone, 589.3)
    out, hit, _ = rays.trace_rays(
        origins, directions, table, EVEN.table, np.eye(3), rules=rays.PathRules(min_weight=1e-6, max_bounces=1000)
    )
    cosine = (out[hit, ledger.SOURCE_X : ledger.SOURCE_Z + 1] * directions[hit]).sum(axis=1)
    return float(cosine.mean()), float(cosine.std() / math.sqrt(len(cosine)))


@check
def hexagonal_prisms() -> float:
    """g of smooth hexagonal prisms, length over width 0.05 to 20, n = 1.3038 and 1.31, `ice.g.fit`: within 0.02.

    van Diedenhoven, Ackerman, Cairns & Fridlind 2014, J. Atmos. Sci. 71, 1529: a polynomial fitted to Macke's ray tracing,
    whose own error is of that size; the sampling error here is below 0.002.
    """
    worst = 0.0
    for number, key in enumerate(key for key in published() if key.startswith("ice.g.fit.")):
        n, aspect = (".".join(part) for part in (key.split(".")[3:5], key.split(".")[5:]))
        found, error = asymmetry(hexagonal_prism(float(aspect), float(n)), 150_000, number)
        worst = max(worst, off(found, ref(key), 0.02), off(error, 0.0, 0.002))
    return worst
