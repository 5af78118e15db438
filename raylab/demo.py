"""The demo scenes, stones and sweeps, which are shipped with the package: their names stand for files anywhere.

In the repository they lie in ``scenes/`` beside the package; a wheel holds the same folder as ``raylab/demo``. A name is that
of a file with or without its suffix, without folders: ``well-proportioned`` or ``offer-a.csv``. A real file of this name in the
working directory goes first.
"""

from __future__ import annotations

import difflib
import functools
from pathlib import Path

from .errors import InputError
from .package_files import PACKAGE

FIRST = "well-proportioned"
"""What is drawn where nothing is named."""

_NAMED = (".toml", ".csv", ".ply")
_BESIDE = (".tiff",)
"""Suffixes of files that scenes refer to: shipped and copied, but without a name."""


def demo_folder() -> Path:
    """The folder of the demo files."""
    packed = PACKAGE / "demo"
    return packed if packed.is_dir() else PACKAGE.parent / "scenes"


@functools.cache
def demo_files() -> tuple[Path, ...]:
    """The demo files, relative to their folder, sorted; scenes at its top, the others in folders of their kind."""
    folder = demo_folder()
    found = (path.relative_to(folder) for path in folder.rglob("*") if path.suffix in (*_NAMED, *_BESIDE))
    return tuple(sorted(found, key=lambda path: (len(path.parts), path)))


@functools.cache
def named_files() -> tuple[Path, ...]:
    """Those of the demo files that a name stands for."""
    return tuple(file for file in demo_files() if file.suffix in _NAMED)


def demo_name(file: Path) -> str:
    """The shortest name of a demo file that no other one has."""
    alone = sum(other.stem == file.stem for other in named_files()) == 1
    return file.stem if alone else file.name


def own_or_demo(path: str | Path) -> Path:
    """A file of the user's as it is given, or the demo file of this name where there is none.

    Raises InputError for the name of several demo files, and for a word that is neither a file nor a name.
    """
    given = Path(path)
    if given.name != str(path) or given.exists():
        return given
    found = [file for file in named_files() if given.name in (file.name, file.stem)]
    if len(found) == 1:
        return demo_folder() / found[0]
    if found:
        names = " or ".join(file.name for file in found)
        raise InputError("several shipped files have this name", file=given.name, expected=names)
    if not given.suffix:
        close = difflib.get_close_matches(given.name, [demo_name(file) for file in named_files()], n=1, cutoff=0.6)
        hint = f"did you mean {close[0]!r}?" if close else "a file, or a name that `raylab scenes` lists"
        raise InputError("no such file", file=given.name, expected=hint)
    return given
