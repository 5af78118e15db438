"""Kernels of the graphics processor: area means of many scenes, and maps of one.

For area means a block works at one randomization of one scene, for maps at some pixels, with the stone's planes in its fast
memory. Its threads walk their rays step by step together. Beginning a path takes as long as some steps, and all threads wait for
it; so a thread whose path has ended waits until some others have ended, too. Which thread takes which ray follows from the rays
alone, and sums are added in a fixed order. So no number depends on how many blocks run at a time, or where.
"""

from __future__ import annotations

import math
from types import FunctionType
from typing import Any, NamedTuple

import numpy as np
from numba import cuda

from ..facet_search import entry_row
from ..ledger import FIRST_SURFACE, LUMINANCE, MAPPED
from ..outline_rays import lattice_point, on_fan, shift_of
from ..pixel_samples import sample_place, stratum_of
from ..randomizations import RANDOMIZATIONS
from ..rim import SECTORS
from ..totals import MOMENTS
from .device import CAPACITIES
from .paths import ENDED, MISSED, advance, begin, book
from .single import DOUBLE, single_source

MOST_PLANES = CAPACITIES[-1]
THREADS = 32
"""Of a block, which is as many as run in step: part of what is computed, since sums are added in their order."""
TOGETHER = 8
"""Threads that begin a path together, unless as many wait as walk."""
SUMS = MOMENTS + 1
"""Numbers kept of a randomization: the moments, and how many rays met the stone."""


class Scenes(NamedTuple):
    """D scenes as flat arrays, in the order of a launch.

    Attributes
    ----------
    planes : (P, 4) of all stones, each one's side facets last. finish : (P,) codes. rows : (D + 1,) where each begins.
    sloping : (D,) rows of each before its side facets.
    rim : (D,) which of M rims each has, see `tracers.rim`. core2, far2 : (M, SECTORS) mm^2. height : (D,) mm.
    starts : (M, SECTORS + 2) into listed (L,), rows of the stone.
    media : (D, 2) index and absorption per mm.
    turns : (D, 3, 3) stone to dome. eyes : (D, 4) the eye in the dome's frame, mm, and 1; the height of parallel rays, and 0.
    fan : (D,) which of the outlines each has.
    """

    planes: np.ndarray
    finish: np.ndarray
    rows: np.ndarray
    sloping: np.ndarray
    rim: np.ndarray
    core2: np.ndarray
    far2: np.ndarray
    height: np.ndarray
    starts: np.ndarray
    listed: np.ndarray
    media: np.ndarray
    turns: np.ndarray
    eyes: np.ndarray
    fan: np.ndarray


class Fans(NamedTuple):
    """O outlines as flat arrays, see `outline_rays.Fan`.

    Attributes
    ----------
    hubs : (O, 2). rims : (T + O, 2), upto : (T,), parts : (O + 1,): fan k has the triangles parts[k]..parts[k+1]-1 and one
        corner more, from parts[k] + k on.
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
def _stone_of(scenes, scene, planes, finish):
    """Copy the stone of a scene into a block's fast memory; returns it as `paths.begin` takes it."""
    first = scenes.rows[scene]
    count = scenes.rows[scene + 1] - first
    for k in range(cuda.threadIdx.x, count, THREADS):
        for axis in range(4):
            planes[k, axis] = scenes.planes[first + k, axis]
        finish[k] = scenes.finish[first + k]
    cuda.syncthreads()
    rim, medium = scenes.rim[scene], scenes.media[scene]
    return (
        planes,
        finish,
        scenes.sloping[scene],
        count,
        scenes.core2[rim],
        scenes.far2[rim],
        scenes.height[scene],
        scenes.starts[rim],
        scenes.listed,
        medium[0],
        medium[1],
    )


@cuda.jit(device=True)
def _facing(planes, count, vx, vy, vz, facing, slopes):
    """List the rows through which rays along v enter, in order, and 1 / n.v of each; returns how many there are."""
    listed = 0
    for k in range(count):  # by every thread alike, so that each knows the number
        n_dot_v = planes[k, 0] * vx + planes[k, 1] * vy + planes[k, 2] * vz
        if n_dot_v < 0.0:
            if cuda.threadIdx.x == 0:
                facing[listed] = k
                slopes[listed] = 1.0 / n_dot_v
            listed += 1
    cuda.syncthreads()
    return listed


@cuda.jit(device=True)
def _first_of(planes, facing, slopes, listed, x, y, z):
    """The row where a ray enters that is known not to miss the stone, and how far it is, mm; see `_facing`."""
    best, farthest = 0, -1e300
    place = 0
    while place < listed:
        at = np.uint32(place)
        k = np.uint32(facing[at])
        t = (planes[k, 3] - (planes[k, 0] * x + planes[k, 1] * y + planes[k, 2] * z)) * slopes[at]
        if t > farthest:
            farthest, best = t, place
        place += 1
    return int(facing[best]), farthest


