"""A ray of the tail: drawn from a waiting beam, followed to its end, and what it adds to the moments.

Its place along the beams' shares says which beam, and where along a curve that fills the beam's polygon (Hilbert's); two more
numbers, where in a cell of that curve. What it finds in a point adds to what whole polygons have given there: for the squared
luminance the product counts as well.
"""

from __future__ import annotations

import math

import numpy as np

from ...jit import njit
from ..keyed import keyed_uniform
from ..ledger import (
    ABSORBED,
    BRIGHTER,
    CHANNELS,
    DIMMER,
    DOUBT,
    HEAD,
    LEAK,
    LUMINANCE,
    SCATTERED,
    SKY,
    UNTRACED,
    tally_exit,
)
from ..packets import AXIS, CONE, DIRECTION, ON_ROW, PLACE, REFLECTIONS, START, STOKES, walk
from ..totals import LUMINANCE_SQUARE, MOMENTS
from . import beam_optics as optics
from .beam_optics import AREA, EX, EY, EZ, INTENSITY, LEAVES, LENGTH, NODE, REFLECTIONS_BEFORE, SIDES, SLIDE
from .nearest_plane import ray_origin

CELLS = 16
"""Cells along a side of the square that a beam's curve fills."""


@njit(inline="always")
def _point_in(corners, start, size, first, second):
    """A point, mm, anywhere in a convex polygon: two uniform numbers in [0, 1) say where."""
    ax, ay = corners[start, 0], corners[start, 1]
    whole = 0.0
    for k in range(1, size - 1):
        bx, by = corners[start + k, 0] - ax, corners[start + k, 1] - ay
        whole += bx * (corners[start + k + 1, 1] - ay) - by * (corners[start + k + 1, 0] - ax)
    wanted, bx, by, cx, cy = first * whole, 0.0, 0.0, 0.0, 0.0
    for k in range(1, size - 1):
        bx, by = corners[start + k, 0] - ax, corners[start + k, 1] - ay
        cx, cy = corners[start + k + 1, 0] - ax, corners[start + k + 1, 1] - ay
        part = bx * cy - by * cx
        if wanted < part or k == size - 2:
            first = min(wanted / part, 1.0) if part > 0.0 else 0.0
            break
        wanted -= part
    out = math.sqrt(first)
    return ax + out * (bx + second * (cx - bx)), ay + out * (by + second * (cy - by))


@njit(in_place=True)
def _luminance_so_far(luminance, beam, nodes, events, x, y, absorption, turn, dome, row):
    """The luminance that a beam's whole polygon has given in the point (x, y); `row` (CHANNELS,) is overwritten.

    `luminance` is that of the kernel's ledger: in a tinted stone of the first surface alone.
    """
    node = int(beam[NODE])
    if absorption > 0.0:
        while nodes[node, 0] >= 0:
            event = events[node]
            tx, ty, tz = event[optics.DIRECTION], event[optics.DIRECTION + 1], event[optics.DIRECTION + 2]
            if event[LEAVES] > 0.0 and (tx != 0.0 or ty != 0.0 or tz != 0.0):
                row[:] = 0.0
                tally_exit(row, event[LEAVES], tx, ty, tz, event[REFLECTIONS_BEFORE], turn, dome, 0.0)
                length = event[LENGTH] + x * event[LENGTH + 1] + y * event[LENGTH + 2]
                luminance += row[LUMINANCE] * math.exp(-absorption * length)
            node = nodes[node, 0]
    return luminance


@njit(in_place=True)
def _where_it_entered(planes, ox, oy, oz, vx, vy, vz):
    """The row of the plane behind which the line o + t v comes into the stone, and its t there."""
    row, last = -1, -math.inf
    for other in range(planes.shape[0]):
        n_dot_v = planes[other, 0] * vx + planes[other, 1] * vy + planes[other, 2] * vz
        if n_dot_v < 0.0:
            t = (planes[other, 3] - (planes[other, 0] * ox + planes[other, 1] * oy + planes[other, 2] * oz)) / n_dot_v
            if t > last:
                row, last = other, t
    return row, last


