"""Which facet a ray meets first, searched over all facets at once with vector instructions.

Ray (x, y) of a beam is the line o(x, y) + t v with o affine in (x, y); it meets facet f at t_f = (d_f - n_f.o)/(n_f.v) if f
faces along v. It leaves the body at the smallest t_f. Side facets, such as a girdle's, are searched only for rays that would
leave outside the stone's core, see `StoneTable`.

The smallest of many numbers is found by vector instructions only if they are whole numbers (of fractions the compiler would
have to know that none is NaN): so t is compared by its bits, turned so that they sort as t does.

What `first_met` is made of is inlined, and it has no branch: else numba counts references to its arrays, see `clip`.
"""

from __future__ import annotations

import numpy as np

from ...jit import njit
from ...stone.finish import REFRACTS
from ..stone_table import StoneTable

GRAZING = 1e-9
"""A facet whose normal makes a smaller cosine with the beam is not met: it shows the beam a billionth of its area."""
FAR = 1e300
LANES = 32
"""The compiler takes so many facets at a time and a rest one by one: tables are filled up to whole lanes."""
_REST = np.int64(2**63 - 1)
"""All bits of a fraction but its sign."""

# ahead (9, F): the stone's planes, below them the same divided by n.v for the facets that face along v, and 1/(n.v); for the
# others t is FAR and 1/(n.v) is 0.
_NX, _NY, _NZ, _D, OVER = 4, 5, 6, 7, 8


def filled_up(table: StoneTable) -> StoneTable:
    """The table with planes that no ray meets put in (facet -1), so that mains and side facets each fill whole lanes."""
    mains, sides = table.mains, len(table.planes) - table.mains
    more, rest = -mains % LANES, -sides % LANES
    order = np.concatenate([np.arange(mains), np.full(more, -1), np.arange(mains, mains + sides), np.full(rest, -1)])
    real = order >= 0
    return table._replace(
        planes=np.where(real[:, None], table.planes[order], [0.0, 0.0, 0.0, 1.0]),
        mains=mains + more,
        facet=np.where(real, table.facet[order], -1),
        finish=np.where(real, table.finish[order], REFRACTS),
    )


def new_ahead(planes: np.ndarray) -> np.ndarray:
    """Room for `ahead` of a stone with planes (F, 4)."""
    ahead = np.empty((9, len(planes)))
    ahead[:4] = planes.T
    return ahead


@njit()
def face(ahead, first, last, vx, vy, vz):  # type: ignore[no-untyped-def]
    """Fill `ahead` for the facets first..last-1. No branches: vector code."""
    for f in range(first, last):
        towards = ahead[0, f] * vx + ahead[1, f] * vy + ahead[2, f] * vz
        faces = towards > GRAZING
        over = 1.0 / (towards if faces else 1.0)
        over = over if faces else 0.0
        ahead[_NX, f] = ahead[0, f] * over
        ahead[_NY, f] = ahead[1, f] * over
        ahead[_NZ, f] = ahead[2, f] * over
        ahead[_D, f] = ahead[3, f] * over if faces else FAR
        ahead[OVER, f] = over


@njit()
def nearer(ahead, first, last, x, y, z, bound):  # type: ignore[no-untyped-def]
    """How many of the facets first..last-1 does the line through (x, y, z) meet before t = bound?"""
    found = 0
    for f in range(first, last):
        t = ahead[_D, f] - (ahead[_NX, f] * x + ahead[_NY, f] * y + ahead[_NZ, f] * z)
        found += 1 if t < bound else 0
    return found


@njit(inline="always")
def _sorted_bits(number):  # type: ignore[no-untyped-def]
    """A number as a whole number, such that smaller ones stay smaller."""
    bits = np.float64(number).view(np.int64)
    return bits ^ ((bits >> np.int64(63)) & _REST)


@njit(inline="always")
def _from_bits(bits):  # type: ignore[no-untyped-def]
    """The number of which these are the `_sorted_bits`."""
    return np.int64(bits ^ ((bits >> np.int64(63)) & _REST)).view(np.float64)


@njit(inline="always")
def _measure(ahead, bits, first, last, x, y, z, vx, vy, vz, least):  # type: ignore[no-untyped-def]
    """Write the bits of t of the facets first..last-1 to `bits`; returns the smallest of them and of `least`."""
    # Unsigned, because an index that may be negative may mean a place from the end.
    for f in range(np.uintp(first), np.uintp(last)):
        towards = ahead[0, f] * vx + ahead[1, f] * vy + ahead[2, f] * vz
        room = ahead[3, f] - (ahead[0, f] * x + ahead[1, f] * y + ahead[2, f] * z)
        faces = towards > GRAZING
        t = room / (towards if faces else 1.0)
        bits[f] = _sorted_bits(t if faces else FAR)
        least = min(least, bits[f])
    return least


@njit(inline="always")
def _which(bits, last, least):  # type: ignore[no-untyped-def]
    """The first facet whose bits are `least`."""
    winner = last
    for f in range(last):
        winner = min(winner, f if bits[f] == least else last)
    return winner


@njit(inline="always")
def outside(x, y, t, vx, vy, core2):  # type: ignore[no-untyped-def]
    """Does the ray leave outside the core, where side facets compete?"""
    x += t * vx
    y += t * vy
    return not x * x + y * y <= core2


@njit(inline="always")
def line(beam, x, y):  # type: ignore[no-untyped-def]
    """A point of ray (x, y)."""
    return (
        beam[0] + x * beam[3] + y * beam[6],
        beam[1] + x * beam[4] + y * beam[7],
        beam[2] + x * beam[5] + y * beam[8],
    )


@njit()
def distance(ahead, beam, f, x, y):  # type: ignore[no-untyped-def]
    """t of facet f at ray (x, y)."""
    ox, oy, oz = line(beam, x, y)
    return ahead[_D, f] - (ahead[_NX, f] * ox + ahead[_NY, f] * oy + ahead[_NZ, f] * oz)


@njit(inline="always")
def first_met(ahead, bits, mains, x, y, z, vx, vy, vz, core2):  # type: ignore[no-untyped-def]
    """The facet that the line through (x, y, z) along v meets first (-1: none), and its t; `bits` (F,) is room to work."""
    least = _measure(ahead, bits, 0, mains, x, y, z, vx, vy, vz, _REST)
    # No branch around the second search: where no side facet competes it is over none.
    last = ahead.shape[1] if outside(x, y, _from_bits(least), vx, vy, core2) else mains
    least = _measure(ahead, bits, mains, last, x, y, z, vx, vy, vz, least)
    t, winner = _from_bits(least), _which(bits, last, least)
    return winner if t < FAR else -1, t
