"""How raylab uses numba: compiled when first called, cached where a cache can be written, strict arithmetic.

Rules that hold for every kernel:

* lazy signatures, so that importing raylab compiles nothing;
* ``error_model="numpy"``: a division by zero gives inf instead of a hidden branch and a Python exception;
* no ``fastmath`` at all. Letting a product and a sum become one fused multiply-add (``contract``) made the facet search a
  fifth faster, but then a process that compiles and one that loads the cache differ in the last bits;
* a cached kernel is good for one state of its module and of all that the module imports: numba looks at the file of the
  function called, and would go on using the old code or constant of another file that was compiled into it. The fields of all
  named tuples count too: a kernel knows those of its arguments by their places;
* one lock around parallel kernels: on numba's ``workqueue`` layer two Python threads that enter at once abort.
"""

from __future__ import annotations

import functools
import hashlib
import re
import threading
import warnings
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numba
from numba.core.dispatcher import Dispatcher

from .package_files import closure, source_files

_KERNEL_LOCK = threading.RLock()
_NAMED_TUPLE = re.compile(r"^class (\w+)\(NamedTuple\):\n((?:[ \t]+[^\n]*\n|\n)*)", re.MULTILINE)
_FIELD = re.compile(r"^    (\w+):", re.MULTILINE)


def njit(**options: Any) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    """`numba.njit` with the project's rules; without a writable cache folder it compiles afresh each time."""
    options = {"error_model": "numpy", **options}

    def decorate(function: Callable[..., Any]) -> Callable[..., Any]:
        try:
            kernel = numba.njit(cache=True, **options)(function)
        except RuntimeError as error:  # raised by numba when it finds no place for a cache
            if "cannot cache" not in str(error):
                raise
            warnings.warn(f"no writable cache for compiled code; each start compiles the kernels again: {error}", stacklevel=2)
            return numba.njit(**options)(function)
        if isinstance(kernel, Dispatcher):  # not where numba is switched off
            # The version is compared before the rest is unpickled, which would fail where a module has moved since.
            kernel._cache._cache_file._version += f" {_stamp(function.__module__)}"  # type: ignore[attr-defined]
        return kernel

    return decorate


@functools.cache
def _stamp(module: str) -> str:
    """A hash of all source that can be compiled into a module's kernels: its own and that of what it imports.

    For a module outside raylab, whose imports are not read, of the whole package.
    """
    files = source_files()
    name = module.removeprefix("raylab.")
    digest = hashlib.sha256(_named_tuples().encode())
    for one in closure(name) if module.startswith("raylab.") and name in files else sorted(files):
        digest.update(_file_hash(files[one]))
    return digest.hexdigest()


@functools.cache
def _named_tuples() -> str:
    """Names and fields of all named tuples in the package."""
    found = [one for file in source_files().values() for one in _NAMED_TUPLE.findall(file.read_text(encoding="utf-8"))]
    return repr(sorted((name, _FIELD.findall(body)) for name, body in found))


@functools.cache
def _file_hash(file: Path) -> bytes:
    return hashlib.sha256(file.read_bytes()).digest()


def parallel_kernel(function: Callable[..., Any]) -> Callable[..., Any]:
    """A parallel numba kernel that only one Python thread enters at a time."""
    kernel = njit(parallel=True)(function)

    @functools.wraps(function)
    def locked(*args: Any) -> Any:
        with _KERNEL_LOCK:
            return kernel(*args)

    return locked
