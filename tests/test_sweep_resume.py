"""A sweep that is broken off goes on where it stopped: kill -9, a full disk, a folder that cannot be written to."""

from __future__ import annotations

import errno
import importlib.util
import json
import os
import pickle
import re
import resource
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
import xarray as xr
from processor_time import of_ended_s, processor_s

import raylab as rl
from raylab.cli import main
from raylab.code_id import code_id
from raylab.designs.design import COLUMNS
from raylab.errors import RaylabWarning
from raylab.package_files import environment
from raylab.sweeps.axes import plan_of, steps
from raylab.sweeps.parts import packed
from raylab.sweeps.workers import MAKER, Chunk, Work

AXES = {"crown_angle_deg": steps(30.0, 38.0, 6), "pavilion_angle_deg": steps(38.5, 42.5, 6)}
GIVEN = {"table_pct": 57.0, "settings": rl.TraceSettings(precision=0.02), "processes": 1}


class BrokenOffError(Exception):
    """Raised from within a sweep, in place of whatever may end one."""


def swept(out: Path | None, **settings) -> xr.Dataset:
    return rl.sweep(**{"axes": AXES, "dome": "head-shadow", "out": out, **GIVEN, **settings})


def parts(out: Path) -> list[Path]:
    return sorted((out / "parts").glob("[!.]*"))


def rows_in(part: Path) -> tuple[dict, np.ndarray]:
    """A part's first line and its rows."""
    head, numbers = part.read_bytes().split(b"\n", 1)
    return json.loads(head), np.frombuffer(numbers, "<f8").reshape(-1, len(COLUMNS)).copy()


def broken_off(out: Path, after: int, **settings) -> list[Path]:
    """Break a sweep off once `after` chunks are done; returns their files."""

    def stop(done, total):
        if len(parts(out)) >= after:
            raise BrokenOffError

    with pytest.raises(BrokenOffError):
        swept(out, progress=stop, **settings)
    assert len(parts(out)) >= after
    return parts(out)


@pytest.fixture(scope="module")
def whole(tmp_path_factory) -> Path:
    """The folder of the same sweep without interruption."""
    out = tmp_path_factory.mktemp("whole")
    swept(out)
    return out


def result(out: Path) -> bytes:
    return (out / "sweep.nc").read_bytes()


SCRIPT = """
import sys, raylab as rl
from raylab import TraceSettings
from raylab.sweeps.axes import Steps
rl.sweep({axes!r}, "head-shadow", out=sys.argv[1], **{given!r})
"""


def started(out: Path) -> subprocess.Popen[bytes]:
    """The sweep as a process of its own, with two workers."""
    text = SCRIPT.format(axes=AXES, given={**GIVEN, "processes": 2})
    env = {**os.environ, "PYTHONPATH": str(Path(rl.__file__).parents[1])}
    return subprocess.Popen([sys.executable, "-c", text, str(out)], env=env)


def test_kill_9_then_resume_gives_the_same_bytes(tmp_path, whole):
    """A real process, killed hard in the middle of its work, as by a power cut or a lack of memory. Its workers read the end of
    their pipe, so that nothing is left running on the machine."""
    import psutil

    process = started(tmp_path)
    deadline = time.monotonic() + 120.0
    while len(parts(tmp_path)) < 3 and process.poll() is None and time.monotonic() < deadline:
        time.sleep(0.01)
    workers = psutil.Process(process.pid).children()
    process.send_signal(signal.SIGKILL)
    assert process.wait() == -signal.SIGKILL, "it was killed while it worked"
    assert len(workers) == 2
    _, alive = psutil.wait_procs(workers, timeout=60.0)
    assert alive == []
    left = parts(tmp_path)
    assert len(left) >= 3
    assert all(rows_in(part)[1].shape[1] == len(COLUMNS) for part in left)
    assert not (tmp_path / "sweep.nc").exists()
    facts = []
    found = swept(tmp_path, progress=lambda done, total: facts.append(done))
    assert facts[0] >= 3, "what was finished is not done again"
    assert result(tmp_path) == result(whole)
    xr.testing.assert_identical(found, swept(None))


