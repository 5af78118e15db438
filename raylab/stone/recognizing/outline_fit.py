"""Outlines of the cuts fitted to that of a stone, and where their length lies.

An outline is compared by its support: how far it reaches in 72 directions. Length and width are those of the stone; what else
shapes an outline follows from its area, from its reach along the diagonals, or from a fit of radii. Length and width hold for
the frame that is tried: +x along an azimuth.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from typing import NamedTuple

import numpy as np

from ...errors import StoneError
from ...plane_geometry import area
from ..cuts.outline import Circle, Outline
from ..cuts.outlines import Ellipse, Sides, bowed_triangle, cushion, hexagon, marquise, pear, rectangle, tapered
from .shape import OUTLINE

_AROUND = 2.0 * math.pi * np.arange(72) / 72

SHORT = 0.98
"""Length over width from which a direction may be that of the length; errors of measurement can make a square shorter."""

SHORTEST = {"triangular brilliant": 0.8}
"""The same where a cut's length is no longer than its width."""

LONGEST = {"square emerald cut": 1.05}
"""A stone no longer than this multiple of its width is called square (common practice, from memory)."""

CLOSE = 0.01
"""Deviation of an outline, a share of its mean radius, under which a simpler one is not doubted."""

UNEVEN = 0.06
"""A direction along which the outline is less its own mirror image than this share of its mean radius is no length."""


class Framed(NamedTuple):
    """An outline in a frame: `reach` (72,) from the middle of length and width; `length`, `width`, `area`."""

    reach: np.ndarray
    length: float
    width: float
    area: float


class Fit(NamedTuple):
    """A fitted outline: `off` is the largest deviation, a share of the mean radius; +x lies along `azimuth`, radians."""

    off: float
    azimuth: float
    stretch: float


GOOD = 1e-4
"""Half the sum of squares of 72 deviations, shares of the width, at which a fit is good enough: each 0.2 % off."""

Fitted = Callable[[Framed], Outline]


def framed(points: np.ndarray, azimuth: float) -> Framed:
    """An outline of corners (K, 2), with +x along an azimuth."""
    c, s = math.cos(azimuth), math.sin(azimuth)
    turned = points @ np.array([[c, -s], [s, c]])
    turned = turned - (turned.max(axis=0) + turned.min(axis=0)) / 2.0
    length, width = np.ptp(turned, axis=0)
    reach = (turned @ np.array([np.cos(_AROUND), np.sin(_AROUND)])).max(axis=0)
    return Framed(reach, float(length), float(width), abs(area(turned)))


def deviation(own: Framed, outline: Outline) -> float:
    """Largest deviation of a stone's outline from another, scaled and moved along the length to fit; share of the radius."""
    wanted = np.array([outline.support(azimuth) for azimuth in _AROUND])
    scale = own.reach.mean() / wanted.mean()
    off = own.reach / scale - wanted
    along = 2.0 * float((off * np.cos(_AROUND)).mean())
    return float(np.abs(off - along * np.cos(_AROUND)).max() / wanted.mean())


def fitted(points: np.ndarray, azimuths: Iterable[float], cut: str) -> Fit | None:
    """The closest fit of a cut's outline among frames; of equally close ones that whose +x is nearest to azimuth 0."""
    found: list[Fit] = []
    make, short = OUTLINES[cut], SHORTEST.get(cut, SHORT)
    for azimuth in azimuths:
        own = framed(points, azimuth)
        mirrored = np.abs(own.reach - np.roll(own.reach[::-1], 1)).max()
        if own.length < short * own.width or mirrored > UNEVEN * own.reach.mean():
            continue
        try:
            outline = make(own)
        except StoneError:  # no such outline is so long and so wide
            continue
        found.append(Fit(deviation(own, outline), azimuth, own.length / own.width))
    if not found:
        return None
    least = min(fit.off for fit in found)
    close = [fit for fit in found if fit.off < least + 2e-3]
    return min(close, key=lambda fit: abs(math.remainder(fit.azimuth, 2.0 * math.pi)))


def closest(points: np.ndarray, candidates: Iterable[tuple[str, np.ndarray]]) -> tuple[str, Fit] | None:
    """Of some cuts, each with the azimuths to try, the first whose outline fits within `CLOSE`, else the closest.

    None where none fits.
    """
    best: tuple[str, Fit] | None = None
    for name, azimuths in candidates:
        fit = fitted(points, azimuths, name)
        if fit is None or fit.off > OUTLINE or fit.stretch > LONGEST.get(name, math.inf):
            continue
        if best is None or fit.off < best[1].off:
            best = name, fit
            if fit.off < CLOSE:
                break
    return best


