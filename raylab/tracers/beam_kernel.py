"""The exact tracer's loop: beams are split by the facets they meet, and the pieces go on.

A beam's ledger goes on to all its pieces. So where a path ends, its polygon has the full ledger of every ray in it. In a
tinted stone the weights vary along a polygon: then the kernel keeps the colourless weights and the path lengths, one row of
EVENT numbers per node of the path, and `tint` integrates them where the paths have ended.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from ..jit import njit
from .beam_optics import (
    AREA,
    BEFORE,
    EVENT,
    HITS,
    HITS_BEFORE,
    INTENSITY,
    LEAVES,
    LIVE,
    NODE,
    POWER,
    SIDES,
    SLID,
    START,
    WAY,
    WIDTH,
    meet,
    path_length,
    shortest,
)
from .clip import OWNER, SIZE, T, X, Y, area_of, new_bench, polygon, split
from .ledger import CHANNELS, SCATTERED, tally_exit


class Rules(NamedTuple):
    """How a run goes.

    floor : mm^2; a beam with less POWER is set aside. base : number of the first new node. paths : keep nodes at all.
    limit : when so many beams are held, all that remain are set aside. tolerance : see clip.split, mm.
    polarised, max_bounces. absorption : 1/mm.
    """

    floor: float
    base: int
    paths: bool
    limit: int
    tolerance: float
    polarised: bool
    max_bounces: int
    absorption: float


class Batch(NamedTuple):
    """Beams that a run left behind.

    beams : (B, WIDTH). ledgers : (B, CHANNELS). corners : (K, 2) all polygons end to end, mm.
    nodes : (N, 2) the paths' nodes: number of the node before (-1: none) and the facet met; the run's own are numbered from
    `Rules.base` on. events : (N, EVENT) in a tinted stone, else empty. pieces : number of reflected pieces.
    lost : number of beams that could not be split and were left as they were. stopped : True if the limit ended the work.
    through : (F, CHANNELS) mm^2, area times ledger of what left or was scattered at each facet; colourless stones only.
    """

    beams: np.ndarray
    ledgers: np.ndarray
    corners: np.ndarray
    nodes: np.ndarray
    events: np.ndarray
    pieces: int
    lost: int
    stopped: bool
    through: np.ndarray


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


@njit()
def _go(  # type: ignore[no-untyped-def]
    at, rules, held, held_ledgers, held_corners, todo, planes, bruted, facet, n, mains, core2, dome, turn,
    ahead, corner, cells, edges, made, x, y, beam, ledger, piece, account, event,
    stack, stack_ledgers, stack_corners, done, done_ledgers, done_corners, nodes, events, through,
):  # fmt: skip
    """Work until `todo` is done (returns 0) or an array is full (returns how many pieces must find room).

    Arrays are handed down one by one and none is replaced inside the loop: see `clip`.
    """
    most_sides, tinted = planes.shape[0] + 64, rules.absorption > 0.0
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
        for k in range(WIDTH):
            beam[k] = stack[depth, k]
        for k in range(CHANNELS):
            ledger[k] = stack_ledgers[depth, k]
        sides, top = int(beam[SIDES]), int(beam[START])
        for k in range(sides):
            x[k], y[k] = stack_corners[top + k, 0], stack_corners[top + k, 1]
            corner[k, X], corner[k, Y] = x[k], y[k]
        count, room = -1, at[KEPT] + depth < rules.limit
        if room and sides <= most_sides:
            count = split(ahead, corner, cells, edges, made, beam, sides, mains, core2, rules.tolerance)
        total = sides
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
            return max(count, 1)
        if count < 0:
            if room:
                at[LOST] += 1
                beam[LIVE] = 0.0
            else:
                at[TURNED_AWAY] += 1
            _put(done, done_ledgers, done_corners, kept, used, beam, ledger, x, y, sides)
            kept += 1
            used += sides
        slide = corner[0, T]
        for k in range(3):  # slide o along v to the surface
            beam[k] += slide * beam[9 + k]
        beam[SLID] += slide
        for cell in range(count):
            size, row = polygon(corner, cells, cell, sides, x, y), cells[cell, OWNER]
            for k in range(WIDTH):
                piece[k] = beam[k]
            for k in range(CHANNELS):
                account[k] = ledger[k]
            piece[AREA] = area_of(x, y, size)
            at[PIECES] += 1
            nx, ny, nz, d = planes[row, 0], planes[row, 1], planes[row, 2], planes[row, 3]
            if tinted:
                path_length(event, beam, nx, ny, nz, d)
            if bruted[row]:
                weight, ux, uy, uz = beam[INTENSITY], 0.0, 0.0, 0.0
                piece[INTENSITY], piece[LIVE] = 0.0, 0.0
            else:
                weight, ux, uy, uz = meet(piece, nx, ny, nz, d, n, rules.polarised)
                piece[HITS] += 1.0
            piece[POWER] = piece[INTENSITY] * piece[AREA]
            if tinted:
                piece[POWER] *= math.exp(-rules.absorption * shortest(event, x, y, size))
                event[BEFORE], event[LEAVES], event[HITS_BEFORE] = beam[INTENSITY], weight, beam[HITS]
                event[WAY], event[WAY + 1], event[WAY + 2] = ux, uy, uz
                for k in range(EVENT):
                    events[known, k] = event[k]
            elif weight > 0.0:
                if bruted[row]:
                    account[SCATTERED] += weight
                else:
                    tally_exit(account, weight, ux, uy, uz, beam[HITS], turn, dome)
                for k in range(CHANNELS):
                    through[facet[row], k] += piece[AREA] * (account[k] - ledger[k])
            if rules.paths:
                nodes[known, 0], nodes[known, 1] = int(beam[NODE]), facet[row]
                piece[NODE] = rules.base + known
                known += 1
            if piece[HITS] >= rules.max_bounces:
                piece[LIVE] = 0.0
            if piece[LIVE] != 0.0 and piece[POWER] >= rules.floor:
                _put(stack, stack_ledgers, stack_corners, depth, top, piece, account, x, y, size)
                depth += 1
                top += size
            else:
                _put(done, done_ledgers, done_corners, kept, used, piece, account, x, y, size)
                kept += 1
                used += size
        at[DEPTH], at[TOP], at[KEPT], at[USED], at[KNOWN] = depth, top, kept, used, known
    return 0


@njit()
def _grown(array):  # type: ignore[no-untyped-def]
    more = np.empty((2 * array.shape[0], array.shape[1]), array.dtype)
    more[: array.shape[0]] = array
    return more


@njit(nogil=True)
def run(rules, held, held_ledgers, held_corners, todo, stone, dome, turn):  # type: ignore[no-untyped-def]
    """Trace beams and all their pieces until each has ended or carries less than the floor.

    Parameters
    ----------
    rules : `Rules`; with absorption above 0, `paths` must be True.
    held, held_ledgers, held_corners : beams (B, WIDTH), their ledgers (B, CHANNELS) and polygons (K, 2); not changed.
    todo : (T,) which of them. stone : a `StoneTable`. dome : a `DomeTable`. turn : (3, 3) the stone's frame to the dome's.

    Returns the beams set aside or ended as a `Batch`.
    """
    planes = stone.planes
    ahead, corner, cells, edges, made = new_bench(planes)
    room = cells.shape[1]
    x, y, event = np.empty(room), np.empty(room), np.empty(EVENT)
    beam, ledger, piece, account = np.empty(WIDTH), np.empty(CHANNELS), np.empty(WIDTH), np.empty(CHANNELS)
    some = max(256, 4 * todo.size)
    stack, stack_ledgers, stack_corners = np.empty((256, WIDTH)), np.empty((256, CHANNELS)), np.empty((1024 + room, 2))
    done, done_ledgers, done_corners = np.empty((some, WIDTH)), np.empty((some, CHANNELS)), np.empty((5 * some + room, 2))
    nodes = np.empty((some, 2), np.int32)
    tinted = rules.absorption > 0.0
    events = np.empty((some if tinted else 1, EVENT))
    at, through = np.zeros(9, np.int64), np.zeros((planes.shape[0], CHANNELS))
    while True:
        need = _go(
            at, rules, held, held_ledgers, held_corners, todo, planes, stone.bruted, stone.facet, stone.n, stone.mains,
            stone.core2, dome, turn, ahead, corner, cells, edges, made, x, y, beam, ledger, piece, account, event,
            stack, stack_ledgers, stack_corners, done, done_ledgers, done_corners, nodes, events, through,
        )  # fmt: skip
        if need == 0:
            break
        if at[DEPTH] + need > stack.shape[0]:
            stack, stack_ledgers = _grown(stack), _grown(stack_ledgers)
        if at[KEPT] + need > done.shape[0]:
            done, done_ledgers = _grown(done), _grown(done_ledgers)
        if at[TOP] + (need + 1) * room > stack_corners.shape[0]:
            stack_corners = _grown(stack_corners)
        if at[USED] + (need + 1) * room > done_corners.shape[0]:
            done_corners = _grown(done_corners)
        if at[KNOWN] + need > nodes.shape[0]:
            nodes = _grown(nodes)
            if tinted:
                events = _grown(events)
    kept, used, known = at[KEPT], at[USED], at[KNOWN]
    return Batch(
        done[:kept].copy(),
        done_ledgers[:kept].copy(),
        done_corners[:used].copy(),
        nodes[:known].copy(),
        events[: known if tinted else 0].copy(),
        at[PIECES],
        at[LOST],
        at[TURNED_AWAY] > 0,
        through,
    )


@njit()
def pick(beams, ledgers, corners, which):  # type: ignore[no-untyped-def]
    """The beams `which` (T,), with their ledgers and polygons, close together in new arrays."""
    total = 0
    for k in which:
        total += int(beams[k, SIDES])
    out, out_ledgers, out_corners = np.empty((which.size, WIDTH)), np.empty((which.size, CHANNELS)), np.empty((total, 2))
    used = 0
    for place, k in enumerate(which):
        start, size = int(beams[k, START]), int(beams[k, SIDES])
        _put(
            out, out_ledgers, out_corners, place, used, beams[k], ledgers[k],
            corners[start : start + size, 0], corners[start : start + size, 1], size,
        )  # fmt: skip
        used += size
    return out, out_ledgers, out_corners
