"""Files and sets of files are there whole or not at all, whatever ends the process."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest

import raylab as rl
from raylab import staging
from raylab.whole_files import whole_file, whole_set


def left_in(folder: Path) -> list[str]:
    return sorted(os.listdir(folder))


def write(path: Path, text: str = "new", **options: bool) -> None:
    with whole_file(path, **options) as target:
        target.write_text(text)


def write_set(folder: Path, text: str = "new", names: str = "abc", **options: bool) -> None:
    with whole_set(folder, names, **options) as stage:
        for name in names:
            (stage / name).write_text(text)


def texts(folder: Path) -> dict[str, str]:
    return {path.name: path.read_text() for path in folder.iterdir() if path.is_file()}


def broken_off(folder: Path, fault: BaseException, **options: bool) -> None:
    """Work that writes one file and then fails."""
    with whole_set(folder, ["a", "b"], **options) as stage:
        (stage / "a").write_text("half")
        raise fault


@pytest.mark.parametrize("fault", [KeyboardInterrupt, RuntimeError, MemoryError])
def test_nothing_is_left_of_work_that_broke_off(fault, tmp_path):
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "a").write_text("old")
    with pytest.raises(fault):
        broken_off(tmp_path / "out", fault(), force=True)
    assert left_in(tmp_path / "out") == ["a"]
    assert (tmp_path / "out" / "a").read_text() == "old"
    with pytest.raises(fault):
        broken_off(tmp_path / "fresh" / "deep", fault())
    assert not (tmp_path / "fresh" / "deep").exists()


def test_a_full_disk_is_one_line(tmp_path):
    with pytest.raises(rl.InputError) as caught:
        broken_off(tmp_path, OSError(28, "No space left on device"))
    assert (
        str(caught.value)
        == f"{tmp_path}: cannot be written: No space left on device; expected a writable folder with free space"
    )
    assert left_in(tmp_path) == []


def meanwhile(folder: Path) -> None:
    """Two files, one of which somebody else writes in the meantime."""
    with whole_set(folder, ["a", "b"]) as stage:
        (stage / "a").write_text("ours")
        (stage / "b").write_text("ours")
        (folder / "b").write_text("theirs")


def test_a_file_that_appears_during_the_work_is_not_overwritten(tmp_path):
    with pytest.raises(rl.InputError, match="exists already"):
        meanwhile(tmp_path)
    assert left_in(tmp_path) == ["b"]
    assert (tmp_path / "b").read_text() == "theirs"


@pytest.mark.parametrize("names", ["a", "abc"])
@pytest.mark.parametrize("holds", ["nothing", "a folder"])
def test_a_folder_that_appears_during_the_work_gets_the_set(names, holds, tmp_path):
    """The stage lies beside it then, also where its folders keep it from being exchanged."""
    out = tmp_path / "out"
    with whole_set(out, names, force=True) as stage:
        for name in names:
            (stage / name).write_text("ours")
        (out / "mine" if holds == "a folder" else out).mkdir(parents=True)
    assert left_in(tmp_path) == ["out"]
    assert texts(out) == dict.fromkeys(names, "ours")


def test_places_that_are_no_folder_are_refused(tmp_path):
    (tmp_path / "file").write_text("x")
    (tmp_path / "a.csv").mkdir()
    with pytest.raises(rl.InputError, match="file: not a folder"), whole_set(tmp_path / "file", ["a"]):
        pass
    with pytest.raises(rl.InputError, match=r"a\.csv: a folder of this name exists"):
        write(tmp_path / "a.csv", force=True)
    with pytest.raises(rl.InputError, match="cannot be written: No such file or directory"):
        write(tmp_path / "absent" / "a.csv")
    assert left_in(tmp_path) == ["a.csv", "file"]


def test_a_set_replaces_the_old_one_and_leaves_other_files_alone(tmp_path):
    """Whether the folder is exchanged, or its files are renamed since it holds a folder."""
    out = tmp_path / "out"
    write_set(out, "old")
    (out / "mine").write_text("mine")
    (out / "link").symlink_to("nowhere")
    mode, before = out.stat().st_mode, (out / "mine").stat()
    write_set(out, force=True)
    assert texts(out) == {"a": "new", "b": "new", "c": "new", "mine": "mine"}
    assert os.readlink(out / "link") == "nowhere"
    assert (out.stat().st_mode, (out / "mine").stat().st_ino) == (mode, before.st_ino)
    assert (out / "mine").stat().st_nlink == 1
    (out / "deep").mkdir()
    write_set(out, "newer", force=True)
    assert left_in(out) == ["a", "b", "c", "deep", "link", "mine"]
    assert set(texts(out).values()) == {"newer", "mine"}
    assert left_in(tmp_path) == ["out"]


def test_a_file_of_a_set_may_be_written_whole_itself(tmp_path):
    with whole_set(tmp_path / "out", ["a", "b"]) as stage:
        write(stage / "a")
        write_set(stage, names="bc")
        with pytest.raises(rl.InputError, match="exists already"):
            write(stage / "a", "newer")
    assert texts(tmp_path / "out") == {"a": "new", "b": "new", "c": "new"}


def test_the_working_directory_stays_the_same_folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    write_set(Path("."))
    assert left_in(Path(".")) == ["a", "b", "c"]
    assert os.path.samefile(".", tmp_path)


def test_a_link_to_a_folder_stays_a_link(tmp_path):
    (tmp_path / "real").mkdir()
    (tmp_path / "link").symlink_to("real")
    write_set(tmp_path / "link")
    assert (tmp_path / "link").is_symlink()
    assert left_in(tmp_path / "real") == ["a", "b", "c"]


def test_a_file_of_somebody_else_that_comes_during_the_exchange_is_kept(tmp_path, monkeypatch):
    out = tmp_path / "out"
    write_set(out, "old")
    exchange = staging._exchange_names

    def late(one, other):
        (out / "late").write_text("late")
        exchange(one, other)

    monkeypatch.setattr(staging, "_exchange_names", late)
    write_set(out, force=True)
    assert texts(out) == {"a": "new", "b": "new", "c": "new", "late": "late"}


def test_where_folders_cannot_be_exchanged_files_are_renamed(tmp_path, monkeypatch):
    def refuse(one, other):
        raise OSError(38, "Function not implemented")

    out = tmp_path / "out"
    write_set(out, "old")
    (out / "mine").write_text("mine")
    monkeypatch.setattr(staging, "_exchange_names", refuse)
    write_set(out, force=True)
    assert texts(out) == {"a": "new", "b": "new", "c": "new", "mine": "mine"}
    assert (left_in(tmp_path), left_in(out)) == (["out"], ["a", "b", "c", "mine"])


def test_files_are_on_the_disk_before_their_names_change(tmp_path, monkeypatch):
    """Power that fails between the two would leave a name with nothing behind it."""
    done = []
    flush, replace, exchange = os.fsync, os.replace, staging._exchange_names
    monkeypatch.setattr(os, "fsync", lambda handle: (done.append(os.readlink(f"/proc/self/fd/{handle}")), flush(handle)))
    monkeypatch.setattr(os, "replace", lambda a, b: (done.append("renamed"), replace(a, b)))
    monkeypatch.setattr(staging, "_exchange_names", lambda a, b: (done.append("exchanged"), exchange(a, b)))
    write(tmp_path / "one")
    assert [Path(name).name for name in done if ".part" not in Path(name).name] == ["one", "renamed", tmp_path.name]
    write_set(tmp_path / "out")
    done.clear()
    write_set(tmp_path / "out", force=True)
    at = done.index("exchanged")
    assert {Path(name).name for name in done[:at]} >= {"a", "b", "c"}
    assert done[at + 1] == str(tmp_path)


def test_a_live_stage_is_left_alone_and_a_dead_one_removed(tmp_path):
    dead = [tmp_path / ".raylab-0123456789ab.part", tmp_path / "out" / ".raylab-ba9876543210.part"]
    for folder in dead:
        folder.mkdir(parents=True)
        (folder / "half").write_text("half")
    with whole_set(tmp_path / "out", ["a"]) as stage:
        write(tmp_path / "out" / "b")
        assert stage.is_dir()
        assert not any(folder.exists() for folder in dead)
        (stage / "a").write_text("a")
    assert left_in(tmp_path / "out") == ["a", "b"]


def test_two_processes_at_one_set_do_not_mix_it(tmp_path):
    """Forced, the last one wins; unforced, the first one."""
    script = f"""
