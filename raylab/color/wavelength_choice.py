"""Which wavelengths a colour picture is traced at, and the error of its colours that comes from their number.

A pixel's spectrum has steps: with the wavelength the exit of a path turns until it meets a lamp or leaves it, and the edge of
a virtual facet moves over the pixel. Between two wavelengths a step may lie anywhere. Straight interpolation puts it into the
middle, so a single step of height J between wavelengths h apart is off by at most h J / 2, whatever the number of wavelengths.
That is why pixels are off where most are not.

**Error.** The picture is compared with two pictures of half its wavelengths: every other one, held constant up to its left-out
neighbours. One puts a step at the one end of its interval, the other at the other end: as far off as it can be. A smooth slope
cancels between neighbouring intervals. CIEDE2000 between the picture and the more different one of the two is the estimate of a
pixel's error. It is an estimate, not a bound: several steps may cancel in it, and what happens twice between two wavelengths is
not seen.

**Choice.** A few wavelengths that divide the range evenly come first. As long as a pixel's estimate exceeds half the aim, the
intervals are halved over which the colour of such a pixel changes most; half, because of what is not seen. So wavelengths lie
close where light, observer and the picture need it. The rounds are the same on every machine and for every number of threads.

Colours are compared as they are drawn on black, at the picture's exposure, before any gamut is applied.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from ..optics.color import ciede2000, xyz_to_lab
from ..optics.spectrum import HIGH_NM, LOW_NM, WavelengthSet, band_weights, color_weights, linear_set, wavelength_set
from ..units import number_in, whole_in

FIRST = 17
"""Wavelengths of the first round: 16 equal intervals."""
LEAST_NM = 1.0
"""A narrower interval is not halved: four steps of the integration in `optics.spectrum`."""
MOST = 512
MARGIN = 0.5
"""Share of the aim that estimates shall reach. Against 192 wavelengths the largest error was 0.1 to 1.1 with this margin (two
brilliants, four domes, 64 x 64 pixels), and up to 1.6 without."""
SHARE = 0.5
"""An interval is halved where a pixel's colour changes over it by at least this share of its largest change."""


@dataclass(frozen=True)
class WavelengthChoice:
    """Wavelengths chosen by the error of the picture; see the module.

    Attributes
    ----------
    error : aim, largest CIEDE2000 of any pixel that the stone covers; estimates shall be at most half of it.
    most : the number of wavelengths at which the choice ends, whatever the error; 17 to 512.
    low_nm, high_nm : range, as in `optics.spectrum.wavelength_set`.
    start_nm : wavelengths of the first round, rising; by default 17 that divide the range evenly, both ends included.

    Raises InputError for an aim or a number out of range.
    """

    error: float = 1.0
    most: int = 128
    low_nm: float = LOW_NM
    high_nm: float = HIGH_NM
    start_nm: tuple[float, ...] = ()

    def __post_init__(self) -> None:
        number_in("error", self.error, 0.0, 100.0, open_ends=True)
        whole_in("most", self.most, FIRST, MOST)
        self.first()

    def first(self) -> WavelengthSet:
        """The set of the first round."""
        nodes = self.start_nm or np.linspace(self.low_nm, self.high_nm, FIRST)
        return linear_set(nodes, self.low_nm, self.high_nm)


BY_ERROR = WavelengthChoice()
"""The default: an error of at most 1, at most 128 wavelengths."""


def first_set(spectrum: int | WavelengthSet | WavelengthChoice) -> WavelengthSet:
    """The set that is asked for, or the one that a choice begins with."""
    if isinstance(spectrum, WavelengthChoice):
        return spectrum.first()
    return spectrum if isinstance(spectrum, WavelengthSet) else wavelength_set(spectrum)


@dataclass(frozen=True)
class ColorError:
    """Estimate of how far the colours of a picture are off, CIEDE2000 over all pixels that the stone covers.

    Attributes: `median`, `percentile_95`, `largest`.
    """

    median: float
    percentile_95: float
    largest: float

    def __str__(self) -> str:
        return f"median {self.median:.2f}, 95 % {self.percentile_95:.2f}, largest {self.largest:.2f}"


