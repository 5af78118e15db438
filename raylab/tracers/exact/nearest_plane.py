"""Which plane a ray meets first, searched over all planes at once with vector instructions.

Ray (x, y) of a beam is the line o(x, y) + t v with o affine in (x, y). It meets the plane in a row of the stone's table at
t = (d - n.o)/(n.v) if the plane faces along v, n.v > 0. It leaves the body at the smallest t. Side facets, such as a girdle's,
are searched only for rays that would leave outside the stone's core, see `StoneTable`.

The smallest of many numbers is found by vector instructions only if they are integers (of floating-point numbers the compiler
would have to know that none is NaN): so t is compared by its bits, turned so that they sort as t does.

What `nearest_plane` is made of is inlined, and it has no branch, so that its loops are vector code.
"""

from __future__ import annotations

import numpy as np

from ...jit import njit
from ...stone.finish import REFRACTS
from ..rim import sector_of
from ..stone_table import StoneTable

GRAZING = 1e-9
"""A plane whose normal makes a smaller cosine with the beam is not met: it shows the beam a billionth of its area."""
FAR = 1e300
LANES = 32
"""The compiler takes so many planes at a time and a rest one by one: tables are padded to whole lanes."""
_LARGEST = np.int64(2**63 - 1)
"""All bits of a floating-point number but its sign; the largest sort key."""

# Rows of `columns` (9, R), which has a column for each row of the stone's table: its plane, then, for the current direction v,
# the plane divided by n.v, and 1/(n.v). Where the plane doesn't face along v, t is FAR and 1/(n.v) is 0.
NX, NY, NZ, D = 0, 1, 2, 3
_NX_SCALED, _NY_SCALED, _NZ_SCALED, _D_SCALED, RECIPROCAL = 4, 5, 6, 7, 8


def padded(table: StoneTable) -> StoneTable:
    """The table with planes that no ray meets (facet -1) put in, so that sloping and side facets each fill whole lanes."""
    sloping, sides = table.sloping, len(table.planes) - table.sloping
    more, rest = -sloping % LANES, -sides % LANES
    row = np.concatenate([np.arange(sloping), np.full(more, -1), np.arange(sloping, sloping + sides), np.full(rest, -1)])
    real = row >= 0
    return table._replace(
        planes=np.where(real[:, None], table.planes[row], [0.0, 0.0, 0.0, 1.0]),
        sloping=sloping + more,
        rim=table.rim._replace(rows=table.rim.rows + more),
        facet=np.where(real, table.facet[row], -1),
        finish=np.where(real, table.finish[row], REFRACTS),
        amount=np.where(real, table.amount[row], 0.0),
    )


def new_columns(planes: np.ndarray) -> np.ndarray:
    """`columns` (9, R) of planes (R, 4), not yet scaled for a direction."""
    columns = np.empty((9, len(planes)))
    columns[: D + 1] = planes.T
    return columns


@njit(in_place=True)
def scale(columns, first, last, vx, vy, vz):
    """Scale the planes in the rows first..last-1 of `columns` (9, R) for the direction v. No branches: vector code."""
    for row in range(first, last):
        n_dot_v = columns[NX, row] * vx + columns[NY, row] * vy + columns[NZ, row] * vz
        faces = n_dot_v > GRAZING
        reciprocal = 1.0 / (n_dot_v if faces else 1.0)
        reciprocal = reciprocal if faces else 0.0
        columns[_NX_SCALED, row] = columns[NX, row] * reciprocal
        columns[_NY_SCALED, row] = columns[NY, row] * reciprocal
        columns[_NZ_SCALED, row] = columns[NZ, row] * reciprocal
        columns[_D_SCALED, row] = columns[D, row] * reciprocal if faces else FAR
        columns[RECIPROCAL, row] = reciprocal


@njit(in_place=True)
def count_nearer(columns, first, last, x, y, z, bound):
    """How many of the planes in the rows first..last-1, scaled, does the line through (x, y, z) meet before t = bound?"""
    nearer = 0
    for row in range(first, last):
        n_dot_o = columns[_NX_SCALED, row] * x + columns[_NY_SCALED, row] * y + columns[_NZ_SCALED, row] * z
        nearer += 1 if columns[_D_SCALED, row] - n_dot_o < bound else 0
    return nearer


@njit(inline="always")
def _sort_key(t):
    """A floating-point number as an integer, such that smaller numbers have smaller keys."""
    bits = np.float64(t).view(np.int64)
    return bits ^ ((bits >> np.int64(63)) & _LARGEST)


@njit(inline="always")
def _from_sort_key(key):
    """The number that has this sort key."""
    return np.int64(key ^ ((key >> np.int64(63)) & _LARGEST)).view(np.float64)


@njit(inline="always")
def _fill_keys(columns, keys, first, last, x, y, z, vx, vy, vz, least):
    """Write the sort keys of t of the rows first..last-1 to `keys` (R,); returns the smallest of them and of `least`."""
    # Unsigned, because an index that may be negative may mean a place from the end.
    for row in range(np.uintp(first), np.uintp(last)):
        n_dot_v = columns[NX, row] * vx + columns[NY, row] * vy + columns[NZ, row] * vz
        signed_distance = columns[D, row] - (columns[NX, row] * x + columns[NY, row] * y + columns[NZ, row] * z)
        faces = n_dot_v > GRAZING
        t = signed_distance / (n_dot_v if faces else 1.0)
        keys[row] = _sort_key(t if faces else FAR)
        least = min(least, keys[row])
    return least


@njit(inline="always")
def _row_of(keys, last, least):
    """The first row whose key in `keys` (R,) is `least`."""
    winner = last
    for row in range(last):
        winner = min(winner, row if keys[row] == least else last)
    return winner


@njit(inline="always")
def leaves_core(x, y, t, vx, vy, core2):
    """Does the ray leave the body outside the core, where side facets compete?"""
    x += t * vx
    y += t * vy
    return not x * x + y * y <= core2[sector_of(x, y)]


@njit(inline="always")
def ray_origin(beam, x, y):
    """o(x, y): the point t = 0 of ray (x, y) of a beam (WIDTH,)."""
    return (
        beam[0] + x * beam[3] + y * beam[6],
        beam[1] + x * beam[4] + y * beam[7],
        beam[2] + x * beam[5] + y * beam[8],
    )


@njit(in_place=True)
def distance(columns, beam, row, x, y):
    """t at which ray (x, y) meets the plane in a row, scaled."""
    ox, oy, oz = ray_origin(beam, x, y)
    return columns[_D_SCALED, row] - (
        columns[_NX_SCALED, row] * ox + columns[_NY_SCALED, row] * oy + columns[_NZ_SCALED, row] * oz
    )


@njit(in_place=True)
def nearest_plane(columns, keys, sloping, x, y, z, vx, vy, vz, core2):
    """The row of the plane that the line through (x, y, z) along v meets first (-1: none), and its t.

    `keys` (R,) is overwritten.
    """
    least = _fill_keys(columns, keys, 0, sloping, x, y, z, vx, vy, vz, _LARGEST)
    # No branch around the second search: where no side facet competes it is over none.
    last = columns.shape[1] if leaves_core(x, y, _from_sort_key(least), vx, vy, core2) else sloping
    least = _fill_keys(columns, keys, sloping, last, x, y, z, vx, vy, vz, least)
    t, winner = _from_sort_key(least), _row_of(keys, last, least)
    return winner if t < FAR else -1, t
