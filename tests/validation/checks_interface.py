"""One interface: Fresnel's equations, Snell's law, total reflection; both the kernel's and the reference tracer's."""

from __future__ import annotations

import functools
import math

import numpy as np
import tmm
from checks import check, off
from polyhedra import published, ref

from raylab.optics import fresnel as optics
from raylab.tracers import reference

N = 2.417
ANGLES = np.r_[np.arange(0.0, 90.0, 0.5), 89.9]
DIGITS9 = 6e-10
"""Half a unit of the ninth decimal, in which the tables are printed, with room for rounding."""


def _reflectances(angle_deg: float, n_from: float, n_to: float) -> tuple[float, float]:
    """|r_s|^2 and |r_p|^2 of the reference tracer."""
    r_s, r_p, *_ = reference.amplitudes(math.cos(math.radians(angle_deg)), n_from, n_to)
    return abs(r_s) ** 2, abs(r_p) ** 2


def _phase_deg(angle_deg: float, n: float) -> float:
    """Phase between s and p after one total reflection, from the reference tracer's amplitudes."""
    r_s, r_p, *_ = reference.amplitudes(math.cos(math.radians(angle_deg)), n, 1.0)
    return math.degrees(np.angle(r_s * np.conj(r_p)))


def _table(side: str) -> tuple[np.ndarray, np.ndarray]:
    """Angles and (R_s, R_p) of a printed table, ``"ext"`` (into diamond) or ``"int"`` (out of it)."""
    keys = [key for key in published() if key.startswith(f"fres.{side}.") and key.endswith(".s")]
    angles = np.array([float(key.removeprefix(f"fres.{side}.").removesuffix(".s")) for key in keys])
    return angles, np.array([(ref(key), ref(key.removesuffix("s") + "p")) for key in keys])


@functools.cache
def _tmm_reflectances(n_from: float, n_to: float) -> np.ndarray:
    """(A, 2) R_s and R_p at ANGLES from the `tmm` package."""
    pairs = [(math.radians(a), tmm.snell(n_from, n_to, math.radians(a))) for a in ANGLES]
    return np.array([[tmm.interface_R(pol, n_from, n_to, i, t) for pol in "sp"] for i, t in pairs])


@check
def reflectances_against_tmm() -> float:
    """R_s, R_p against the `tmm` package (Byrnes, arXiv:1603.02720), 0 to 89.9 degrees, both sides, five indices.

    Tolerance 1e-12: rounding, the quantities are at most 1.
    """
    worst = 0.0
    for n in (1.31, 1.5, 1.76, N, 2.65):
        for n_from, n_to in ((1.0, n), (n, 1.0)):
            expected = _tmm_reflectances(n_from, n_to)
            ours = optics.fresnel(ANGLES, n_from, n_to)
            worst = max(worst, off(np.column_stack([ours.reflectance_s, ours.reflectance_p]), expected, 1e-12))
            worst = max(worst, off([_reflectances(a, n_from, n_to) for a in ANGLES], expected, 1e-12))
    return worst


@check
def transmittance_against_tmm() -> float:
    """Transmitted power of unpolarized light against `tmm`, both sides. Tolerance 1e-12: rounding."""
    worst = 0.0
    for n_from, n_to in ((1.0, N), (N, 1.0)):
        angles = ANGLES if n_from < n_to else np.arange(0.0, 24.4, 0.1)
        pairs = [(math.radians(a), tmm.snell(n_from, n_to, math.radians(a))) for a in angles]
        expected = [sum(tmm.interface_T(pol, n_from, n_to, i, t) for pol in "sp") / 2 for i, t in pairs]
        worst = max(worst, off(optics.fresnel(angles, n_from, n_to).transmittance, expected, 1e-12))
    return worst


