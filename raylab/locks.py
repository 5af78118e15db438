"""Locks that end with the process that holds them, however it ends.

A folder is locked while files are put in place in it; a lock file is held for as long as a piece of work takes.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

try:
    import fcntl
except ImportError:  # not a POSIX system
    fcntl = None  # type: ignore[assignment]
try:
    import msvcrt
except ImportError:  # not Windows
    msvcrt = None  # type: ignore[assignment]


class Claim:
    """A lock file that this process holds until it releases it, or ends."""

    def __init__(self, file: Path) -> None:
        """Raises BlockingIOError where another process holds it, OSError where no file can be made there."""
        self.file = file
        while True:
            self._handle = os.open(file, os.O_RDWR | os.O_CREAT, 0o666)
            try:
                _claim(self._handle)
                if os.path.samestat(os.fstat(self._handle), os.stat(file)):
                    return
            except BlockingIOError:
                os.close(self._handle)
                raise
            except FileNotFoundError:  # released between our opening and our lock
                pass
            except OSError:  # a file system without locks
                return
            os.close(self._handle)

    def release(self) -> None:
        if fcntl is None:  # Windows removes no open file
            os.close(self._handle)
        with suppress(OSError):  # the folder may be gone, or another process has claimed the file
            self.file.unlink()
        if fcntl is not None:  # still locked while it goes, so that nobody claims a file without a name
            os.close(self._handle)


def _claim(handle: int) -> None:
    """Lock a file, on POSIX as a whole, on Windows by its first byte; BlockingIOError where another process has done so."""
    if fcntl is not None:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    elif msvcrt is not None:
        os.lseek(handle, 0, os.SEEK_SET)
        try:
            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined,unused-ignore]
        except PermissionError as error:
            raise BlockingIOError(*error.args) from error


@contextmanager
def turn(folder: Path) -> Iterator[None]:
    """Wait until no other process puts files in place in this folder, or makes its stage there."""
    held = lock(folder, wait=True)
    while held is not None and not os.path.samestat(os.fstat(held), os.stat(folder)):  # exchanged in the meantime
        unlock(held)
        held = lock(folder, wait=True)
    try:
        yield
    finally:
        unlock(held)


def lock(folder: Path, *, wait: bool = False) -> int | None:
    """The handle of a lock that ends with this process; None where the system or the file system has none.

    Raises BlockingIOError where another holds it.
    """
    if fcntl is None:
        return None
    handle = os.open(folder, os.O_RDONLY)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | (0 if wait else fcntl.LOCK_NB))
    except OSError as error:
        os.close(handle)
        if isinstance(error, BlockingIOError):
            raise
        return None
    return handle


def unlock(held: int | None) -> None:
    if held is not None:
        os.close(held)
