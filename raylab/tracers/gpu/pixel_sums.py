"""Maps of some scenes with one eye: a block works at some pixels of one scene, see `blocks`.

What waits for a thread is a row of a pixel's cells with its samples. Pixels take different numbers of them, and a path in the
middle of a stone is several times as long as one beside it: threads that took whole pixels would wait for the slowest.
"""

from __future__ import annotations

import math

import numpy as np
from numba import cuda

from ..facet_search import entry_row
from ..keyed import keyed_uniform
from ..ledger import FIRST_SURFACE, LUMINANCE
from ..pixel_samples import place_in_stratum, stratum_at
from ..rim import sector_of
from ..wedges import WEDGES
from .blocks import MOST_LISTED, MOST_PLANES, MOST_WORDS, SUMS, THREADS, TOGETHER, kernel, numbered, stone_of, view_ray
from .paths import ENDED, MISSED, advance, ahead, begin, book, meet
from .single import DOUBLE

HELD = 512
"""Sums that a block holds."""
BESIDE = 4
"""Sums of a pixel beside those of its channels: hits, and the three of `_counted`."""
BEGINS = HELD // (1 + BESIDE) + 1
"""One more than a block has pixels with one channel."""
NEAR = True
"""Do rays come from a near eye, and so stand for solid angles?"""
LIGHT = False
"""Is nothing wanted but luminance and coverage? Then the compiler leaves out whatever else is booked of a path."""
LOT_AXIS = 5
"""Axis that keys a path's lot, see `keyed`: those before place the sample."""


def pixels_of(channels: int) -> int:
    """How many pixels a block has where so many channels are wanted."""
    return HELD // (channels + BESIDE)


@cuda.jit(device=True)
def _counted(column, cells, hit, light, strata):
    """What is known of a row's strata with one sample more, the one in a column.

    strata : sums of one stratum, of the light, hits, squared light and samples; then of all strata, about the stratum's mean,
    of the squares of the light, of light times hits, and of the squares of the hits.
    """
    l_sum, h_sum, ll_sum, taken, ll, lh, hh = strata
    l_sum, h_sum, ll_sum, taken = l_sum + light, h_sum + hit, ll_sum + light * light, taken + 1.0
    first, columns = stratum_at(column, cells)
    if column + 1 == first + columns:
        if taken > 1.0:
            larger = taken / (taken - 1.0)
            ll += larger * (ll_sum - l_sum * l_sum / taken)
            lh += larger * (l_sum - l_sum * h_sum / taken)
            hh += larger * (h_sum - h_sum * h_sum / taken)
        l_sum = h_sum = ll_sum = taken = 0.0
    return l_sum, h_sum, ll_sum, taken, ll, lh, hh


@cuda.jit(device=True)
def _flush(row, channels, hits, strata, held, at, scale):
    """Add what is known of a row of samples to its pixel's sums, which begin at `at`, as whole numbers of 1 / scale."""
    for j in range(channels.size):
        cuda.atomic.add(held, at + j, int(DOUBLE(row[channels[j]]) * scale))
    at += channels.size
    cuda.atomic.add(held, at, int(DOUBLE(hits) * scale))
    cuda.atomic.add(held, at + 1, int(DOUBLE(strata[4]) * scale))
    cuda.atomic.add(held, at + 2, int(DOUBLE(strata[5]) * scale))
    cuda.atomic.add(held, at + 3, int(DOUBLE(strata[6]) * scale))


@cuda.jit(device=True)
def _cells(cells, pixel, resolution):
    """Cells along the side of a pixel; 0 beyond the last one."""
    return 0 if pixel >= resolution * resolution else int(cells[min(pixel, cells.size - 1)])