@cuda.jit(device=True)
def _booked(first, off, stands, bounces, so_far, turn, dome, row):
    """Book what leaves at a first surface and what leaves after a segment, see `paths.book`; returns what that returns.

    In a loop, so that there is one copy of the program for both: two would not fit the processor's fast memory for programs.
    """
    part = 0 if first[0] > 0.0 else 1
    while part < 2:
        glare = part == 0
        some = first if glare else off
        if some[0] > 0.0:
            so_far = book(some, 1.0 if glare else stands, FIRST_SURFACE if glare else bounces, so_far, turn, dome, row)
        part += 1
    return so_far


def _outline_sums(scenes, fans, dome, rules, points, generator, chosen, out, steps):
    """Fill out (D, RANDOMIZATIONS, SUMS), sums over the rays of each randomization, the last of which counts hits.

    Parameters
    ----------
    scenes : `Scenes`. fans : their `Fans`. dome : a `DomeTable`. rules : see `paths.advance`.
    chosen : (D,) numbers of the scenes whose sums are wanted.
    steps : (D * RANDOMIZATIONS,) filled: path segments walked.
    """
    at, number, thread = cuda.blockIdx.x // RANDOMIZATIONS, cuda.blockIdx.x % RANDOMIZATIONS, cuda.threadIdx.x
    scene = chosen[at]
    planes = cuda.shared.array((MOST_PLANES, 4), np.float64)
    finish = cuda.shared.array(MOST_PLANES, np.int8)
    sums = cuda.shared.array((SUMS, THREADS), np.float64)
    facing = cuda.shared.array(MOST_PLANES, np.int16)
    slopes = cuda.shared.array(MOST_PLANES, np.float64)
    walked = cuda.shared.array(THREADS, np.int64)
    waits = cuda.shared.array(THREADS, np.int8)
    stone = _stone_of(scenes, scene, planes, finish)
    fan = scenes.fan[scene]
    part, after = fans.parts[fan], fans.parts[fan + 1]
    upto, rim = fans.upto[part:after], fans.rims[part + fan : after + fan + 1]
    along, across = shift_of(rules[4], number, 0), shift_of(rules[4], number, 1)
    row = sums[:, thread]
    for c in range(SUMS):
        row[c] = 0.0
    turn, eye = scenes.turns[scene], scenes.eyes[scene]
    x, y, z, vx, vy, vz = view_ray(eye[0], eye[1], eye, turn)
    listed = _facing(planes, stone[3], vx, vy, vz, facing, slopes)  # of use where rays are parallel
    path = (x, y, z, vx, vy, vz, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
    stands, so_far = 1.0, (0.0, 0.0)
    on, segments, key, count, coming = ENDED, 0, 0, 0, 0
    while True:
        idle = on < 0
        waiting = cuda.syncthreads_count(1 if idle else 0)
        if coming >= points and waiting == THREADS:
            break
        first = (0.0, 0.0, 0.0, 0.0, 0.0)
        if coming < points and (waiting >= TOGETHER or 2 * waiting >= THREADS):
            waits[thread] = 1 if idle else 0
            cuda.syncthreads()
            ray = coming
            for k in range(thread):
                ray += waits[k]
            coming += waiting
            if idle and ray < points:
                u, v = lattice_point(ray, points, generator, along, across)
                u, v = on_fan(u, v, fans.hubs[fan], rim, upto)
                x, y, z, vx, vy, vz = view_ray(np.float64(u), np.float64(v), eye, turn)
                if eye[3] > 0.0:
                    on, t = entry_row(planes, stone[3], x, y, z, vx, vy, vz)
                else:
                    on, t = _first_of(planes, facing, slopes, listed, x, y, z)
                on, path, first, _ = begin(stone, on, t, x, y, z, vx, vy, vz, 0.0, rules[0], row)
                row[MOMENTS] += 0.0 if on == MISSED else 1.0
                segments, stands, so_far = 0, 1.0, (0.0, 0.0)
                key = number * points + ray
        off, stood, bounces = (0.0, 0.0, 0.0, 0.0, 0.0), stands, float(segments)
        if on >= 0:
            on, path, stands, off = advance(stone, on, segments, path, stands, key, 0.0, rules, row)
            segments, count = segments + 1, count + 1
        so_far = _booked(first, off, stood, bounces, so_far, turn, dome, row)
    walked[thread] = count
    cuda.syncthreads()
    for c in range(thread, SUMS + 1, THREADS):
        total, all_steps = DOUBLE(0), 0
        for k in range(THREADS):
            if c < SUMS:
                total += DOUBLE(sums[c, k])
            else:
                all_steps += walked[k]
        if c < SUMS:
            out[at, number, c] = total
        else:
            steps[cuda.blockIdx.x] = all_steps


@cuda.jit(device=True)
def _counted(sample, cells, hit, light, strata):
    """What is known of a pixel's strata with one sample more.

    strata : sums of one stratum, of the light, hits, squared light and samples; then of all strata, about the stratum's mean,
    of the squares of the light, of light times hits, and of the squares of the hits.
    """
    l_sum, h_sum, ll_sum, taken, ll, lh, hh = strata
    l_sum, h_sum, ll_sum, taken = l_sum + light, h_sum + hit, ll_sum + light * light, taken + 1.0
    if sample == cells * cells - 1 or stratum_of(sample, cells) != stratum_of(sample + 1, cells):
        if taken > 1.0:
            larger = taken / (taken - 1.0)
            ll += larger * (ll_sum - l_sum * l_sum / taken)
            lh += larger * (l_sum - l_sum * h_sum / taken)
            hh += larger * (h_sum - h_sum * h_sum / taken)
        l_sum = h_sum = ll_sum = taken = 0.0
    return l_sum, h_sum, ll_sum, taken, ll, lh, hh


def _pixel_means(scenes, dome, rules, x0, y0, pixel_mm, resolution, cells, cone_mm2, means, coverage, error):
    """Fill maps of the first of some scenes, a thread a pixel.

    Parameters
    ----------
    x0, y0, pixel_mm, resolution, cells : see `pixel_samples.sample_place`.
    cone_mm2 : the part of the map plane for which a sample stands in a perspective view; images of the sky are averaged in it.
    means : (MAPPED, P) filled: means over the samples that meet the stone; NaN where none does.
    coverage, error : (P,) filled: which share of them does; standard error of the luminance, from the scatter within strata,
        NaN where none of them has two samples. See `sampled.sampling`.
    """
    planes = cuda.shared.array((MOST_PLANES, 4), np.float64)
    finish = cuda.shared.array(MOST_PLANES, np.int8)
    sums = cuda.shared.array((SUMS, THREADS), np.float64)
    stone = _stone_of(scenes, 0, planes, finish)
    pixel = cuda.blockIdx.x * THREADS + cuda.threadIdx.x
    row = sums[:, cuda.threadIdx.x]
    for c in range(SUMS):
        row[c] = 0.0
    turn, eye = scenes.turns[0], scenes.eyes[0]
    x = y = z = vx = vy = vz = 0.0
    path = (x, y, z, vx, vy, vz, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
    stands, so_far, strata = 1.0, (0.0, 0.0), (0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
    hits = hit = cone = 0.0
    samples = cells * cells
    on, segments, sample, last = ENDED, 0, 0, samples if pixel < resolution * resolution else 0
    while True:
        idle = on < 0
        waiting = cuda.syncthreads_count(1 if idle and sample < last else 0)
        walking = cuda.syncthreads_count(0 if idle else 1)
        if waiting + walking == 0:
            break
        first = (0.0, 0.0, 0.0, 0.0, 0.0)
        if idle and sample < last and (waiting >= TOGETHER or waiting >= walking):
            if sample > 0:
                strata = _counted(sample - 1, cells, hit, so_far[0], strata)
            px, py = sample_place(x0, y0, pixel_mm, resolution, pixel, sample, cells, rules[4])
            px, py = np.float64(px), np.float64(py)
            cone = 0.0
            if eye[3] > 0.0 and cone_mm2 > 0.0:
                away2 = (px - eye[0]) ** 2 + (py - eye[1]) ** 2 + eye[2] ** 2
                cone = cone_mm2 * eye[2] / (away2 * math.sqrt(away2))
            x, y, z, vx, vy, vz = view_ray(px, py, eye, turn)
            on, t = entry_row(planes, stone[3], x, y, z, vx, vy, vz)
            on, path, first, cone = begin(stone, on, t, x, y, z, vx, vy, vz, cone, rules[0], row)
            hit = 0.0 if on == MISSED else 1.0
            hits += hit
            segments, stands, so_far, sample = 0, 1.0, (0.0, 0.0), sample + 1
        off, stood, bounces = (0.0, 0.0, 0.0, 0.0, 0.0), stands, float(segments)
        if on >= 0:
            on, path, stands, off = advance(stone, on, segments, path, stands, pixel * samples + sample, cone, rules, row)
            segments += 1
        so_far = _booked(first, off, stood, bounces, so_far, turn, dome, row)
    if last == 0:
        return
    _, _, _, _, ll, lh, hh = _counted(samples - 1, cells, hit, so_far[0], strata)
    coverage[pixel] = hits / samples
    for c in range(MAPPED):
        means[c, pixel] = row[c] / hits if hits > 0.0 else math.nan
    error[pixel] = math.nan
    if hits > 1.0 and samples > 1:
        mean = row[LUMINANCE] / hits
        error[pixel] = math.sqrt(max(ll - 2.0 * mean * lh + mean * mean * hh, 0.0)) / hits


def _holding(function: Any, planes: int) -> Any:
    """The same function for stones of at most so many facets: the less fast memory a block takes, the more run at a time."""
    return FunctionType(function.__code__, {**function.__globals__, "MOST_PLANES": planes}, function.__name__)


OUTLINE_SUMS = {most: cuda.jit(_holding(_outline_sums, most)) for most in CAPACITIES}
PIXEL_MEANS = {most: cuda.jit(_holding(_pixel_means, most)) for most in CAPACITIES}
OUTLINE_SUMS_SINGLE = {most: cuda.jit(single_source(_holding(_outline_sums, most))) for most in CAPACITIES}
PIXEL_MEANS_SINGLE = {most: cuda.jit(single_source(_holding(_pixel_means, most))) for most in CAPACITIES}
"""Kernels by the number of facets that they hold."""
