"""Wavelength sets, lights and the observer: how a handful of traced wavelengths stands for a whole visible spectrum.

A picture is traced at a few wavelengths, but colour is an integral over all of them: of the spectrum that the stone sends,
times the light, times the observer's three curves. Light and observer are known in full beforehand; only the stone's
spectrum is not. So the spectrum alone is interpolated between the traced wavelengths, and the light and the observer are
integrated against each interpolating function on a fine grid. Each wavelength then gets three weights (`color_weights`),
as in the weighting tables of ASTM E308 (from memory), and a flat spectrum has exactly the white of the light, however few
the wavelengths.

Three kinds of sets, all able to integrate alone (`weights_nm`):

    uniform   middles of equal bands; linear between them, level beyond the outermost. Weights are never negative, the error
              of a smooth spectrum falls with the square of the number. For pictures with fire, whose spectra have jumps:
              a lamp's edge is crossed at one wavelength.
    gauss     Gauss-Legendre nodes; the polynomial through all of them. The error of a smooth spectrum falls faster than any
              power of the number: 8 are enough for body colour. It overshoots at jumps, so a colour may come out
              slightly negative there.
    linear    any wavelengths; linear between them, level beyond the outermost. Made by `linear_set`, for sets that are dense
              where a picture needs it (`color.wavelength_choice`), or by `seen_set`, dense where the eye sees most.

The tables in `data/` are written by `benchmarks/make_color_tables.py`, which names their source.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from ..errors import InputError, nearest
from ..package_files import shipped
from ..units import number_in, whole_in

KINDS = ("uniform", "gauss")
"""What `wavelength_set` makes; the third kind is that of `linear_set`."""
TABLES_NM = (380.0, 780.0)
"""What the shipped tables of observer and lights cover."""

LOW_NM, HIGH_NM = 400.0, 700.0
"""Default range: the widest for which every shipped material but one has an index (handbook materials and YAG from 400 nm,
handbook materials to 700 nm; moissanite only from 436 nm). Against 360-830 nm it leaves out 0.2 %, 0.04 % and 0.3 % of X, Y
and Z under D65, and at most 0.5 % of any of them under the lights shipped; body colours shift by less than 0.1 CIEDE2000."""

_ILLUMINANTS, _OBSERVER = shipped("optics/data/illuminants.csv"), shipped("optics/data/observer_cie_1931_2deg.csv")
_MAX_NUMBER = 100
_STEP_NM = 0.25  # of the integration; fine against the 5 nm between the kinks of the lights' tables


@dataclass(frozen=True, eq=False)
class WavelengthSet:
    """Wavelengths to trace at, and how a spectrum runs between them. Made by `wavelength_set`, `linear_set` or `seen_set`.

    Attributes
    ----------
    kind : "uniform", "gauss" or "linear".
    low_nm, high_nm : the range that the set stands for, nm.
    nodes_nm : (N,) wavelengths, nm, rising.
    weights_nm : (N,) integral of each interpolating function over the range, nm; their sum is the width of the range.
    """

    kind: str
    low_nm: float
    high_nm: float
    nodes_nm: np.ndarray
    weights_nm: np.ndarray

    def __len__(self) -> int:
        return len(self.nodes_nm)

    def basis(self, wavelength_nm: Any) -> np.ndarray:
        """Interpolating functions at wavelengths (M,) in nm: (M, N), rows sum to one; ``basis @ values`` interpolates."""
        at = np.asarray(wavelength_nm, dtype=float)
        if self.kind != "gauss":
            return np.stack([np.interp(at, self.nodes_nm, unit) for unit in np.eye(len(self))], axis=-1)
        # Lagrange polynomials by the discrete orthogonality of the Legendre polynomials P_k at the Gauss nodes t_i:
        # l_i(t) = w_i sum_k (k + 1/2) P_k(t_i) P_k(t).
        middle, half = (self.low_nm + self.high_nm) / 2, (self.high_nm - self.low_nm) / 2
        degree = len(self) - 1
        at_nodes = np.polynomial.legendre.legvander((self.nodes_nm - middle) / half, degree)
        at_points = np.polynomial.legendre.legvander((at - middle) / half, degree)
        return (at_points * (np.arange(degree + 1) + 0.5)) @ at_nodes.T * (self.weights_nm / half)


def wavelength_set(number: int = 16, kind: str = "uniform", low_nm: float = LOW_NM, high_nm: float = HIGH_NM) -> WavelengthSet:
    """A set of wavelengths over the visible range.

    Parameters
    ----------
    number : number of wavelengths, 1 to 100.
    kind : "uniform" or "gauss"; see the module.
    low_nm, high_nm : range, at least 10 nm wide, within 380 to 780 nm. A narrower range than the default loses colour: from
        440 nm up (moissanite's index starts at 436 nm) a quarter of Z is missing under D65. Neutrals stay neutral, body
        colours shift by 5 CIEDE2000.

    Raises InputError for anything else.

    >>> wavelength_set(3).nodes_nm.tolist()
    [450.0, 550.0, 650.0]
    >>> wavelength_set(3, "gauss").nodes_nm.round(3).tolist()
    [433.81, 550.0, 666.19]
    """
    if isinstance(number, bool) or not isinstance(number, int | np.integer):
        raise InputError("not a whole number", key="number", value=number, expected=f"1 to {_MAX_NUMBER}")
    number_in("number", number, 1, _MAX_NUMBER)
    if kind not in KINDS:
        raise InputError("unknown kind of wavelength set", key="kind", value=kind, expected=nearest(str(kind), KINDS))
    low = number_in("low_nm", low_nm, TABLES_NM[0], TABLES_NM[1] - 10.0, "nm")
    high = number_in("high_nm", high_nm, low + 10.0, TABLES_NM[1], "nm")
    if kind == "uniform":
        band = (high - low) / number
        nodes, weights = low + band * (np.arange(number) + 0.5), np.full(number, band)
    else:
        t, w = np.polynomial.legendre.leggauss(number)
        nodes, weights = low + (high - low) * (t + 1.0) / 2, w * (high - low) / 2
    return WavelengthSet(kind, low, high, nodes, weights)


def linear_set(nodes_nm: Any, low_nm: float = LOW_NM, high_nm: float = HIGH_NM) -> WavelengthSet:
    """A set of given wavelengths, between which a spectrum runs straight.

    Parameters
    ----------
    nodes_nm : (N,) wavelengths, nm, rising, within the range.
    low_nm, high_nm : range, as in `wavelength_set`.

    Raises InputError for wavelengths that don't rise or lie outside the range.

    >>> linear_set([400.0, 500.0, 700.0]).weights_nm.tolist()
    [50.0, 150.0, 100.0]
    """
    low = number_in("low_nm", low_nm, TABLES_NM[0], TABLES_NM[1] - 10.0, "nm")
    high = number_in("high_nm", high_nm, low + 10.0, TABLES_NM[1], "nm")
    nodes = np.asarray(nodes_nm, dtype=float)
    inside = nodes.ndim == 1 and nodes.size > 0 and nodes[0] >= low and nodes[-1] <= high
    if not (inside and np.all(np.diff(nodes) > 0.0)):
        raise InputError("not wavelengths", key="nodes_nm", value=nodes.tolist(), expected=f"rising, {low:g} to {high:g} nm")
    edges = np.concatenate([[low], (nodes[1:] + nodes[:-1]) / 2, [high]])
    return WavelengthSet("linear", low, high, nodes, np.diff(edges))


def seen_set(number: int, light: str = "D65", low_nm: float = LOW_NM, high_nm: float = HIGH_NM) -> WavelengthSet:
    """A linear set whose wavelengths lie closer together where the observer sees more of the light.

    They divide the integral of the square root of what X, Y and Z gather into equal parts and stand in the middle of each. Of
    such a set 16 wavelengths are off as little as 20 of a uniform one, see `pictures.film_wavelengths`.

    Parameters
    ----------
    number : number of wavelengths, 1 to 100.
    light : illuminant. low_nm, high_nm : range, as in `wavelength_set`.

    Raises InputError for anything else.

    >>> seen_set(3).nodes_nm.round(1).tolist()
    [449.4, 537.0, 612.4]
    """
    whole_in("number", number, 1, _MAX_NUMBER)
    low = number_in("low_nm", low_nm, TABLES_NM[0], TABLES_NM[1] - 10.0, "nm")
    high = number_in("high_nm", high_nm, low + 10.0, TABLES_NM[1], "nm")
    grid = np.linspace(low, high, int(np.ceil((high - low) / _STEP_NM)) + 1)
    power = observer(grid) * illuminant(light, grid)[:, None]
    density = np.sqrt((power / power.sum(axis=0)).sum(axis=1))
    up_to = np.concatenate([[0.0], np.cumsum((density[1:] + density[:-1]) / 2)])
    return linear_set(np.interp((np.arange(number) + 0.5) / number * up_to[-1], up_to, grid), low, high)


def illuminants() -> tuple[str, ...]:
    """Names of the lights that raylab knows: CIE illuminants D65 (daylight), A (tungsten), E (equal energy) and LED-B3
    (phosphor LED)."""
    return _table(_ILLUMINANTS)[0]


def illuminant(name: str, wavelength_nm: Any) -> np.ndarray:
    """Relative spectral power of a light at wavelengths (M,) within 380 to 780 nm; linear in between, as the CIE
    defines D65 (from memory).

    Raises InputError for an unknown light or a wavelength outside the table.

    >>> illuminant("D65", [450.0, 560.0]).tolist()
    [117.008, 100.0]
    """
    names, at, power = _table(_ILLUMINANTS)
    if name not in names:
        raise InputError("unknown illuminant", key="illuminant", value=name, expected=nearest(str(name), names))
    return np.interp(_within(wavelength_nm), at, power[:, names.index(name)])


def observer(wavelength_nm: Any) -> np.ndarray:
    """Colour-matching functions (M, 3) of the CIE 1931 2-degree observer at wavelengths (M,) within 380 to 780 nm.

    Between the table's steps of 5 nm by a cubic spline: within 2.3e-4 (x), 1.6e-4 (y), 1.1e-3 (z) of the CIE's table at 1 nm,
    a tenth of what straight lines would give.

    >>> observer([555.0]).round(5).tolist()
    [[0.51205, 1.0, 0.00575]]
    """
    from scipy.interpolate import CubicSpline  # half a second to import: only when used

    _, at, curves = _table(_OBSERVER)
    return np.maximum(CubicSpline(at, curves)(_within(wavelength_nm)), 0.0)


def color_weights(waves: WavelengthSet, light: str = "D65") -> np.ndarray:
    """Weights (N, 3) that turn a spectrum at the set's wavelengths into X, Y and Z: ``spectrum @ weights``.

    Scaled so that a perfect white (1 at every wavelength) has Y = 1; the sum over the set is the white of the light, from the
    set's own range. See the module for the method.
    """
    steps = int(np.ceil((waves.high_nm - waves.low_nm) / _STEP_NM))
    grid = np.linspace(waves.low_nm, waves.high_nm, steps + 1)
    width = np.full(grid.size, grid[1] - grid[0])
    width[[0, -1]] /= 2  # trapezium rule
    seen = (width * illuminant(light, grid))[:, None] * observer(grid)
    weights = waves.basis(grid).T @ seen
    return weights / weights[:, 1].sum()


def band_weights(edges_nm: Any, light: str = "D65") -> np.ndarray:
    """Weights (N, 3) of spectra that are constant in each of N bands between edges (N + 1,) in nm, rising.

    Scaled as in `color_weights`: over the whole range of the edges a perfect white has Y = 1.

    >>> weights = band_weights([400.0, 550.0, 700.0])
    >>> float(weights[:, 1].sum().round(12))
    1.0
    """
    edges = np.asarray(edges_nm, dtype=float)
    grid = np.linspace(edges[0], edges[-1], int(np.ceil((edges[-1] - edges[0]) / _STEP_NM)) + 1)
    seen = illuminant(light, grid)[:, None] * observer(grid)
    up_to = np.concatenate([np.zeros((1, 3)), np.cumsum((seen[1:] + seen[:-1]) / 2, axis=0)])
    weights = np.diff([np.interp(edges, grid, channel) for channel in up_to.T], axis=1).T
    return weights / weights[:, 1].sum()


def _within(wavelength_nm: Any) -> np.ndarray:
    at = np.asarray(wavelength_nm, dtype=float)
    low, high = TABLES_NM
    if not (np.all(at >= low) and np.all(at <= high)):
        raise InputError("outside the tables", key="wavelength_nm", value=at.tolist(), expected=f"{low:g} to {high:g} nm")
    return at


@functools.cache
def _table(file: Path) -> tuple[tuple[str, ...], np.ndarray, np.ndarray]:
    """Column names (K,), wavelengths (M,) and numbers (M, K) of a shipped table."""
    text = file.read_text(encoding="utf-8")
    head, *rows = [line for line in text.splitlines() if not line.startswith("#")]
    numbers = np.loadtxt(rows, delimiter=",")
    numbers.setflags(write=False)
    return tuple(head.split(",")[1:]), numbers[:, 0], numbers[:, 1:]
