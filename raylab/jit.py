"""How raylab uses numba: compiled when first called, cached where a cache can be written, strict arithmetic.

Rules that hold for every kernel:

* lazy signatures, so that importing raylab compiles nothing;
* ``error_model="numpy"``: a division by zero gives inf instead of a hidden branch and a Python exception;
* no ``fastmath`` at all. Letting a product and a sum become one fused multiply-add (``contract``) made the facet search a
  fifth faster, but then a process that compiles and one that loads the cache differ in the last bits;
* one lock around parallel kernels: on numba's ``workqueue`` layer two Python threads that enter at once abort.
"""

from __future__ import annotations

import functools
import threading
import warnings
from collections.abc import Callable
from typing import Any

import numba

_KERNEL_LOCK = threading.RLock()


def njit(**options: Any) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    """`numba.njit` with the project's rules; without a writable cache folder it compiles afresh each time."""
    options = {"error_model": "numpy", **options}

    def decorate(function: Callable[..., Any]) -> Callable[..., Any]:
        try:
            return numba.njit(cache=True, **options)(function)
        except RuntimeError as error:  # raised by numba when it finds no place for a cache
            if "cannot cache" not in str(error):
                raise
            warnings.warn(f"no writable cache for compiled code, compiling at each start: {error}", stacklevel=2)
            return numba.njit(**options)(function)

    return decorate


def parallel_kernel(function: Callable[..., Any]) -> Callable[..., Any]:
    """A parallel numba kernel that only one Python thread enters at a time."""
    kernel = njit(parallel=True)(function)

    @functools.wraps(function)
    def locked(*args: Any) -> Any:
        with _KERNEL_LOCK:
            return kernel(*args)

    return locked
