"""The exact tracer's loop: beams are split by the facets they meet, and the pieces go on.

A beam's ledger goes on to all its pieces. So where a path ends, its polygon has the full ledger of every ray in it. In a
tinted stone the weights vary along a polygon: then the kernel keeps the colourless weights and the path lengths, one row of
EVENT numbers per node of the path, and `mean_transmission` integrates them where the paths have ended.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from ...jit import njit
from ...stone.finish import ABSORBS
from ...stopping import pause
from ..ledger import ON_POLYGONS, SCATTERED, SKY, tally_exit
from .beam_batch import Batch, BeamSet, Rules, Surroundings
from .beam_optics import (
    ALIVE,
    AREA,
    BEFORE,
    DIRECTION,
    EVENT,
    INTENSITY,
    LEAVES,
    MEMORY,
    NODE,
    POWER,
    PRIORITY,
    REFLECTIONS,
    REFLECTIONS_BEFORE,
    RELEASE,
    SIDES,
    SLIDE,
    START,
    STRONGEST,
    STRONGEST_ENTRY,
    STRONGEST_NODE,
    WIDTH,
    path_length,
    priority,
    reflect_beam,
    shortest,
)
from .clipping import ROW, SIZE, X, Y, area_of, new_workspace, polygon, split
from .nearest_plane import NX, NY, NZ, D
from .single_facet import single_facet


@njit(in_place=True)
def _put(beams, ledgers, corners, count, used, beam, ledger, x, y, size):
    """Write a beam (WIDTH,), its ledger (ON_POLYGONS,) and its polygon as number `count`, corners from `used` on.

    The first three arrays are those of a `BeamSet`.
    """
    for k in range(WIDTH):
        beams[count, k] = beam[k]
    for k in range(ON_POLYGONS):
        ledgers[count, k] = ledger[k]
    beams[count, START], beams[count, SIDES] = used, size
    for k in range(size):
        corners[used + k, 0], corners[used + k, 1] = x[k], y[k]


SLICE = 1 << 21
"""Pieces times planes of the stone that are worked off between two pauses: a tenth of a second or less."""


# Counters of one run: beams on the stack and their corners, beams done and their corners, nodes, place in `todo`, pieces
# reflected, beams that could not be split, beams that found no room within the limit.
DEPTH, TOP, KEPT, USED, KNOWN, NEXT, PIECES, LOST, TURNED_AWAY = range(9)
COUNTERS = 9


class AtHand(NamedTuple):
    """Room for what is at hand: a polygon (x, y), a beam and its ledger, one of its pieces and that one's ledger, an event."""

    x: np.ndarray
    y: np.ndarray
    beam: np.ndarray
    ledger: np.ndarray
    piece: np.ndarray
    piece_ledger: np.ndarray
    event: np.ndarray