@kernel({np.float64: 160, np.float32: 128}, near=(False, True), light=(False, True))
def pixel_means(scenes, dome, rules, place, cells, ends2, before, channels, scale, means, coverage, error):
    """Fill maps of some pixels of each of some scenes with one eye.

    Parameters
    ----------
    place : x0, y0, pixel_mm, resolution, see `pixel_samples.sample_place`. cells : (R,) of each pixel, whose square of samples
        it takes, or (1,) of all; where it is -1 there is one ray, through the corner of the least x and y.
    ends2 : (SECTORS, 2) mm^2 from the middle of the map plane, in the sectors of `rim`: rays nearer than the first meet the
        stone, those beyond the second miss.
    before : how many pixels come before these P. channels : (C,) those wanted. scale : see `_flush`.
    means : (C, D, P) filled: means over the samples that meet the stone; NaN where none does.
    coverage, error : (D, P) filled: which share of them does; standard error of the luminance, from the scatter within strata,
        NaN where none of them has two samples. See `sampled.sums`.
    Where `LIGHT`, means has one channel, over all samples of a pixel, and error is left as it is.
    """
    planes = cuda.shared.array((MOST_PLANES, 4), np.float64)
    finish = cuda.shared.array(MOST_PLANES, np.int8)
    spans = cuda.shared.array((WEDGES, 2), np.int16)
    nearby = cuda.shared.array(MOST_LISTED, np.int16)
    sums = cuda.shared.array((SUMS, THREADS), np.float64)
    held = cuda.shared.array(HELD, np.int64)
    begins = cuda.shared.array(BEGINS, np.int32)
    waits = cuda.shared.array(MOST_WORDS, np.uint32)
    scene, thread = cuda.blockIdx.y, cuda.threadIdx.x
    x0, y0, pixel_mm, resolution = place
    wide = channels.size + BESIDE
    pixels = HELD // wide
    mine = cuda.blockIdx.x * pixels
    pixels = min(pixels, coverage.shape[1] - mine)
    first_pixel = before + mine
    for k in range(thread, pixels * wide, THREADS):
        held[k] = 0
    if thread == 0:
        begins[0] = 0
        for k in range(pixels):
            begins[k + 1] = begins[k] + abs(_cells(cells, first_pixel + k, resolution))
    row = cuda.local.array(SUMS, np.float64) if LIGHT else sums[:, thread]
    for c in range(SUMS):
        row[c] = 0.0
    stone = stone_of(scenes, scene, planes, finish, spans, nearby)  # the threads have met after that
    rows = int(begins[pixels])
    turn, eye = scenes.turns[scene], scenes.eyes[scene]
    path = (0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
    stands, so_far, strata = 1.0, (0.0, 0.0), (0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
    hits = hit = cone = lot = had = cell = left = low = 0.0
    on, segments, coming, at, pixel, line, column, side = ENDED, 0, 0, -1, 0, 0, 0, 0
    while True:
        idle = on < 0
        waiting = cuda.syncthreads_count(1 if idle and (at >= 0 or coming < rows) else 0)
        walking = cuda.syncthreads_count(0 if idle else 1)
        if waiting + walking == 0:
            break
        fresh, reach = False, stone[5]
        if 32 * waiting >= TOGETHER * THREADS or waiting >= walking:
            needs = idle and column == side
            others, lower = numbered(needs, waits, (THREADS + 31) // 32)
            if not LIGHT and idle and at >= 0:
                strata = _counted(column - 1, side, hit, row[LUMINANCE] - had, strata)
            if needs:
                if LIGHT and at >= 0:
                    cuda.atomic.add(held, at * wide, int(DOUBLE(row[LUMINANCE]) * scale))
                    cuda.atomic.add(held, at * wide + 1, int(DOUBLE(hits) * scale))
                elif at >= 0:
                    _flush(row, channels, hits, strata, held, at * wide, scale)
                taken = coming + lower
                at, column, side = max(at, 0), 0, 0
                if taken < rows:
                    while taken >= begins[at + 1]:
                        at += 1
                    for c in range(SUMS):
                        row[c] = 0.0
                    pixel, line = first_pixel + at, taken - int(begins[at])
                    left, low = x0 + (pixel % resolution) * pixel_mm, y0 + (pixel // resolution) * pixel_mm
                    side = _cells(cells, pixel, resolution)
                    cell = np.float64(pixel_mm / side if side > 0 else 0.0)
                    side = abs(side)
                    strata, hits = (0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0), 0.0
                else:
                    at = -1
            coming += others
            if idle and column < side:
                sample = line * side + column
                first, columns = stratum_at(column, side)
                px, py = place_in_stratum(left, low, cell, line, first, columns, rules[4], pixel, sample)
                px, py = np.float64(px), np.float64(py)
                x, y, z, vx, vy, vz, slant = view_ray(px, py, eye, turn)
                if NEAR:
                    away2 = (px - eye[0]) ** 2 + (py - eye[1]) ** 2 + eye[2] ** 2
                    cone = cell * cell * eye[2] / (away2 * math.sqrt(away2))
                far2, sector, reach = px * px + py * py, sector_of(px, py), scenes.beyond[scene] * slant
                fresh = far2 < ends2[sector, 0]
                if not fresh and far2 <= ends2[sector, 1]:
                    entry, _ = entry_row(planes, stone[2], x - reach * vx, y - reach * vy, z - reach * vz, vx, vy, vz)
                    fresh = entry >= 0
                x, y, z = x + reach * vx, y + reach * vy, z + reach * vz
                path = (x, y, z, -vx, -vy, -vz, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
                had, lot, hit = row[LUMINANCE], 0.0, 1.0 if fresh else 0.0
                if rules[3] > 0.0:
                    lot = np.float64(keyed_uniform(rules[4], pixel, sample, LOT_AXIS))
                segments, stands, so_far, column = 0, 1.0, (0.0, 0.0), column + 1
        off, stood, bounces = (0.0, 0.0, 0.0, 0.0, 0.0), stands, float(segments)
        found, t = -1, 0.0
        if fresh or on >= 0:
            found, t = ahead(stone, reach, on, path)
        meet()
        if fresh or on >= 0:
            if fresh:
                x, y, z, vx, vy, vz = path[:6]
                x, y, z = x + t * vx, y + t * vy, z + t * vz
                on, path, off, inside = begin(
                    stone, found, x, y, z, -vx, -vy, -vz, cone if NEAR else 0.0, rules[0], row
                )  # fmt: skip
                cone = inside if NEAR else 0.0
                hit = 0.0 if on == MISSED else 1.0
                hits += hit
                bounces = FIRST_SURFACE
            else:
                on, path, stands, lot, off = advance(
                    stone, found, t, segments, path, stands, lot, cone if NEAR else 0.0, rules, row
                )  # fmt: skip
                segments += 1
            if off[0] > 0.0:
                so_far = book(off, stood, bounces, so_far, turn, dome, row)
    cuda.syncthreads()
    for k in range(thread, pixels, THREADS):
        taken = max(_cells(cells, first_pixel + k, resolution) ** 2, 1)
        found = k * wide + channels.size
        met = DOUBLE(held[found]) / scale
        coverage[scene, mine + k] = met / taken
        mean = math.nan
        for j in range(channels.size):
            light = DOUBLE(held[k * wide + j]) / scale
            if LIGHT:
                means[j, scene, mine + k] = light / taken
                continue
            value = light / met if met > 0.0 else math.nan
            means[j, scene, mine + k] = value
            if channels[j] == LUMINANCE:
                mean = value
        if LIGHT:
            continue
        error[scene, mine + k] = math.nan
        if met > 1.0 and taken > 1:
            ll, lh, hh = (DOUBLE(held[found + 1]) / scale, DOUBLE(held[found + 2]) / scale, DOUBLE(held[found + 3]) / scale)
            error[scene, mine + k] = math.sqrt(max(ll - 2.0 * mean * lh + mean * mean * hh, 0.0)) / met
