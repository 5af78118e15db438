"""Kernels of the graphics processor: area means of many scenes, and maps of one.

For area means a block works at one randomization of one scene, with the stone's planes in its fast memory. Its threads take the
rays in turn, and their sums are added in a fixed order. So no number depends on how many blocks run at a time, or where.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numba import cuda

from ..ledger import BRIGHTER, DIMMER, LUMINANCE, MAPPED, UNTRACED
from ..outline_rays import lattice_point, on_fan, shift_of
from ..pixel_samples import sample_place, stratum_of
from ..randomizations import RANDOMIZATIONS
from ..totals import LUMINANCE_SQUARE, MOMENTS, SWING_SQUARE, UNMET, UNTRACED_SQUARE
from .device import MOST_PLANES
from .paths import MISSED, advance, begin

THREADS = 128
"""Of a block: part of what is computed, since sums are added in their order."""
SUMS = MOMENTS + 1
"""Numbers kept of a randomization: the moments, and how many rays met the stone."""


class Scenes(NamedTuple):
    """D scenes as flat arrays, in the order of a launch.

    Attributes
    ----------
    planes : (P, 4) of all stones, each one's side facets last. finish : (P,) codes. rows : (D + 1,) where each begins.
    sloping : (D,) rows of each before its side facets. core2 : (D,) mm^2. media : (D, 2) index and absorption per mm.
    turns : (D, 3, 3) stone to dome. eyes : (D, 4) the eye in the dome's frame, mm, and 1; the height of parallel rays, and 0.
    """

    planes: np.ndarray
    finish: np.ndarray
    rows: np.ndarray
    sloping: np.ndarray
    core2: np.ndarray
    media: np.ndarray
    turns: np.ndarray
    eyes: np.ndarray


class Fans(NamedTuple):
    """The outlines of D scenes as flat arrays, see `outline_rays.Fan`.

    Attributes
    ----------
    hubs : (D, 2). rims : (T + D, 2), upto : (T,), parts : (D + 1,): fan d has the triangles parts[d]..parts[d+1]-1 and one
        corner more, from parts[d] + d on.
    """

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


@cuda.jit(device=True)
def _take_stone(scenes, scene, planes, finish):
    """Copy the stone of a scene into a block's fast memory; returns the number of its rows."""
    first = scenes.rows[scene]
    count = scenes.rows[scene + 1] - first
    for k in range(cuda.threadIdx.x, count, cuda.blockDim.x):
        for axis in range(4):
            planes[k, axis] = scenes.planes[first + k, axis]
        finish[k] = scenes.finish[first + k]
    cuda.syncthreads()
    return count


@cuda.jit
def outline_sums(scenes, fans, dome, rules, points, generator, seed, out, steps):
    """Fill out (D, RANDOMIZATIONS, SUMS), sums over the rays of each randomization, the last of which counts hits.

    Parameters
    ----------
    scenes : `Scenes`. fans : their `Fans`. dome : a `DomeTable`. rules : polarized, min_weight, max_bounces.
    steps : (D * RANDOMIZATIONS,) filled: path segments walked.
    """
    scene, number, thread = cuda.blockIdx.x // RANDOMIZATIONS, cuda.blockIdx.x % RANDOMIZATIONS, cuda.threadIdx.x
    planes = cuda.shared.array((MOST_PLANES, 4), np.float64)
    finish = cuda.shared.array(MOST_PLANES, np.int64)
    count = _take_stone(scenes, scene, planes, finish)
    part, after = fans.parts[scene], fans.parts[scene + 1]
    upto, rim = fans.upto[part:after], fans.rims[part + scene : after + scene + 1]
    along, across = shift_of(seed, number, 0), shift_of(seed, number, 1)
    sums = cuda.local.array(SUMS, np.float64)
    for c in range(SUMS):
        sums[c] = 0.0
    turn, eye = scenes.turns[scene], scenes.eyes[scene]
    medium = scenes.media[scene]
    stone = (planes, finish, scenes.sloping[scene], count, scenes.core2[scene], medium[0], medium[1])
    walked = 0
    for ray in range(thread, points, THREADS):
        a, b = lattice_point(ray, points, generator, along, across)
        a, b = on_fan(a, b, fans.hubs[scene], rim, upto)
        x, y, z, vx, vy, vz = view_ray(a, b, eye, turn)
        light, lost, swing = sums[LUMINANCE], sums[UNTRACED], sums[DIMMER] + sums[BRIGHTER]
        on, path, _ = begin(stone, x, y, z, vx, vy, vz, 0.0, turn, dome, rules[0], sums)
        hit = 1.0 if on != MISSED else 0.0
        segments = 0
        while on >= 0:
            on, path = advance(stone, on, segments, path, 0.0, turn, dome, rules, sums)
            segments += 1
        walked += segments
        light, lost = sums[LUMINANCE] - light, sums[UNTRACED] - lost
        swing = sums[DIMMER] + sums[BRIGHTER] - swing
        sums[LUMINANCE_SQUARE] += light * light
        sums[UNTRACED_SQUARE] += lost * lost
        sums[SWING_SQUARE] += swing * swing
        sums[UNMET] += lost
        sums[MOMENTS] += hit
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
                steps[cuda.blockIdx.x] = int(shared[0])
        cuda.syncthreads()


