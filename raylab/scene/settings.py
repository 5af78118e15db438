"""`TraceSettings`: the settings of a trace in one record, which all functions take."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from ..engine_table import ENGINES
from ..errors import InputError, nearest
from ..units import SODIUM_D_NM, number_in, whole_in


@dataclass(frozen=True)
class TraceSettings:
    """Settings of a trace. The constructor checks them.

    Attributes
    ----------
    wavelengths_nm : one wavelength in air, or a tuple of several different ones; nm.
    engine : name of an engine, see ``raylab engines``; None for the first one that supports the scene.
    precision : exact engines, 1e-7 to 1: largest untraced share, which is the width of the bracket on brightness. It holds
        unless `max_bounces` ends the paths first.
    standard_error : exact engines, 1e-6 to 1: largest standard error, in units of the statistic. Where no maps are asked for,
        polygons are then traced until rays become cheaper, but never below `precision`; the rest is estimated by as many rays
        as it takes. None estimates it by a few hundred rays.
    precision_of : keys of the statistics that are asked for it: all their brackets are at most `precision` wide, or their
        standard errors at most `standard_error`. By default that means the untraced share, and brightness and contrast.
    samples : sampled engines: view rays per pixel, a square number from 1 to 65536. From 9 on `rays` takes so many on average,
        more in pixels whose corners differ in luminance.
    polarized : trace polarisation along each path; False averages s and p at every reflection.
    min_weight : sampled engines, 0 to 0.5: a path ends below this share of its ray, and the rest is untraced.
    max_bounces : a path ends after this many internal reflections, 1 to 100,000.
    seed : seed of all random numbers, 0 to 2^63 - 1.

    Raises
    ------
    InputError : a wrong type, a value out of range, an unknown engine.
    """

    wavelengths_nm: float | tuple[float, ...] = SODIUM_D_NM
    engine: str | None = None
    precision: float = 2e-3
    standard_error: float | None = None
    precision_of: tuple[str, ...] = ()
    samples: int = 4
    polarized: bool = True
    min_weight: float = 1e-4
    max_bounces: int = 200
    seed: int = 0

    def __post_init__(self) -> None:
        self._settle("wavelengths_nm", _wavelengths(self.wavelengths_nm))
        if self.engine is not None and self.engine not in ENGINES:
            raise InputError("unknown engine", key="engine", value=self.engine, expected=nearest(str(self.engine), ENGINES))
        self._settle("precision", number_in("precision", self.precision, 1e-7, 1.0))
        if self.standard_error is not None:
            self._settle("standard_error", number_in("standard_error", self.standard_error, 1e-6, 1.0))
        self._settle("precision_of", _keys("precision_of", self.precision_of))
        samples = whole_in("samples", self.samples, 1, 65536)
        if math.isqrt(samples) ** 2 != samples:
            raise InputError("not a square number", key="samples", value=samples, expected="1, 4, 9, 16, 25, ... per pixel")
        self._settle("samples", samples)
        if not isinstance(self.polarized, bool):
            raise InputError("wrong type", key="polarized", value=self.polarized, expected="True or False")
        self._settle("min_weight", number_in("min_weight", self.min_weight, 0.0, 0.5))
        self._settle("max_bounces", whole_in("max_bounces", self.max_bounces, 1, 100_000))
        self._settle("seed", whole_in("seed", self.seed, 0, 2**63 - 1))

    def _settle(self, key: str, value: object) -> None:
        """Keep the checked, plain form of a setting, so that 200 and NumPy's 200 are the same settings."""
        object.__setattr__(self, key, value)

    @property
    def all_nm(self) -> tuple[float, ...]:
        """The wavelengths as a tuple, nm."""
        return self.wavelengths_nm if isinstance(self.wavelengths_nm, tuple) else (self.wavelengths_nm,)

    @property
    def wavelength_nm(self) -> float:
        """The single wavelength, nm. Raises InputError for several wavelengths."""
        if len(self.all_nm) > 1:
            expected = "a single wavelength"
            raise InputError("more than one wavelength", key="wavelengths_nm", value=list(self.all_nm), expected=expected)
        return self.all_nm[0]

    @property
    def middle_nm(self) -> float:
        """The middle wavelength of the list, nm; it represents all in a single picture."""
        return self.all_nm[len(self.all_nm) // 2]


def _keys(key: str, given: Any) -> tuple[str, ...]:
    """One key or several as a tuple of different ones."""
    found = (given,) if isinstance(given, str) else tuple(given) if isinstance(given, Iterable) else (given,)
    if not all(isinstance(one, str) for one in found) or len(set(found)) != len(found):
        raise InputError("wrong or repeated", key=key, value=given, expected="different keys of statistics")
    return found


def _wavelengths(given: Any) -> float | tuple[float, ...]:
    """One wavelength as a float, several as a tuple."""
    many = isinstance(given, Iterable) and not isinstance(given, str)
    found = tuple(number_in("wavelengths_nm", w, 1.0, 1e6, "nm") for w in (given if many else [given]))
    if not found or len(set(found)) != len(found):
        raise InputError("empty or repeated", key="wavelengths_nm", value=list(found), expected="different wavelengths")
    return found if many else found[0]