import sys
from pathlib import Path
sys.path.insert(0, {str(Path(__file__).parent)!r})
from test_whole_files import write_set
import raylab as rl
for number in range(60):
    write_set(Path(sys.argv[1]), sys.argv[2], force=True)
    try:
        write_set(Path(sys.argv[1] + str(number)), sys.argv[2])
    except rl.InputError as error:
        assert "exists already" in str(error), error
"""
    running = [
        subprocess.Popen([sys.executable, "-c", script, str(tmp_path / "out"), text], stderr=subprocess.PIPE, text=True)
        for text in ("one", "two")
    ]
    assert [(process.wait(), process.communicate()[1]) for process in running] == [(0, ""), (0, "")]
    assert len(left_in(tmp_path)) == 61
    for folder in tmp_path.iterdir():
        assert left_in(folder) == ["a", "b", "c"]
        assert len(set(texts(folder).values())) == 1


KILLED = """
import itertools, json, os, shutil, signal, sys
from pathlib import Path
from raylab import locks, staging, whole_files

NAMES = [f"{number}.txt" for number in range(7)]
OURS = {locks.__file__, staging.__file__, whole_files.__file__}

def write(folder, text, force=False):
    with whole_files.whole_set(folder, NAMES, force=force) as stage:
        for name in NAMES:
            (stage / name).write_text(text)

