"""Nothing in a sweep's folder is believed unproved: damage is told and mended, or refused in one line; foreign files stay."""

from __future__ import annotations

import errno
import json
import os
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
import xarray as xr

import raylab as rl
from raylab.errors import RaylabWarning
from raylab.sweeps import sweeping
from raylab.sweeps.store import Store

AXES = {"crown_angle_deg": [33.0, 34.0, 35.0, 36.0], "pavilion_angle_deg": [40.0, 41.0]}
GIVEN = {"table_pct": 57.0, "settings": rl.TraceSettings(precision=0.1), "processes": 1}


def swept(out: Path | None, **other) -> xr.Dataset:
    return rl.sweep(**{"axes": AXES, "dome": "head-shadow", "out": out, **GIVEN, **other})


@pytest.fixture(scope="module")
def whole(tmp_path_factory) -> Path:
    """The folder of the finished sweep."""
    out = tmp_path_factory.mktemp("whole")
    swept(out)
    return out


@pytest.fixture(scope="module")
def half(tmp_path_factory) -> Path:
    """The folder of the same sweep with its four parts, and no result yet."""
    out = tmp_path_factory.mktemp("half")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(sweeping, "chunk_size", lambda *_: 2)
        patch.setattr(Store, "finish", lambda self, result: None)
        swept(out)
    assert len(parts(out)) == 4
    return out


@pytest.fixture
def out(half, tmp_path) -> Path:
    return Path(shutil.copytree(half, tmp_path / "out"))


@pytest.fixture
def done(whole, tmp_path) -> Path:
    return Path(shutil.copytree(whole, tmp_path / "done"))


def parts(out: Path) -> list[Path]:
    return sorted((out / "parts").iterdir())


def result(out: Path) -> bytes:
    return (out / "sweep.nc").read_bytes()


def flipped(data: bytes, at: int) -> bytes:
    return data[:at] + bytes([data[at] ^ 1]) + data[at + 1 :]


def as_link(part: Path, target: str) -> None:
    part.unlink()
    part.symlink_to(target)


def as_pipe(part: Path) -> None:
    part.unlink()
    os.mkfifo(part)


def as_folder(part: Path) -> None:
    part.unlink()
    part.mkdir()


DAMAGE: dict[str, Callable[[Path, Path], object]] = {
    "a bit of a number": lambda part, other: part.write_bytes(flipped(part.read_bytes(), -9)),
    "a bit of the head": lambda part, other: part.write_bytes(flipped(part.read_bytes(), 12)),
    "another part of this sweep": lambda part, other: part.write_bytes(other.read_bytes()),
    "cut short": lambda part, other: part.write_bytes(part.read_bytes()[:-1]),
    "a byte too long": lambda part, other: part.write_bytes(part.read_bytes() + b"0"),
    "much too long": lambda part, other: part.write_bytes(part.read_bytes() * 99),
    "empty": lambda part, other: part.write_bytes(b""),
    "a link to a device": lambda part, other: as_link(part, "/dev/zero"),
    "a link to nowhere": lambda part, other: as_link(part, "nowhere"),
    "a pipe": lambda part, other: as_pipe(part),
    "a folder": lambda part, other: as_folder(part),
}


@pytest.mark.parametrize("damage", DAMAGE)
def test_a_damaged_part_is_told_set_aside_and_computed_anew(damage, out, whole):
    part, other = parts(out)[:2]
    DAMAGE[damage](part, other)
    with pytest.warns(RaylabWarning, match=f"{part.name}: damaged part, moved to .*; designs . to . are computed again"):
        swept(out)
    assert result(out) == result(whole)
    assert [path.name for path in (out / "damaged").iterdir()] == [part.name]


def test_undamaged_parts_are_taken_as_they_are(out, whole, monkeypatch):
    for module in ("probing", "workers"):
        monkeypatch.setattr(f"raylab.sweeps.{module}.trace_designs", None)
    swept(out)
    assert result(out) == result(whole)
    assert sorted(path.name for path in out.iterdir()) == ["sweep.json", "sweep.nc"]


def test_a_part_of_another_sweep_is_not_taken(out, tmp_path, whole, monkeypatch):
    monkeypatch.setattr(sweeping, "chunk_size", lambda *_: 2)
    with monkeypatch.context() as patch:
        patch.setattr(Store, "finish", lambda self, result: None)
        swept(tmp_path / "other", table_pct=60.0)
    for mine, theirs in zip(parts(out), parts(tmp_path / "other"), strict=True):
        shutil.copy(theirs, mine)
    with pytest.warns(RaylabWarning, match="computed again") as told:
        swept(out)
    assert len(told) == 4
    assert result(out) == result(whole)


def stated(out: Path, **facts: object) -> str:
    return json.dumps({**json.loads((out / "sweep.json").read_text()), **facts})


MANIFESTS: dict[str, Callable[[Path], str]] = {
    "empty": lambda out: "",
    "cut short": lambda out: stated(out)[:-20],
    "a list": lambda out: "[1]",
    "a number": lambda out: "7",
    "deep": lambda out: "[" * 100_000,
    "many digits": lambda out: "9" * 5000,
    "no chunk": lambda out: json.dumps({key: one for key, one in json.loads(stated(out)).items() if key != "chunk"}),
    **{f"chunk {size}": (lambda out, size=size: stated(out, chunk=size)) for size in (-1, 0, True, 2.0, "2", None, 9, 10**30)},
    "no axes": lambda out: json.dumps({key: one for key, one in json.loads(stated(out)).items() if key != "axes"}),
    "axes of another kind": lambda out: stated(out, axes=[1]),
    "more facts": lambda out: stated(out, more=1),
    "more fixed": lambda out: stated(out, fixed={**json.loads(stated(out))["fixed"], "more": None}),
}