@check
def printed_tables_of_diamond() -> float:
    """The printed tables `fres.ext` and `fres.int` (n = 2.417, computed with tmm 0.2.0), to their nine decimals."""
    worst = 0.0
    for side, n_from, n_to in (("ext", 1.0, N), ("int", N, 1.0)):
        angles, expected = _table(side)
        ours = optics.fresnel(angles, n_from, n_to)
        worst = max(worst, off(np.column_stack([ours.reflectance_s, ours.reflectance_p]), expected, DIGITS9))
        worst = max(worst, off([_reflectances(a, n_from, n_to) for a in angles], expected, DIGITS9))
    return worst


@check
def amplitudes_of_the_textbook() -> float:
    """r and t from air into 1.5 at 30 degrees, `fres.amp30` (tmm; Hecht's rounded values from memory). Six decimals."""
    r_s, r_p, t_s, t_p, _ = reference.amplitudes(math.cos(math.radians(30.0)), 1.0, 1.5)
    expected = [ref(f"fres.amp30.{name}") for name in ("rs", "rp", "ts", "tp")]
    return off(np.real([r_s, r_p, t_s, t_p]), expected, 1e-6)


@check
def normal_incidence() -> float:
    """((n-1)/(n+1))^2, `fres.R0`, seven indices, from both sides; nine decimals; 17.2 % in print for diamond."""
    worst = 0.0
    for key in [key for key in published() if key.startswith("fres.R0.")]:
        n = float(key.removeprefix("fres.R0."))
        sides = [float(optics.fresnel(0.0, *pair).reflectance) for pair in ((1.0, n), (n, 1.0))]
        worst = max(worst, off([*sides, *_reflectances(0.0, 1.0, n)], [ref(key)] * 4, DIGITS9))
    return max(worst, off(_reflectances(0.0, 1.0, N), [ref("opt.diamond.R0.pub")] * 2, 5e-4))


@check
def brewster() -> float:
    """R_p vanishes at arctan n, `fres.brewster`; six decimals of the angle leave less than 1e-14.

    Yadav 2009, ex. 4.1 and 4.2: a polarising angle of 60 degrees means n = 1.732, of 57 means 1.54; the printed digits leave
    less than 1e-6.
    """
    worst = 0.0
    for key in [key for key in published() if key.startswith("fres.brewster.")]:
        n, angle = float(key.removeprefix("fres.brewster.")), ref(key)
        ours = float(optics.fresnel(angle, 1.0, n).reflectance_p)
        worst = max(worst, off([ours, _reflectances(angle, 1.0, n)[1]], [0.0, 0.0], 1e-14))
    printed = [_reflectances(angle, 1.0, ref(f"fres.txt.brewster{angle}"))[1] for angle in (57, 60)]
    return max(worst, off(printed, [0.0, 0.0], 1e-6))


@check
def at_45_degrees_p_is_s_squared() -> float:
    """R_p = R_s^2 at 45 degrees for any n (closed form). Tolerance: rounding."""
    pairs = np.array([_reflectances(45.0, 1.0, n) for n in (1.31, 1.5, N)])
    ours = optics.fresnel(45.0, 1.0, N)
    return max(off(pairs[:, 1], pairs[:, 0] ** 2, 1e-14), off(ours.reflectance_p, ours.reflectance_s**2, 1e-14))


@check
def textbook_refraction() -> float:
    """Worked examples: OpenStax College Physics 25.3 (30 degrees into 2.419), Yadav 2009 ex. 4.3 (n = 1.53); 0.05 deg."""
    into_diamond = float(optics.fresnel(30.0, 1.0, 2.419).refraction_deg)
    at_brewster = float(optics.fresnel(math.degrees(math.atan(1.53)), 1.0, 1.53).refraction_deg)
    return off([into_diamond, at_brewster], [ref("fres.txt.openstax"), ref("fres.txt.refr153")], 0.05)


