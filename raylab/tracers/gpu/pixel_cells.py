"""How many samples each pixel of a map takes, found in the card's memory. What and why is told in `allocation`."""

from __future__ import annotations

import math
from functools import partial
from typing import Any, NamedTuple

import numpy as np
from numba import cuda

from ..allocation import EVENLY, MOST
from .blocks import THREADS, with_blocks
from .kept import kept
from .room import ROOM, device_number, few_on_card

AT_A_TIME = 1024
"""Pixels of a block."""


@partial(kept, variant="any")
@cuda.jit
def _scatter(light, scatter, scale, total):
    """Fill scatter (P,), the standard deviation of the light at the four corners of each pixel, and add them up in total (1,),
    as whole numbers of 1 / scale.

    Parameters
    ----------
    light : ((n + 1)^2,) of P = n^2 pixels in rows.
    """
    n = int(math.sqrt(float(scatter.size)) + 0.5)
    first, mine = cuda.blockIdx.x * AT_A_TIME, 0
    for pixel in range(first + cuda.threadIdx.x, min(first + AT_A_TIME, scatter.size), THREADS):
        corner = pixel // n * (n + 1) + pixel % n
        a, b, c, d = light[corner], light[corner + 1], light[corner + n + 1], light[corner + n + 2]
        mean = (a + b + c + d) / 4.0
        found = math.sqrt(((a - mean) ** 2 + (b - mean) ** 2 + (c - mean) ** 2 + (d - mean) ** 2) / 4.0)
        scatter[pixel] = found
        mine += int(found * scale)
    cuda.atomic.add(total, 0, mine)


@partial(kept, variant="any")
@cuda.jit
def _capped(scatter, mean, scale, total):
    """Add up in total (1,) scatter over its mean, or `MOST` where that is less."""
    first, mine = cuda.blockIdx.x * AT_A_TIME, 0
    for pixel in range(first + cuda.threadIdx.x, min(first + AT_A_TIME, scatter.size), THREADS):
        mine += int(min(scatter[pixel] / mean, MOST) * scale)
    cuda.atomic.add(total, 0, mine)


@partial(kept, variant="any")
@cuda.jit
def _shared_out(scatter, mean, mean_capped, samples, cells):
    """Fill cells (P,)."""
    first = cuda.blockIdx.x * AT_A_TIME
    for pixel in range(first + cuda.threadIdx.x, min(first + AT_A_TIME, scatter.size), THREADS):
        more = (1.0 - EVENLY) * (min(scatter[pixel] / mean, MOST) - mean_capped)
        cells[pixel] = max(int(math.sqrt(samples * (1.0 + more)) + 0.5), 2)


class Cells(NamedTuple):
    """How many cells lie along the side of each pixel, which takes their square of samples.

    Attributes
    ----------
    each : (P,), or (1,) for all, in the card's memory; see `pixel_sums.pixel_means`. most : the largest of them, or more.
    """

    each: Any
    most: int

    @classmethod
    def evenly(cls, samples: int) -> Cells:
        """Of pixels that all take as many samples."""
        side = math.isqrt(samples)
        return cls(few_on_card((side,), "int16", device_number()), side)

    @classmethod
    def corner(cls) -> Cells:
        """One ray through a corner of each pixel."""
        return cls(few_on_card((-1,), "int16", device_number()), 1)


def cells_by_corners(light: Any, samples: int, peak: float, resolution: int, each: Any, stream: Any) -> Cells | None:
    """See `allocation.cells_by_corners`. None where the light is the same everywhere.

    Parameters
    ----------
    light : ((resolution + 1)^2,) luminance at the corners of pixels, in the card's memory.
    samples : of a pixel, about, on average. peak : the largest radiance. each : (P,) filled, in the card's memory.
    """
    pixels = resolution**2
    blocks, scale = -(-pixels // AT_A_TIME), 2.0 ** math.floor(math.log2(2.0**62 / (pixels * max(peak, MOST))))
    with ROOM.lent([(pixels,)], light.dtype) as (scatter,), ROOM.lent([(1,)], np.int64) as (total,):

        def mean_of(kernel: Any, *given: Any) -> float:
            total.copy_to_device(np.zeros(1, np.int64), stream)
            with_blocks(kernel, blocks, stream)(*given, scale, total)
            return float(total.copy_to_host(stream=stream)[0]) / scale / pixels

        mean = mean_of(_scatter, light, scatter)
        if mean > 0.0:
            more = mean_of(_capped, scatter, mean)
            with_blocks(_shared_out, blocks, stream)(scatter, mean, more, float(samples), each)
        stream.synchronize()
    return Cells(each, max(2, math.isqrt(math.ceil(samples * (1.0 + MOST))) + 1)) if mean > 0.0 else None
