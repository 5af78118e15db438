"""Kernels of the graphics processor: area means of many scenes, and maps of one.

For area means a block works at randomizations of one scene, for maps at some pixels, with the stone's planes in its fast
memory. Its threads walk their rays step by step together. Beginning a path takes as long as some steps, and all threads wait
for it; so a thread whose path has ended waits until some others have ended, too. Which thread takes which ray follows from the
rays alone. So no number depends on how many blocks run at a time, or where.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any, NamedTuple

import numpy as np
from numba import config, cuda

from ..facet_search import entry_row
from ..ledger import FIRST_SURFACE, LUMINANCE, MAPPED
from ..outline_rays import lattice_lot, lattice_point, on_fan, shift_of
from ..pixel_samples import sample_place, stratum_of
from ..randomizations import RANDOMIZATIONS
from ..totals import MOMENTS
from ..wedges import WEDGES
from .device import CAPACITIES
from .kept import kept
from .paths import ENDED, MISSED, advance, begin, book
from .single import DOUBLE, single_source, with_names

MOST_PLANES = CAPACITIES[-1]
THREADS = 32
"""Of a block, which is as many as run in step."""
MOST_LISTED = 1024
"""Facets in all the lists of a stone's `Wedges` together."""
TOGETHER = 16
"""Threads that begin a path together, of those that wait; where as many wait as walk, they do in any case."""
SUMS = MOMENTS + 1
"""Numbers kept of a randomization: the moments, and how many rays met the stone."""


class Scenes(NamedTuple):
    """D scenes as flat arrays, in the order of a launch.

    Attributes
    ----------
    planes : (P, 4) of all stones, each one's side facets last. finish : (P,) codes. rows : (D + 1,) where each begins.
    lists : (D,) which of W `Wedges` each has. spans : (W, WEDGES, 2) into nearby (K,), rows of the stone. reach : (D,) mm.
    rim : (D,) which of M rims each has, see `tracers.rim`. core2, far2 : (M, SECTORS) mm^2. height : (D,) mm.
    starts : (M, SECTORS + 2) into listed (L,), rows of the stone.
    media : (D, 2) index and absorption per mm.
    turns : (D, 3, 3) stone to dome. eyes : (D, 4) the eye in the dome's frame, mm, and 1; the height of parallel rays, and 0.
    fan : (D,) which of the outlines each has.
    """

    planes: np.ndarray
    finish: np.ndarray
    rows: np.ndarray
    lists: np.ndarray
    spans: np.ndarray
    nearby: np.ndarray
    reach: np.ndarray
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


Variants = dict[type[np.floating[Any]], dict[int, Any]]
"""A kernel in each precision, by its kind of number, each by the number of facets that it holds."""


