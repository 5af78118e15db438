"""Tiers of a stone of no known cut: facets of one side, one ring and about one slope.

Rings are counted from the girdle on. The first ring borders the girdle, the next one borders the first, and so on to table and
culet. Facets that meet a ring in a point, or nearly so, are not of the next one.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

import numpy as np

from ..tier import GIRDLE
from .shape import UNNAMED, Shape

ON_RING = 0.2
"""Share of its width along which a facet borders the ring before its own. Noise gives facets that meet it in a point less: up
to 0.15 in 20 draws of a stone with angles off by 0.1 degrees and distances by 5 um."""

STEP_DEG = 2.0
"""A ring's facets, in order of slope, part where two follow one another at more than this angle."""


def ring_names(shape: Shape, names: Sequence[str]) -> list[str]:
    """The names, with one such as "crown ring 1 at 34 deg" for each facet that has none yet; 34 is the tier's mean slope."""
    named = list(names)
    for side in ("crown", "pavilion"):
        left = np.array([name == UNNAMED and own == side for name, own in zip(names, shape.sides, strict=True)])
        before = np.array([name == GIRDLE.name for name in names])
        if not before.any():
            before = np.array([own != side for own in shape.sides])
        ring = 0
        while left.any():
            ring += 1
            contact = np.array([shape.contact(f, before) if left[f] else 0.0 for f in range(len(left))])
            own = left & (contact > ON_RING)
            own = own if own.any() else left & (contact > 0.0)
            own = own if own.any() else left  # nothing borders what has been counted: all that is left is one ring
            for tier in _by_slope(shape, np.flatnonzero(own)):
                slope = np.average(shape.slope_deg[tier])
                for f in tier.tolist():
                    named[f] = f"{side} ring {ring} at {slope:.0f} deg"
            left, before = left & ~own, own
    return named


def ring_alone(name: str) -> str:
    """A tier's name without the slope that `ring_names` gave it, for where that is said beside it.

    >>> ring_alone("crown ring 1 at 34 deg"), ring_alone("crown main")
    ('crown ring 1', 'crown main')
    """
    return re.sub(r"( ring \d+) at \d+ deg$", r"\1", name)


def _by_slope(shape: Shape, facets: np.ndarray) -> list[np.ndarray]:
    """Facets parted where their slopes leave a gap, see `STEP_DEG`."""
    facets = facets[np.argsort(shape.slope_deg[facets], kind="stable")]
    return np.split(facets, np.flatnonzero(np.diff(shape.slope_deg[facets]) > STEP_DEG) + 1)
