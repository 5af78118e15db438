"""Whether there is a graphics processor for CUDA, and the software to use it."""

from __future__ import annotations

import functools
import os

CAPACITIES = (192, 512)
"""Facets of a stone that kernels hold: the planes of 512 fill 16 kB of a block's fast memory in double precision."""


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


def device_count() -> int:
    """How many such processors this process can use; 0 for none."""
    if why_no_device() is not None:
        return 0
    from numba import cuda

    return len(cuda.gpus)


def only(device: int) -> dict[str, str]:
    """Variables of the environment of a process that is to use one of them and no other."""
    seen = os.environ.get("CUDA_VISIBLE_DEVICES")
    return {"CUDA_VISIBLE_DEVICES": str(device) if seen is None else seen.split(",")[device].strip()}
