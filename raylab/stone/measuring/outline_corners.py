"""The sharp corners of a girdle: where neighboring flats of it meet at an angle that no curve's flats have.

A facet across such a corner, ground or worn, or found by a scan between the last points on either side of it, is part of the
corner: the angle is that between the sides.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from ..stone import Stone

SHARP_DEG = 30.0
"""The outline has a corner where two girdle facets meet whose azimuths differ by more than this."""

SHORT = 0.01
"""A girdle facet shorter than this share of the stone's size is across a corner, if the outline turns there sharply."""


class Corner(NamedTuple):
    """The numbers of the girdle facets `before` and `after` a corner, counter-clockwise, those `across` it, and the `turn_deg`
    from the first to the second."""

    before: int
    after: int
    across: tuple[int, ...]
    turn_deg: float


def sharp_corners(stone: Stone) -> list[Corner]:
    """The corners of a stone's girdle, counter-clockwise; none where its girdle facets don't go around."""
    facets, facing = np.flatnonzero(stone.on_girdle), stone.azimuth_deg()
    around = facets[np.argsort(facing[facets], kind="stable")].tolist()
    across: dict[int, tuple[int, ...]] = {}  # those before a facet
    while len(around) > 3:
        turns = _turns(around, facing)
        sharply = {f: turns[k - 1] + turns[k] for k, f in enumerate(around) if SHARP_DEG < turns[k - 1] + turns[k] < 180.0}
        lengths = {f: _length(stone, f) for f in sharply}
        least = min(lengths, key=lambda f: lengths[f], default=None)
        if least is None or lengths[least] > SHORT * float(stone.size_mm.max()):
            break
        after = around[(around.index(least) + 1) % len(around)]
        across[after] = (*across.pop(least, ()), least, *across.get(after, ()))
        around.remove(least)
    beside = zip(around, [*around[1:], *around[:1]], _turns(around, facing), strict=True)
    return [Corner(f, g, across.get(g, ()), turn) for f, g, turn in beside if len(around) > 2 and SHARP_DEG < turn < 180.0]


def _turns(around: list[int], facing: np.ndarray) -> list[float]:
    """By how much each facet's azimuth differs from the next one's, degrees."""
    return [float(facing[g] - facing[f]) % 360.0 for f, g in zip(around, [*around[1:], *around[:1]], strict=True)]


def _length(stone: Stone, facet: int) -> float:
    """Extent of a girdle facet along the outline, mm."""
    x, y, _ = stone.normals[facet]
    return float(np.ptp(stone.vertices_mm[stone.polyhedron.loops[facet]][:, :2] @ [-y, x]))
