"""Which facet a ray meets first, searched over all facets at once with vector instructions.

Ray (x, y) of a beam is the line o(x, y) + t v with o affine in (x, y); it meets facet f at t_f = (d_f - n_f.o)/(n_f.v) if f
faces along v. It leaves the body at the smallest t_f. Side facets, such as a girdle's, are searched only for rays that would
leave outside the stone's core, see `StoneTable`.
"""

from __future__ import annotations

import numpy as np

from ..jit import njit

GRAZING = 1e-9
"""A facet whose normal makes a smaller cosine with the beam is not met: it shows the beam a billionth of its area."""
FAR = 1e300

# ahead (10, F): the stone's planes, below them the same divided by n.v for the facets that face along v, and 1/(n.v); for the
# others t is FAR and 1/(n.v) is 0. The last row is t at one ray.
_NX, _NY, _NZ, _D, OVER, _T = 4, 5, 6, 7, 8, 9


def new_ahead(planes: np.ndarray) -> np.ndarray:
    """Room for `ahead` of a stone with planes (F, 4)."""
    ahead = np.empty((10, len(planes)))
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


@njit()
def _measure(ahead, first, last, x, y, z):  # type: ignore[no-untyped-def]
    for f in range(first, last):
        ahead[_T, f] = ahead[_D, f] - (ahead[_NX, f] * x + ahead[_NY, f] * y + ahead[_NZ, f] * z)


@njit()
def _least(ahead, first, last):  # type: ignore[no-untyped-def]
    """Smallest measured t, by two minima side by side: each waits only for itself."""
    even, odd = FAR, FAR
    for f in range(first, last - 1, 2):
        even = ahead[_T, f] if ahead[_T, f] < even else even
        odd = ahead[_T, f + 1] if ahead[_T, f + 1] < odd else odd
    final = ahead[_T, max(last - 1, 0)] if last > first else FAR
    even = final if final < even else even
    return even if even < odd else odd


@njit()
def _which(ahead, first, last, least):  # type: ignore[no-untyped-def]
    """The first facet whose measured t is `least`, -1 if that is none."""
    winner = -1
    for f in range(first, last):
        winner = f if ahead[_T, f] == least and winner < 0 else winner
    return winner


@njit()
def outside(x, y, t, vx, vy, core2):  # type: ignore[no-untyped-def]
    """Does the ray leave outside the core, where side facets compete?"""
    x += t * vx
    y += t * vy
    return not x * x + y * y <= core2


@njit()
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


@njit()
def first_met(ahead, mains, x, y, z, vx, vy, vz, core2, all_faced):  # type: ignore[no-untyped-def]
    """The facet that the line through (x, y, z) along v meets first, its t, and whether the side facets are faced now."""
    _measure(ahead, 0, mains, x, y, z)
    last, least = mains, _least(ahead, 0, mains)
    if outside(x, y, least, vx, vy, core2):
        last = ahead.shape[1]
        if not all_faced:
            face(ahead, mains, last, vx, vy, vz)
            all_faced = True
        _measure(ahead, mains, last, x, y, z)
        least = min(least, _least(ahead, mains, last))
    return _which(ahead, 0, last, least), least, all_faced
