"""Alignment: where table, culet and facets stand, against where an even stone would have them.

Centres are compared in plan, in percent of the mean girdle diameter; the girdle's centre is the centroid of the outline.
The **girdle plane** is the least-squares plane through the middle of the girdle at each main and each joint. The
places of facets are those of the `pattern`.

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
from ..tier import GIRDLE, TABLE, Tier
from .callipers import Callipers, Quantity, quantity
from .pattern import wrapped


def azimuth_shifts(callipers: Callipers) -> Quantity | None:
    """Azimuth shift of every facet that has a place in the pattern."""
    pattern = callipers.pattern
    facets = [f for f, tier in enumerate(callipers.stone.tiers) if tier in pattern.placed] if pattern.fits() else []
    return quantity([pattern.shift_deg(f) for f in facets], "deg", _names(callipers, facets))


def twist(callipers: Callipers) -> Quantity | None:
    """Azimuth of each crown main minus that of the pavilion main below it."""
    pattern = callipers.pattern
    if not pattern.fits():
        return None
    below = {pattern.position(f): f for f in pattern.mains("pavilion")}
    crown = [f for f in pattern.mains("crown") if pattern.position(f) in below]
    turns = [wrapped(pattern.azimuth[f] - pattern.azimuth[below[pattern.position(f)]]) for f in crown]
    return quantity(turns, "deg", _names(callipers, crown))


def painting(callipers: Callipers, tier: Tier) -> Quantity | None:
    """Painting of the halves of one tier."""
    halves = callipers.tier(tier) if callipers.pattern.fits() else []
    return quantity([callipers.pattern.painting_deg(f) for f in halves], "deg", _names(callipers, halves))


def out_of_round(callipers: Callipers) -> Quantity:
    """Largest minus smallest girdle diameter, percent of the mean."""
    share = 100.0 * callipers.diameter.spread / callipers.diameter.mean
    return Quantity(share, "%", (share,), (GIRDLE.name,))


def table_off_center(callipers: Callipers) -> Quantity | None:
    """Distance in plan from the girdle's centre to the table's."""
    return _apart(callipers, _table_center(callipers), callipers.center)


def culet_off_center(callipers: Callipers) -> Quantity | None:
    """Distance in plan from the girdle's centre to the culet's."""
    return _apart(callipers, _culet_center(callipers), callipers.center)


def table_to_culet(callipers: Callipers) -> Quantity | None:
    """Distance in plan from the culet's centre to the table's."""
    return _apart(callipers, _table_center(callipers), _culet_center(callipers))


def _table_center(callipers: Callipers) -> np.ndarray | None:
    """(2,) centroid of the table in plan, mm; None without a table."""
    table = callipers.tier(TABLE)
    return centroid(callipers.loops[table[0]][:, :2]) if table else None


def _culet_center(callipers: Callipers) -> np.ndarray | None:
    """(2,) centre of the culet in plan, mm; None without pavilion mains."""
    return callipers.culet_center() if callipers.pattern.mains("pavilion") else None


def _apart(callipers: Callipers, this: np.ndarray | None, that: np.ndarray | None) -> Quantity | None:
    """Distance in plan from `that` to `this` (2,), percent of the diameter, with the direction as its place."""
    if this is None or that is None:
        return None
    arm = np.asarray(this) - np.asarray(that)
    share = 100.0 * float(np.hypot(*arm)) / callipers.diameter.mean
    azimuth = math.degrees(math.atan2(arm[1], arm[0])) % 360.0 if share > 1e-6 else 0.0
    return Quantity(share, "%", (share,), (f"towards azimuth {azimuth:.4g}",))


def table_tilt(callipers: Callipers) -> Quantity | None:
    """Angle between the table and the girdle plane, degrees; None without a table or a girdle to lay a plane through."""
    table = callipers.tier(TABLE)
    if not table or len(callipers.rim) < 3:
        return None
    azimuths = [*callipers.mains, *callipers.joints()]
    positions = np.array(
        [callipers.center + callipers.outline_from(callipers.center, unit_vector(a)) * unit_vector(a) for a in azimuths]
    )
    middle = callipers.girdle_at(azimuths).mean(axis=1)
    (a, b, _), *_ = np.linalg.lstsq(np.column_stack([positions, np.ones(len(positions))]), middle, rcond=None)
    normal = np.array([-a, -b, 1.0]) / math.sqrt(a * a + b * b + 1.0)
    across = np.linalg.norm(np.cross(normal, callipers.stone.normals[table[0]]))
    tilt = math.degrees(math.asin(min(1.0, float(across))))
    return Quantity(tilt, "deg", (tilt,), (TABLE.name,))


def _names(callipers: Callipers, facets: Sequence[int]) -> list[str]:
    return [callipers.stone.facet_name(f) for f in facets]
