"""How files that were written elsewhere come to their place: stages and renames; `whole_files` says what is guaranteed.

A stage is a folder ``.raylab-<key>.part`` in the folder it is meant for, or beside one that is not there yet. Its lock ends
with the process, so a stage without one is left over. ``.raylab-<key>.complete`` holds a set whose files are to be renamed into
the folder above, whatever happens to the process.
"""

from __future__ import annotations

import ctypes
import errno
import os
import re
import secrets
import shutil
import time
from contextlib import suppress
from pathlib import Path

from .locks import lock, unlock

_PART, _COMPLETE = ".part", ".complete"
_STAGE_NAME = re.compile(rf"\.raylab-[0-9a-f]{{12}}({_PART}|{_COMPLETE})")
HOLDS = os.name == "nt"
"""Whether the system replaces no file that a program holds open."""
PAUSES_S = (0.05, 0.1, 0.2, 0.4, 0.8)
"""Between tries to replace such a file; a virus scanner lets go soon."""
_AT_WORKING_DIRECTORY, _EXCHANGE = -100, 2
"""AT_FDCWD and RENAME_EXCHANGE of Linux's renameat2(2); macOS has the latter's number for RENAME_SWAP of renamex_np(2)."""


class Stage:
    """A new folder in `place`, locked for this process. Attributes: `path`, which follows renames; `lock`."""

    def __init__(self, place: Path) -> None:
        while True:
            self.path = place / f".raylab-{secrets.token_hex(6)}{_PART}"
            self.path.mkdir()
            with suppress(BlockingIOError, FileNotFoundError):  # `clear` of another process came before the lock
                self.lock = lock(self.path)
                if self.path.exists():
                    return
                unlock(self.lock)

    def rename(self, path: Path) -> None:
        os.rename(self.path, path)
        self.path = path

    def close(self) -> None:
        """Remove what was not put in place; of a complete set nothing is removed."""
        try:
            if self.path.name.endswith(_COMPLETE):
                _move_up(self.path)
            shutil.rmtree(self.path, ignore_errors=True)
        finally:
            unlock(self.lock)


def is_stage(folder: Path) -> bool:
    """Whether a folder is a stage, by its name."""
    return _STAGE_NAME.fullmatch(folder.name) is not None


def becomes(stage: Stage, folder: Path) -> bool:
    """Whether a flushed stage has taken the name of a folder that is not there."""
    if folder.exists():
        return False
    try:
        os.rename(stage.path, folder)
    except OSError:
        if not folder.is_dir():
            raise
        return False  # another process has just made it
    _flush_names(folder.parent)
    return True


def put_in_place(stage: Stage, folder: Path) -> None:
    """The files of a flushed stage appear in a folder that is there: one by renaming it, several by exchanging folders."""
    if stage.path.parent != folder:  # made beside it, before another process made the folder
        stage.rename(folder / stage.path.name)
    names = sorted(os.listdir(stage.path))
    if HOLDS:
        _wait_for_held(folder, names)
    if len(names) > 1:
        if _exchange(stage, folder, names):
            return
        stage.rename(stage.path.with_suffix(_COMPLETE))
        _flush_names(folder)
    _move_up(stage.path)


def _wait_for_held(folder: Path, names: list[str]) -> None:
    """Nothing is replaced where a program holds one of the old files open: renaming it to its own name fails then.

    Raises PermissionError that names the file.
    """
    for target in (folder / name for name in names if os.path.lexists(folder / name)):
        for pause_s in (*PAUSES_S, None):
            try:
                os.rename(target, target)
                break
            except PermissionError as error:
                if pause_s is None:
                    held = f"{target.name} is open in another program, such as a notebook; close it there"
                    raise PermissionError(error.errno, held, str(target)) from error
                time.sleep(pause_s)


