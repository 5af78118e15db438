"""Where a ray may meet a side facet: the search for the facet that it meets next leaves out the others.

A ray is first followed to the place where it would leave the body that the sloping facets alone enclose. No side facet comes
before that place unless the place lies beyond the side facet's plane. Seen along the z axis the plane is divided into sectors.
In each the core is a radius within which every place is inside all side facets. Beyond the core, up to a farther radius, each
sector lists the side facets whose planes may lie before a place. So one comparison spares most rays a girdle's 96 planes, on
any outline, and a list of a few planes stands for the 96 where they count.

Tables of radii and lists decide how much is searched, and nothing else: the facet found is that of a search over all planes.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from ..jit import njit

SECTORS = 128
"""Sectors around the z axis, in equal steps along the sides of a square that stands on its corner."""
_A_QUARTER, _LAST = SECTORS / 4.0, SECTORS - 1.0  # as numbers with a point, which a kernel in single precision needs
FARTHER = 1.1
"""Up to this multiple of the core's radius, and of the stone's height twice over, side facets are listed."""
MARGIN = 1e-9
"""Share of a length by which radii and lists err to the safe side: rounding is far below."""


class Rim(NamedTuple):
    """See the module.

    Attributes
    ----------
    core2 : (SECTORS,) mm^2, the squared radius of the core. far2 : (SECTORS,) mm^2, up to which the lists hold.
    height : mm, up to which they hold above and below z = 0.
    starts : (SECTORS + 2,) sector s lists rows[starts[s]:starts[s + 1]], in order; the last list, number SECTORS, has all.
    rows : (K,) rows of the stone's table.
    """

    core2: np.ndarray
    far2: np.ndarray
    height: float
    starts: np.ndarray
    rows: np.ndarray


@njit(inline="always")
def around(x, y):
    """How far around the z axis a place lies, in sectors from the first on; its whole part is its sector."""
    share = y / (abs(x) + abs(y) + 1e-300)
    place = (1.0 + share if x >= 0.0 else 3.0 - share) * _A_QUARTER
    # What has no place (NaN) would be undefined as a whole number.
    return min(place, _LAST) if place >= 0.0 else 0.0


@njit(inline="always")
def sector_of(x, y):
    """The sector of a place."""
    return int(around(x, y))


@njit()
def _corner(place):
    """The unit vector at a place of 0 to 4 around the square."""
    share = place - 1.0 if place <= 2.0 else 3.0 - place
    x, y = (1.0 - abs(share)) * (1.0 if place <= 2.0 else -1.0), share
    length = np.sqrt(x * x + y * y)
    return x / length, y / length


def sector_ends() -> np.ndarray:
    """(SECTORS, 2) unit vectors at which the sectors begin; the first one along -y."""
    return np.array([_corner(4.0 * sector / SECTORS) for sector in range(SECTORS)])


@njit()
def rim_of(sides, first, height, crossed):
    """The `Rim` of side facets.

    Parameters
    ----------
    sides : (S, 4) their planes, in rows `first` and on of the stone's table. height : mm, the stone's greatest |z|.
    crossed : does the z axis run through the stone? Where it doesn't, nothing is spared.
    """
    count = len(sides)
    core2, far2 = np.full(SECTORS, np.inf if count == 0 else 0.0), np.zeros(SECTORS)
    starts, rows, listed = np.zeros(SECTORS + 2, np.int64), np.empty((SECTORS + 1) * count, np.int64), 0
    outward = np.empty(count)  # the largest cosine between a plane's normal and a direction of the sector, or a little more
    for sector in range(SECTORS if crossed else 0):
        ux, uy = _corner(4.0 * sector / SECTORS)
        wx, wy = _corner(4.0 * (sector + 1) / SECTORS)
        stretch, core = np.sqrt(2.0 / (1.0 + ux * wx + uy * wy)), np.inf
        for k in range(count):
            outward[k] = stretch * max(sides[k, 0] * ux + sides[k, 1] * uy, sides[k, 0] * wx + sides[k, 1] * wy)
            inside = sides[k, 3] - abs(sides[k, 2]) * height
            if inside <= 0.0:
                core = 0.0
            elif outward[k] * core > inside:
                core = inside / outward[k]
        core *= 1.0 - MARGIN
        core2[sector] = core * core
        if core < np.inf:
            far = FARTHER * core
            far2[sector] = far * far
            for k in range(count):
                beyond = (1.0 + MARGIN) * (far * outward[k] + 2.0 * height * abs(sides[k, 2]))
                if beyond > sides[k, 3] * (1.0 - MARGIN):
                    rows[listed] = first + k
                    listed += 1
        starts[sector + 1] = listed
    for k in range(count):  # not by slices: numba would compile all of its texts for an error of theirs
        rows[listed + k] = first + k
    starts[SECTORS], starts[SECTORS + 1] = listed, listed + count
    return Rim(core2, far2, 2.0 * height, starts, rows[: listed + count])