def ended_before_line(number, *work):
    "Whether the work is killed, like by kill -9, before it runs its line of that number in our two modules."
    def count(frame, event, arg):
        nonlocal number
        if frame.f_code.co_filename not in OURS:
            return None
        number -= event == "line"
        if number == 0:
            os.kill(os.getpid(), signal.SIGKILL)
        return count
    process = os.fork()
    if process == 0:
        sys.settrace(count)
        write(*work)
        os._exit(0)
    return os.waitpid(process, 0)[1] != 0

def state(folder):
    return {name: (folder / name).read_text() for name in NAMES if (folder / name).exists()}

def stages(home):
    return [str(path) for path in home.rglob(".raylab*")]

home, kind = Path(sys.argv[1]), sys.argv[2]
folder = home / "deep" / "out"
seen = []
for number in itertools.count(1):
    shutil.rmtree(home)
    home.mkdir()
    before = {}
    if kind != "fresh":
        folder.mkdir(parents=True)
        (folder / "mine").write_text("mine")
    if kind in ("forced", "renamed"):
        write(folder, "old")
        before = state(folder)
    if kind == "renamed":
        (folder / "folder").mkdir()
    killed = ended_before_line(number, folder, "new", bool(before))
    found = state(folder)
    whole = found in (before, dict.fromkeys(NAMES, "new"))
    with whole_files.whole_file(home / "next", force=True) as file:
        file.write_text("next")
    if folder.exists():
        with whole_files.whole_file(folder / "next", force=True) as file:
            file.write_text("next")
        if kind == "fresh":
            assert "".join(found.values()) == "new" * len(NAMES)
        else:
            assert (folder / "mine").read_text() == "mine"
    assert state(folder) in (before, dict.fromkeys(NAMES, "new")), (number, state(folder))
    stale = stages(folder) if folder.exists() else []
    stale += [one for one in stages(home) if Path(one).parent == home]
    assert not stale, (number, stale)
    seen.append(whole)
    if not killed:
        assert state(folder) == dict.fromkeys(NAMES, "new")
        break
print(json.dumps({"kills": len(seen) - 1, "mixed": seen.count(False)}))
"""


IN_MEMORY = "/dev/shm"
"""What a killed process has written is there, on a disk or not; a disk takes three times as long for some thousand renames."""


@pytest.mark.parametrize("kind", ["fresh", "beside others", "forced", "renamed"])
def test_kill_9_before_any_line_leaves_no_mixed_set(kind, tmp_path):
    """A process is killed before each line that it runs while it writes seven files, and the next run clears what it left.

    `renamed`: a folder lies in the folder, so files are renamed one by one; the set is whole again after the next run.
    """
    environment = {**os.environ, "PYTHONPATH": str(Path(rl.__file__).parents[1])}
    with tempfile.TemporaryDirectory(dir=IN_MEMORY if os.access(IN_MEMORY, os.W_OK) else tmp_path) as folder:
        command = [sys.executable, "-c", KILLED, f"{folder}/home", kind]
        Path(folder, "home").mkdir()
        done = subprocess.run(command, env=environment, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    found = json.loads(done.stdout)
    assert found["kills"] >= 60
    assert (found["mixed"] > 0) is (kind == "renamed")
