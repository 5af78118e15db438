"""A disk that is full, broken, read-only or has a quota: one line, nothing left, and the process lives on."""

from __future__ import annotations

import errno
import gc
import os
import resource
import subprocess
import sys
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import matplotlib.figure
import numpy as np
import pytest

import raylab as rl
from raylab import files, jit, whole_files
from raylab.cli import main
from raylab.errors import RaylabWarning
from raylab.pictures.video import save_video

STONE = rl.round_brilliant(table_pct=57, crown_angle_deg=34.5, pavilion_angle_deg=40.75, girdle_facets=32)
DOME = rl.load_dome("head-shadow")
STILLS = Path()
"""Folder of the stills of a film that is written."""
NO_ROOM = "; expected a writable folder with free space"
FAULTS = (errno.ENOSPC, errno.EDQUOT, errno.EIO, errno.EROFS, errno.EFBIG)


@pytest.fixture(scope="module")
def result() -> rl.Result:
    return rl.trace(STONE, DOME, resolution=24, precision=0.05)


@contextmanager
def room(size: int) -> Iterator[None]:
    """The system lets no file grow beyond `size` bytes."""
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    try:
        resource.setrlimit(resource.RLIMIT_FSIZE, (size, hard))
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


def film(kind: str) -> Callable[[rl.Result, Path], object]:
    """The film alone: its still is there already."""

    def write(_: rl.Result, folder: Path) -> None:
        save_video(STONE, DOME, folder / f"film.{kind}", [rl.View(tilt_deg=1.0)], size=16, spectrum=2, stills=STILLS)

    return write


def still(_: rl.Result, folder: Path) -> None:
    save_video(STONE, DOME, folder / "film.gif", [rl.View(tilt_deg=2.0)], size=16, spectrum=2, stills=folder)


def figure() -> matplotlib.figure.Figure:
    return matplotlib.figure.Figure(figsize=(2, 2))


WRITERS: dict[str, Callable[[rl.Result, Path], object]] = {
    "m.nc": lambda result, folder: files.save_maps(result.arrays, folder / "m.nc"),
    "l.tiff": lambda result, folder: files.save_luminance(result.arrays, folder / "l.tiff"),
    "s.json": lambda result, folder: files.save_summary(result, folder / "s.json"),
    "f.csv": lambda result, folder: files.save_facets(result.summary.facets, folder / "f.csv"),
    "f.png": lambda result, folder: files.save_png(figure(), folder / "f.png"),
    "p.png": lambda result, folder: files.save_pixels(np.zeros((99, 99, 3), np.uint8), folder / "p.png"),
    "v.svg": lambda result, folder: files.save_svg("x" * 999, folder / "v.svg"),
    "s.stl": lambda result, folder: files.save_stone(STONE, folder / "s.stl"),
    "s.csv": lambda result, folder: files.save_stone(STONE, folder / "s.csv"),
    "film.gif": film("gif"),
    "film.mp4": film("mp4"),
    "still.png": still,
}


def left_in(folder: Path) -> list[str]:
    return sorted(str(path.relative_to(folder)) for path in folder.rglob("*") if not path.is_dir())


@pytest.mark.parametrize("name", WRITERS)
def test_a_full_disk_is_one_line_for_every_kind_of_file(name, result, tmp_path, tmp_path_factory, monkeypatch, recwarn):
    """HDF5 that writes to a full disk by itself would take this process down."""
    if name.startswith("film"):
        monkeypatch.setitem(globals(), "STILLS", tmp_path_factory.mktemp("stills"))
        whole = tmp_path_factory.mktemp("whole")
        WRITERS[name](result, whole)
        assert left_in(whole) == [name]
    with (
        room(16),
        pytest.raises(rl.InputError, match="cannot be written: File too large" + NO_ROOM),
    ):
        WRITERS[name](result, tmp_path)
    assert left_in(tmp_path) == []
    gc.collect()  # what a library left half open is closed now
    assert [str(one.message) for one in recwarn] == []


@pytest.mark.parametrize("fault", FAULTS, ids=lambda number: errno.errorcode[number])
def test_any_fault_of_the_disk_is_one_line(fault, result, tmp_path, monkeypatch):
    def refuse(handle):
        raise OSError(fault, os.strerror(fault))

    monkeypatch.setattr(os, "fsync", refuse)
    with pytest.raises(rl.InputError) as caught:
        files.save_maps(result.arrays, tmp_path / "m.nc")
    assert str(caught.value) == f"{tmp_path / 'm.nc'}: cannot be written: {os.strerror(fault)}{NO_ROOM}"
    assert left_in(tmp_path) == []


