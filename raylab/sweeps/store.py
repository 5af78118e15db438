"""Where a sweep is kept while it runs: a folder that survives kill -9, a power cut and a lost worker.

    sweep.json     what the sweep is: code, settings, axes, fixed values, size of a chunk; when all is done, also a hash of
                   the result, or of its description
    parts/*.rows   one file per finished chunk, named by a hash of all that decides its numbers; see `parts`
    damaged/       parts that were found damaged, set aside
    sweep.nc       the result, when all is done; the parts are then removed
    sweep.zarr     or the result in pieces, see `pieces`: when all chunks of a block are done, the block is written there, the
                   line that proves it takes the place of their files, and memory and disk hold it but once

Every file is there whole or not at all, see `whole_files`. (A netCDF file written in place is lost when its process is killed,
which is why there is one only at the end.) Nothing that lies there is believed unproved: a damaged part is set aside and
computed anew, as is a block; a damaged result is refused. A process holds the folder by a lock file before it writes anything
there.
"""

from __future__ import annotations

import hashlib
import json
import math
import os
import re
import shutil
import warnings
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any

import numpy as np

from ..errors import InputError, RaylabWarning
from ..locks import Claim
from ..reading import MIB, Kind, read_file, read_text
from ..staging import clear
from ..whole_files import disk_faults, refuse_taken, whole_file, whole_set
from .dealing import Deal, block_shape
from .facts import difference, shape_in
from .parts import HEAD_BYTES, ROW_BYTES, packed, proof, unpacked

MANIFEST, RESULT, PARTS, DAMAGED, ZARR = "sweep.json", "sweep.nc", "parts", "damaged", "sweep.zarr"
DESCRIPTION = f"{ZARR}/.zmetadata"
"""What describes all arrays of a result in pieces."""
LOCK = ".raylab-sweep.lock"
RESULT_HASH = "result_sha256"
MANIFEST_FILE, RESULT_FILE = Kind("a sweep's description", 256 * MIB), Kind("a sweep's result", 1 << 40)
DESCRIPTION_FILE, PROOF_FILE = Kind("a Zarr folder's description", 256 * MIB), Kind("the proof of a block", HEAD_BYTES)
_PART_NAME = re.compile(r"[0-9a-f]{32}\.rows")
_ELSEWHERE = "another folder, or permission to start again (--force; force=True)"
KEPT = "finished chunks are kept"
"""What a fault of the disk leaves untouched."""


