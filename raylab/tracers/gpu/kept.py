"""Kernels of the graphics processor are kept between runs, as `jit` keeps the others: compiling one takes some seconds."""

from __future__ import annotations

from typing import Any

from numba import config

from ...jit import CacheFile, stamp, warn_not_kept


def kept(kernel: Any, variant: str) -> Any:
    """The same kernel, read from the cache where it has been compiled before. Under numba-cuda's simulator nothing is compiled.

    `variant` is its name among those that one function makes.
    """
    if config.ENABLE_CUDASIM:  # type: ignore[attr-defined]
        return kernel
    from numba.cuda.dispatcher import CUDACache

    class Cache(CUDACache):  # type: ignore[misc]
        def __init__(self) -> None:
            super().__init__(kernel.py_func)
            place = (self._cache_path, f"{self._impl.filename_base}-{variant}", self._impl.locator.get_source_stamp())
            self._cache_file = CacheFile(*place)  # type: ignore[no-untyped-call]
            self._cache_file._version += f" {stamp(kernel.py_func.__module__)}"

        def save_overload(self, signature: Any, data: Any) -> None:
            try:
                super().save_overload(signature, data)
            except OSError as error:
                warn_not_kept(f"{error.strerror or error}: {self._cache_path}")

    try:
        kernel._cache = Cache()
    except RuntimeError as error:  # raised by numba when it finds no place for a cache
        if "cannot cache" not in str(error):
            raise
        warn_not_kept("no folder for it can be written to (NUMBA_CACHE_DIR names another)")
    return kernel
