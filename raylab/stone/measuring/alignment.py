"""Alignment: where table, culet and facets stand, against where an even stone would have them.

Centres are compared in plan, in percent of the mean girdle diameter; the girdle's centre is the centroid of the outline.
The **girdle plane** is the least-squares plane through the middle of the girdle at each main and each joint. The
**pattern** is the even ring of places that fits all mains best: one every 360/m degrees, turned so that the mains' mean
shift is zero. Stars stand halfway between mains, halves a quarter of the way.

Signs: a facet's *azimuth shift* is counter-clockwise positive, seen from above. The *twist* of a main is the crown's
azimuth minus the pavilion's below it. The *painting* of a half is its turn towards the main it leans on, in degrees:
positive is painted (the girdle grows thicker at the joints), negative is dug out (thinner at the joints). Half against
half of one pair, a shift of the whole pair cancels in the mean.

Sources: out-of-round, table and culet off-centre and table against culet are among the symmetry parameters of Geurts,
Reinitz, Blodgett & Gilbertson, Gems & Gemology 47(4) (2011) 286; the words painting and digging out, and which way they
turn, are trade practice written from memory; girdle plane, pattern and twist are our definitions. Limits on any of them
are grades and are not given.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from ...plane_geometry import centroid, unit_vector
from .callipers import Callipers, Quantity, quantity

# tier: (places per main, offset of the first place in steps between mains)
_PLACES = {
    "star": (1, 0.5),
    "crown main": (1, 0.0),
    "upper half": (2, 0.25),
    "lower half": (2, 0.25),
    "pavilion main": (1, 0.0),
}


class Pattern:
    """The even ring of places of a brilliant's facets, fitted to its mains.

    Attributes: `order` (mains around the stone), `azimuth_deg` of the first main's place, the one nearest to 0.
    """

    def __init__(self, callipers: Callipers) -> None:
        self.stone = callipers.stone
        self.azimuth = callipers.stone.azimuth_deg()
        crown, pavilion = callipers.tier("crown main"), callipers.tier("pavilion main")
        claimed = callipers.stone.symmetry.order
        self.order = claimed if claimed >= 3 else max(len(crown), len(pavilion))
        wave = np.exp(1j * np.radians(self.azimuth[crown + pavilion]) * self.order).sum() if crown or pavilion else 0.0
        self.azimuth_deg = math.degrees(np.angle(wave)) / self.order if self.order >= 3 else math.nan

    def fits(self) -> bool:
        """True where there are mains enough for a pattern."""
        return self.order >= 3 and math.isfinite(self.azimuth_deg)

    def place(self, facet: int) -> int:
        """Number of the place nearest to a facet, counted counter-clockwise within its tier."""
        per_main, offset = _PLACES[self.stone.tiers[facet]]
        step = 360.0 / self.order
        return round((self.azimuth[facet] - self.azimuth_deg - offset * step) * per_main / step) % (per_main * self.order)

    def shift_deg(self, facet: int) -> float:
        """From a facet's place to the facet, counter-clockwise, degrees."""
        per_main, offset = _PLACES[self.stone.tiers[facet]]
        step = 360.0 / self.order
        nominal = self.azimuth_deg + offset * step + self.place(facet) * step / per_main
        return _wrapped(self.azimuth[facet] - nominal)

    def painting_deg(self, half: int) -> float:
        """How far a half is turned towards the main it leans on: the lower of its two neighbours for even places."""
        return -self.shift_deg(half) if self.place(half) % 2 == 0 else self.shift_deg(half)


def azimuth_shifts(callipers: Callipers, pattern: Pattern) -> Quantity | None:
    """Azimuth shift of every facet that has a place in the pattern."""
    facets = [f for f, tier in enumerate(callipers.stone.tiers) if tier in _PLACES] if pattern.fits() else []
    return quantity([pattern.shift_deg(f) for f in facets], "deg", _names(callipers, facets))


def twist(callipers: Callipers, pattern: Pattern) -> Quantity | None:
    """Azimuth of each crown main minus that of the pavilion main below it."""
    if not pattern.fits():
        return None
    below = {pattern.place(f): f for f in callipers.tier("pavilion main")}
    crown = [f for f in callipers.tier("crown main") if pattern.place(f) in below]
    turns = [_wrapped(pattern.azimuth[f] - pattern.azimuth[below[pattern.place(f)]]) for f in crown]
    return quantity(turns, "deg", _names(callipers, crown))


def painting(callipers: Callipers, pattern: Pattern, tier: str) -> Quantity | None:
    """Painting of the halves of one tier."""
    halves = callipers.tier(tier) if pattern.fits() else []
    return quantity([pattern.painting_deg(f) for f in halves], "deg", _names(callipers, halves))


def out_of_round(callipers: Callipers) -> Quantity:
    """Largest minus smallest girdle diameter, percent of the mean."""
    share = 100.0 * callipers.diameter.spread / callipers.diameter.mean
    return Quantity(share, "%", (share,), ("girdle",))


def table_center(callipers: Callipers) -> np.ndarray | None:
    """(2,) centroid of the table in plan, mm; None without a table."""
    table = callipers.tier("table")
    return centroid(callipers.loops[table[0]][:, :2]) if table else None


def apart(callipers: Callipers, this: np.ndarray | None, that: np.ndarray | None) -> Quantity | None:
    """Distance in plan from `that` to `this` (2,), percent of the diameter, with the direction as its place."""
    if this is None or that is None:
        return None
    arm = np.asarray(this) - np.asarray(that)
    share = 100.0 * float(np.hypot(*arm)) / callipers.diameter.mean
    azimuth = math.degrees(math.atan2(arm[1], arm[0])) % 360.0 if share > 1e-6 else 0.0
    return Quantity(share, "%", (share,), (f"towards azimuth {azimuth:.4g}",))


def table_tilt(callipers: Callipers) -> Quantity | None:
    """Angle between the table and the girdle plane, degrees; None without a table or a girdle to lay a plane through."""
    table = callipers.tier("table")
    if not table or len(callipers.rim) < 3:
        return None
    azimuths = [*callipers.mains, *callipers.joints()]
    places = np.array(
        [callipers.center + callipers.outline_from(callipers.center, unit_vector(a)) * unit_vector(a) for a in azimuths]
    )
    middle = callipers.girdle_at(azimuths).mean(axis=1)
    (a, b, _), *_ = np.linalg.lstsq(np.column_stack([places, np.ones(len(places))]), middle, rcond=None)
    normal = np.array([-a, -b, 1.0]) / math.sqrt(a * a + b * b + 1.0)
    across = np.linalg.norm(np.cross(normal, callipers.stone.normals[table[0]]))
    tilt = math.degrees(math.asin(min(1.0, float(across))))
    return Quantity(tilt, "deg", (tilt,), ("table",))


def _names(callipers: Callipers, facets: Sequence[int]) -> list[str]:
    return [callipers.stone.facet_name(f) for f in facets]


def _wrapped(angle_deg: float) -> float:
    """An angle in [-180, 180)."""
    return float((angle_deg + 180.0) % 360.0 - 180.0)
