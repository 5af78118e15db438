"""Reading a file of the user's: one function for its content, and one wrapper that makes any fault its one line.

Only regular files are read. A pipe would hang and a device never end, so the file is opened without waiting and looked at
before its first byte. Each kind of file has a size that is never exceeded.
"""

from __future__ import annotations

import functools
import os
import stat
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Concatenate, NamedTuple, ParamSpec, TypeVar

from .errors import InputError, RaylabError

_P = ParamSpec("_P")
_T = TypeVar("_T")

MIB = 1 << 20
_HOW = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_NOCTTY", 0) | getattr(os, "O_BINARY", 0)


class Kind(NamedTuple):
    """A kind of file: its `name` with the article, as messages call it, and the `most` bytes that are read."""

    name: str
    most: int


def read_file(path: str | Path, kind: Kind, label: str | None = None) -> bytes:
    """The content of a user's file; errors call the file by its path, or by `label`.

    Raises InputError for a missing or unreadable file, for what is no regular file, and for a file that is too large.
    """
    file = str(path) if label is None else label
    try:
        handle = os.open(path, _HOW)
        try:
            state = os.fstat(handle)
            if not stat.S_ISREG(state.st_mode):
                raise InputError("not a file", file=file, expected=kind.name)
            if state.st_size > kind.most:
                most = f"{kind.name} of at most {kind.most} bytes"
                raise InputError(f"file too large ({state.st_size} bytes)", file=file, expected=most)
            with open(handle, "rb", closefd=False) as opened:
                data = opened.read(state.st_size + 1)  # one more byte shows that it grows
        finally:
            os.close(handle)
    except InputError:
        raise
    except (FileNotFoundError, ValueError) as error:  # ValueError: a null byte in the name
        raise InputError("no such file", file=file, expected=kind.name) from error
    except OSError as error:
        raise InputError(
            f"cannot be read: {error.strerror or error}", file=file, expected=f"{kind.name} that can be read"
        ) from error
    if len(data) != state.st_size:
        raise InputError("not a plain file, or a file that changes", file=file, expected=kind.name)
    return data


def read_text(path: str | Path, kind: Kind, label: str | None = None) -> str:
    """The text of a user's file, UTF-8 with or without a mark at its start. Raises InputError as `read_file` does, and for
    other bytes."""
    data = read_file(path, kind, label)
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        file = str(path) if label is None else label
        raise InputError("not UTF-8", file=file, key=f"line {line}", expected=f"{kind.name} in UTF-8") from error


def reader(function: Callable[Concatenate[str | Path, _P], _T]) -> Callable[Concatenate[str | Path, _P], _T]:
    """A function that reads the file at its first argument: whatever it raises is an InputError that names the file."""

    @functools.wraps(function)
    def guarded(path: str | Path, /, *args: _P.args, **options: _P.kwargs) -> _T:
        with parsing(str(path)):
            return function(path, *args, **options)

    return guarded


@contextmanager
def parsing(file: str | None = None) -> Iterator[None]:
    """Something reads a file of the user's: whatever it raises becomes an InputError, and its warnings are not shown.

    A parser of damaged bytes may raise anything; the file is at fault, and where it isn't, the traceback is in the chain of the
    error (the command line shows it where RAYLAB_DEBUG is set).
    """
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            yield
    except RaylabError:
        raise
    except MemoryError as error:
        raise InputError("not enough memory to read it", file=file) from error
    except Exception as error:
        what = " ".join(filter(None, (type(error).__name__, str(error)[:200])))
        raise InputError(f"cannot be read: {what}", file=file, expected="an undamaged file") from error