def test_a_worker_ends_in_the_middle_of_its_work_and_without_a_word():
    """As when the process that started it is killed: its requests end while it traces thousands of designs."""
    axes = {"pavilion_angle_deg": steps(40.0, 42.0, 4000)}
    plan = plan_of(axes, {"table_pct": 57, "crown_angle_deg": 34, "dome": "head-shadow"})
    work = Work(plan, rl.TraceSettings(precision=1e-3), None)
    command = [sys.executable, "-m", "raylab.sweeps.workers"]
    with subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, env=environment()
    ) as it:

        def ask(*requests: object) -> None:
            it.stdin.write(b"".join(map(pickle.dumps, requests)))
            it.stdin.flush()

        ask((work, code_id(MAKER)), (Chunk(0, 0, 1),))
        assert len(pickle.load(it.stdout)) == 1, "it has started, and has the kernels"  # noqa: TID251 - our own process
        ask((Chunk(0, 0, 4000),))
        start, deadline = processor_s(it.pid), time.monotonic() + 120.0
        while processor_s(it.pid) < start + 0.3 and time.monotonic() < deadline:  # and traces
            time.sleep(0.02)
        assert it.poll() is None
        wished = processor_s(it.pid) + of_ended_s()
        it.stdin.close()
        assert it.wait(timeout=120.0) == 0
        assert of_ended_s() - wished < 3.0
        assert (it.stdout.read(), it.stderr.read()) == (b"", b"")


def test_a_resumed_sweep_says_how_much_was_found(tmp_path, capsys):
    broken_off(tmp_path, after=2)
    capsys.readouterr()
    swept(tmp_path, progress=True)
    assert re.search(r"^\d+ of 36 designs found from an earlier run$", capsys.readouterr().err, re.M)


def test_an_interrupted_sweep_says_how_it_goes_on(tmp_path, monkeypatch, capsys):
    def interrupted(*_, **__):
        raise KeyboardInterrupt

    monkeypatch.setattr("raylab.sweeps.sweeping.sweep", interrupted)
    file = Path(__file__).parent.parent / "scenes" / "sweeps" / "crown-and-pavilion.toml"
    assert main(["sweep", str(file), "--out", str(tmp_path / "out")]) == 130
    assert capsys.readouterr().err == "raylab: interrupted; the same command goes on with the sweep\n"


def test_finished_chunks_are_read_and_not_computed_again(tmp_path, whole):
    """A finished chunk is given other numbers, which no computation would give: they are in the result."""
    kept = broken_off(tmp_path, after=2)
    facts, rows = rows_in(kept[0])
    rows[:, 0] = 7.0
    kept[0].write_bytes(packed(facts["sweep"], facts["first"], rows))
    found = swept(tmp_path)
    assert int((found.brightness == 7.0).sum()) == len(rows)
    rest = found.brightness.values[found.brightness.values != 7.0]
    assert np.isin(rest, xr.load_dataset(whole / "sweep.nc").brightness.values).all()


def test_a_finished_sweep_is_read(whole, monkeypatch):
    before = (whole / "sweep.nc").stat()
    monkeypatch.setattr("raylab.sweeps.probing.trace_designs", None)
    monkeypatch.setattr("raylab.sweeps.workers.trace_designs", None)
    found = swept(whole)
    assert found.brightness.shape == (6, 6)
    assert (whole / "sweep.nc").stat() == before
    assert sorted(entry.name for entry in whole.iterdir()) == ["sweep.json", "sweep.nc"]


def test_what_is_read_is_what_was_computed(whole):
    xr.testing.assert_identical(swept(whole), swept(None))


