"""Damaged files at every door, a few hundred of them, and those that once did harm. More: ``python tests/fuzz/run.py``."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent / "fuzz"))

import run
from doors import DOORS, Door
from foreign_here import parse_here

CASES = 306


@pytest.mark.parametrize("door", range(len(DOORS)), ids=[door.name for door in DOORS])
def test_damaged_files_are_read_or_refused_in_a_line(door):
    numbers = range(door, CASES, len(DOORS))
    assert [found for number in numbers for found in run.run(number, 1)] == []


@pytest.mark.parametrize(("door", "path"), run.in_corpus(), ids=lambda one: getattr(one, "name", ""))
def test_faults_that_were_mended_stay_mended(door, path, tmp_path, monkeypatch):
    parse_here(monkeypatch)
    assert run.fault(door, path.read_bytes(), tmp_path) is None


@pytest.mark.parametrize("door", DOORS, ids=lambda door: door.name)
def test_whole_files_are_read(door, tmp_path, monkeypatch):
    """So that it is the damage that is refused."""
    parse_here(monkeypatch)
    run.shutil.copytree(run.ROOT / "scenes" / "rooms", tmp_path / "rooms")
    for content in door.seeds():
        (tmp_path / door.name).write_bytes(content)
        door.read(tmp_path / door.name)


def test_every_kind_of_fault_would_be_seen(tmp_path):
    def warns(path: Path) -> None:
        run.os.write(2, b"a foreign library's line\n")

    def fails(path: Path) -> None:
        raise KeyError("k")

    def hides(path: Path) -> None:
        from raylab.reading import parsing

        with parsing(str(path)):
            raise KeyError("k")

    def waits(path: Path) -> None:
        run.time.sleep(30)

    run_s, run.PATIENCE_S = run.PATIENCE_S, 1
    try:
        seen = [run.fault(Door("f", read, tuple), b"", tmp_path) for read in (warns, fails, hides, waits, lambda path: None)]
    finally:
        run.PATIENCE_S = run_s
    assert [one and one.split(":")[0] for one in seen] == ["stderr", "traceback", "unforeseen", "hang", None]
