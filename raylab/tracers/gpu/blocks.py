"""What kernels of the graphics processor share: scenes as flat arrays, and how a block of threads works at one of them.

A block has the stone's planes in its fast memory, and rays that wait: of `area_sums` those of a scene's randomizations, of
`pixel_sums` those of some pixels. Its threads walk their rays step by step together. Beginning a path takes as long as some
steps, and all threads wait for it; so a thread whose path has ended waits until some others have ended, too, and then takes the
next ray or the next few. Sums are whole numbers, so that the order in which threads come is of no account. So no number depends
on how many blocks run at a time, or where.
"""

from __future__ import annotations

import itertools
import math
import warnings
from collections.abc import Callable, Mapping
from typing import Any, NamedTuple

import numpy as np
from numba import config, cuda

from ..totals import MOMENTS
from ..wedges import WEDGES
from .device import CAPACITIES
from .kept import kept
from .single import single_source, with_names

MOST_PLANES = CAPACITIES[-1]
THREADS = 32
"""Of a block, which is as many as run in step."""
MOST_LISTED = 1024
"""Facets in all the lists of a stone's `Wedges` together."""
MOST_WORDS = 8
"""Of `numbered`: a block has at most 32 times as many threads."""
TOGETHER = 20
"""Of 32 threads, those that begin a path together: so many wait, or as many as walk."""
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
    turns : (D, 3, 3) stone to dome. eyes : (D, 4) the eye in the dome's frame, mm, and 1; zeros for parallel rays.
    beyond : (D,) mm: no part of the stone is so far from the map plane.
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
    beyond: np.ndarray
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


Real = type[np.floating[Any]]
"""A precision by its kind of number, of which there are kernels."""


class Variant(NamedTuple):
    """Of a kernel: for which kind of number, for how many facets at most, whether rays come from a near eye, and whether
    nothing but light is wanted."""

    real: Real
    most: int
    near: bool
    light: bool


def kernel(
    registers: Mapping[Real, int | None], near: tuple[bool, ...] = (False,), light: tuple[bool, ...] = (False,)
) -> Callable[[Any], dict[Variant, Any]]:
    """Make a function a kernel, in some precisions, each of which takes so many registers a thread: the quickest of those
    tried. The fewer facets it holds, the less fast memory a block takes, and the more blocks run at a time.

    In each variant it has its own `MOST_PLANES`, `NEAR` and `LIGHT`, so that the compiler leaves out what these rule out.
    """

    def decorate(function: Any) -> dict[Variant, Any]:
        found = {}
        for variant in itertools.starmap(Variant, itertools.product(registers, CAPACITIES, near, light)):
            one = with_names(function, MOST_PLANES=variant.most, NEAR=variant.near, LIGHT=variant.light)
            plain = single_source(one) if variant.real is np.float32 else one
            most = registers[variant.real]
            limit = {} if most is None or config.ENABLE_CUDASIM else {"max_registers": most}  # type: ignore[attr-defined]
            name = "-".join([variant.real.__name__, str(variant.most), *["near"] * variant.near, *["light"] * variant.light])
            found[variant] = kept(cuda.jit(plain, **limit), name)
        return found

    return decorate


def holding(variants: Mapping[Variant, Any], real: Real, planes: int, near: bool = False, light: bool = False) -> Any:
    """Of the variants of a kernel in a precision, the smallest one for stones of so many facets."""
    most = next(most for most in CAPACITIES if planes <= most)
    return variants[Variant(real, most, near, light)]


def with_blocks(kernel: Any, blocks: int | tuple[int, int], stream: Any = 0) -> Any:
    """A kernel as it is launched, with so many blocks. Without numba's warning that few don't fill a processor."""
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", message=".*occupancy")
        return kernel[blocks, THREADS, stream]


@cuda.jit(device=True)
def view_ray(px, py, eye, turn):
    """Place and direction, stone's frame, of the view ray through (px, py) of the map plane, mm, see `Scenes.eyes`; and how far
    it goes for each mm towards the plane."""
    dx, dy, dz = 0.0, 0.0, -1.0
    if eye[3] > 0.0:
        dx, dy, dz = px - eye[0], py - eye[1], -eye[2]
        length = math.sqrt(dx * dx + dy * dy + dz * dz)
        dx, dy, dz = dx / length, dy / length, dz / length
    return (
        px * turn[0, 0] + py * turn[1, 0],
        px * turn[0, 1] + py * turn[1, 1],
        px * turn[0, 2] + py * turn[1, 2],
        dx * turn[0, 0] + dy * turn[1, 0] + dz * turn[2, 0],
        dx * turn[0, 1] + dy * turn[1, 1] + dz * turn[2, 1],
        dx * turn[0, 2] + dy * turn[1, 2] + dz * turn[2, 2],
        -1.0 / dz,
    )


@cuda.jit(device=True)
def stone_of(scenes, scene, planes, finish, spans, nearby):
    """Copy the stone of a scene into a block's fast memory; returns it as `paths.ahead` takes it."""
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
def numbered(wants, waits, words):
    """How many threads of a block want something, and how many of these have lower numbers; for all threads at once.

    waits : (W,) whole numbers of 32 bits, of which `words` are one for each 32 threads; overwritten, so that all threads
    have to meet before the next call. Larger numbers would take many times as long where threads meet.
    """
    thread = cuda.threadIdx.x
    if thread < words:
        waits[thread] = 0
    cuda.syncthreads()
    if wants:
        cuda.atomic.or_(waits, thread >> 5, np.uint32(1 << (thread & 31)))
    cuda.syncthreads()
    total = lower = 0
    for word in range(words):
        found = waits[word]
        total += cuda.popc(found)
        if word < thread >> 5:
            lower += cuda.popc(found)
        elif word == thread >> 5:
            lower += cuda.popc(found & np.uint32((1 << (thread & 31)) - 1))
    return total, lower