def test_interrupted_more_than_once(tmp_path, whole):
    for after in (1, 4):
        broken_off(tmp_path, after)
    swept(tmp_path)
    assert result(tmp_path) == result(whole)


def test_the_size_of_chunks_leaves_no_trace(tmp_path, whole):
    swept(tmp_path, processes=2)
    assert json.loads((tmp_path / "sweep.json").read_text())["chunk"] < 36
    assert result(tmp_path) == result(whole)


@pytest.mark.parametrize(
    ("other", "words"),
    [
        ({"settings": rl.TraceSettings(precision=0.03)}, "settings.precision differs"),
        ({"settings": rl.TraceSettings(precision=0.02, polarized=False)}, "settings.polarized differs"),
        ({"table_pct": 58.0}, "fixed.table_pct differs"),
        ({"dome": "overcast-sky"}, "fixed.dome differs"),
        ({"material": "cubic zirconia"}, "fixed.material differs"),
        ({"star_pct": 55.0}, "fixed.star_pct differs"),
        ({"axes": {**AXES, "crown_angle_deg": steps(30.0, 38.0, 7)}}, "axes.crown_angle_deg differs"),
        ({"axes": {**AXES, "star_pct": [50.0, 55.0]}}, "star_pct differs"),
        ({"axes": dict(reversed(AXES.items()))}, "its axes have another order"),
        ({"layout": "paired"}, "its layout differs"),
    ],
)
def test_another_sweep_in_the_folder_is_refused_and_left_alone(whole, other, words):
    before = result(whole)
    with pytest.raises(rl.InputError) as caught:
        swept(whole, **other)
    assert str(caught.value).startswith(f"{whole / 'sweep.json'}: the folder holds another sweep: ")
    assert words in str(caught.value)
    assert "--force" in str(caught.value)
    assert result(whole) == before


def test_a_dome_of_the_same_name_but_other_light_is_refused(whole):
    dome = rl.Dome(name="head-shadow", head_half_angle_deg=17.0)
    with pytest.raises(rl.InputError, match=r"fixed\.dome differs"):
        swept(whole, dome=dome)
    swept(whole, dome=rl.Dome(name="head-shadow", head_half_angle_deg=16.0))  # the same light, built by hand


def test_another_version_of_the_code_is_refused(tmp_path, monkeypatch):
    broken_off(tmp_path, after=1)
    for module in ("sweeping", "workers"):
        monkeypatch.setattr(f"raylab.sweeps.{module}.code_id", lambda module: "another")
    with pytest.raises(rl.InputError, match="it was computed by another version of the code"):
        swept(tmp_path)
    assert parts(tmp_path), "what was finished is still there"


def test_force_begins_afresh(tmp_path):
    broken_off(tmp_path, after=2)
    found = swept(tmp_path, force=True, table_pct=60.0)
    xr.testing.assert_identical(found, swept(None, table_pct=60.0))


# Disks


def test_a_full_disk_is_reported_and_finished_chunks_stay(tmp_path, whole):
    """The system refuses to let files grow (RLIMIT_FSIZE): first that of a part, then that of the result."""
    kept = {part: part.read_bytes() for part in broken_off(tmp_path, after=2)}
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    for room in (64, 8192):
        try:
            resource.setrlimit(resource.RLIMIT_FSIZE, (room, hard))
            with pytest.raises(rl.InputError) as caught:
                swept(tmp_path)
        finally:
            resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
        assert "cannot be written: " in str(caught.value)
        assert "finished chunks are kept" in str(caught.value)
        assert {part: part.read_bytes() for part in kept} == kept
        assert not (tmp_path / "sweep.nc").exists()
        assert list(tmp_path.rglob(".*")) == [], "no half a file is left"
    swept(tmp_path)
    assert result(tmp_path) == result(whole)