@njit(in_place=True, nogil=True)
def _trace(counters, rules, surroundings, entering, todo, enough, workspace, at_hand, stack, done, nodes, events, through):
    """Work until `todo` is done or `enough` pieces are made (returns 0), or an array is full (how many pieces must find room).

    A beam that one facet takes whole stays in hand (`flying`): its place on the stack is kept for it, but is out of date.

    Parameters
    ----------
    counters : (COUNTERS,). rules, surroundings : see `beam_batch`. entering, todo : see `trace_batch`.
    workspace : see `clipping`. at_hand : see `AtHand`. stack, done : each a `BeamSet`, beams to go on and beams set aside.
    nodes, events, through : see `Batch`.
    """
    # Tuples are taken apart here, once.
    floor, first_node, keep_paths, limit, tolerance, polarized, max_bounces = rules
    held, held_ledgers, held_corners = entering
    stone, neighbors, neighbor_starts, dome, turn = surroundings
    finish, facet, sloping, core2 = stone.finish, stone.facet, stone.sloping, stone.rim.core2
    index, absorption = stone.medium.n, stone.medium.absorption_per_mm
    columns, keys, corners, cells, edges, cuts = workspace
    x, y, beam, ledger, piece, piece_ledger, event = at_hand
    stack_beams, stack_ledgers, stack_corners = stack
    done_beams, done_ledgers, done_corners = done
    most_sides, tinted, flying, sides, top = columns.shape[1] + 64, absorption > 0.0, False, 0, 0
    while (counters[DEPTH] > 0 or counters[NEXT] < todo.size) and counters[PIECES] < enough:
        if counters[DEPTH] == 0:
            first = todo[counters[NEXT]]
            sides, start = int(held[first, SIDES]), int(held[first, START])
            for k in range(sides):
                x[k], y[k] = held_corners[start + k, 0], held_corners[start + k, 1]
            _put(stack_beams, stack_ledgers, stack_corners, 0, 0, held[first], held_ledgers[first], x, y, sides)
            counters[DEPTH], counters[TOP] = 1, sides
            counters[NEXT] += 1
        depth = counters[DEPTH] - 1
        if not flying:
            for k in range(WIDTH):
                beam[k] = stack_beams[depth, k]
            for k in range(ON_POLYGONS):
                ledger[k] = stack_ledgers[depth, k]
            sides, top = int(beam[SIDES]), int(beam[START])
            for k in range(sides):
                x[k], y[k] = stack_corners[top + k, 0], stack_corners[top + k, 1]
        count, total, met, alone, slide, within = -1, sides, -1, False, 0.0, counters[KEPT] + depth < limit
        if within:
            met, alone, slide = single_facet(
                columns, keys, neighbors, neighbor_starts, beam, x, y, sides, sloping, core2, tolerance
            )
        if alone:
            count, total = 1, 2 * sides
        elif met >= 0 and sides <= most_sides:
            for k in range(sides):
                corners[k, X], corners[k, Y] = x[k], y[k]
            count = split(columns, keys, corners, cells, edges, cuts, beam, sides, met, sloping, core2, tolerance)
            for cell in range(count):
                total += cells[cell, SIZE]
        kept, used, known = counters[KEPT], counters[USED], counters[KNOWN]
        if (
            kept + max(count, 1) > done_beams.shape[0]
            or used + total > done_corners.shape[0]
            or depth + count > stack_beams.shape[0]
            or top + total > stack_corners.shape[0]
            or known + count > nodes.shape[0]
        ):
            if flying:
                _put(stack_beams, stack_ledgers, stack_corners, depth, top, beam, ledger, x, y, sides)
            return max(count, 1)
        flying = False
        if count < 0:
            if within:
                counters[LOST] += 1
                beam[ALIVE] = 0.0
            else:
                counters[TURNED_AWAY] += 1
            _put(done_beams, done_ledgers, done_corners, kept, used, beam, ledger, x, y, sides)
            kept += 1
            used += sides
        for k in range(3):  # slide o along v to the surface
            beam[k] += slide * beam[9 + k]
        beam[SLIDE] += slide
        for cell in range(count):
            for k in range(WIDTH):
                piece[k] = beam[k]
            for k in range(ON_POLYGONS):
                piece_ledger[k] = ledger[k]
            size, row = sides, met
            if not alone:
                size, row = polygon(corners, cells, cell, sides, x, y), cells[cell, ROW]
                piece[AREA] = area_of(x, y, size)
            counters[PIECES] += 1
            nx, ny, nz, d = columns[NX, row], columns[NY, row], columns[NZ, row], columns[D, row]
            if tinted:
                path_length(event, beam, nx, ny, nz, d)
            if finish[row] == ABSORBS:
                weight, tx, ty, tz, entry = beam[INTENSITY], 0.0, 0.0, 0.0, SCATTERED
                piece[INTENSITY], piece[ALIVE] = 0.0, 0.0
            else:
                weight, tx, ty, tz = reflect_beam(piece, nx, ny, nz, d, index, polarized)
                entry = SKY
                piece[REFLECTIONS] += 1.0
            piece[POWER] = piece[INTENSITY] * piece[AREA]
            if beam[INTENSITY] > 0.0:
                piece[RELEASE] += MEMORY * (weight / beam[INTENSITY] - piece[RELEASE])
            if tinted:
                piece[POWER] *= math.exp(-absorption * shortest(event, x, y, size))
                event[BEFORE], event[LEAVES], event[REFLECTIONS_BEFORE] = beam[INTENSITY], weight, beam[REFLECTIONS]
                event[DIRECTION], event[DIRECTION + 1], event[DIRECTION + 2] = tx, ty, tz
                for k in range(EVENT):
                    events[known, k] = event[k]
            elif weight > 0.0:
                if entry == SCATTERED:
                    piece_ledger[SCATTERED] += weight
                else:
                    entry, _, _ = tally_exit(piece_ledger, weight, tx, ty, tz, beam[REFLECTIONS], turn, dome, 0.0)
                for k in range(ON_POLYGONS):
                    through[facet[row], k] += piece[AREA] * (piece_ledger[k] - ledger[k])
            piece[PRIORITY] = priority(piece)
            if keep_paths:
                nodes[known, 0], nodes[known, 1] = int(beam[NODE]), facet[row]
                piece[NODE] = first_node + known
                known += 1
            if weight > piece[STRONGEST] and not tinted:
                piece[STRONGEST], piece[STRONGEST_NODE], piece[STRONGEST_ENTRY] = weight, piece[NODE], entry
            if piece[REFLECTIONS] >= max_bounces:
                piece[ALIVE] = 0.0
            if not (piece[ALIVE] != 0.0 and piece[PRIORITY] >= floor):
                _put(done_beams, done_ledgers, done_corners, kept, used, piece, piece_ledger, x, y, size)
                kept += 1
                used += size
            elif alone:  # goes on as it is, and keeps its place on the stack
                flying = True
                depth += 1
                for k in range(WIDTH):
                    beam[k] = piece[k]
                for k in range(ON_POLYGONS):
                    ledger[k] = piece_ledger[k]
            else:
                _put(stack_beams, stack_ledgers, stack_corners, depth, top, piece, piece_ledger, x, y, size)
                depth += 1
                top += size
        counters[DEPTH], counters[KEPT], counters[USED], counters[KNOWN] = depth, kept, used, known
        counters[TOP] = top + sides if flying else top
    if flying:
        _put(stack_beams, stack_ledgers, stack_corners, counters[DEPTH] - 1, top, beam, ledger, x, y, sides)
    return 0


