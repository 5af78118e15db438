"""Area means of many scenes: a block works at randomizations of one of them, see `blocks`."""

from __future__ import annotations

import numpy as np
from numba import cuda

from ..ledger import FIRST_SURFACE
from ..outline_rays import lattice_lot, lattice_point, on_fan, shift_of
from ..randomizations import RANDOMIZATIONS
from ..totals import MOMENTS
from ..wedges import WEDGES
from .blocks import MOST_LISTED, MOST_PLANES, MOST_WORDS, SUMS, THREADS, TOGETHER, kernel, numbered, stone_of, view_ray
from .paths import ENDED, MISSED, advance, ahead, begin, book
from .single import DOUBLE


@cuda.jit(device=True)
def _flush(row, totals, number, scale):
    """Add a thread's sums (SUMS,) to the block's totals of a randomization, and begin anew.

    As whole numbers of 1 / scale, so that the order in which threads come is of no account.
    """
    for c in range(SUMS):
        cuda.atomic.add(totals, (number, c), int(DOUBLE(row[c]) * scale))
        row[c] = 0.0


@kernel({np.float64: 160, np.float32: 128})
def outline_sums(scenes, fans, dome, rules, points, generator, chosen, parts, scale, out, steps):
    """Fill out (D, RANDOMIZATIONS, SUMS), sums over the rays of each randomization, the last of which counts hits.

    Parameters
    ----------
    scenes : `Scenes`. fans : their `Fans`. dome : a `DomeTable`. rules : see `paths.advance`.
    points, generator : of the lattice. chosen : (D,) numbers of the scenes whose sums are wanted.
    parts : blocks that share a scene's randomizations evenly. scale : see `_flush`.
    steps : (D * parts,) filled: path segments walked.
    """
    at, part, thread = cuda.blockIdx.x // parts, cuda.blockIdx.x % parts, cuda.threadIdx.x
    scene, each = chosen[at], RANDOMIZATIONS // parts
    rays = points * each
    planes = cuda.shared.array((MOST_PLANES, 4), np.float64)
    finish = cuda.shared.array(MOST_PLANES, np.int8)
    spans = cuda.shared.array((WEDGES, 2), np.int16)
    nearby = cuda.shared.array(MOST_LISTED, np.int16)
    sums = cuda.shared.array((SUMS, THREADS), np.float64)
    totals = cuda.shared.array((RANDOMIZATIONS, SUMS), np.int64)
    shifts = cuda.shared.array((RANDOMIZATIONS, 3), DOUBLE)
    waits = cuda.shared.array(MOST_WORDS, np.uint32)
    walked = cuda.shared.array(1, np.int64)
    for k in range(thread, each, THREADS):
        number = part * each + k
        for axis in range(3):
            shifts[number, axis] = shift_of(rules[4], number, axis)
        for c in range(SUMS):
            totals[number, c] = 0
    if thread == 0:
        walked[0] = 0
    row = sums[:, thread]
    for c in range(SUMS):
        row[c] = 0.0
    stone = stone_of(scenes, scene, planes, finish, spans, nearby)  # the threads have met after that
    fan = scenes.fan[scene]
    first_part, after = fans.parts[fan], fans.parts[fan + 1]
    upto, rim = fans.upto[first_part:after], fans.rims[first_part + fan : after + fan + 1]
    turn, eye = scenes.turns[scene], scenes.eyes[scene]
    path = (0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
    stands, so_far = 1.0, (0.0, 0.0)
    on, segments, lot, count, coming, holds = ENDED, 0, 0.0, 0, 0, -1
    while True:
        idle = on < 0
        waiting = cuda.syncthreads_count(1 if idle else 0)
        if coming >= rays and waiting == THREADS:
            break
        fresh, reach = False, stone[5]
        if coming < rays and 32 * waiting >= TOGETHER * THREADS:
            _, lower = numbered(idle, waits, (THREADS + 31) // 32)
            ray = coming + lower
            coming += waiting
            if idle and ray < rays:
                number = int((DOUBLE(ray) + 0.5) / points)  # sooner than a division of whole numbers
                ray -= number * points
                number += part * each
                if number != holds:
                    if holds >= 0:
                        _flush(row, totals, holds, scale)
                    holds = number
                u, v = lattice_point(ray, points, generator, shifts[number, 0], shifts[number, 1])
                lot = np.float64(lattice_lot(ray, shifts[number, 2]))
                u, v = on_fan(u, v, fans.hubs[fan], rim, upto)
                x, y, z, vx, vy, vz, slant = view_ray(np.float64(u), np.float64(v), eye, turn)
                fresh, reach = True, scenes.beyond[scene] * slant
                x, y, z = x + reach * vx, y + reach * vy, z + reach * vz
                path = (x, y, z, -vx, -vy, -vz, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
                segments, stands, so_far = 0, 1.0, (0.0, 0.0)
        off, stood, bounces = (0.0, 0.0, 0.0, 0.0, 0.0), stands, float(segments)
        if fresh or on >= 0:
            found, t = ahead(stone, reach, on, path)
            if fresh:
                x, y, z, vx, vy, vz = path[:6]
                x, y, z = x + t * vx, y + t * vy, z + t * vz
                on, path, off, _ = begin(stone, found, x, y, z, -vx, -vy, -vz, 0.0, rules[0], row)
                row[MOMENTS] += 0.0 if on == MISSED else 1.0
                bounces = FIRST_SURFACE
            else:
                on, path, stands, lot, off = advance(stone, found, t, segments, path, stands, lot, 0.0, rules, row)
                segments, count = segments + 1, count + 1
            if off[0] > 0.0:
                so_far = book(off, stood, bounces, so_far, turn, dome, row)
    if holds >= 0:
        _flush(row, totals, holds, scale)
    cuda.atomic.add(walked, 0, count)
    cuda.syncthreads()
    for k in range(thread, each * SUMS, THREADS):
        number, c = part * each + k // SUMS, k % SUMS
        out[at, number, c] = DOUBLE(totals[number, c]) / scale
    if thread == 0:
        steps[cuda.blockIdx.x] = walked[0]