def test_a_render_on_a_full_disk_is_one_line(tmp_path, capsys):
    (tmp_path / "s.csv").write_text(rl.stone.facet_table.facet_table(STONE))
    with room(4096):
        code = main(["render", str(tmp_path / "s.csv"), "--out", str(tmp_path / "out"), "--resolution", "16"])
    assert code == 2
    assert capsys.readouterr().err == f"raylab: {tmp_path / 'out'}: cannot be written: File too large{NO_ROOM}\n"
    assert left_in(tmp_path) == ["s.csv"]


def test_a_temporary_folder_without_room_is_one_line(monkeypatch):
    def refuse(*_):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr("tempfile.mkdtemp", refuse)
    with (
        pytest.raises(rl.InputError, match="the temporary folder: cannot be written: No space left"),
        whole_files.temporary_folder(),
    ):
        pass


def test_output_that_cannot_be_written_is_one_line():
    """In a process of its own, which must not try again when it ends."""
    command = [sys.executable, "-m", "raylab", "domes"]
    environment = {**os.environ, "PYTHONPATH": str(Path(rl.__file__).parents[1])}
    with open("/dev/full", "w") as full:
        done = subprocess.run(command, stdout=full, stderr=subprocess.PIPE, text=True, env=environment)
    assert (done.returncode, done.stderr) == (2, "raylab: output: No space left on device\n")


# The cache of compiled code


def kernel(folder: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[[float], float]:
    """A function as a fresh process finds it, with its cache in a folder."""
    monkeypatch.setattr("numba.core.config.CACHE_DIR", str(folder))
    return jit.njit()(tripled)


def tripled(x):
    return 3.0 * x


def kept(folder: Path) -> list[Path]:
    return sorted(folder.rglob("*.nb[ic]"))


def test_a_cache_without_room_is_told_once_and_stops_nothing(tmp_path, monkeypatch):
    with warnings.catch_warnings(record=True) as told:
        warnings.simplefilter("default")
        for _ in range(2):
            with room(16):
                assert kernel(tmp_path, monkeypatch)(2.0) == 6.0
    assert [(one.category, str(one.message).split(": ")[0]) for one in told] == [
        (RaylabWarning, "compiled code is not kept, each start compiles it again")
    ]
    assert not [path for path in kept(tmp_path) if path.suffix == ".nbc"]


def test_a_cache_that_cannot_be_made_stops_nothing(tmp_path, monkeypatch):
    (tmp_path / "file").touch()
    monkeypatch.setattr("numba.core.caching._CacheLocator.ensure_cache_path", lambda self: os.makedirs(tmp_path / "file" / "x"))
    with pytest.warns(RaylabWarning, match="compiled code is not kept"):
        assert kernel(tmp_path / "cache", monkeypatch)(2.0) == 6.0


def damage_none(data: bytes) -> bytes:
    return data


def damage_cut(data: bytes) -> bytes:
    return data[: len(data) // 2]


def damage_bit(data: bytes) -> bytes:
    """One bit in the middle: of the machine code, in a data file."""
    return data[: len(data) // 2] + bytes([data[len(data) // 2] ^ 4]) + data[len(data) // 2 + 1 :]


def damage_all(data: bytes) -> bytes:
    return b""


@pytest.mark.parametrize("suffix", [".nbi", ".nbc"])
@pytest.mark.parametrize("damage", [damage_none, damage_cut, damage_bit, damage_all], ids=lambda f: f.__name__)
def test_a_damaged_cache_is_compiled_and_written_anew(suffix, damage, tmp_path, monkeypatch):
    assert kernel(tmp_path, monkeypatch)(2.0) == 6.0
    assert [path.suffix for path in kept(tmp_path)] == [".nbc", ".nbi"]
    for path in kept(tmp_path):
        if path.suffix == suffix:
            path.write_bytes(damage(path.read_bytes()))
    for compiled in (damage is not damage_none, False):
        again = kernel(tmp_path, monkeypatch)
        assert again(2.0) == 6.0
        assert bool(again.stats.cache_misses) is compiled