class Store:
    """The folder of one sweep.

    Attributes: `folder`; `facts`, see `facts.facts_of`; `deal`, its blocks and chunks; `done`, numbers of the finished chunks;
    `written`, numbers of the blocks that a result in pieces holds; `finished`, whether the result is there.
    """

    def __init__(self, folder: str | Path, facts: dict[str, Any], size: Callable[[], int], force: bool = False) -> None:
        """Begin a sweep in a folder, or go on with the same one.

        Parameters
        ----------
        size : called for the size of a chunk if the sweep is new. force : give up another sweep that lies there.

        Raises
        ------
        InputError : another sweep lies there (says in what it differs), its files are damaged, another process is at it, or
            the folder can't be written to.
        """
        self.folder, self.facts, self.shape = Path(folder), facts, shape_in(facts)
        self.pieces = facts.get("result") == "zarr"
        self.key = hashlib.sha256(json.dumps(facts, sort_keys=True).encode()).hexdigest()
        self._claim: Claim | None = None
        new = [place for place in (self.folder, *self.folder.parents) if not os.path.lexists(place)]
        try:
            with disk_faults(self.folder, KEPT):
                self._open(size, force)
        except BaseException:
            self.close()
            with suppress(OSError):  # they hold something now
                for place in new:
                    place.rmdir()
            raise

    def _open(self, size: Callable[[], int], force: bool) -> None:
        """What `__init__` does in the folder."""
        if self.folder.exists() and not self.folder.is_dir():
            raise InputError("not a folder", file=str(self.folder), expected="a folder for the sweep")
        self.folder.mkdir(parents=True, exist_ok=True)
        self._hold()
        for folder in (self.folder, self.folder / PARTS):
            clear(folder)
        if force:
            self._clear()
        known = self._known()
        self.finished = known is not None and RESULT_HASH in known and self.result.exists()
        if self.finished:
            return
        if (self.folder / RESULT).exists():
            problem = "not the result of the sweep in sweep.json"
            raise InputError(problem, file=str(self.folder / RESULT), expected=_ELSEWHERE)
        each = size() if known is None else known["chunk"]
        self.deal = Deal(self.shape, block_shape(self.shape) if self.pieces else self.shape, each)
        (self.folder / PARTS).mkdir(exist_ok=True)
        if known is None:
            with whole_file(self.folder / MANIFEST, kept=KEPT) as file:
                file.write_bytes(self._manifest())
        self.done = {number for number in range(self.deal.chunks) if os.path.lexists(self._part(number))}
        blocks = range(self.deal.blocks) if self.pieces else ()
        self.written = {block for block in blocks if os.path.lexists(self._block_part(block))}

    @property
    def result(self) -> Path:
        """The file that is there when the result is: itself, or its description."""
        return self.folder / (DESCRIPTION if self.pieces else RESULT)

    def _hold(self) -> None:
        """Hold the folder for this process. Raises InputError where another holds it."""
        try:
            self._claim = Claim(self.folder / LOCK)
        except BlockingIOError as error:
            raise InputError("another process runs this sweep", file=str(self.folder), expected="another folder") from error
        except OSError:
            if not self.result.exists():  # what is finished is read, also where nothing can be written
                raise

    def close(self) -> None:
        """Give the sweep free for others."""
        if self._claim is not None:
            self._claim.release()
            self._claim = None

    def _clear(self) -> None:
        for name in (RESULT, MANIFEST):
            (self.folder / name).unlink(missing_ok=True)
        for folder in (PARTS, DAMAGED):
            self._drop(folder)
        shutil.rmtree(self.folder / ZARR, ignore_errors=True)

    def _drop(self, folder: str) -> None:
        """Remove our files from a folder of ours, and the folder if nothing else is in it."""
        with suppress(OSError):
            for path in (self.folder / folder).iterdir():
                if _PART_NAME.fullmatch(path.name):
                    path.unlink()
            (self.folder / folder).rmdir()

    def _manifest(self, **more: str) -> bytes:
        return json.dumps({**self.facts, "chunk": self.deal.size, **more}, indent=1, ensure_ascii=False).encode()

    def _known(self) -> dict[str, Any] | None:
        """What is said of the sweep that lies here; None if there is none."""
        manifest = self.folder / MANIFEST
        if not os.path.lexists(manifest):
            for result in (self.folder / RESULT, self.folder / ZARR):
                if result.exists():
                    raise InputError("a result without sweep.json", file=str(result), expected=_ELSEWHERE)
            return None
        try:
            found = json.loads(read_text(manifest, MANIFEST_FILE))
            facts = {key: value for key, value in found.items() if key not in ("chunk", RESULT_HASH)}
            size, stated = found["chunk"], found.get(RESULT_HASH, "")
        except (ValueError, KeyError, AttributeError, RecursionError) as error:
            if isinstance(error, InputError):
                raise
            raise InputError("not the description of a sweep", file=str(manifest), expected=_ELSEWHERE) from error
        if facts != json.loads(json.dumps(self.facts)):
            problem = f"the folder holds another sweep: {difference(facts, self.facts)}"
            raise InputError(problem, file=str(manifest), expected=_ELSEWHERE)
        if type(size) is not int or not 1 <= size <= math.prod(self.shape) or not isinstance(stated, str):
            raise InputError("not the description of a sweep", file=str(manifest), key="chunk", value=size, expected=_ELSEWHERE)
        return dict(found)

    def _part(self, number: int) -> Path:
        return part_in(self.folder, self.key, self.deal, number)

    def _block_part(self, block: int) -> Path:
        return part_in(self.folder, self.key, self.deal, f"block {block}")

    def save(self, number: int, rows: np.ndarray) -> None:
        """Keep a finished chunk. Raises InputError where it can't be written; the others stay."""
        with whole_file(self._part(number), force=True, kept=KEPT) as file:
            file.write_bytes(packed(self.key, self.deal.span(number)[0], rows))
        self.done.add(number)

    def load(self, number: int) -> np.ndarray | None:
        """The rows of a finished chunk; None where they are damaged. The file is then set aside, and a warning given."""
        file, (first, stop) = self._part(number), self.deal.span(number)
        count = stop - first
        try:
            return unpacked(read_file(file, Kind("a part of a sweep", HEAD_BYTES + count * ROW_BYTES)), self.key, first, count)
        except ValueError:
            self.done.remove(number)
            aside = self.folder / DAMAGED / file.name
            with disk_faults(aside, KEPT):
                aside.parent.mkdir(exist_ok=True)
                os.replace(file, aside)
            self._tell(f"{file}: damaged part, moved to {aside}", first, stop)
            return None

    def _tell(self, problem: str, first: int, stop: int) -> None:
        warnings.warn(RaylabWarning(f"{problem}; designs {first} to {stop - 1} are computed again"), stacklevel=3)

    def settle(self, block: int) -> None:
        """A block is written and proved: its parts go."""
        self.written.add(block)
        self.clear_parts(block)

    def clear_parts(self, block: int) -> None:
        """Remove the parts of a block that is written."""
        for number in [number for number in self.done if self.deal.block_of(number) == block]:
            with disk_faults(self._part(number), KEPT):
                self._part(number).unlink()
            self.done.remove(number)

    def proves(self, block: int, numbers: np.ndarray | None) -> bool:
        """Whether the numbers (K, C) read of a written block are what was written. A warning is given where they are not."""
        first, stop = self.deal.block_span(block)
        file = self._block_part(block)
        try:
            right = numbers is not None and read_file(file, PROOF_FILE) == proof(self.key, first, numbers)
        except InputError:  # not a file any more
            right = False
        if not right:
            self.written.remove(block)
            self._tell(f"{self.folder / ZARR}: damaged block", first, stop)
        return right

    def finish(self, result: bytes) -> None:
        """Put the result in place, then remove the parts, which are not needed any more."""
        refuse_taken(self.folder, [RESULT], force=False)
        self._end({RESULT: result}, result)

    def seal(self) -> None:
        """Say that all blocks of a result in pieces are written, then remove what proved them one by one."""
        self._end({}, read_file(self.result, DESCRIPTION_FILE))

    def _end(self, files: dict[str, bytes], proved: bytes) -> None:
        with whole_set(self.folder, [*files, MANIFEST], force=True, kept=KEPT) as stage:
            for name, content in files.items():
                (stage / name).write_bytes(content)
            (stage / MANIFEST).write_bytes(self._manifest(**{RESULT_HASH: hashlib.sha256(proved).hexdigest()}))
        self._drop(PARTS)