def _enlarged(array: np.ndarray, rows: int) -> np.ndarray:
    """The array, doubled until it has so many rows."""
    while len(array) < rows:
        array = np.concatenate([array, np.empty_like(array)])
    return array


def _new_set(beams: int, corners: int) -> BeamSet:
    """Room for beams and corners."""
    return BeamSet(np.empty((beams, WIDTH)), np.empty((beams, ON_POLYGONS)), np.empty((corners, 2)))


def _with_capacity(beams: BeamSet, count: int, corners: int) -> BeamSet:
    """The set with room for so many beams and corners."""
    return BeamSet(_enlarged(beams.beams, count), _enlarged(beams.ledgers, count), _enlarged(beams.corners, corners))


def trace_batch(rules: Rules, entering: BeamSet, todo: np.ndarray, surroundings: Surroundings) -> Batch:
    """Trace beams and all their pieces until each has ended or carries less than the floor.

    Parameters
    ----------
    rules, surroundings : see `beam_batch`.
    entering : beams, their ledgers and polygons; not changed. todo : (T,) the numbers of those to trace.

    Returns the beams set aside or ended. Other threads may run meanwhile.
    """
    stone = surroundings.stone
    tinted = stone.medium.absorption_per_mm > 0.0
    workspace = new_workspace(stone.planes)
    most, some = workspace.cells.shape[1], max(256, 4 * len(todo))
    at_hand = AtHand(*(np.empty(n) for n in (most, most, WIDTH, ON_POLYGONS, WIDTH, ON_POLYGONS, EVENT)))
    stack, done = (_new_set(n, 5 * n + most) for n in (256, some))
    nodes, events = np.empty((some, 2), np.int32), np.empty((some if tinted else 0, EVENT))
    counters, through = np.zeros(COUNTERS, np.int64), np.zeros((stone.facet.max() + 1, ON_POLYGONS))
    enough, at_a_time = 0, max(1, SLICE // len(stone.planes))
    while counters[DEPTH] > 0 or counters[NEXT] < len(todo):
        if counters[PIECES] >= enough:
            pause()
            enough = counters[PIECES] + at_a_time
        need = _trace(
            counters, rules, surroundings, entering, todo, enough, workspace, at_hand, stack, done, nodes, events, through
        )  # fmt: skip
        if not need:
            continue
        stack = _with_capacity(stack, counters[DEPTH] + need, counters[TOP] + (need + 1) * most)
        done = _with_capacity(done, counters[KEPT] + need, counters[USED] + (need + 1) * most)
        nodes = _enlarged(nodes, counters[KNOWN] + need)
        if tinted:
            events = _enlarged(events, len(nodes))
    kept, used, known = counters[KEPT], counters[USED], counters[KNOWN]
    return Batch(
        done.beams[:kept],
        done.ledgers[:kept],
        done.corners[:used],
        nodes[:known],
        events[:known],
        int(counters[PIECES]),
        int(counters[LOST]),
        bool(counters[TURNED_AWAY]),
        through,
    )