@check
def critical_angle() -> float:
    """arcsin(1/n) at n = 2.417, `opt.diamond.crit2417`: the angle where transmission stops, to six decimals."""
    expected = ref("opt.diamond.crit2417")
    around = optics.fresnel([expected - 1e-6, expected + 1e-6], N, 1.0)
    cosines = [reference.amplitudes(math.cos(math.radians(expected + e)), N, 1.0)[4] for e in (-1e-6, 1e-6)]
    seen = [around.transmittance[0] > 0.0, around.transmittance[1] == 0.0, cosines[0].real > 0.0, cosines[1].imag > 0.0]
    return off([optics.critical_angle_deg(N), *seen], [expected, 1, 1, 1, 1], 1e-6)


@check
def phases_of_total_reflection() -> float:
    """Phase between s and p in diamond, `fres.tir` (Born & Wolf 1.5.4, closed form; agrees with tmm); five decimals."""
    keys = [key for key in published() if key.startswith("fres.tir.")]
    angles = [float(key.removeprefix("fres.tir.")) for key in keys]
    expected = [ref(key) for key in keys]
    kernel = optics.fresnel(angles, N, 1.0).phase_deg
    return max(off(kernel, expected, 6e-6), off([_phase_deg(a, N) for a in angles], expected, 6e-6))


@check
def largest_phase() -> float:
    """tan(d/2) = (n^2-1)/2n at sin^2 = 2/(n^2+1) (Born & Wolf 1.5.4), `fres.rhomb.max`; five decimals.

    For n = 1.51 at 51.3391 degrees. At n = 1 + sqrt 2, `fres.n_quarter`, it is 90 degrees; nine decimals of n.
    """
    worst = 0.0
    for key in ("1.5", "1.51", "2.417"):
        n = float(key)
        angle = math.degrees(math.asin(math.sqrt(2.0 / (n * n + 1.0))))
        found = [_phase_deg(angle, n), float(optics.fresnel(angle, n, 1.0).phase_deg)]
        worst = max(worst, off(found, [ref(f"fres.rhomb.max.{key}")] * 2, 6e-6))
        nearby = [_phase_deg(angle + step, n) for step in (-0.5, 0.5)]
        worst = max(worst, 0.0 if max(nearby) < found[0] else float("inf"))
    at_printed_angle = _phase_deg(ref("fres.rhomb.max.theta"), 1.51)
    n = ref("fres.n_quarter")
    quarter = _phase_deg(math.degrees(math.asin(math.sqrt(2.0 / (n * n + 1.0)))), n)
    return max(worst, off([at_printed_angle, quarter], [ref("fres.rhomb.max.1.51"), 90.0], [6e-6, 1e-7]))


@check
def fresnel_rhomb() -> float:
    """Two reflections at 48.62436 or 54.62311 degrees in n = 1.51 make 45-degree light circular: E.E vanishes.

    Born & Wolf's 48 deg 37' and 54 deg 37'; for n = 1.5 it is 50.22945 and 53.25823. Five decimals of the angle leave
    |E.E|/|E|^2 under 1e-6.
    """
    worst = 0.0
    for key in [key for key in published() if key.startswith("fres.rhomb45.")]:
        n = float(key.removeprefix("fres.rhomb45.").rsplit(".", 1)[0])
        r_s, r_p, *_ = reference.amplitudes(math.cos(math.radians(ref(key))), n, 1.0)
        field = np.array([r_s**2, r_p**2])
        worst = max(worst, off(abs(field @ field) / np.vdot(field, field).real, 0.0, 1e-6))
    return worst


@check
def quarter_wave_in_one_reflection() -> float:
    """One total reflection in diamond turns 45-degree light circular at 32.00998 and 33.49896 degrees (closed form)."""
    worst = 0.0
    for key in ("fres.tir90.0", "fres.tir90.1"):
        found = [_phase_deg(ref(key), N), float(optics.fresnel(ref(key), N, 1.0).phase_deg)]
        worst = max(worst, off(found, [90.0, 90.0], 5e-6))
    return worst