def test_a_folder_that_turns_read_only_is_reported_and_finished_chunks_stay(tmp_path, whole):
    kept = {part: part.read_bytes() for part in broken_off(tmp_path, after=2)}
    folders = (tmp_path, tmp_path / "parts")
    everyone = os.geteuid()
    for folder in (tmp_path.parent, *folders):
        folder.chmod(0o755)
    for folder in folders:
        folder.chmod(0o555)
    try:
        if everyone == 0:  # the superuser writes anywhere
            os.seteuid(65534)
        with pytest.raises(rl.InputError, match="cannot be written: Permission denied; finished chunks are kept"):
            swept(tmp_path)
    finally:
        os.seteuid(everyone)
        for folder in folders:
            folder.chmod(0o755)
    assert {part: part.read_bytes() for part in kept} == kept
    swept(tmp_path)
    assert result(tmp_path) == result(whole)


# A result in pieces


@pytest.fixture
def small_blocks(monkeypatch):
    """Blocks of at most 12 designs, two of the six crown angles, in chunks of five."""
    in_small_blocks(monkeypatch)


def in_small_blocks(patch: pytest.MonkeyPatch) -> None:
    patch.setattr("raylab.sweeps.dealing.block_shape.__defaults__", (12,))
    patch.setattr("raylab.sweeps.sweeping.chunk_size", lambda *_: 5)


@pytest.fixture(scope="module")
def in_pieces(tmp_path_factory) -> Path:
    """The folder of the same sweep in small blocks, without interruption."""
    out = tmp_path_factory.mktemp("pieces")
    with pytest.MonkeyPatch.context() as patch:
        in_small_blocks(patch)
        swept(out, zarr=True)
    return out


def chunk_files(out: Path) -> dict[str, bytes]:
    """What lies in the Zarr folder, by its path there."""
    place = out / "sweep.zarr"
    return {str(file.relative_to(place)): file.read_bytes() for file in place.rglob("*") if file.is_file()}


def test_a_result_in_pieces_is_the_same_result(tmp_path, whole, in_pieces):
    shutil.copytree(in_pieces, tmp_path / "sweep")
    found = swept(tmp_path / "sweep", zarr=True)
    assert found.brightness.chunks == ((2, 2, 2), (6,)), "read as far as it is asked for"
    assert list(found) == list(rl.load_sweep(whole)), "not by their names, as zarr lists them"
    xr.testing.assert_identical(found.load(), rl.load_sweep(whole))
    assert sorted(entry.name for entry in (tmp_path / "sweep").iterdir()) == ["sweep.json", "sweep.zarr"]
    with xr.open_zarr(tmp_path / "sweep" / "sweep.zarr") as plain:
        assert plain.load().identical(found)
    before = {file: file.stat().st_mtime_ns for file in (tmp_path / "sweep").rglob("*")}
    assert swept(tmp_path / "sweep", zarr=True).identical(found), "a finished one is read"
    shutil.copytree(tmp_path / "sweep" / "sweep.zarr", tmp_path / "mine.zarr")
    assert rl.load_sweep(tmp_path / "mine.zarr").identical(found)
    assert {file: file.stat().st_mtime_ns for file in (tmp_path / "sweep").rglob("*")} == before
    with pytest.raises(rl.InputError, match=r"another sweep: its result is of the other kind"):
        swept(tmp_path / "sweep")
    swept(tmp_path / "sweep", axes={"crown_angle_deg": [34.0], "pavilion_angle_deg": [41.0]}, force=True)
    assert not (tmp_path / "sweep" / "sweep.zarr").exists(), "the Zarr folder of another sweep"


@pytest.mark.parametrize("layout", ["random", "paired"])
def test_axes_that_differ_from_design_to_design_are_written_with_them(layout, tmp_path, small_blocks):
    names = ["head-shadow", "even-sky"]
    given = {"axes": {"crown_angle_deg": rl.between(30, 38), "dome": names, "weight_ct": rl.between(0.5, 1.0)}, "number": 14}
    if layout == "paired":
        given = {"axes": {"crown_angle_deg": [30.0 + k / 4.0 for k in range(14)], "dome": 7 * names}}
    given = {**given, "dome": None, "layout": layout, "pavilion_angle_deg": 41.0, "settings": rl.TraceSettings(precision=0.2)}
    found = swept(tmp_path / "sweep", zarr=True, **given)
    assert found.crown_angle_deg.chunks == ((12, 2),)
    xr.testing.assert_identical(found.load(), swept(None, **given))


