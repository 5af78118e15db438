"""Kernels of the graphics processor: area means of many scenes, and maps of one.

A block works at one randomization of one scene, with the stone's planes in its fast memory. Its threads take the rays in turn,
and their sums are added in a fixed order. So no number depends on how many blocks run at a time, or where.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numba import cuda

from ..ledger import BRIGHTER, CHANNELS, DIMMER, LUMINANCE, UNTRACED
from ..outline_rays import lattice_point, on_fan, shift_of
from ..randomizations import RANDOMIZATIONS
from ..totals import LUMINANCE_SQUARE, MOMENTS, SWING_SQUARE, UNMET, UNTRACED_SQUARE
from .paths import follow

THREADS = 128
"""Of a block: part of what is computed, since sums are added in their order."""
MOST_PLANES = 512
"""Facets of a stone: their planes fill 16 kB of a block's fast memory."""
SUMS = MOMENTS + 1


class Scenes(NamedTuple):
    """D scenes as flat arrays, in the order of a launch.

    Attributes
    ----------
    planes : (P, 4) of all stones, each one's side facets last. finish : (P,) codes. rows : (D + 1,) where each begins.
    sloping : (D,) rows of each before its side facets. core2 : (D,) mm^2. media : (D, 2) index and absorption per mm.
    turns : (D, 3, 3) stone to dome. eyes : (D, 4) the eye in the dome's frame, mm, and 1; the height of parallel rays, and 0.
    hubs : (D, 2), rims : (T + D, 2), upto : (T,), parts : (D + 1,) the fans, see `outline_rays.Fan`; fan d has the
        triangles parts[d]..parts[d+1]-1 and one corner more, from parts[d] + d on.
    """

    planes: np.ndarray
    finish: np.ndarray
    rows: np.ndarray
    sloping: np.ndarray
    core2: np.ndarray
    media: np.ndarray
    turns: np.ndarray
    eyes: np.ndarray
    hubs: np.ndarray
    rims: np.ndarray
    upto: np.ndarray
    parts: np.ndarray


@cuda.jit(device=True)
def view_ray(px, py, eye, turn):
    """Origin and direction, stone's frame, of the view ray through (px, py) of the map plane, mm; see `Scenes.eyes`."""
    x, y, z, dx, dy, dz = px, py, eye[2], 0.0, 0.0, -1.0
    if eye[3] > 0.0:
        x, y = eye[0], eye[1]
        dx, dy, dz = px - x, py - y, -z
        length = math.sqrt(dx * dx + dy * dy + dz * dz)
        dx, dy, dz = dx / length, dy / length, dz / length
    return (
        x * turn[0, 0] + y * turn[1, 0] + z * turn[2, 0],
        x * turn[0, 1] + y * turn[1, 1] + z * turn[2, 1],
        x * turn[0, 2] + y * turn[1, 2] + z * turn[2, 2],
        dx * turn[0, 0] + dy * turn[1, 0] + dz * turn[2, 0],
        dx * turn[0, 1] + dy * turn[1, 1] + dz * turn[2, 1],
        dx * turn[0, 2] + dy * turn[1, 2] + dz * turn[2, 2],
    )


@cuda.jit
def outline_sums(scenes, dome, rules, points, generator, seed, out, segments):
    """Fill out (D, RANDOMIZATIONS, SUMS), sums over the rays of each randomization, the last of which counts hits.

    Parameters
    ----------
    scenes : `Scenes`. dome : a `DomeTable`. rules : polarized, min_weight, max_bounces.
    segments : (D * RANDOMIZATIONS,) filled: path segments walked.
    """
    scene, number, thread = cuda.blockIdx.x // RANDOMIZATIONS, cuda.blockIdx.x % RANDOMIZATIONS, cuda.threadIdx.x
    planes = cuda.shared.array((MOST_PLANES, 4), np.float64)
    finish = cuda.shared.array(MOST_PLANES, np.int64)
    first = scenes.rows[scene]
    count = scenes.rows[scene + 1] - first
    for k in range(thread, count, THREADS):
        for axis in range(4):
            planes[k, axis] = scenes.planes[first + k, axis]
        finish[k] = scenes.finish[first + k]
    cuda.syncthreads()
    part, after = scenes.parts[scene], scenes.parts[scene + 1]
    upto, rim = scenes.upto[part:after], scenes.rims[part + scene : after + scene + 1]
    along, across = shift_of(seed, number, 0), shift_of(seed, number, 1)
    sums, row = cuda.local.array(SUMS, np.float64), cuda.local.array(CHANNELS, np.float64)
    for c in range(SUMS):
        sums[c] = 0.0
    walked = 0
    turn, sloping, core2 = scenes.turns[scene], scenes.sloping[scene], scenes.core2[scene]
    index, absorption = scenes.media[scene, 0], scenes.media[scene, 1]
    for k in range(thread, points, THREADS):
        for c in range(CHANNELS):
            row[c] = 0.0
        a, b = lattice_point(k, points, generator, along, across)
        px, py = on_fan(a, b, scenes.hubs[scene], rim, upto)
        x, y, z, vx, vy, vz = view_ray(px, py, scenes.eyes[scene], turn)
        hit, steps = follow(
            planes, finish, sloping, count, core2, index, absorption, x, y, z, vx, vy, vz, 0.0, turn, dome, rules, row
        )
        walked += steps
        if hit:
            for c in range(CHANNELS):
                sums[c] += row[c]
            sums[LUMINANCE_SQUARE] += row[LUMINANCE] * row[LUMINANCE]
            sums[UNTRACED_SQUARE] += row[UNTRACED] * row[UNTRACED]
            sums[SWING_SQUARE] += (row[DIMMER] + row[BRIGHTER]) * (row[DIMMER] + row[BRIGHTER])
            sums[UNMET] += row[UNTRACED]
            sums[MOMENTS] += 1.0
    shared = cuda.shared.array((THREADS,), np.float64)
    for c in range(SUMS + 1):
        shared[thread] = sums[c] if c < SUMS else float(walked)
        step = THREADS // 2
        while step > 0:
            cuda.syncthreads()
            if thread < step:
                shared[thread] += shared[thread + step]
            step //= 2
        cuda.syncthreads()
        if thread == 0:
            if c < SUMS:
                out[scene, number, c] = shared[0]
            else:
                segments[cuda.blockIdx.x] = int(shared[0])
        cuda.syncthreads()