def _exchange(stage: Stage, folder: Path, names: list[str]) -> bool:
    """Whether the folder now shows the set, in one step; False, and all as it was, where that can't be done."""
    others = [entry for entry in os.scandir(folder) if entry.name not in {*names, stage.path.name}]
    if os.name != "posix" or _is_working_directory(folder) or any(entry.is_dir(follow_symlinks=False) for entry in others):
        return False
    real, inside = Path(os.path.realpath(folder)), stage.path
    try:
        old, new = os.stat(folder), os.stat(stage.path)
        if (old.st_uid, old.st_gid) != (new.st_uid, new.st_gid):
            os.chown(stage.path, old.st_uid, old.st_gid)
        for entry in others:
            os.link(entry.path, stage.path / entry.name, follow_symlinks=False)
        shutil.copystat(folder, stage.path)
        _flush_names(stage.path)
        stage.rename(real.parent / stage.path.name)
        _exchange_names(stage.path, real)
    except OSError:
        if stage.path != inside:
            stage.rename(inside)
        for entry in others:
            (stage.path / entry.name).unlink(missing_ok=True)
        return False
    _flush_names(real.parent)
    for late in set(os.listdir(stage.path)) - {entry.name for entry in others} - set(names):
        os.rename(stage.path / late, real / late)  # came after the links were made
    return True


def _is_working_directory(folder: Path) -> bool:
    with suppress(OSError):  # it may be gone
        return os.path.samefile(folder, os.curdir)
    return False


def _exchange_names(one: Path, other: Path) -> None:
    """Two folders change names in one step; raises OSError where the system or the file system can't do it."""
    library = ctypes.CDLL(None, use_errno=True)
    first, second = os.fsencode(one), os.fsencode(other)
    if hasattr(library, "renameat2"):
        failed = library.renameat2(_AT_WORKING_DIRECTORY, first, _AT_WORKING_DIRECTORY, second, _EXCHANGE)
    elif hasattr(library, "renamex_np"):
        failed = library.renamex_np(first, second, _EXCHANGE)
    else:
        raise OSError(errno.ENOSYS, os.strerror(errno.ENOSYS))
    if failed:
        raise OSError(ctypes.get_errno(), os.strerror(ctypes.get_errno()))


def _move_up(stage: Path) -> None:
    """A stage's files renamed into the folder that it lies in, one after the other."""
    for name in sorted(os.listdir(stage)):
        os.replace(stage / name, stage.parent / name)
    _flush_names(stage.parent)


def clear(folder: Path) -> None:
    """Complete sets of ended processes are put in place in the folder; their other stages, in it and beside it, are removed."""
    beside = Path(os.path.realpath(folder)).parent
    with suppress(OSError):
        for stage in _stages(beside, _PART):
            _remove_dead(stage)
    if folder.is_dir():
        for stage in (*_stages(folder, _PART), *_stages(folder, _COMPLETE)):
            _remove_dead(stage)


def _stages(place: Path, kind: str) -> list[Path]:
    return [Path(entry.path) for entry in os.scandir(place) if _STAGE_NAME.fullmatch(entry.name) and entry.name.endswith(kind)]


def _remove_dead(stage: Path) -> None:
    with suppress(BlockingIOError, FileNotFoundError):  # its process lives, or another one removes it
        held = lock(stage)
        try:
            if held is not None and stage.name.endswith(_COMPLETE):
                _move_up(stage)
            if held is not None:
                shutil.rmtree(stage, ignore_errors=True)
        finally:
            unlock(held)


def flush(folder: Path) -> None:
    """All files below a folder, and the lists of names, flushed to the disk."""
    for path, _, names in os.walk(folder):
        for name in names:
            flush_file(Path(path, name))
        _flush_names(Path(path))


def flush_file(path: Path) -> None:
    """A file flushed to the disk."""
    with open(path, "rb+") as written:
        os.fsync(written.fileno())


def _flush_names(folder: Path) -> None:
    """A folder's list of names flushed to the disk, where the system can."""
    if os.name == "posix":
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
