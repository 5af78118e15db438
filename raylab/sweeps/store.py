"""Where a sweep is kept while it runs: a folder that survives kill -9, a power cut and a lost worker.

    sweep.json     what the sweep is: code, settings, axes, fixed values, size of a chunk; written first, once
    parts/*.npy    one file per finished chunk, named by a hash of all that decides its numbers
    sweep.nc       the result, when all is done; the parts are then removed
    sweep.zarr     a copy as Zarr, if requested: see `zarr_copy`

Every file is there whole or not at all, see `whole_files`. (A netCDF file written in place is lost when its process is killed,
which is why there is one only at the end.)
"""

from __future__ import annotations

import hashlib
import json
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import IO, Any

try:
    import fcntl
except ImportError:  # not a POSIX system
    fcntl = None  # type: ignore[assignment]

import numpy as np

from ..designs.design import COLUMNS
from ..errors import InputError
from ..lighting.dome import Dome
from ..optics.materials import Material
from ..whole_files import disk_faults, whole_file
from .axes import Plan

MANIFEST, RESULT, PARTS, ZARR = "sweep.json", "sweep.nc", "parts", "sweep.zarr"
KEPT = "finished chunks are kept"
"""What a fault of the disk leaves untouched."""


def facts_of(plan: Plan, settings: dict[str, Any], code: str) -> dict[str, Any]:
    """All that decides a sweep's numbers, as plain values: equal for the same sweep."""
    waves = [float(w) for w in plan.columns.get("wavelength_nm", (plan.fixed.get("wavelength_nm"),))]
    return {
        "raylab_sweep": 1,
        "code": code,
        "settings": settings,
        "layout": plan.layout,
        "axes": {key: [_plain(value, waves) for value in values] for key, values in plan.columns.items()},
        "order": list(plan.columns),
        "fixed": {key: _plain(value, waves) for key, value in plan.fixed.items()},
    }


def _plain(value: Any, waves_nm: list[float]) -> Any:
    """A design's value in JSON's kinds; domes and materials by name and by a hash of what they do to light."""
    if isinstance(value, Dome):
        return f"{value.name} {value.digest[:16]}"
    if isinstance(value, Material):
        return f"{value.name} {value.digest(waves_nm)[:16]}"
    return value


