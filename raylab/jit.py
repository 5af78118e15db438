"""How raylab uses numba: compiled when first called, cached where a cache can be written, strict arithmetic.

Rules that hold for every kernel:

* lazy signatures, so that importing raylab compiles nothing;
* ``error_model="numpy"``: a division by zero gives inf instead of a hidden branch and a Python exception;
* no ``fastmath`` at all. Letting a product and a sum become one fused multiply-add (``contract``) made the facet search a
  fifth faster, but then a process that compiles and one that loads the cache differ in the last bits;
* a cached kernel is good for one state of all kernels: numba looks at the file of the function called, and would go on
  using the old code of a function from another file that was compiled into it;
* one lock around parallel kernels: on numba's ``workqueue`` layer two Python threads that enter at once abort.
"""

from __future__ import annotations

import functools
import hashlib
import threading
import warnings
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numba
from numba.core.dispatcher import Dispatcher

_KERNEL_LOCK = threading.RLock()


def njit(**options: Any) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    """`numba.njit` with the project's rules; without a writable cache folder it compiles afresh each time."""
    options = {"error_model": "numpy", **options}

    def decorate(function: Callable[..., Any]) -> Callable[..., Any]:
        try:
            kernel = numba.njit(cache=True, **options)(function)
        except RuntimeError as error:  # raised by numba when it finds no place for a cache
            if "cannot cache" not in str(error):
                raise
            warnings.warn(f"no writable cache for compiled code, compiling at each start: {error}", stacklevel=2)
            return numba.njit(**options)(function)
        if isinstance(kernel, Dispatcher):  # not where numba is switched off
            # The version is compared before the rest is unpickled, which would fail where a module has moved since.
            kernel._cache._cache_file._version += f" {_kernels()}"  # type: ignore[attr-defined]
        return kernel

    return decorate


@functools.cache
def _kernels() -> str:
    """A hash of the source of all kernels, in the package's files that name njit."""
    digest = hashlib.sha256()
    for file in sorted(Path(__file__).parent.rglob("*.py")):
        source = file.read_bytes()
        if b"njit" in source or b"parallel_kernel" in source:
            digest.update(source)
    return digest.hexdigest()


def parallel_kernel(function: Callable[..., Any]) -> Callable[..., Any]:
    """A parallel numba kernel that only one Python thread enters at a time."""
    kernel = njit(parallel=True)(function)

    @functools.wraps(function)
    def locked(*args: Any) -> Any:
        with _KERNEL_LOCK:
            return kernel(*args)

    return locked