def part_in(folder: Path, sweep: str, deal: Deal, what: int | str) -> Path:
    """The file of a finished chunk, or of what proves a block, in the folder of a sweep with that key."""
    name = hashlib.sha256(f"{sweep} {deal.size} {what}".encode()).hexdigest()
    return folder / PARTS / f"{name[:32]}.rows"


def prove_block(folder: Path, sweep: str, deal: Deal, block: int, numbers: np.ndarray) -> None:
    """Keep the line that proves the numbers (K, C) of a block, which are written. Raises InputError where it can't be kept."""
    first, _ = deal.block_span(block)
    with whole_file(part_in(folder, sweep, deal, f"block {block}"), force=True, kept=KEPT) as file:
        file.write_bytes(proof(sweep, first, numbers))


def finished_result(folder: Path) -> tuple[dict[str, Any], bytes] | None:
    """What sweep.json says of the finished sweep in a folder, and the proved content of its result, or of the description of
    one in pieces; None where no sweep.json is there to prove it.

    Raises InputError for a sweep that is not finished, a description that is none, and a damaged result.
    """
    manifest = folder / MANIFEST
    if not os.path.lexists(manifest):
        if not (folder / RESULT).exists():
            raise InputError("no sweep in this folder", file=str(folder), expected=f"{MANIFEST} and {RESULT} or {ZARR}")
        return None
    try:
        known = json.loads(read_text(manifest, MANIFEST_FILE))
        stated, designs = known.get(RESULT_HASH), math.prod(shape_in(known))
        result = folder / (DESCRIPTION if known.get("result") == "zarr" else RESULT)
    except (ValueError, KeyError, TypeError, AttributeError, IndexError, RecursionError) as error:
        if isinstance(error, InputError):
            raise
        raise InputError("not the description of a sweep", file=str(manifest)) from error
    if stated is None or not result.exists():
        problem = f"the sweep of {designs} designs is not finished"
        raise InputError(problem, file=str(folder), expected="the same sweep called again, which goes on with it")
    data = read_file(result, RESULT_FILE)
    if stated != hashlib.sha256(data).hexdigest():
        raise InputError("damaged result", file=str(result), expected=_ELSEWHERE)
    return known, data