def test_a_result_in_pieces_is_read_without_dask(in_pieces, monkeypatch):
    found = rl.load_sweep(in_pieces)
    real = importlib.util.find_spec
    monkeypatch.setattr("importlib.util.find_spec", lambda name: None if name == "dask" else real(name))
    plain = rl.load_sweep(in_pieces)
    assert plain.brightness.chunks is None
    assert not plain.variables["brightness"]._in_memory, "nothing is read yet"
    xr.testing.assert_identical(plain.load(), found.load())


def test_a_broken_off_result_in_pieces_goes_on_to_the_same_bytes(tmp_path, in_pieces, small_blocks):
    """After four chunks the first block is done, and one chunk of the second; what is done isn't done again."""

    def stop(done, total):
        told.append(done)
        if len(told) > 4:
            raise BrokenOffError

    told: list[int] = []
    with pytest.raises(BrokenOffError):
        swept(tmp_path / "sweep", zarr=True, progress=stop)
    assert len(parts(tmp_path / "sweep")) == 2, "the line of the block that is written, and the file of the other chunk"
    with pytest.raises(rl.InputError, match="the sweep of 36 designs is not finished"):
        rl.load_sweep(tmp_path / "sweep")
    again: list[int] = []
    swept(tmp_path / "sweep", zarr=True, progress=lambda done, total: again.append(done))
    assert again[0] == told[-1] == 12 + 5
    assert chunk_files(tmp_path / "sweep") == chunk_files(in_pieces)
    assert not (tmp_path / "sweep" / "parts").exists()


def test_what_a_killed_process_leaves_of_a_result_in_pieces(tmp_path, in_pieces, small_blocks):
    """Killed while a block was written, or before its parts were removed: half a file, and both the block and its parts."""
    out = tmp_path / "sweep"

    def stop(done, total):
        if done == 17:
            raise BrokenOffError
        if done == 10:
            kept.update({file: file.read_bytes() for file in parts(out)})

    kept: dict[Path, bytes] = {}
    with pytest.raises(BrokenOffError):
        swept(out, zarr=True, progress=stop)
    for file, content in kept.items():
        assert not file.exists()
        file.write_bytes(content)
    (out / "sweep.zarr" / "brightness" / "1.0123.partial").write_bytes(b"half")
    (out / "sweep.zarr" / "brightness" / "1.0").write_bytes(b"half")
    (out / "sweep.zarr" / ".zmetadata").write_bytes(b"half")
    swept(out, zarr=True)
    assert chunk_files(out) == chunk_files(in_pieces)


def test_a_damaged_block_is_told_and_computed_anew(tmp_path, in_pieces, small_blocks):
    """Sound numbers of other designs in one block, a flipped bit in the other, and a proof that is none in the last."""
    out = tmp_path / "sweep"

    def stop(done, total):
        if done == 36:
            raise BrokenOffError

    with pytest.raises(BrokenOffError):
        swept(out, zarr=True, progress=stop)
    one, other = (out / "sweep.zarr" / "leak" / name for name in ("0.0", "1.0"))
    data = bytearray(other.read_bytes())
    shutil.copy(other, one)
    data[-3] ^= 1
    other.write_bytes(data)
    proof = next(file for file in parts(out) if json.loads(file.read_bytes())["first"] == 24)
    proof.write_bytes(b"no proof")
    with pytest.warns(RaylabWarning, match=r"sweep\.zarr: damaged block; designs .* are computed again") as told:
        swept(out, zarr=True)
    again = [str(one.message).split("; ")[1].split(" are")[0] for one in told]
    assert again == ["designs 0 to 11", "designs 12 to 23", "designs 24 to 35"]
    assert chunk_files(out) == chunk_files(in_pieces)


