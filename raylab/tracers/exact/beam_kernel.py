"""The exact tracer's loop: beams are split by the facets they meet, and the pieces go on.

A beam's ledger goes on to all its pieces. So where a path ends, its polygon has the full ledger of every ray in it. In a
tinted stone the weights vary along a polygon: then the kernel keeps the colourless weights and the path lengths, one row of
EVENT numbers per node of the path, and `tint` integrates them where the paths have ended.
"""

from __future__ import annotations

import math

import numpy as np

from ...jit import njit
from ...stone.finish import ABSORBS
from ..ledger import CHANNELS, SCATTERED, SKY, tally_exit
from .beam_batch import Batch, Rules, Setting, Some
from .beam_optics import (
    AREA,
    BEFORE,
    EVENT,
    HITS,
    HITS_BEFORE,
    INTENSITY,
    LEAVES,
    LIVE,
    MEMORY,
    MOST,
    MOST_AT,
    MOST_TO,
    NODE,
    POWER,
    PROMISE,
    RATE,
    SIDES,
    SLID,
    START,
    WAY,
    WIDTH,
    path_length,
    promise,
    reflect_beam,
    shortest,
)
from .clipping import OWNER, SIZE, X, Y, area_of, new_workspace, polygon, split
from .single_facet import whole


@njit()
def _put(beams, ledgers, corners, count, used, beam, ledger, x, y, size):  # type: ignore[no-untyped-def]
    """Write a beam, its ledger and its polygon into row `count`, corners from `used` on."""
    for k in range(WIDTH):
        beams[count, k] = beam[k]
    for k in range(CHANNELS):
        ledgers[count, k] = ledger[k]
    beams[count, START], beams[count, SIDES] = used, size
    for k in range(size):
        corners[used + k, 0], corners[used + k, 1] = x[k], y[k]


# Counters of one run, in `at`: beams on the stack and their corners, beams done and their corners, nodes, place in `todo`,
# pieces reflected, beams that could not be split, beams that found no room within the limit.
DEPTH, TOP, KEPT, USED, KNOWN, NEXT, PIECES, LOST, TURNED_AWAY = range(9)
COUNTERS = 9


@njit(nogil=True)
def _go(  # type: ignore[no-untyped-def]
    at, rules, held, held_ledgers, held_corners, todo, planes, finish, facet, index, mains, core2, dome, turn,
    fence, fences, ahead, bits, corner, cells, edges, made, x, y, beam, ledger, piece, account, event,
    stack, stack_ledgers, stack_corners, done, done_ledgers, done_corners, nodes, events, through,
):  # fmt: skip
    """Work until `todo` is done (returns 0) or an array is full (returns how many pieces must find room).

    A beam that one facet takes whole stays in hand (`flying`): its row on the stack is kept for it, but is out of date.
    Arrays are handed down one by one and none is replaced inside the loop: see `clip`.
    """
    most_sides, tinted, flying, sides, top = planes.shape[0] + 64, rules.absorption > 0.0, False, 0, 0
    while at[DEPTH] > 0 or at[NEXT] < todo.size:
        if at[DEPTH] == 0:
            first = todo[at[NEXT]]
            sides, start = int(held[first, SIDES]), int(held[first, START])
            for k in range(sides):
                x[k], y[k] = held_corners[start + k, 0], held_corners[start + k, 1]
            _put(stack, stack_ledgers, stack_corners, 0, 0, held[first], held_ledgers[first], x, y, sides)
            at[DEPTH], at[TOP] = 1, sides
            at[NEXT] += 1
        depth = at[DEPTH] - 1
        if not flying:
            for k in range(WIDTH):
                beam[k] = stack[depth, k]
            for k in range(CHANNELS):
                ledger[k] = stack_ledgers[depth, k]
            sides, top = int(beam[SIDES]), int(beam[START])
            for k in range(sides):
                x[k], y[k] = stack_corners[top + k, 0], stack_corners[top + k, 1]
        count, total, met, alone, slide, room = -1, sides, -1, False, 0.0, at[KEPT] + depth < rules.limit
        if room:
            met, alone, slide = whole(ahead, bits, fence, fences, beam, x, y, sides, mains, core2, rules.tolerance)
        if alone:
            count, total = 1, 2 * sides
        elif met >= 0 and sides <= most_sides:
            for k in range(sides):
                corner[k, X], corner[k, Y] = x[k], y[k]
            count = split(ahead, bits, corner, cells, edges, made, beam, sides, met, mains, core2, rules.tolerance)
            for cell in range(count):
                total += cells[cell, SIZE]
        kept, used, known = at[KEPT], at[USED], at[KNOWN]
        if (
            kept + max(count, 1) > done.shape[0]
            or used + total > done_corners.shape[0]
            or depth + count > stack.shape[0]
            or top + total > stack_corners.shape[0]
            or known + count > nodes.shape[0]
        ):
            if flying:
                _put(stack, stack_ledgers, stack_corners, depth, top, beam, ledger, x, y, sides)
            return max(count, 1)
        flying = False
        if count < 0:
            if room:
                at[LOST] += 1
                beam[LIVE] = 0.0
            else:
                at[TURNED_AWAY] += 1
            _put(done, done_ledgers, done_corners, kept, used, beam, ledger, x, y, sides)
            kept += 1
            used += sides
        for k in range(3):  # slide o along v to the surface
            beam[k] += slide * beam[9 + k]
        beam[SLID] += slide
        for cell in range(count):
            for k in range(WIDTH):
                piece[k] = beam[k]
            for k in range(CHANNELS):
                account[k] = ledger[k]
            size, row = sides, met
            if not alone:
                size, row = polygon(corner, cells, cell, sides, x, y), cells[cell, OWNER]
                piece[AREA] = area_of(x, y, size)
            at[PIECES] += 1
            nx, ny, nz, d = planes[row, 0], planes[row, 1], planes[row, 2], planes[row, 3]
            if tinted:
                path_length(event, beam, nx, ny, nz, d)
            if finish[row] == ABSORBS:
                weight, ux, uy, uz, entry = beam[INTENSITY], 0.0, 0.0, 0.0, SCATTERED
                piece[INTENSITY], piece[LIVE] = 0.0, 0.0
            else:
                weight, ux, uy, uz = reflect_beam(piece, nx, ny, nz, d, index, rules.polarized)
                entry = SKY
                piece[HITS] += 1.0
            piece[POWER] = piece[INTENSITY] * piece[AREA]
            if beam[INTENSITY] > 0.0:
                piece[RATE] += MEMORY * (weight / beam[INTENSITY] - piece[RATE])
            if tinted:
                piece[POWER] *= math.exp(-rules.absorption * shortest(event, x, y, size))
                event[BEFORE], event[LEAVES], event[HITS_BEFORE] = beam[INTENSITY], weight, beam[HITS]
                event[WAY], event[WAY + 1], event[WAY + 2] = ux, uy, uz
                for k in range(EVENT):
                    events[known, k] = event[k]
            elif weight > 0.0:
                if entry == SCATTERED:
                    account[SCATTERED] += weight
                else:
                    entry = tally_exit(account, weight, ux, uy, uz, beam[HITS], turn, dome)
                for k in range(CHANNELS):
                    through[facet[row], k] += piece[AREA] * (account[k] - ledger[k])
            piece[PROMISE] = promise(piece)
            if rules.paths:
                nodes[known, 0], nodes[known, 1] = int(beam[NODE]), facet[row]
                piece[NODE] = rules.base + known
                known += 1
            if weight > piece[MOST] and not tinted:
                piece[MOST], piece[MOST_AT], piece[MOST_TO] = weight, piece[NODE], entry
            if piece[HITS] >= rules.max_bounces:
                piece[LIVE] = 0.0
            if not (piece[LIVE] != 0.0 and piece[PROMISE] >= rules.floor):
                _put(done, done_ledgers, done_corners, kept, used, piece, account, x, y, size)
                kept += 1
                used += size
            elif alone:  # goes on as it is, and keeps its place on the stack
                flying = True
                depth += 1
                for k in range(WIDTH):
                    beam[k] = piece[k]
                for k in range(CHANNELS):
                    ledger[k] = account[k]
            else:
                _put(stack, stack_ledgers, stack_corners, depth, top, piece, account, x, y, size)
                depth += 1
                top += size
        at[DEPTH], at[KEPT], at[USED], at[KNOWN] = depth, kept, used, known
        at[TOP] = top + sides if flying else top
    return 0