class Store:
    """The folder of one sweep.

    Attributes: `folder`; `facts`, see `facts_of`; `size`, designs in a chunk; `done`, numbers of the finished chunks.
    """

    def __init__(self, folder: str | Path, facts: dict[str, Any], size: Callable[[], int], force: bool = False) -> None:
        """Begin a sweep in a folder, or go on with the same one.

        Parameters
        ----------
        size : called for the size of a chunk if the sweep is new. force : give up another sweep that lies there.

        Raises
        ------
        InputError : another sweep lies there (says in what it differs), or the folder can't be written to.
        """
        self.folder, self.facts = Path(folder), facts
        self._held: IO[bytes] | None = None
        self.key = hashlib.sha256(json.dumps(facts, sort_keys=True).encode()).hexdigest()
        try:
            with disk_faults(self.folder, KEPT):
                self._open(size, force)
        except BaseException:
            self.close()
            raise

    def _open(self, size: Callable[[], int], force: bool) -> None:
        """What `__init__` does in the folder."""
        if self.folder.exists() and not self.folder.is_dir():
            raise InputError("not a folder", file=str(self.folder), expected="a folder for the sweep")
        self._claim()
        if force and self.folder.is_dir():
            self._clear()
        self.folder.mkdir(parents=True, exist_ok=True)
        known = self._known()
        self.size = size() if known is None else int(known)
        if not self.result.exists():
            (self.folder / PARTS).mkdir(exist_ok=True)
        if known is None:
            text = json.dumps({**self.facts, "chunk": self.size}, indent=1, ensure_ascii=False)
            with whole_file(self.folder / MANIFEST, kept=KEPT) as file:
                file.write_text(text, encoding="utf-8")
            self.close()  # after `_clear` the hold is on a file that is gone
            self._claim()
        count = -(-_designs(self.facts) // self.size)
        self.done = {number for number in range(count) if self._part(number).exists()}

    @property
    def result(self) -> Path:
        """Where the result will be, or is."""
        return self.folder / RESULT

    def _claim(self) -> None:
        """Hold the sweep for this process, where the system can; the hold ends with the process, however it ends.

        Raises InputError where another holds it.
        """
        manifest = self.folder / MANIFEST
        if fcntl is None or self._held is not None or not manifest.exists():
            return
        self._held = open(manifest, "rb")  # noqa: SIM115 - closed by `close`
        try:
            fcntl.flock(self._held, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as error:
            self.close()
            raise InputError("another process runs this sweep", file=str(self.folder), expected="another folder") from error

    def close(self) -> None:
        """Give the sweep free for others."""
        if self._held is not None:
            self._held.close()
            self._held = None

    def _clear(self) -> None:
        for file in (self.result, self.folder / MANIFEST):
            file.unlink(missing_ok=True)
        for folder in (PARTS, ZARR):
            shutil.rmtree(self.folder / folder, ignore_errors=True)

    def _known(self) -> int | None:
        """The chunk size of the sweep that lies here; None if there is none."""
        manifest = self.folder / MANIFEST
        if not manifest.exists():
            if self.result.exists():
                raise InputError("a result without sweep.json", file=str(self.result), expected=_ELSEWHERE)
            return None
        try:
            found = json.loads(manifest.read_text(encoding="utf-8"))
            size = found.pop("chunk")
        except (ValueError, KeyError, TypeError, AttributeError) as error:
            raise InputError("not the description of a sweep", file=str(manifest), expected=_ELSEWHERE) from error
        if found != json.loads(json.dumps(self.facts)):
            problem = f"the folder holds another sweep: {_difference(found, self.facts)}"
            raise InputError(problem, file=str(manifest), expected=_ELSEWHERE)
        return int(size)

    def _part(self, number: int) -> Path:
        name = hashlib.sha256(f"{self.key} {self.size} {number}".encode()).hexdigest()
        return self.folder / PARTS / f"{name[:32]}.npy"

    def save(self, number: int, rows: np.ndarray) -> None:
        """Keep a finished chunk. Raises InputError where it can't be written; the others stay."""
        with whole_file(self._part(number), force=True, kept=KEPT) as file:
            np.save(file, rows)
        self.done.add(number)

    def load(self, number: int) -> np.ndarray:
        """The rows of a finished chunk."""
        rows = np.load(self._part(number), allow_pickle=False)
        if rows.ndim != 2 or rows.shape[1] != len(COLUMNS):
            raise InputError("not part of this sweep", file=str(self._part(number)), expected="another folder")
        return rows

    def finish(self, result: bytes | memoryview) -> None:
        """Put the result in place, then remove the parts, which are not needed any more."""
        with whole_file(self.result, kept=KEPT) as file:
            file.write_bytes(result)
        shutil.rmtree(self.folder / PARTS, ignore_errors=True)


_ELSEWHERE = "another folder, or permission to start again (--force; force=True)"


def _designs(facts: dict[str, Any]) -> int:
    sizes = [len(values) for values in facts["axes"].values()]
    return int(np.prod(sizes, dtype=np.int64)) if facts["layout"] == "grid" else sizes[0]


def _difference(found: dict[str, Any], wanted: dict[str, Any]) -> str:
    """In words, the first thing in which two sweeps differ."""
    words = {"code": "it was computed by another version of the code", "order": "its axes have another order"}
    for key in ("raylab_sweep", "code", "layout", "settings", "fixed", "axes", "order"):
        one, other = found.get(key), wanted[key]
        if one == other:
            continue
        if isinstance(other, dict) and isinstance(one, dict):
            name = next(name for name in [*other, *one] if one.get(name) != other.get(name))
            return f"{key}.{name} differs"
        return words.get(key, f"its {key} differs")
    return "it has more keys"