def kernel(registers: int, registers_single: int) -> Callable[[Any], Variants]:
    """Make a function a kernel, which takes so many registers a thread in double and in single precision: the quickest of those
    tried. The fewer facets it holds, the less fast memory a block takes, and the more blocks run at a time."""

    def compiled(function: Any, most: int, variant: str) -> Any:
        limit = {} if config.ENABLE_CUDASIM else {"max_registers": most}  # type: ignore[attr-defined]
        return kept(cuda.jit(function, **limit), variant)

    def decorate(function: Any) -> Variants:
        holding = {most: with_names(function, MOST_PLANES=most) for most in CAPACITIES}
        return {
            np.float64: {most: compiled(one, registers, f"double-{most}") for most, one in holding.items()},
            np.float32: {
                most: compiled(single_source(one), registers_single, f"single-{most}") for most, one in holding.items()
            },
        }

    return decorate


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
def _stone_of(scenes, scene, planes, finish, spans, nearby):
    """Copy the stone of a scene into a block's fast memory; returns it as `paths.begin` takes it."""
    first = scenes.rows[scene]
    count = scenes.rows[scene + 1] - first
    for k in range(cuda.threadIdx.x, count, THREADS):
        for axis in range(4):
            planes[k, axis] = scenes.planes[first + k, axis]
        finish[k] = scenes.finish[first + k]
    lists = scenes.lists[scene]
    begins, ends = scenes.spans[lists, 0, 0], scenes.spans[lists, WEDGES - 1, 1]
    for wedge in range(cuda.threadIdx.x, WEDGES, THREADS):
        spans[wedge, 0], spans[wedge, 1] = scenes.spans[lists, wedge, 0] - begins, scenes.spans[lists, wedge, 1] - begins
    for k in range(cuda.threadIdx.x, ends - begins, THREADS):
        nearby[k] = scenes.nearby[begins + k]
    cuda.syncthreads()
    rim, medium = scenes.rim[scene], scenes.media[scene]
    return (
        planes,
        finish,
        count,
        spans,
        nearby,
        scenes.reach[scene],
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


@cuda.jit(device=True)
def _flush(row, totals, number, scale):
    """Add a thread's sums (SUMS,) to the block's totals of a randomization, and begin anew.

    As whole numbers of 1 / scale, so that the order in which threads come is of no account.
    """
    for c in range(SUMS):
        cuda.atomic.add(totals, (number, c), int(DOUBLE(row[c]) * scale))
        row[c] = 0.0


@kernel(160, 128)
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
    facing = cuda.shared.array(MOST_PLANES, np.int16)
    slopes = cuda.shared.array(MOST_PLANES, np.float64)
    sums = cuda.shared.array((SUMS, THREADS), np.float64)
    totals = cuda.shared.array((RANDOMIZATIONS, SUMS), np.int64)
    shifts = cuda.shared.array((RANDOMIZATIONS, 3), DOUBLE)
    waits = cuda.shared.array(1, np.int64)
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
    stone = _stone_of(scenes, scene, planes, finish, spans, nearby)  # the threads have met after that
    fan = scenes.fan[scene]
    first_part, after = fans.parts[fan], fans.parts[fan + 1]
    upto, rim = fans.upto[first_part:after], fans.rims[first_part + fan : after + fan + 1]
    turn, eye = scenes.turns[scene], scenes.eyes[scene]
    x, y, z, vx, vy, vz = view_ray(eye[0], eye[1], eye, turn)
    listed = _facing(planes, stone[2], vx, vy, vz, facing, slopes)  # of use where rays are parallel
    path = (x, y, z, vx, vy, vz, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
    stands, so_far = 1.0, (0.0, 0.0)
    on, segments, lot, count, coming, holds = ENDED, 0, 0.0, 0, 0, -1
    while True:
        idle = on < 0
        waiting = cuda.syncthreads_count(1 if idle else 0)
        if coming >= rays and waiting == THREADS:
            break
        first = (0.0, 0.0, 0.0, 0.0, 0.0)
        if coming < rays and (waiting >= TOGETHER or 2 * waiting >= THREADS):
            if thread == 0:
                waits[0] = 0
            cuda.syncthreads()
            if idle:
                cuda.atomic.or_(waits, 0, 1 << thread)
            cuda.syncthreads()
            ray = coming + cuda.popc(waits[0] & ((1 << thread) - 1))  # those with lower numbers first
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
                x, y, z, vx, vy, vz = view_ray(np.float64(u), np.float64(v), eye, turn)
                if eye[3] > 0.0:
                    on, t = entry_row(planes, stone[2], x, y, z, vx, vy, vz)
                else:
                    on, t = _first_of(planes, facing, slopes, listed, x, y, z)
                on, path, first, _ = begin(stone, on, t, x, y, z, vx, vy, vz, 0.0, rules[0], row)
                row[MOMENTS] += 0.0 if on == MISSED else 1.0
                segments, stands, so_far = 0, 1.0, (0.0, 0.0)
        off, stood, bounces = (0.0, 0.0, 0.0, 0.0, 0.0), stands, float(segments)
        if on >= 0:
            on, path, stands, lot, off = advance(stone, on, segments, path, stands, lot, 0.0, rules, row)
            segments, count = segments + 1, count + 1
        so_far = _booked(first, off, stood, bounces, so_far, turn, dome, row)
    if holds >= 0:
        _flush(row, totals, holds, scale)
    cuda.atomic.add(walked, 0, count)
    cuda.syncthreads()
    for k in range(thread, each * SUMS, THREADS):
        number, c = part * each + k // SUMS, k % SUMS
        out[at, number, c] = DOUBLE(totals[number, c]) / scale
    if thread == 0:
        steps[cuda.blockIdx.x] = walked[0]


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


@kernel(160, 128)
def pixel_means(scenes, dome, rules, x0, y0, pixel_mm, resolution, cells, cone_mm2, before, means, coverage, error):
    """Fill maps of some pixels of each of some scenes with one eye, a thread a pixel.

    Parameters
    ----------
    x0, y0, pixel_mm, resolution, cells : see `pixel_samples.sample_place`.
    cone_mm2 : the part of the map plane for which a sample stands in a perspective view; images of the sky are averaged in it.
    before : how many pixels come before these P.
    means : (MAPPED, D, P) filled: means over the samples that meet the stone; NaN where none does.
    coverage, error : (D, P) filled: which share of them does; standard error of the luminance, from the scatter within strata,
        NaN where none of them has two samples. See `sampled.sums`.
    """
    planes = cuda.shared.array((MOST_PLANES, 4), np.float64)
    finish = cuda.shared.array(MOST_PLANES, np.int8)
    spans = cuda.shared.array((WEDGES, 2), np.int16)
    nearby = cuda.shared.array(MOST_LISTED, np.int16)
    sums = cuda.shared.array((SUMS, THREADS), np.float64)
    scene = cuda.blockIdx.y
    stone = _stone_of(scenes, scene, planes, finish, spans, nearby)
    place = cuda.blockIdx.x * THREADS + cuda.threadIdx.x
    pixel = before + place
    row = sums[:, cuda.threadIdx.x]
    for c in range(SUMS):
        row[c] = 0.0
    turn, eye = scenes.turns[scene], scenes.eyes[scene]
    x = y = z = vx = vy = vz = 0.0
    path = (x, y, z, vx, vy, vz, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
    stands, so_far, strata = 1.0, (0.0, 0.0), (0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
    hits = hit = cone = 0.0
    samples = cells * cells
    on, segments, sample, last = ENDED, 0, 0, samples if place < coverage.shape[1] and pixel < resolution * resolution else 0
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
            on, t = entry_row(planes, stone[2], x, y, z, vx, vy, vz)
            on, path, first, cone = begin(stone, on, t, x, y, z, vx, vy, vz, cone, rules[0], row)
            hit = 0.0 if on == MISSED else 1.0
            hits += hit
            segments, stands, so_far, sample = 0, 1.0, (0.0, 0.0), sample + 1
        off, stood, bounces = (0.0, 0.0, 0.0, 0.0, 0.0), stands, float(segments)
        if on >= 0:
            on, path, stands, _, off = advance(stone, on, segments, path, stands, 0.0, cone, rules, row)
            segments += 1
        so_far = _booked(first, off, stood, bounces, so_far, turn, dome, row)
    if last == 0:
        return
    _, _, _, _, ll, lh, hh = _counted(samples - 1, cells, hit, so_far[0], strata)
    coverage[scene, place] = hits / samples
    for c in range(MAPPED):
        means[c, scene, place] = row[c] / hits if hits > 0.0 else math.nan
    error[scene, place] = math.nan
    if hits > 1.0 and samples > 1:
        mean = row[LUMINANCE] / hits
        error[scene, place] = math.sqrt(max(ll - 2.0 * mean * lh + mean * mean * hh, 0.0)) / hits
