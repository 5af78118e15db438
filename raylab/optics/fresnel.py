"""Fresnel and Snell at a plane interface, for light of any polarisation, from either side.

Conventions (Born & Wolf, Principles of Optics, section 1.5): s is perpendicular to the plane of incidence, the second
axis of every beam is p = s x k, so that r_p = -r_s at normal incidence. Time runs as exp(-i w t), so an evanescent wave
has a cosine of refraction on the positive imaginary axis.

For light that is described by Stokes parameters (I, Q, U, V) with Q = |E_s|^2 - |E_p|^2 and U + iV = 2 E_s conj(E_p),
an interface acts through four real numbers, which `interface` returns:

    I' = a I + b Q        a = (R_s + R_p)/2      U' + iV' = (c + i d)(U + iV)
    Q' = b I + a Q        b = (R_s - R_p)/2      c + i d  = r_s conj(r_p)

and through the transmitted power ``ta I + tb Q``, computed from the transmission coefficients and not as a rest.
"""

from __future__ import annotations

import math
from typing import Any, NamedTuple

import numpy as np

from ..jit import njit
from ..units import number_in

STEADY = 1e-12
"""Below this squared sine of incidence the plane of incidence is left as it was: R_s and R_p agree there to 1e-12."""


@njit(inline="always")
def interface(cos_i, n_rel):
    """Reflection and refraction at one interface; for kernels.

    Parameters
    ----------
    cos_i : cosine of incidence, 0 < cos_i <= 1 (zero is grazing: everything is reflected).
    n_rel : index of the incident side over the index of the other side.

    Returns
    -------
    a, b, c, d : the reflection's four Stokes numbers (see the module).
    ta, tb : the transmitted power of I and of Q; both exactly 0 at total reflection.
    cos_t : cosine of refraction; 0 at total reflection.
    """
    # Written without branches, so that a loop over packets of rays becomes vector instructions.
    sin2_t = n_rel * n_rel * (1.0 - cos_i * cos_i)
    total = sin2_t >= 1.0
    root = math.sqrt(abs(1.0 - sin2_t))
    # Refraction, root = cos_t.
    over_s = 1.0 / (n_rel * cos_i + root)
    over_p = 1.0 / (cos_i + n_rel * root)
    rs = (n_rel * cos_i - root) * over_s
    rp = (cos_i - n_rel * root) * over_p
    flow = 4.0 * n_rel * cos_i * root
    ts = flow * over_s * over_s
    tp = flow * over_p * over_p
    # Total reflection, root = |cos_t|: r_s = exp(-2iA), tan A = root/(n c); r_p = exp(-2iB), tan B = n root/c;
    # c + i d = exp(2i (B - A)) with tan(B - A) = lead/base.
    lead = root * cos_i * (n_rel - 1.0 / n_rel)
    base = cos_i * cos_i + root * root
    over = 1.0 / (base * base + lead * lead)
    return (
        1.0 if total else 0.5 * (rs * rs + rp * rp),
        0.0 if total else 0.5 * (rs * rs - rp * rp),
        (base * base - lead * lead) * over if total else rs * rp,
        2.0 * lead * base * over if total else 0.0,
        0.0 if total else 0.5 * (ts + tp),
        0.0 if total else 0.5 * (ts - tp),
        0.0 if total else root,
    )


@njit()
def _interface_over(cos_i, n_rel, out):
    """Fill out (K, 7) with what `interface` returns for cosines of incidence (K,)."""
    for k in range(cos_i.size):
        out[k, :] = np.array(interface(cos_i[k], n_rel))


class Fresnel(NamedTuple):
    """What one interface does; every field has the shape of the angles given.

    `reflectance_s`, `reflectance_p`, `reflectance` (unpolarized light), `transmittance` (unpolarized, power),
    `phase_deg` (retardation of p against s at total reflection, 0 elsewhere), `refraction_deg` (NaN at total
    reflection).
    """

    reflectance_s: np.ndarray
    reflectance_p: np.ndarray
    reflectance: np.ndarray
    transmittance: np.ndarray
    phase_deg: np.ndarray
    refraction_deg: np.ndarray


def fresnel(incidence_deg: Any, n_from: float, n_to: float) -> Fresnel:
    """Reflection and refraction of light that meets a plane interface.

    Parameters
    ----------
    incidence_deg : angles of incidence, 0 to 90 degrees, any shape.
    n_from, n_to : refractive indices on the side of the light and on the other side, at least 1.

    Raises
    ------
    InputError : an angle outside 0..90 or an index outside 1..10.

    Source: Born & Wolf, Principles of Optics, 7th ed., section 1.5 (equations taken second-hand, checked against the
    `tmm` package in the tests).

    >>> print(f"{fresnel(0.0, 1.0, 2.417).reflectance:.9f}")
    0.171968833
    """
    angles = np.asarray(incidence_deg, dtype=float)
    for extreme in (angles.min(initial=0.0), angles.max(initial=0.0)):
        number_in("incidence_deg", extreme, 0.0, 90.0, "degrees")
    n_rel = number_in("n_from", n_from, 1.0, 10.0) / number_in("n_to", n_to, 1.0, 10.0)
    out = np.empty((angles.size, 7))
    _interface_over(np.cos(np.radians(angles)).ravel(), n_rel, out)
    a, b, c, d, ta, _, cos_t = (column.reshape(angles.shape) for column in out.T)
    total = ta == 0.0
    return Fresnel(
        reflectance_s=a + b,
        reflectance_p=a - b,
        reflectance=a,
        transmittance=ta,
        phase_deg=np.where(total, np.degrees(np.arctan2(d, c)), 0.0),
        refraction_deg=np.where(total, np.nan, np.degrees(np.arccos(np.clip(cos_t, -1.0, 1.0)))),
    )


def critical_angle_deg(n: float) -> float:
    """Critical angle of total internal reflection: arcsin(1/n).

    >>> round(critical_angle_deg(2.417), 6)
    24.439744
    """
    return math.degrees(math.asin(1.0 / number_in("n", n, 1.0, 10.0)))