@njit(in_place=True)
def _begin(start, beam, x, y, stone):
    """Write the start (START,) of the ray (x, y) of a beam, with a weight of 1; returns how much of the beam's weight the body
    colour has left it."""
    ox, oy, oz = ray_origin(beam, x, y)
    vx, vy, vz = beam[9], beam[10], beam[11]
    row, t = _where_it_entered(stone.planes, ox, oy, oz, vx, vy, vz)
    start[PLACE], start[PLACE + 1], start[PLACE + 2] = ox + t * vx, oy + t * vy, oz + t * vz
    start[DIRECTION], start[DIRECTION + 1], start[DIRECTION + 2] = vx, vy, vz
    start[STOKES] = 1.0
    for k in range(1, 4):
        start[STOKES + k] = beam[INTENSITY + k] / beam[INTENSITY]
    start[AXIS], start[AXIS + 1], start[AXIS + 2] = beam[EX], beam[EY], beam[EZ]
    start[ON_ROW], start[REFLECTIONS], start[CONE] = row, beam[optics.REFLECTIONS], 0.0
    return math.exp(-stone.medium.absorption_per_mm * (beam[SLIDE] + t))


@njit(in_place=True)
def _first_above(ends, place):
    """Index of the first of the rising numbers `ends` (W,) that is larger than a number; W where none is."""
    low, high = 0, ends.size
    while low < high:
        middle = (low + high) // 2
        if ends[middle] > place:
            high = middle
        else:
            low = middle + 1
    return low


@njit(in_place=True)
def _on_curve(place, first, second):
    """A point of the unit square, in the cell that Hilbert's curve reaches after the share `place` of its way.

    Two uniform numbers in [0, 1) say where in the cell. A uniform place makes a uniform point.
    """
    cell = min(max(int(place * CELLS * CELLS), 0), CELLS * CELLS - 1)
    x, y, size = 0, 0, 1
    while size < CELLS:
        right = 1 & (cell // 2)
        up = 1 & (cell ^ right)
        if up == 0:
            if right == 1:
                x, y = size - 1 - x, size - 1 - y
            x, y = y, x
        x += size * right
        y += size * up
        cell //= 4
        size *= 2
    return (x + first) / CELLS, (y + second) / CELLS


@njit(nogil=True)
def draw(first, last, places, waiting, shares, ends, held, luminances, stone, dome, turn, rules, moments):
    """Follow the rays first..last-1 and write their rows of `moments` (R, MOMENTS + 1), zeros before.

    Returns how many path segments they had.

    Parameters
    ----------
    places : (R,) where along the waiting beams rays begin, 0 to 1. waiting : (W,) which beams of `held` wait. shares : (W,) of
        each in the draw. ends : (W,) their sums up to and with each.
    held : beams, corners, nodes and events of a `Batch`. luminances : (B,) see `_luminance_so_far`.
    stone, dome, turn, rules : see `packets.walk`. Ray k draws by the key of its lots.

    A row is the ray's moments, then all entries of its ledger together: 1 but for lots; all times the weight that it began
    with and the area, mm^2, for which it stands.
    """
    beams, corners, nodes, events = held
    count, whole, absorption = last - first, ends[ends.size - 1], stone.medium.absorption_per_mm
    starts, so_far = np.zeros((count, START)), np.empty(CHANNELS)
    weight, stands_for, before = np.empty(count), np.empty(count), np.empty(count)
    for k in range(count):
        key = rules.first_key + first + k
        place = places[first + k] * whole
        which = min(_first_above(ends, place), ends.size - 1)
        b = waiting[which]
        beam = beams[b]
        way = 1.0 - (ends[which] - place) / shares[which]
        across, along = _on_curve(way, keyed_uniform(rules.seed, key, 0, 1), keyed_uniform(rules.seed, key, 0, 2))
        x, y = _point_in(corners, int(beam[optics.START]), int(beam[SIDES]), across, along)
        weight[k] = beam[INTENSITY] * _begin(starts[k], beam, x, y, stone)
        stands_for[k] = whole * beam[AREA] / shares[which]
        before[k] = _luminance_so_far(luminances[b], beam, nodes, events, x, y, absorption, turn, dome, so_far)
    segments = walk(first, last, starts, stone, dome, turn, rules, moments)
    for k in range(count):
        row, share = moments[first + k], stands_for[k] * weight[k]
        row[DOUBT] = row[DIMMER] = row[BRIGHTER] = 0.0  # the bracket allows the untraced light anything
        row[LUMINANCE_SQUARE] = share * (2.0 * before[k] * row[LUMINANCE] + weight[k] * row[LUMINANCE_SQUARE])
        row[MOMENTS] = share * (row[SKY] + row[HEAD] + row[LEAK] + row[ABSORBED] + row[SCATTERED] + row[UNTRACED])
        for channel in range(CHANNELS):
            row[channel] *= share
    return segments
