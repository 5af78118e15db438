"""`Scene`: one stone, one dome, one view and how to trace them; everything that decides a result in one record."""

from __future__ import annotations

import dataclasses
import hashlib
import json
import math
import operator
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np

from ..errors import InputError
from ..lighting.dome import Dome
from ..stone.stone import Stone
from ..units import SODIUM_D_NM, number_in
from .view import View, silhouette

ENGINES = ("rays", "beams")
MAX_RESOLUTION = 16384


@dataclass(frozen=True, eq=False)
class Scene:
    """What to trace, and how. Checked when made.

    Attributes
    ----------
    stone, dome, view : what is looked at, under which light, from where.
    name, title : a short name and a line for headings; neither decides the result.
    resolution : pixels along each side of the maps, 1 to 16384.
    wavelengths_nm : one wavelength, or a tuple of several; nm.
    engine : ``"rays"`` (sampled), ``"beams"`` (exact, parallel views only) or None for the one that serves.
    samples : view rays per pixel of the sampled engine, a square number.
    polarized : carry polarisation along the path; False averages it away at every bounce.
    min_weight : a sampled path ends when less than this share of its ray is left; the rest is booked as untraced.
    max_bounces : a path ends after this many internal reflections.
    seed : key of the sampled engine's stratified samples.
    precision : width of the exact engine's bracket on brightness, 1e-7 to 1.

    Raises
    ------
    InputError : a setting out of range, a wavelength that the material is not known at, an eye inside the stone.
    """

    stone: Stone
    dome: Dome
    view: View = field(default_factory=View)
    name: str = "scene"
    title: str = ""
    resolution: int = 512
    wavelengths_nm: float | tuple[float, ...] = SODIUM_D_NM
    engine: Literal["rays", "beams"] | None = None
    samples: int = 4
    polarized: bool = True
    min_weight: float = 1e-4
    max_bounces: int = 200
    seed: int = 0
    precision: float = 2e-3

    def __post_init__(self) -> None:
        for key, kind in (("stone", Stone), ("dome", Dome), ("view", View), ("name", str), ("title", str), ("polarized", bool)):
            if not isinstance(getattr(self, key), kind):
                raise InputError("wrong type", key=key, value=getattr(self, key), expected=f"a {kind.__name__}")
        _settle(self, "resolution", _whole("resolution", self.resolution, 1, MAX_RESOLUTION))
        _settle(self, "max_bounces", _whole("max_bounces", self.max_bounces, 1, 100_000))
        _settle(self, "seed", _whole("seed", self.seed, 0, 2**63 - 1))
        samples = _whole("samples", self.samples, 1, 65536)
        if math.isqrt(samples) ** 2 != samples:
            raise InputError("not a square number", key="samples", value=samples, expected="1, 4, 9, 16, 25, ... per pixel")
        _settle(self, "samples", samples)
        _settle(self, "min_weight", number_in("min_weight", self.min_weight, 0.0, 0.5))
        _settle(self, "precision", number_in("precision", self.precision, 1e-7, 1.0))
        _settle(self, "wavelengths_nm", _wavelengths(self.wavelengths_nm, self.stone))
        if self.engine not in (None, *ENGINES):
            raise InputError("unknown engine", key="engine", value=self.engine, expected="one of " + ", ".join(ENGINES))
        if self.engine == "beams" and not self.view.parallel:
            raise InputError("a perspective view has no exact engine", key="engine", value=self.engine, expected="'rays'")
        silhouette(self.stone, self.view)  # refuses an eye inside the stone

    @property
    def chosen_engine(self) -> str:
        """The engine asked for, or the exact one wherever it serves: under every parallel view."""
        return self.engine or ("beams" if self.view.parallel else "rays")

    @property
    def wavelengths(self) -> tuple[float, ...]:
        """The wavelengths as a tuple, nm, also where there is only one."""
        return self.wavelengths_nm if isinstance(self.wavelengths_nm, tuple) else (self.wavelengths_nm,)

    def hash(self) -> str:
        """SHA-256 (hexadecimal) of all that decides the result: equal for equal scenes, whatever their names and files."""
        stone, view, dome = self.stone, self.view, self.dome
        digest = hashlib.sha256(b"raylab scene 2\n")
        finishes = [dataclasses.astuple(finish) for finish in stone.finishes]
        facts = {
            "facets": [stone.tiers, stone.indices, finishes, str(stone.symmetry)],
            "material": stone.material.digest(self.wavelengths),
            "view": [float(view.tilt_deg), float(view.tilt_azimuth_deg), float(view.turn_deg), _optional(view.distance_mm)],
            "dome": dome.digest,
            "settings": [
                [self.resolution, self.samples, self.max_bounces, self.seed],
                [self.engine, self.polarized, self.min_weight, self.precision, isinstance(self.wavelengths_nm, tuple)],
            ],
        }
        digest.update(json.dumps(facts, sort_keys=True).encode())
        for array in (stone.normals, stone.distances_mm):
            numbers = np.asarray(array, dtype="<f8") + 0.0  # no difference between 0 and -0
            digest.update(json.dumps(numbers.shape).encode() + numbers.tobytes())
        return digest.hexdigest()


def _settle(scene: Scene, key: str, value: object) -> None:
    """Keep the checked, plain form of a setting, so that 512 and numpy's 512 are the same scene."""
    object.__setattr__(scene, key, value)


def _optional(value: float | None) -> float | None:
    return None if value is None else float(value)


def _whole(key: str, value: Any, low: int, high: int) -> int:
    """`value` as an int within [low, high], or an InputError that names the key."""
    expected = f"a whole number from {low} to {high}"
    try:
        number = operator.index(value)
    except TypeError:
        raise InputError("not a whole number", key=key, value=value, expected=expected) from None
    if isinstance(value, bool) or not low <= number <= high:
        raise InputError("out of range", key=key, value=value, expected=expected)
    return number


def _wavelengths(given: Any, stone: Stone) -> float | tuple[float, ...]:
    """One wavelength as a float, several as a tuple, each within what is known of the stone's material."""
    many = isinstance(given, Iterable) and not isinstance(given, str)
    found = tuple(number_in("wavelengths_nm", w, 1.0, 1e6, "nm") for w in (given if many else [given]))
    if not found or len(set(found)) != len(found):
        raise InputError(
            "no wavelength, or one given twice", key="wavelengths_nm", value=list(found), expected="different wavelengths"
        )
    for wavelength in found:
        try:
            stone.material.n(wavelength)
            stone.material.absorption_per_mm(wavelength)
        except InputError as error:  # the material knows only the one wavelength; the scene knows the setting's name
            raise InputError(error.problem, key="wavelengths_nm", value=wavelength, expected=error.expected) from error
    return found if many else found[0]