def half_weights(waves: WavelengthSet, light: str) -> np.ndarray:
    """(2, N, 3) weights of the two sets of every other wavelength, each held up to its neighbours; 0 for those left out.

    The second set of a single wavelength is empty.
    """
    weights = np.zeros((2, len(waves), 3))
    for half in range(min(2, len(waves))):
        kept = np.arange(half, len(waves), 2)
        edges = [waves.low_nm, *waves.nodes_nm[kept[:-1] + 1], waves.high_nm]
        weights[half, kept] = band_weights(edges, light)
    return weights


def pixel_errors(xyz: np.ndarray, halves: np.ndarray, white: np.ndarray) -> np.ndarray:
    """(...) estimated CIEDE2000 of colours (..., 3) that are `halves` (2, ..., 3) by half of the wavelengths."""
    lab = xyz_to_lab(xyz, white)
    first, other = (ciede2000(lab, xyz_to_lab(half, white)) for half in halves)
    return np.maximum(first, other)


def color_error(errors: np.ndarray) -> ColorError:
    """The errors of pixels (P,) in three numbers."""
    return ColorError(float(np.median(errors)), float(np.percentile(errors, 95.0)), float(errors.max()))


def choose(
    spectrum: Callable[[list[float]], Iterable[np.ndarray]],
    choice: WavelengthChoice,
    light: str,
    exposure: float,
) -> tuple[WavelengthSet, list[np.ndarray]]:
    """The wavelengths that a picture needs.

    Parameters
    ----------
    spectrum : luminances (...) of the pixels, each array for one of the wavelengths (nm) that it is given, relative to a
        perfect white.
    light, exposure : as in `color_picture`.

    Returns
    -------
    The set, and the luminances (...) at its wavelengths.
    """
    waves = choice.first()
    values = list(spectrum(waves.nodes_nm.tolist()))
    while split := _to_halve(waves, values, choice, light, exposure):
        middles = [float(waves.nodes_nm[k] + waves.nodes_nm[k + 1]) / 2.0 for k in split]
        nodes = np.array([*waves.nodes_nm, *middles])
        order = np.argsort(nodes)
        values += spectrum(middles)
        values = [values[k] for k in order]
        waves = linear_set(nodes[order], choice.low_nm, choice.high_nm)
    return waves, values


def weighted(values: Sequence[np.ndarray], weights: np.ndarray) -> np.ndarray:
    """(..., 3) the sum of luminances (...) at N wavelengths times their weights (N, 3), in the order of the wavelengths."""
    total = np.zeros((3, *values[0].shape))
    for value, weight in zip(values, weights, strict=True):
        for channel in np.flatnonzero(weight):
            total[channel] += value * weight[channel]
    return np.moveaxis(total, 0, -1)


def _to_halve(
    waves: WavelengthSet, values: list[np.ndarray], choice: WavelengthChoice, light: str, exposure: float
) -> list[int]:
    """The intervals to halve next; none where the aim is reached or no more wavelengths may be added."""
    weights = exposure * color_weights(waves, light)
    halves = exposure * half_weights(waves, light)
    white = weights.sum(axis=0) / exposure
    xyz = weighted(values, weights)
    off = pixel_errors(xyz, np.stack([weighted(values, half) for half in halves]), white) > MARGIN * choice.error
    if not off.any() or len(waves) >= choice.most:
        return []
    xyz, widths, density = xyz[off], np.diff(waves.nodes_nm), weights / waves.weights_nm[:, None]
    lab = xyz_to_lab(xyz, white)
    changes = np.zeros((len(widths), len(xyz)))
    for k in np.flatnonzero(widths >= LEAST_NM):
        step = (values[k + 1] - values[k])[off, None] * (density[k] + density[k + 1]) * (widths[k] / 4.0)
        changes[k] = np.linalg.norm(xyz_to_lab(xyz + step, white) - lab, axis=1)
    needed = (changes > 0.0) & (changes >= SHARE * changes.max(axis=0))
    urgency = np.where(needed, changes, 0.0).max(axis=1)
    wanted = np.flatnonzero(urgency > 0.0)
    by_urgency = wanted[np.argsort(-urgency[wanted], kind="stable")]
    return sorted(by_urgency[: choice.most - len(waves)].tolist())
