"""Refractive indices from the pages of a table: dispersion formulas and their coefficients.

The table, `indices.toml`, is an excerpt of the refractiveindex.info database (public domain, CC0 1.0), written by
`benchmarks/make_index_pages.py`. The numbers of the formulas are those of the database, and so are their meanings, here with
wavelengths L in um and the coefficients c0, c1, ...:

    1   n^2 = 1 + c0 + sum of c1 L^2 / (L^2 - c2^2)      Sellmeier
    2   n^2 = 1 + c0 + sum of c1 L^2 / (L^2 - c2)        Sellmeier with squared resonances
    4   n^2 = c0 + two terms c1 L^c2 / (L^2 - c3^c4), then powers c9 L^c10

A sum runs over the pairs of coefficients after the first. Nothing is extrapolated: a page has a range.
"""

from __future__ import annotations

import functools
import tomllib
from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from ..package_files import shipped

INDICES = shipped("optics/data/indices.toml")

UM_PER_NM = 1e-3


class Page(NamedTuple):
    """A dispersion formula, its coefficients, and the range where it holds in um."""

    formula: int
    coefficients: tuple[float, ...]
    range_um: tuple[float, float]

    def range_nm(self) -> tuple[float, float]:
        return (self.range_um[0] * 1e3, self.range_um[1] * 1e3)

    def __call__(self, wavelength_nm: np.ndarray) -> np.ndarray:
        """Refractive index at wavelengths in nm, which are not checked against the range."""
        found: np.ndarray = np.sqrt(FORMULAS[self.formula](self.coefficients, wavelength_nm * UM_PER_NM))
        return found


@functools.cache
def page(name: str) -> Page:
    """A page of the table by its name there."""
    return _pages()[name]


@functools.cache
def _pages() -> dict[str, Page]:
    read = tomllib.loads(INDICES.read_text(encoding="utf-8"))
    return {
        name: Page(one["formula"], tuple(one["coefficients"]), (one["range_um"][0], one["range_um"][1]))
        for name, one in read.items()
    }


def _resonances(c: tuple[float, ...], um: np.ndarray, power: int) -> np.ndarray:
    """Square of the index of formula 1 (`power` 2) or 2 (1)."""
    square = np.full_like(um, 1 + c[0])
    for strength, resonance in zip(c[1::2], c[2::2], strict=True):
        square = square + strength * um**2 / (um**2 - resonance**power)
    return square


def _general(c: tuple[float, ...], um: np.ndarray) -> np.ndarray:
    """Square of the index of formula 4."""
    square = np.full_like(um, c[0])
    for a, b, resonance, power in (c[1:5], c[5:9]):
        square = square + a * um**b / (um**2 - resonance**power)
    for a, b in zip(c[9::2], c[10::2], strict=True):
        square = square + a * um**b
    return square


FORMULAS: dict[int, Callable[[tuple[float, ...], np.ndarray], np.ndarray]] = {
    1: lambda c, um: _resonances(c, um, 2),
    2: lambda c, um: _resonances(c, um, 1),
    4: _general,
}
"""Square of the index by the database's number of the formula; a page with another one needs its row here."""
