"""Body colour along whole polygons, in closed form.

Along a path the length from the entry to each hit is an affine function l(x, y) of the map plane, so a weight w exp(-a l) has
an exact mean over a polygon: over a triangle with the values s1, s2, s3 of s = a l at its corners, the mean of exp(-s) is twice
the second divided difference of exp(-s) at s1, s2, s3 (Hermite-Genocchi formula). Products of such weights are exponentials
of affine functions again, so the mean of the squared luminance is exact too.

The kernel in `beam_kernel` leaves the colourless weights and the lengths at each node of each path; here they are gathered, for
each polygon where a path ended, from its end back to its entry.
"""

from __future__ import annotations

import math

import numpy as np

from ...jit import njit
from ..ledger import ABSORBED, BRIGHTER, DIMMER, LUMINANCE, ON_POLYGONS, SCATTERED, UNTRACED, tally_exit
from .beam_optics import (
    AREA,
    BEFORE,
    DIRECTION,
    INTENSITY,
    LEAVES,
    LENGTH,
    NODE,
    REFLECTIONS_BEFORE,
    SIDES,
    START,
    STRONGEST,
    STRONGEST_ENTRY,
    STRONGEST_NODE,
)
from .clipping import area_of

_SPREAD = 1.0
"""Corner values closer together than this go through the series, where divided differences would cancel."""
_TERMS = 24


@njit(in_place=True)
def _triangle(s1, s2, s3):
    """Mean of exp(-s) over a triangle, s affine with these values at the corners."""
    low, high = min(s1, s2, s3), max(s1, s2, s3)
    middle = s1 + s2 + s3 - low - high
    if high - low < _SPREAD:
        # exp(-mean) times the sum of 2 h_k/(k+2)!, h_k the complete homogeneous polynomials of the deviations: their
        # recurrence is that of Newton, with the first elementary polynomial zero.
        mean = (s1 + s2 + s3) / 3.0
        x, y, z = mean - s1, mean - s2, mean - s3
        e2, e3 = x * y + y * z + z * x, x * y * z
        h0, h1, h2 = 1.0, 0.0, -e2
        total, factorial = 1.0, 2.0  # k = 0, and (k + 2)!
        factorial *= 3.0  # k = 1 adds nothing
        for k in range(2, _TERMS):
            factorial *= k + 2.0
            total += 2.0 * h2 / factorial
            h0, h1, h2 = h1, h2, -e2 * h1 + e3 * h0
        return math.exp(-mean) * total
    # First differences by expm1, which is exact for near values; at least one of the two spans is wide.
    first = _slope(low, middle)
    second = _slope(middle, high)
    return 2.0 * (first - second) / (high - low)


@njit(in_place=True)
def _slope(a, b):
    """Mean of exp(-s) for s between a and b: (exp(-a) - exp(-b))/(b - a)."""
    return math.exp(-a) * (-math.expm1(a - b) / (b - a) if b > a else 1.0)


@njit(in_place=True)
def mean_transmission(x, y, size, c0, cx, cy):
    """Mean of exp(-(c0 + cx x + cy y)) over a convex polygon of `size` corners x, y (at least (size,))."""
    area = area_of(x, y, size)
    s0 = c0 + cx * x[0] + cy * y[0]
    if not area > 0.0:
        return math.exp(-s0)
    total = 0.0
    for k in range(1, size - 1):
        part = 0.5 * ((x[k] - x[0]) * (y[k + 1] - y[0]) - (x[k + 1] - x[0]) * (y[k] - y[0]))
        total += part * _triangle(s0, c0 + cx * x[k] + cy * y[k], c0 + cx * x[k + 1] + cy * y[k + 1])
    return total / area


@njit(in_place=True)
def _mean_at(x, y, size, event, times):
    """Mean of exp(-times l) over a polygon for the path length l of an event (EVENT,)."""
    return mean_transmission(x, y, size, times * event[LENGTH], times * event[LENGTH + 1], times * event[LENGTH + 2])