def _diagonal(own: Framed) -> float:
    return float(own.reach[[9, 27, 45, 63]].mean())


def cut_corners(own: Framed) -> Sides:
    """A rectangle whose corners are cut back as far as the diagonals show."""
    corner = (own.length + own.width) / 2.0 - math.sqrt(2.0) * _diagonal(own)
    return rectangle(own.length, own.width, max(corner, 0.0))


def stretched_corners(own: Framed) -> Sides:
    """A stretched square whose corners are cut back as far as the diagonals show: each farther along than across."""
    shorter = min(own.length, own.width)
    corner = ((own.length + own.width) / 2.0 - math.sqrt(2.0) * _diagonal(own)) / shorter
    points = rectangle(1.0, 1.0, max(corner, 0.0)).points * [own.length, own.width]
    return Sides(tuple((x, y) for x, y in points.tolist()))


def narrowed(own: Framed) -> Sides:
    """A tapered outline by its area."""
    return tapered(own.length, own.width, min(max(2.0 * own.area / own.length - own.width, 1e-3 * own.width), own.width))


def _radii(
    own: Framed, make: Callable[..., Outline], starts: list[list[float]], low: list[float], high: list[float]
) -> Outline:
    """The outline whose radii fit best in squares, from the start that leads farthest."""
    from scipy.optimize import least_squares  # a tenth of a second to import: only when used

    def off(radii: np.ndarray) -> np.ndarray:
        try:
            outline = make(*radii)
        except StoneError:
            return np.full(len(_AROUND), 1.0)
        wanted = np.array([outline.support(azimuth) for azimuth in _AROUND])
        rest = own.reach * wanted.mean() / own.reach.mean() - wanted
        return rest - 2.0 * (rest * np.cos(_AROUND)).mean() * np.cos(_AROUND)

    ends = []
    for start in starts:
        ends.append(least_squares(off, start, bounds=(low, high), xtol=1e-4, ftol=1e-6, diff_step=1e-3, max_nfev=30))
        if ends[-1].cost < GOOD:
            break
    return make(*min(ends, key=lambda end: float(end.cost)).x)


def _cushion(own: Framed) -> Outline:
    ratio = own.length / own.width
    starts = [[0.8 * ratio + 0.3, 0.25], [1.2 * ratio + 0.5, 0.1], [0.55 * ratio + 0.1, 0.4], [2.5 * ratio, 0.3]]
    return _radii(own, lambda side, corner: cushion(ratio, 1.0, side, corner), starts, [0.5, 0.01], [10.0, 0.5])


def _triangle(own: Framed) -> Outline:
    return _radii(own, lambda side: bowed_triangle(1.0, side), [[1.2]], [0.6], [10.0])


def _marquise(own: Framed) -> Outline:
    return marquise(max(own.length, 1.001 * own.width), own.width)


OUTLINES: dict[str, Fitted] = {
    "round brilliant": lambda own: Circle(own.width / 2.0),
    "oval brilliant": lambda own: Ellipse(own.length / 2.0, own.width / 2.0),
    "pear brilliant": lambda own: pear(own.length, own.width),
    "marquise brilliant": _marquise,
    "cushion brilliant": _cushion,
    "triangular brilliant": _triangle,
    "princess cut": lambda own: rectangle(own.length, own.width),
    "cut-cornered brilliant": stretched_corners,
    "baguette": lambda own: rectangle(own.length, own.width),
    "tapered baguette": narrowed,
    "hexagonal step cut": lambda own: hexagon(own.length, own.width),
    "square emerald cut": cut_corners,
    "emerald cut": cut_corners,
}
"""The outline of a cut that has a stone's length and width."""


def straightened(azimuths: np.ndarray, weights: np.ndarray, azimuth: float, step: float) -> float:
    """An azimuth turned by the weighted mean of what facets that face about a multiple of `step` from it are off (radians)."""
    off = (azimuths - azimuth + step / 2.0) % step - step / 2.0
    near = np.abs(off) < math.radians(10.0)
    return azimuth + float(np.average(off[near], weights=weights[near])) if weights[near].sum() > 0.0 else azimuth
