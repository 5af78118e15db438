"""The packet tracer with one line of its kernels changed: the validation checks notice.

The kernels run in plain Python then, so the checks are run on few and simple bodies.
"""

from __future__ import annotations

import functools

import both_tracers
import checks_energy as energy
import checks_symmetry as symmetry
import pytest
from broken_kernels import RAYS, broken
from checks import fails

STONES = [*symmetry.bodies(0, 2, 0.0, False), *symmetry.bodies(4, 2, 0.3, False), *symmetry.bodies(2, 2, 0.0, True)]
"""Clear, tinted and with absorbing facets, two of each."""
CASES = [(stone, 6, key, polarized) for polarized in (True, False) for key, stone in enumerate(STONES)]

agree = functools.partial(symmetry.reference_and_rays_on, CASES)
closes = functools.partial(energy.ledger_closes_on, STONES[::2], 6)
furnace = functools.partial(energy.furnace_of_many, 3)

MUTANTS = {
    # packets.py, sampled/rays.py
    "farthest facet instead of the nearest": (
        "facet_search",
        "nearer = (signed_distance * den < num * n_dot_v)",
        "nearer = (signed_distance * den > num * n_dot_v)",
        [agree],
    ),
    "side facets that never win": (
        "packets",
        "if signed_distance * p[_DEN + k] < p[_NUM + k] * n_dot_v:",
        "if signed_distance < 0.0:",
        [agree],
    ),
    "core too wide": (
        "packets",
        "if not x * x + y * y <= core2[sector]:",
        "if not x * x + y * y <= 2.0 * core2[sector]:",
        [agree],
    ),
    "rays of all directions taken for parallel ones": (
        "sampled.rays",
        "math.sqrt(far2) + ROUNDING if far2 > 0.0 else 0.0",
        "0.0",
        [agree],
    ),
    "nearest facet on entry instead of the farthest": (
        "sampled.rays",
        "(signed_distance * e[_DEN + k] > e[_NUM + k] * n_dot_v)",
        "(signed_distance * e[_DEN + k] < e[_NUM + k] * n_dot_v)",
        [agree],
    ),
    "entry counted as a reflection": (
        "sampled.rays",
        "start[KEY] = row, 0.0, cone_inside",
        "start[KEY] = row, 1.0, cone_inside",
        [agree],
    ),
    "reflected light that goes straight on": (
        "packets",
        "p[_VX + k], p[_VY + k], p[_VZ + k] = rx, ry, rz",
        "p[_VX + k], p[_VY + k], p[_VZ + k] = vx, vy, vz",
        [agree],
    ),
    "glare counted twice": (
        "sampled.rays",
        "tally_glare(ledger, glare,",
        "tally_glare(ledger, 2.0 * glare,",
        [agree, closes, furnace],
    ),
    "body colour too weak": ("packets", "left = math.exp(-depth)", "left = math.exp(-0.99 * depth)", [agree, closes]),
    "body colour that takes no polarized light": ("packets", "p[_Q + k] *= left", "p[_Q + k] *= 1.0", [agree]),
    "absorbed light not booked": ("packets", "* math.expm1(-depth)", "* 0.0", [agree, closes]),
    "half of what meets an absorbing facet": (
        "packets",
        "out[r, SCATTERED] += p[_STANDS + k] * (p[_WEIGHT + k] + p[_I + k])",
        "out[r, SCATTERED] += p[_STANDS + k] * p[_I + k]",
        [agree, closes],
    ),
    "untraced light dropped": (
        "packets",
        "out[r, UNTRACED] += p[_STANDS + k] * p[_I + k]",
        "out[r, UNTRACED] += 0.0",
        [agree, closes, furnace],
    ),
    "work ended with the last ray begun": (
        "packets",
        "if busy == 0 and waiting >= last:",
        "if waiting >= last:",
        [agree, closes, furnace],
    ),
    # surface.py
    "axis that is no unit vector": ("surface", "return sx * norm if oblique", "return sx if oblique", [agree]),
    "polarization turned by half the angle": ("surface", "cos * cos - sin * sin, 2.0 * cos * sin", "cos, sin", [agree]),
    "polarization not turned": ("surface", "return cos2 * q + sin2 * u, cos2 * u - sin2 * q", "return q, u", [agree]),
    "axis of the polarization forgotten": ("surface", "ex, ey, ez = sx, sy, sz", "ex, ey, ez = ex, ey, ez", [agree]),
    "unpolarized light after entry": ("surface", "        q if polarized else 0.0,\n", "        0.0,\n", [agree]),
    "bent glare": ("surface", "vx + 2.0 * cos_i * nx", "vx + 1.99 * cos_i * nx", [agree]),
    "refraction at entry to the wrong side": (
        "surface",
        "bend = cos_i / index - cos_t",
        "bend = cos_i / index + cos_t",
        [agree],
    ),
    "transmitted light that is unpolarized": ("surface", "ta * i + tb * q", "ta * i", [agree, furnace]),
    "reflected light that is unpolarized": ("surface", "        a * i + b * q,\n", "        a * i,\n", [agree, furnace]),
    "flipped phase": ("surface", "c * u - d * v", "c * u + d * v", [agree]),
    "dropped phase": ("surface", "c * v + d * u", "c * v", [agree]),
    "refraction at exit to the wrong side": (
        "surface",
        "bend = cos_t - index * cos_i",
        "bend = -cos_t - index * cos_i",
        [agree],
    ),
    "bent mirror": ("surface", "vz - 2.0 * cos_i * nz", "vz - 1.999 * cos_i * nz", [agree]),
    # ledger.py
    "leakage below the horizon instead of the girdle plane": ("ledger", "LEAK if z < -MARGIN", "LEAK if w < -MARGIN", [agree]),
    "a window of light that was reflected inside": (
        "ledger",
        "if entry == LEAK and bounces == 0.0:",
        "if entry == LEAK:",
        [agree],
    ),
    "a window above the girdle": ("ledger", "if entry == LEAK and bounces == 0.0:", "if bounces == 0.0:", [agree]),
    "head as wide as the sky": ("ledger", "if w >= head_cos - MARGIN:", "if w > 0.0:", [agree]),
}


def test_the_unbroken_tracer_passes_in_plain_python_too(monkeypatch):
    with broken(RAYS, "surface", "cos_i, index)", "cos_i, index)") as tracer:
        monkeypatch.setattr(both_tracers.rays, "trace_rays", tracer.trace_rays)
        assert max(check() for check in (agree, closes, furnace)) <= 1.0


@pytest.mark.filterwarnings("ignore::RuntimeWarning")  # from the broken physics
@pytest.mark.parametrize("mutant", MUTANTS)
def test_mutant_is_caught(mutant, monkeypatch):
    module, line, instead, noticed_by = MUTANTS[mutant]
    with broken(RAYS, module, line, instead) as tracer:
        monkeypatch.setattr(both_tracers.rays, "trace_rays", tracer.trace_rays)
        for check in noticed_by:
            assert fails(check), check.func.__name__
