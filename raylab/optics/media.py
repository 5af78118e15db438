"""What a ray needs of a material at one wavelength; tuples of plain numbers, so that compiled kernels can use them."""

from __future__ import annotations

from typing import NamedTuple

from .materials import Material


class Medium(NamedTuple):
    """An isotropic medium at one wavelength.

    Attributes
    ----------
    n : refractive index.
    absorption_per_mm : absorption coefficient, 1/mm.
    """

    n: float
    absorption_per_mm: float


def medium_of(material: Material, wavelength_nm: float) -> Medium:
    """The medium that a material is at a wavelength. Raises InputError outside the material's range."""
    return Medium(float(material.n(wavelength_nm)), float(material.absorption_per_mm(wavelength_nm)))
