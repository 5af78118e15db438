"""Files that are there whole or not at all, one by one and in sets.

A block writes into a temporary folder, the stage. When the block ends well, every file is flushed to the disk and put in
place; when it fails, nothing is left. The guarantee holds for errors, Ctrl-C, ``kill -9`` and a power cut:

* a single file: its name shows the old file or the new one;
* a set in a new folder: the folder appears with all files, in one step;
* a set in a folder that is there: the folder shows the old files or all the new ones. A new folder beside it gets the set
  and links to the other files, and the two folders change names in one step. (A shell that stands in the folder sees the
  new one after ``cd .``.)

Linux and macOS exchange folders. Where it can't be done, the files of a set are renamed one after the other: on other
systems, in a folder that holds folders (the stage of another process is one), is the working directory or a mount point, or
lies in one that can't be written to. A process killed within these renames, less than a millisecond for ten files, leaves some
old and some new; the stage is then marked complete, and the next run that writes into the folder renames the rest.

The lock on a stage ends with its process. The next run in the same place removes stages without one. Two processes that write
into one folder take turns in putting files in place.
"""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from .errors import InputError
from .locks import turn
from .staging import Stage, becomes, clear, flush, is_stage, put_in_place


@contextmanager
def whole_file(path: str | Path, *, force: bool = False, kept: str = "") -> Iterator[Path]:
    """A temporary path to write to, which becomes `path` when the block ends well and vanishes when it fails.

    Parameters
    ----------
    force : overwrite a file of this name. kept : what a failure leaves untouched, for its message.

    Raises
    ------
    InputError : something is in the way, or the place can't be written to.
    """
    path = Path(path)
    with whole_set(path.parent, [path.name], force=force, make=False, kept=kept) as stage:
        yield stage / path.name


@contextmanager
def whole_set(
    folder: str | Path, names: Iterable[str], *, force: bool = False, make: bool = True, kept: str = ""
) -> Iterator[Path]:
    """A temporary folder to write to; its files appear together in `folder` when the block ends well, or none does.

    Parameters
    ----------
    names : the planned files, so that a file in the way is reported before the work starts.
    force : overwrite files of these names. make : make the folder if it is missing.
    kept : what a failure leaves untouched, for its message.

    Raises
    ------
    InputError : something is in the way, or the place can't be written to.
    """
    folder, names = Path(folder), list(names)
    if is_stage(folder):  # put in place with all that is there
        refuse_taken(folder, names, force)
        yield folder
        return
    missing = [one for one in folder.parents if not one.exists()] if make else []
    stage: Stage | None = None
    with disk_faults(folder / names[0] if len(names) == 1 else folder, kept):
        try:
            clear(folder)
            refuse_taken(folder, names, force)
            if make:
                folder.parent.mkdir(parents=True, exist_ok=True)
            place = folder if folder.exists() or not make else folder.parent
            with turn(place):
                stage = Stage(place)
            yield stage.path
            flush(stage.path)
            if not becomes(stage, folder):
                with turn(folder):
                    refuse_taken(folder, sorted(os.listdir(stage.path)), force)
                    put_in_place(stage, folder)
        finally:
            if stage is not None:
                stage.close()
            for one in missing:
                with suppress(OSError):  # it holds something now
                    one.rmdir()


def refuse_taken(folder: Path, names: Iterable[str], force: bool) -> None:
    """Raise InputError where a folder can't hold files of these names, or has one already and `force` isn't set."""
    if folder.exists() and not folder.is_dir():
        raise InputError("not a folder", file=str(folder), expected="a folder to write to")
    for target in (folder / name for name in names):
        if target.is_dir():
            raise InputError("a folder of this name exists", file=str(target), expected="another name")
        if not force and os.path.lexists(target):
            raise InputError(
                "exists already; nothing was written",
                file=str(target),
                expected="another folder, or permission to overwrite (--force; force=True)",
            )


@contextmanager
def temporary_folder() -> Iterator[Path]:
    """A folder that is gone when the block ends. Raises InputError where there is no room for it or for its files."""
    with disk_faults(Path("the temporary folder")), tempfile.TemporaryDirectory(prefix="raylab-") as folder:
        yield Path(folder)


@contextmanager
def disk_faults(place: Path, kept: str = "") -> Iterator[None]:
    """A fault of the disk as one line that names the place; `kept` is what the fault leaves untouched."""
    try:
        yield
    except OSError as error:
        reason = "; ".join(filter(None, (error.strerror or str(error), kept)))
        raise InputError(
            f"cannot be written: {reason}", file=str(place), expected="a writable folder with free space"
        ) from error
