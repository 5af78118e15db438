"""Damaged files at every door: ``python tests/fuzz/run.py --cases N``.

A case is a whole file, damaged, at one door. Allowed are an object and an InputError of one short printable line. Counted are
tracebacks (any other exception), unforeseen ones (that only the readers' last guard has caught, in a file that raylab reads by
itself), hangs, lines that no terminal should get, and whatever appears on stderr. Each fault is kept in `found/`, a folder
beside this file that git ignores; one that was mended goes to `corpus/`, which the tests read again. Parsers that raylab runs
in a process of their own, which ends them after a while, run in this one; here they may take as long as they like.

A case has a number and is the same whenever it is run: ``--first 4711 --cases 1``. ``--door link.json`` runs only those of the
workbench's messages. Instead of damaged files there are

* ``--messages N``: damaged messages to the workbench, many on one link, see `messages`;
* ``--kills N``: a sweep killed and resumed, with ``--force`` killed while it takes another's place, see `kills`;
* ``--stores``: every kind of damaged folder of a sweep, which are the tests of `test_sweep_damage.py`.
"""

from __future__ import annotations

import argparse
import os
import shutil
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from random import Random

HERE = Path(__file__).parent
sys.path[:0] = [str(HERE), str(HERE.parent)]

import pytest  # noqa: E402
from damage import mutated  # noqa: E402
from doors import DOORS, ROOT, Door  # noqa: E402
from foreign_here import parse_here  # noqa: E402
from time_limit import TooLongError, within  # noqa: E402

from raylab.errors import LONGEST_LINE, InputError, RaylabError  # noqa: E402

PATIENCE_S = 20
FOUND, CORPUS = HERE / "found", HERE / "corpus"


def case(number: int) -> tuple[Door, bytes]:
    """The door of a case, and the bytes to bring to it."""
    door, random = DOORS[number % len(DOORS)], Random(number)
    return door, mutated(random.choice(door.seeds()), random, text=door.text)


def fault(door: Door, content: bytes, folder: Path) -> str | None:
    """What is wrong with the answer of a door; None where nothing is."""
    path = folder / door.name
    path.write_bytes(content)
    try:
        with within(PATIENCE_S), stderr_of() as said:
            try:
                door.read(path)
            except InputError as error:
                line, cause = str(error), error
                while isinstance(cause, RaylabError) and cause.__cause__ is not None:
                    cause = cause.__cause__
                if len(line) > LONGEST_LINE or not line.isprintable():
                    return f"line: {line[:100]!r}"
                if not door.foreign and ": cannot be read: " + type(cause).__name__ in line:
                    return f"unforeseen: {line[-200:]}"
        return f"stderr: {said[0][:200]!r}" if said[0] else None
    except TooLongError:
        return None if door.packed else "hang"
    except BaseException as error:
        if isinstance(error, KeyboardInterrupt):
            raise
        return f"traceback: {type(error).__name__}: {str(error)[:200]}"


@contextmanager
def stderr_of() -> Iterator[list[str]]:
    """What the block writes to stderr, also past Python: the list's one entry, when the block has ended."""
    said = [""]
    sys.stderr.flush()
    with tempfile.TemporaryFile() as file:
        usual = os.dup(2)
        os.dup2(file.fileno(), 2)
        try:
            yield said
        finally:
            sys.stderr.flush()
            os.dup2(usual, 2)
            os.close(usual)
            file.seek(0)
            said[0] = file.read().decode("utf-8", "replace")


def run(first: int, cases: int, only: str | None = None) -> list[tuple[int, str]]:
    """Faults of cases, by number; those of one door where it is named."""
    found = []
    with pytest.MonkeyPatch.context() as patch, tempfile.TemporaryDirectory() as name:
        parse_here(patch)
        folder = Path(name)
        shutil.copytree(ROOT / "scenes" / "rooms", folder / "rooms")
        for number in range(first, first + cases):
            if only is not None and DOORS[number % len(DOORS)].name != only:
                continue
            door, content = case(number)
            door.ready()
            if (wrong := fault(door, content, folder)) is not None:
                found.append((number, wrong))
    return found


def in_corpus() -> list[tuple[Door, Path]]:
    """Faults that were mended: files named ``<what it was>@<name at the door>``."""
    doors = {door.name: door for door in DOORS}
    return [(doors[path.name.split("@")[1]], path) for path in sorted(CORPUS.iterdir()) if "@" in path.name]


def main() -> int:
    given = argparse.ArgumentParser(description=(__doc__ or "").split("\n")[0])
    given.add_argument("--cases", type=int, default=1000)
    given.add_argument("--first", type=int, default=0)
    given.add_argument("--door", choices=[door.name for door in DOORS], help="run only its cases")
    given.add_argument("--messages", type=int, default=0)
    given.add_argument("--kills", type=int, default=0)
    given.add_argument("--force", action="store_true", help="kill runs that take another sweep's place")
    given.add_argument("--stores", action="store_true")
    asked = given.parse_args()
    if asked.stores:
        return int(pytest.main(["-p", "no:cacheprovider", str(HERE.parent / "test_sweep_damage.py")]))
    if asked.kills:
        from kills import killed_and_forced, killed_and_resumed

        return (killed_and_forced if asked.force else killed_and_resumed)(asked.kills, asked.first)
    start = time.monotonic()
    if asked.messages:
        from messages import sent

        faults = sent(asked.first, asked.messages)
        print(*faults, f"{asked.messages} messages in {time.monotonic() - start:.0f} s: {len(faults)} faults", sep="\n")
        return bool(faults)
    found = run(asked.first, asked.cases, asked.door)
    for number, wrong in found:
        door, content = case(number)
        FOUND.mkdir(exist_ok=True)
        (FOUND / f"{number}@{door.name}").write_bytes(content)
        print(f"{number} {door.name}: {wrong}")
    kinds = Counter(wrong.split(":")[0] for _, wrong in found)
    counts = ", ".join(f"{kinds[kind]} {kind}" for kind in ("traceback", "unforeseen", "hang", "line", "stderr"))
    print(f"{asked.cases} cases in {time.monotonic() - start:.0f} s: {counts}")
    return bool(found)


if __name__ == "__main__":
    raise SystemExit(main())