@njit(nogil=True)
def book_means(beams, ledgers, corners, nodes, events, absorption, dome, turn, through):
    """Fill the ledgers of ended paths with means over their polygons.

    Parameters
    ----------
    beams, ledgers, corners, nodes, events, through : see `beam_batch.Batch`; `ledgers`, `through` and the beams' largest
        exits hold the first surface only and are filled up.
    absorption : 1/mm.

    Returns (B, 3): means of the squared luminance and of the squared untraced weight, and a bound of the mean squared swing,
    which is that of a colourless stone.
    """
    squares = np.zeros((beams.shape[0], 3))
    deepest = 64
    path = np.empty(deepest, np.int64)
    light, shine, row = np.empty(deepest), np.empty((deepest, 3)), np.zeros(ON_POLYGONS)
    most = 3
    for k in range(beams.shape[0]):
        most = max(most, int(beams[k, SIDES]))
    x, y = np.empty(most), np.empty(most)
    for b in range(beams.shape[0]):
        start, size = int(beams[b, START]), int(beams[b, SIDES])
        for k in range(size):
            x[k], y[k] = corners[start + k, 0], corners[start + k, 1]
        steps, node = 0, int(beams[b, NODE])
        while nodes[node, 0] >= 0:  # the entry's node has no event
            if steps == path.size:
                grown = np.empty(2 * steps, np.int64)
                for k in range(steps):
                    grown[k] = path[k]
                path, light, shine = grown, np.empty(2 * steps), np.empty((2 * steps, 3))
            path[steps] = node
            steps += 1
            node = nodes[node, 0]
        glare, lights, before = ledgers[b, LUMINANCE], 0, 1.0
        swing = ledgers[b, DIMMER] + ledgers[b, BRIGHTER]
        for step in range(steps - 1, -1, -1):
            event = events[path[step]]
            here = _mean_at(x, y, size, event, absorption)
            ledgers[b, ABSORBED] += event[BEFORE] * (before - here)
            before = here
            facet, entry = nodes[path[step], 1], SCATTERED
            tx, ty, tz = event[DIRECTION], event[DIRECTION + 1], event[DIRECTION + 2]
            if tx == 0.0 and ty == 0.0 and tz == 0.0:
                ledgers[b, SCATTERED] += event[LEAVES] * here
                through[facet, SCATTERED] += beams[b, AREA] * event[LEAVES] * here
            elif event[LEAVES] > 0.0:
                row[:] = 0.0
                entry, _, _ = tally_exit(row, event[LEAVES], tx, ty, tz, event[REFLECTIONS_BEFORE], turn, dome, 0.0)
                for k in range(ON_POLYGONS):
                    ledgers[b, k] += row[k] * here
                    through[facet, k] += beams[b, AREA] * row[k] * here
                swing += row[DIMMER] + row[BRIGHTER]
                if row[LUMINANCE] > 0.0:
                    light[lights] = row[LUMINANCE]
                    for k in range(3):
                        shine[lights, k] = absorption * event[LENGTH + k]
                    lights += 1
            if event[LEAVES] * here > beams[b, STRONGEST]:
                beams[b, STRONGEST], beams[b, STRONGEST_NODE] = event[LEAVES] * here, path[step]
                beams[b, STRONGEST_ENTRY] = entry
        squares[b, 0] = _mean_square(x, y, size, glare, light, shine, lights)
        squares[b, 2] = swing * swing
        left = beams[b, INTENSITY]
        ledgers[b, UNTRACED] += left * before
        if left > 0.0 and steps > 0:
            squares[b, 1] = left * left * _mean_at(x, y, size, events[path[0]], 2.0 * absorption)
        elif left > 0.0:
            squares[b, 1] = left * left
    return squares


@njit(in_place=True)
def _mean_square(x, y, size, constant, light, shine, lights):
    """Mean over a polygon of (constant + sum of light exp(-affine))^2, from all products of two terms.

    `light` (lights,) and `shine` (lights, 3), the affine functions' coefficients; both may be longer.
    """
    total = constant * constant
    for i in range(lights):
        total += 2.0 * constant * light[i] * mean_transmission(x, y, size, shine[i, 0], shine[i, 1], shine[i, 2])
        for j in range(i + 1):
            both = mean_transmission(
                x, y, size, shine[i, 0] + shine[j, 0], shine[i, 1] + shine[j, 1], shine[i, 2] + shine[j, 2]
            )
            total += (1.0 if i == j else 2.0) * light[i] * light[j] * both
    return total