def _with_room(arrays: list[np.ndarray], rows: int) -> list[np.ndarray]:
    """The arrays, each doubled until it has so many rows."""
    grown = []
    for array in arrays:
        while len(array) < rows:
            array = np.concatenate([array, np.empty_like(array)])
        grown.append(array)
    return grown


def run(rules: Rules, active: Some, todo: np.ndarray, setting: Setting) -> Batch:
    """Trace beams and all their pieces until each has ended or carries less than the floor.

    Parameters
    ----------
    rules : see `batches`; with absorption above 0, `paths` must be True.
    active : beams (B, WIDTH), their ledgers (B, CHANNELS) and polygons (K, 2); not changed. todo : (T,) which of them.

    Returns the beams set aside or ended. Other threads may run meanwhile.
    """
    stone, fence, fences, dome, turn = setting
    workspace = new_workspace(stone.planes)
    room, some = workspace[3].shape[1], max(256, 4 * len(todo))
    spare = [np.empty(n) for n in (room, room, WIDTH, CHANNELS, WIDTH, CHANNELS, EVENT)]
    stack, done = ([np.empty((n, WIDTH)), np.empty((n, CHANNELS))] for n in (256, some))
    stack_corners, done_corners = ([np.empty((5 * n + room, 2))] for n in (256, some))
    nodes = [np.empty((some, 2), np.int32)]
    events = [np.empty((some if rules.absorption > 0.0 else 0, EVENT))]
    at, through = np.zeros(COUNTERS, np.int64), np.zeros((stone.facet.max() + 1, CHANNELS))
    while need := _go(
        at, rules, *active, todo, stone.planes, stone.finish, stone.facet, stone.medium.n, stone.mains,
        stone.core2, dome, turn, fence, fences, *workspace, *spare, *stack, *stack_corners, *done, *done_corners,
        *nodes, *events, through,
    ):  # fmt: skip
        stack, done = _with_room(stack, at[DEPTH] + need), _with_room(done, at[KEPT] + need)
        stack_corners = _with_room(stack_corners, at[TOP] + (need + 1) * room)
        done_corners = _with_room(done_corners, at[USED] + (need + 1) * room)
        nodes = _with_room(nodes, at[KNOWN] + need)
        if rules.absorption > 0.0:
            events = _with_room(events, len(nodes[0]))
    kept, used, known = at[KEPT], at[USED], at[KNOWN]
    return Batch(
        done[0][:kept],
        done[1][:kept],
        done_corners[0][:used],
        nodes[0][:known],
        events[0][:known],
        int(at[PIECES]),
        int(at[LOST]),
        bool(at[TURNED_AWAY]),
        through,
    )
