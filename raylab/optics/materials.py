"""What stones are made of: refractive index against wavelength, density, body colour, and where each number is from.

Indices come from pages of a public-domain database (`index_pages`), chosen for the substance as it is cut, or from handbooks.
Outside the range of its source an index is unknown, and `Material.n` refuses. Doubly refracting substances are traced with
their ordinary index, and say so in `Material.note`; numbers from memory are marked in `Material.unverified`.

To add a material, add one row to `_DATABASE` (and run `benchmarks/make_index_pages.py`) or to `_HANDBOOK` below.
"""

from __future__ import annotations

import hashlib
import itertools
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any, NamedTuple, Protocol

import numpy as np

from ..errors import InputError, nearest
from ..units import SODIUM_D_NM, number_in
from .index_pages import page

FRAUNHOFER_NM = {"B": 686.719, "C": 656.281, "D": SODIUM_D_NM, "F": 486.134, "G": 430.78, "h": 410.175}
"""Fraunhofer lines used for dispersion, nm in air; D as gem tables quote it."""


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

    @property
    def unverified(self) -> str:
        """The numbers that are from memory, in words; empty where each has a source."""
        sources = {"refractive index": self.source, "density": self.density_source}
        found = [number for number, source in sources.items() if _FROM_MEMORY in source]
        return f"{' and '.join(found)} from memory, not verified" if found else ""

    @property
    def remark(self) -> str:
        """What whoever reads its numbers should know: `note` and `unverified`; empty where there is nothing."""
        return "; ".join(filter(None, (self.note, self.unverified)))

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
        for earlier, later in itertools.pairwise(pairs):
            if later[0] <= earlier[0]:
                expected = f"more than {earlier[0]:g} nm"
                raise InputError("wavelengths do not increase", key="absorption", value=later, expected=expected)
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


_FROM_MEMORY = "from memory"
_ORDINARY = "doubly refracting: traced with the ordinary index only"
_HANDBOOKS = f"gem handbooks, {_FROM_MEMORY}, to be verified"
_XRAYDB = "materials table of XrayDB 4.5.8"
_CELL = f"8 x 12.011 u in a cubic cell of 3.56712 angstrom; to two decimals 3.52, as in the {_XRAYDB}"
_CATALOGUE = "glass maker's catalogue 2017"


class _Row(NamedTuple):
    """A material of the database: its page in `index_pages`, the sources in words."""

    page: str
    source: str
    density_g_cm3: float
    density_source: str = _HANDBOOKS
    note: str = ""


_DATABASE = {
    "diamond": _Row("main/C/Peter", "Peter 1923, Z. Phys. 15, 358-368", 3.515, _CELL),
    "corundum": _Row("main/Al2O3/Malitson-o", "Malitson & Dodge 1972, ordinary ray", 4.00, _XRAYDB, _ORDINARY),
    "spinel": _Row("main/MgAl2O4/Tropf", "Tropf & Thomas 1991", 3.60),
    "yag": _Row("main/Y3Al5O12/Zelmon", "Zelmon et al. 1998", 4.55),
    "cubic zirconia": _Row("other/ZrO2-Y2O3/Wood", "Wood & Nassau 1982, 12 mol% Y2O3", 5.80),
    "moissanite": _Row("main/SiC/Wang-6H-o", "Wang et al. 2013, 6H, ordinary ray", 3.22, note=_ORDINARY),
    "quartz": _Row("main/SiO2/Ghosh-o", "Ghosh 1999, ordinary ray", 2.65, _XRAYDB, _ORDINARY),
    "crown glass": _Row("specs/SCHOTT-optical/N-BK7", f"N-BK7, {_CATALOGUE}", 2.51, _CATALOGUE),
    "flint glass": _Row("specs/SCHOTT-optical/F2", f"F2, lead glass, {_CATALOGUE}", 3.599, _CATALOGUE),
}


class _Handbook(NamedTuple):
    """A material of the handbooks; index and density are from memory, and the dispersion too where no table was read."""

    n_d: float
    dispersion_bg: float
    density_g_cm3: float
    dispersion_source: str = "B-G from a handbook table"
    note: str = ""


_BG_FROM_MEMORY = f"B-G {_FROM_MEMORY} too"

_HANDBOOK = {
    "zircon": _Handbook(1.925, 0.039, 4.65, note=_ORDINARY),
    "topaz": _Handbook(1.610, 0.014, 3.54, note="doubly refracting (biaxial): traced with its lowest handbook index only"),
    "beryl": _Handbook(1.580, 0.014, 2.72, note=_ORDINARY),
    "pyrope": _Handbook(1.746, 0.022, 3.78, _BG_FROM_MEMORY),
    "almandine": _Handbook(1.790, 0.024, 4.05, _BG_FROM_MEMORY),
    "grossular": _Handbook(1.740, 0.028, 3.61, _BG_FROM_MEMORY),
}

ALIASES = {
    "cz": "cubic zirconia",
    "zirconia": "cubic zirconia",
    "yttrium aluminium garnet": "yag",
    "ruby": "corundum",
    "sapphire": "corundum",
    "silicon carbide": "moissanite",
    "rock crystal": "quartz",
    "emerald": "beryl",
    "aquamarine": "beryl",
    "tsavorite": "grossular",
    "rhodolite": "pyrope",
    "bk7": "crown glass",
    "n-bk7": "crown glass",
    "lead glass": "flint glass",
}
"""Other names of the materials. Varieties differ from their species by body colour, which a stone states by itself."""


_ABBREVIATIONS = ("cz", "yag", "bk7", "n-bk7")


def spelled(name: str) -> str:
    """A name of a material as a reader expects it; every door takes it in any case.

    >>> spelled("cz"), spelled("ruby")
    ('CZ', 'ruby')
    """
    return name.upper() if name in _ABBREVIATIONS else name


def materials() -> tuple[str, ...]:
    """Names of the built-in materials, sorted."""
    return tuple(sorted([*_DATABASE, *_HANDBOOK]))


def other_names(name: str) -> tuple[str, ...]:
    """Names that mean the same built-in material.

    >>> other_names("corundum")
    ('ruby', 'sapphire')
    """
    return tuple(other for other, known in ALIASES.items() if known == name)


def get_material(name: str | Material) -> Material:
    """A material by its name or another one (`ALIASES`); a `Material` is returned unchanged.

    >>> get_material("CZ").name
    'cubic zirconia'

    Raises InputError for an unknown name, with the nearest known one.
    """
    if isinstance(name, Material):
        return name
    said = " ".join(str(name).lower().split())
    key = ALIASES.get(said, said)
    if key in _DATABASE:
        row = _DATABASE[key]
        return Material(key, page(row.page), row.density_g_cm3, row.source, row.density_source, row.note)
    if key in _HANDBOOK:
        one = _HANDBOOK[key]
        source = f"n_D from gem handbooks ({_FROM_MEMORY}, to be verified), {one.dispersion_source}; two-term Cauchy"
        index = CauchyIndex(one.n_d, one.dispersion_bg)
        return Material(key, index, one.density_g_cm3, source, _HANDBOOKS, one.note)
    raise InputError("unknown material", key="material", value=name, expected=nearest(said, (*materials(), *ALIASES)))