@cuda.jit
def pixel_means(scenes, dome, rules, x0, y0, pixel_mm, resolution, cells, cone_mm2, seed, means, coverage, error):
    """Fill maps of the first of some scenes, a thread a pixel.

    Parameters
    ----------
    x0, y0, pixel_mm, resolution, cells, seed : see `pixel_samples.sample_place`.
    cone_mm2 : the part of the map plane for which a sample stands in a perspective view; images of the sky are averaged in it.
    means : (MAPPED, P) filled: means over the samples that meet the stone; NaN where none does.
    coverage, error : (P,) filled: which share of them does; standard error of the luminance, from the scatter within strata,
        NaN where none of them has two samples. See `sampled.sampling`.
    """
    planes = cuda.shared.array((MOST_PLANES, 4), np.float64)
    finish = cuda.shared.array(MOST_PLANES, np.int64)
    count = _take_stone(scenes, 0, planes, finish)
    pixel = cuda.blockIdx.x * cuda.blockDim.x + cuda.threadIdx.x
    if pixel >= resolution * resolution:
        return
    sums = cuda.local.array(SUMS, np.float64)
    for c in range(SUMS):
        sums[c] = 0.0
    turn, eye = scenes.turns[0], scenes.eyes[0]
    stone = (planes, finish, scenes.sloping[0], count, scenes.core2[0], scenes.media[0, 0], scenes.media[0, 1])
    hits = taken = 0.0
    l_sum = h_sum = ll_sum = ll = lh = hh = 0.0  # of one stratum; then of all, about the stratum's mean
    samples = cells * cells
    for sample in range(samples):
        px, py = sample_place(x0, y0, pixel_mm, resolution, pixel, sample, cells, seed)
        cone = 0.0
        if eye[3] > 0.0 and cone_mm2 > 0.0:
            away2 = (px - eye[0]) ** 2 + (py - eye[1]) ** 2 + eye[2] ** 2
            cone = cone_mm2 * eye[2] / (away2 * math.sqrt(away2))
        x, y, z, vx, vy, vz = view_ray(px, py, eye, turn)
        light = sums[LUMINANCE]
        on, path, cone = begin(stone, x, y, z, vx, vy, vz, cone, turn, dome, rules[0], sums)
        hit = 1.0 if on != MISSED else 0.0
        segments = 0
        while on >= 0:
            on, path = advance(stone, on, segments, path, cone, turn, dome, rules, sums)
            segments += 1
        light = sums[LUMINANCE] - light
        hits += hit
        l_sum, h_sum, ll_sum, taken = l_sum + light, h_sum + hit, ll_sum + light * light, taken + 1.0
        if sample == samples - 1 or stratum_of(sample, cells) != stratum_of(sample + 1, cells):
            if taken > 1.0:
                larger = taken / (taken - 1.0)
                ll += larger * (ll_sum - l_sum * l_sum / taken)
                lh += larger * (l_sum - l_sum * h_sum / taken)
                hh += larger * (h_sum - h_sum * h_sum / taken)
            l_sum = h_sum = ll_sum = taken = 0.0
    coverage[pixel] = hits / samples
    for c in range(MAPPED):
        means[c, pixel] = sums[c] / hits if hits > 0.0 else math.nan
    error[pixel] = math.nan
    if hits > 1.0 and samples > 1:
        mean = sums[LUMINANCE] / hits
        error[pixel] = math.sqrt(max(ll - 2.0 * mean * lh + mean * mean * hh, 0.0)) / hits
