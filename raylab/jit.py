"""How raylab uses numba: compiled when first called, cached where a cache can be written, strict arithmetic.

Rules that hold for every kernel:

* lazy signatures, so that importing raylab compiles nothing;
* ``error_model="numpy"``: a division by zero gives inf instead of a hidden branch and a Python exception;
* no ``fastmath`` at all. Letting a product and a sum become one fused multiply-add (``contract``) made the facet search a
  fifth faster, but then a process that compiles and one that loads the cache differ in the last bits;
* a cached kernel is good for one state of its module and of all that the module imports: numba looks at the file of the
  function called, and would go on using the old code or constant of another file that was compiled into it. The fields of all
  named tuples count too: a kernel knows those of its arguments by their places;
* the cache may be full, read-only or damaged: the work goes on, and what is missing is compiled again. Each file carries a
  checksum, because machine code with a flipped bit would crash or give wrong numbers;
* kernels that every stone and trace needs call no function of numba that numba itself compiles from Python (``np.cross``,
  ``np.dot``, ``np.searchsorted``, an array's ``max``, ``any``, ``cumsum``): loading such a kernel imports scipy.linalg, which
  takes longer than all the kernels of a trace;
* one lock around parallel kernels: on numba's ``workqueue`` layer two Python threads that enter at once abort.
"""

from __future__ import annotations

import functools
import hashlib
import pickle
import re
import threading
import warnings
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numba
from numba.core import types
from numba.core.caching import FunctionCache, IndexDataCacheFile
from numba.core.dispatcher import Dispatcher
from numba.core.runtime.nrt import rtsys

from . import compiling
from .errors import RaylabWarning
from .package_files import closure, source_files

_KERNEL_LOCK = threading.RLock()
_NAMED_TUPLE = re.compile(r"^class (\w+)\(NamedTuple\):\n((?:[ \t]+[^\n]*\n|\n)*)", re.MULTILINE)
_FIELD = re.compile(r"^    (\w+):", re.MULTILINE)


def njit(*, in_place: bool = False, **options: Any) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    """`numba.njit` with the project's rules; without a writable cache folder it compiles afresh each time.

    A kernel that makes no array and returns none works `in_place`: numba then counts no references in it, which is less to
    compile and to run.
    """
    options = {"error_model": "numpy", "_nrt": not in_place, "no_cfunc_wrapper": True, **options}

    def decorate(function: Callable[..., Any]) -> Callable[..., Any]:
        kernel: Callable[..., Any] = numba.njit(**options)(function)
        if isinstance(kernel, Dispatcher):  # not where numba is switched off
            kernel.compile = functools.partial(_compile, kernel.compile)  # type: ignore[method-assign]
            kernel.get_call_template = functools.partial(_call_template, kernel.get_call_template)  # type: ignore[method-assign]
            try:
                kernel._cache = _Cache(function)  # type: ignore[attr-defined]
            except RuntimeError as error:  # raised by numba when it finds no place for a cache
                if "cannot cache" not in str(error):
                    raise
                warn_not_kept("no folder for it can be written to (NUMBA_CACHE_DIR names another)")
        return kernel

    return decorate


def _compile(compile_it: Callable[..., Any], signature: Any) -> Any:
    """numba's `compile`. Whether it succeeds or fails, `compiling` counts the kernel as being compiled no longer."""
    with compiling.one_kernel():
        return compile_it(signature)


def _call_template(template: Callable[..., Any], args: Any, keywords: Any) -> Any:
    """numba's `get_call_template`, for a number of its kind where numba would compile a kernel for the number 0 as well."""
    plain = {key: types.unliteral(kind) for key, kind in dict(keywords).items()}  # type: ignore[no-untyped-call]
    return template([types.unliteral(kind) for kind in args], plain)  # type: ignore[no-untyped-call]


class _Cache(FunctionCache):  # type: ignore[misc]
    """numba's cache of one function, whose faults stop nothing."""

    def __init__(self, function: Callable[..., Any]) -> None:
        super().__init__(function)  # type: ignore[no-untyped-call]
        locator = self._impl.locator
        place = (self._cache_path, self._impl.filename_base, locator.get_source_stamp())
        self._cache_file = CacheFile(*place)  # type: ignore[no-untyped-call]
        # The version is compared before the rest is unpickled, which would fail where a module has moved since.
        self._cache_file._version += f" {stamp(function.__module__)}"

    def load_overload(self, signature: Any, context: Any) -> Any:
        """As numba does it, without the registries of its compiler, which take a third of a second to fill: compiling does
        so itself, and a kernel from the cache calls nothing but the runtime."""
        rtsys.initialize(context)
        with self._guard_against_spurious_io_errors():
            found = self._load_overload(signature, context)  # type: ignore[no-untyped-call]
        if found is None:
            compiling.begin(f"{self._py_func.__module__}.{self._py_func.__qualname__}".removeprefix("raylab."))
        return found

    def save_overload(self, signature: Any, data: Any) -> None:
        try:
            super().save_overload(signature, data)  # type: ignore[no-untyped-call]
        except OSError as error:
            warn_not_kept(f"{error.strerror or error}: {self._cache_path}")


class CacheFile(IndexDataCacheFile):  # type: ignore[misc]
    """The files of a function's cache, each with a checksum. A damaged file counts as missing, and is written anew."""

    def _dump(self, content: Any) -> bytes:
        data = super()._dump(content)  # type: ignore[no-untyped-call]
        return hashlib.sha256(data).digest() + data

    def _load_index(self) -> dict[Any, str]:
        try:
            with open(self._index_path, "rb") as file:
                if pickle.load(file) != self._version:  # noqa: TID251 - written by us
                    return {}
                stamp, overloads = _unpacked(file.read())
        except Exception:  # noqa: BLE001 - unpickling damaged bytes may raise anything
            return {}
        return dict(overloads) if stamp == self._source_stamp else {}

    def _load_data(self, name: str) -> Any:
        try:
            return _unpacked(Path(self._cache_path, name).read_bytes())
        except (OSError, ValueError):
            return None


def _unpacked(data: bytes) -> Any:
    """What `CacheFile` has written. Raises ValueError where it is damaged."""
    digest, content = data[:32], data[32:]
    if hashlib.sha256(content).digest() != digest:
        raise ValueError("damaged")
    return pickle.loads(content)


@functools.cache  # once in a process: Python's own list of warnings given is lost whenever numba compiles
def warn_not_kept(fault: str) -> None:
    warnings.warn(RaylabWarning(f"compiled code is not kept, each start compiles it again: {fault}"), stacklevel=1)


@functools.cache
def stamp(module: str) -> str:
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