def test_a_finished_result_in_pieces_that_is_damaged_is_refused(tmp_path, in_pieces):
    shutil.copytree(in_pieces, tmp_path, dirs_exist_ok=True)
    place = tmp_path / "sweep.zarr"
    file = place / "leak" / "1.0"
    data = file.read_bytes()
    file.write_bytes(data[:-3] + bytes([data[-3] ^ 1]) + data[-2:])
    with pytest.raises((RuntimeError, ValueError)):
        rl.load_sweep(tmp_path).leak.load()
    file.unlink()
    with pytest.raises(rl.InputError, match="damaged result: files of leak are gone"):
        rl.load_sweep(tmp_path)
    file.write_bytes(data)
    (place / ".zmetadata").write_bytes((place / ".zmetadata").read_bytes() + b" ")
    with pytest.raises(rl.InputError, match="zmetadata: damaged result"):
        swept(tmp_path, zarr=True)
    (place / ".zmetadata").write_text("{}")
    shutil.copytree(place, tmp_path / "other.zarr")
    with pytest.raises(rl.InputError, match=r"other\.zarr: not "):
        rl.load_sweep(tmp_path / "other.zarr")


def test_a_full_disk_leaves_a_result_in_pieces_that_goes_on(tmp_path, in_pieces, small_blocks, monkeypatch):
    with monkeypatch.context() as patch:

        def full(path):
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

        patch.setattr("raylab.sweeps.pieces.flush_file", full)
        with pytest.raises(rl.InputError, match="cannot be written: No space left on device; finished chunks are kept"):
            swept(tmp_path / "sweep", zarr=True)
    assert len(parts(tmp_path / "sweep")) == 3, "the chunks of the block that wasn't written"
    swept(tmp_path / "sweep", zarr=True)
    assert chunk_files(tmp_path / "sweep") == chunk_files(in_pieces)


@pytest.mark.parametrize(
    ("out", "words"),
    [("sweep", r"zarr = True: zarr is not installed; expected pip install 'raylab\[zarr\]'"), (None, "needs a folder")],
)
def test_zarr_that_cannot_be_is_reported_before_anything_is_traced(tmp_path, out, words, monkeypatch):
    if out:
        monkeypatch.setattr("importlib.util.find_spec", lambda name: None)
    with pytest.raises(rl.InputError, match=words):
        swept(out and tmp_path / out, zarr=True)
    assert list(tmp_path.iterdir()) == []


def test_two_processes_are_not_at_one_sweep(tmp_path):
    """While a sweep runs, a second call in the same folder is refused, with force or without; the first isn't disturbed."""
    refused = []

    def second(done, total):
        for force in (False, True):
            with pytest.raises(rl.InputError, match="another process runs this sweep"):
                swept(tmp_path, force=force)
            refused.append(force)

    alone = swept(None)
    xr.testing.assert_identical(swept(tmp_path, progress=second), alone)
    xr.testing.assert_identical(swept(tmp_path, progress=second, force=True), alone)
    assert len(refused) >= 8


def test_places_that_are_no_sweep_are_refused(tmp_path):
    (tmp_path / "file").write_text("x")
    with pytest.raises(rl.InputError, match="file: not a folder"):
        swept(tmp_path / "file")
    (tmp_path / "sweep.nc").write_text("somebody's")
    with pytest.raises(rl.InputError, match=r"sweep\.nc: a result without sweep\.json"):
        swept(tmp_path)
    (tmp_path / "sweep.json").write_text("[]")
    with pytest.raises(rl.InputError, match=r"sweep\.json: not the description of a sweep"):
        swept(tmp_path)
    assert (tmp_path / "sweep.nc").read_text() == "somebody's"