@pytest.mark.parametrize("state", ["half", "whole"])
@pytest.mark.parametrize("kind", MANIFESTS)
def test_a_damaged_description_is_one_line(kind, state, request, tmp_path):
    out = shutil.copytree(request.getfixturevalue(state), tmp_path / "out")
    text = MANIFESTS[kind](out)
    (out / "sweep.json").write_text(text)
    with pytest.raises(rl.InputError) as caught:
        swept(out)
    assert str(caught.value).startswith(f"{out / 'sweep.json'}: ")
    assert "--force" in str(caught.value)
    assert (out / "sweep.json").read_text() == text
    assert len(list(out.rglob("*.rows"))) == (4 if state == "half" else 0)


NO_TEXT_FILES: dict[str, Callable[[Path], object]] = {
    "a pipe": as_pipe,
    "a folder": as_folder,
    "a device": lambda path: as_link(path, "/dev/zero"),
    "no text": lambda path: path.write_bytes(b"\xff"),
}


@pytest.mark.parametrize("make", NO_TEXT_FILES.values(), ids=NO_TEXT_FILES)
def test_a_description_that_is_no_text_file_is_one_line(make, out):
    make(out / "sweep.json")
    with pytest.raises(rl.InputError, match=r"sweep\.json: "):
        swept(out)


@pytest.mark.parametrize("at", [0, 1000, -1, None])
def test_a_damaged_result_is_refused(at, done):
    data = result(done)
    (done / "sweep.nc").write_bytes(data[:2000] if at is None else flipped(data, at))
    with pytest.raises(rl.InputError, match=r"sweep\.nc: damaged result; expected .*--force"):
        swept(done)
    xr.testing.assert_identical(swept(done, force=True), swept(None))


def test_a_result_that_is_gone_is_computed_anew(done, whole):
    (done / "sweep.nc").unlink()
    swept(done)
    assert result(done) == result(whole)


def test_a_result_that_the_sweep_did_not_write_is_left_alone(out):
    (out / "sweep.nc").write_text("somebody's")
    with pytest.raises(rl.InputError, match=r"sweep\.nc: not the result of the sweep in sweep\.json"):
        swept(out)
    assert (out / "sweep.nc").read_text() == "somebody's"


def test_foreign_files_stay(out, whole):
    foreign = [out / "notes.txt", out / "parts" / "notes.txt"]
    for file in foreign:
        file.write_text("mine")
    swept(out)
    assert result(out) == result(whole)
    swept(out, force=True)
    assert [file.read_text() for file in foreign] == ["mine", "mine"]


def test_a_file_in_the_place_of_the_parts_is_one_line(out):
    shutil.rmtree(out / "parts")
    (out / "parts").write_text("mine")
    with pytest.raises(rl.InputError, match="cannot be written"):
        swept(out)
    assert (out / "parts").read_text() == "mine"


def test_what_a_dead_process_left_is_cleared(out, whole):
    for folder in (out, out / "parts"):
        (folder / ".raylab-0123456789ab.part").mkdir()
        (folder / ".raylab-0123456789ab.part" / "half").write_text("half")
    (out / ".raylab-sweep.lock").touch()
    swept(out)
    assert sorted(path.name for path in out.iterdir()) == ["sweep.json", "sweep.nc"]


def test_a_new_folder_is_held_before_anything_is_written(tmp_path):
    """The second of two processes comes while the first still plans, and has written nothing."""
    facts = {"layout": "paired", "axes": {"table_pct": [57.0, 58.0]}}
    refused = []

    def plan() -> int:
        assert not (tmp_path / "out" / "sweep.json").exists()
        with pytest.raises(rl.InputError, match="out: another process runs this sweep"):
            Store(tmp_path / "out", facts, plan)
        refused.append(True)
        return 1

    first = Store(tmp_path / "out", facts, plan)
    assert refused == [True]
    first.close()
    Store(tmp_path / "out", facts, plan).close()
    assert sorted(path.name for path in (tmp_path / "out").iterdir()) == ["parts", "sweep.json"]


def test_a_sweep_that_ends_before_it_begins_leaves_no_folder(tmp_path):
    def interrupted() -> int:
        raise KeyboardInterrupt

    facts = {"layout": "paired", "axes": {"table_pct": [57.0, 58.0]}}
    with pytest.raises(KeyboardInterrupt):
        Store(tmp_path / "new" / "out", facts, interrupted)
    assert list(tmp_path.iterdir()) == []


def test_a_finished_sweep_is_read_where_nothing_can_be_written(done, monkeypatch):
    def refuse(file):
        raise OSError(errno.EROFS, os.strerror(errno.EROFS))

    monkeypatch.setattr("raylab.sweeps.store.Claim", refuse)
    assert swept(done).brightness.shape == (4, 2)
    (done / "sweep.nc").unlink()
    with pytest.raises(rl.InputError, match="cannot be written: Read-only file system; finished chunks are kept"):
        swept(done)
