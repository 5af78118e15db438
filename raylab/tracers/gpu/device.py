"""Whether there is a graphics processor for CUDA, and the software to use it."""

from __future__ import annotations

import functools

MOST_PLANES = 512
"""Facets of a stone: their planes fill 16 kB of a block's fast memory."""


@functools.cache
def why_no_device() -> str | None:
    """None where kernels can run, or a clause that says what is missing."""
    try:
        from numba import cuda
    except ImportError:
        return "numba-cuda is missing (pip install 'raylab[gpu]')"
    try:
        found = cuda.is_available()
    except Exception as error:  # noqa: BLE001 - a driver that can't be loaded may raise anything
        return f"CUDA can't be used ({error})"
    return None if found else "no graphics processor for CUDA was found"
