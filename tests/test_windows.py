"""What Windows does otherwise, simulated: held files, no fcntl, programs in Scripts, code pages."""

from __future__ import annotations

import errno
import os
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace

import pytest

import raylab as rl
from raylab import locks, staging
from raylab.cli import main
from raylab.whole_files import whole_file, whole_set


def write_set(folder: Path, text: str) -> None:
    with whole_set(folder, "ab", force=True) as stage:
        for name in "ab":
            (stage / name).write_text(text)


@pytest.fixture
def holds(monkeypatch):
    """A system that renames or replaces no file of these names; a number beside a name is how often it still refuses."""
    held: dict[str, int] = {}
    usual = {"rename": os.rename, "replace": os.replace}

    def refusing(which):
        def rename(source, target, **how):
            if held.get(Path(target).name, 0) > 0:
                held[Path(target).name] -= 1
                raise PermissionError(errno.EACCES, "Access is denied", str(source), None, str(target))
            usual[which](source, target, **how)

        return rename

    for which in usual:
        monkeypatch.setattr(staging.os, which, refusing(which))
    monkeypatch.setattr(staging, "HOLDS", True)
    monkeypatch.setattr(staging, "_exchange", lambda *_: False)
    monkeypatch.setattr(staging.time, "sleep", lambda _: None)
    return held


def test_a_set_of_which_a_notebook_holds_a_file_stays_the_old_one(tmp_path, holds):
    write_set(tmp_path / "out", "old")
    holds["b"] = 1000
    with pytest.raises(rl.InputError, match="out: cannot be written: b is open in another program, such as a notebook"):
        write_set(tmp_path / "out", "new")
    holds.clear()
    assert {path.name: path.read_text() for path in (tmp_path / "out").iterdir()} == {"a": "old", "b": "old"}
    write_set(tmp_path / "out", "new")
    assert (tmp_path / "out" / "a").read_text() == "new"


def test_a_file_that_is_held_for_a_moment_is_replaced(tmp_path, holds):
    (tmp_path / "a").write_text("old")
    holds["a"] = 2
    with whole_file(tmp_path / "a", force=True) as target:
        target.write_text("new")
    assert (tmp_path / "a").read_text() == "new"
    assert os.listdir(tmp_path) == ["a"]


def test_without_fcntl_a_claim_is_held_by_the_first_byte(tmp_path, monkeypatch):
    locked: set[int] = set()  # inodes

    def locking(handle, mode, count):
        assert (mode, count) == ("LK_NBLCK", 1)
        inode = os.fstat(handle).st_ino
        if inode in locked:
            raise PermissionError(errno.EACCES, "Permission denied")
        locked.add(inode)

    monkeypatch.setattr(locks, "fcntl", None)
    monkeypatch.setattr(locks, "msvcrt", SimpleNamespace(locking=locking, LK_NBLCK="LK_NBLCK"))
    first = locks.Claim(tmp_path / "claim")
    with pytest.raises(BlockingIOError):
        locks.Claim(tmp_path / "claim")
    first.release()
    locked.clear()
    assert not (tmp_path / "claim").exists()
    locks.Claim(tmp_path / "claim").release()


def test_without_any_locks_files_are_written_all_the_same(tmp_path, monkeypatch):
    monkeypatch.setattr(locks, "fcntl", None)
    monkeypatch.setattr(locks, "msvcrt", None)
    write_set(tmp_path / "out", "old")
    write_set(tmp_path / "out", "new")
    assert {path.name: path.read_text() for path in (tmp_path / "out").iterdir()} == {"a": "new", "b": "new"}


def test_paths_with_backslashes_and_letters_of_other_alphabets_are_read(tmp_path, monkeypatch, capsys):
    folder = tmp_path / "Камни и \u77f3"
    folder.mkdir()
    monkeypatch.chdir(tmp_path)
    assert main(["scenes", "--copy", str(folder)]) == 0
    assert main(["measure", str(folder / "stones" / "offer-a.csv")]) == 0
    assert "offer" in capsys.readouterr().out.lower()


@pytest.mark.parametrize(("system", "program"), [("nt", "Scripts/python.exe"), ("posix", "bin/python")])
def test_the_test_command_finds_the_programs_of_an_environment(system, program):
    """`tests/run.py`, with the name that the system gives itself."""
    code = f"import os, sys; sys.path.insert(0, 'tests'); import steps; os.name = {system!r}; import run; print(run.PYTHON)"
    words = [sys.executable, "-c", code]
    root = Path(__file__).parents[1]
    done = subprocess.run(words, cwd=root, capture_output=True, text=True, check=True, timeout=60)
    assert Path(done.stdout.strip()).as_posix().endswith(f".venv/{program}")


def test_the_readme_gives_the_commands_of_both_systems():
    text = (Path(__file__).parents[1] / "README.md").read_text(encoding="utf-8")
    assert ".venv/bin/" in text
    assert ".venv\\Scripts\\" in text
