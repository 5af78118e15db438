"""Files of the user's that hang, never end, lie about their size, or make a parser fail: each is one short line."""

from __future__ import annotations

import os
import struct
import zipfile
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import tifffile
from time_limit import within

import raylab as rl
from raylab import foreign
from raylab.cli import main
from raylab.errors import LONGEST_LINE, InputError, one_line
from raylab.lighting.sky_formats import MOST_PIXELS
from raylab.lighting.sky_image import read_sky_image
from raylab.optics.absorption import read_absorption
from raylab.reading import Kind, parsing, read_file, read_text
from raylab.sweeps.sweep_file import read_sweep_file

ANY = Kind("a test file", 1000)

READERS: dict[str, Callable[[Path], object]] = {
    "s.toml": rl.load_scene,
    "t.toml": rl.load_stone,
    "d.toml": rl.load_dome,
    "w.toml": read_sweep_file,
    "a.csv": rl.load_stone,
    "b.csv": read_absorption,
    "m.stl": lambda path: rl.load_stone(path, unit="mm"),
    "m.obj": lambda path: rl.load_stone(path, unit="mm"),
    "m.ply": lambda path: rl.load_stone(path, unit="mm"),
    "m.glb": rl.load_stone,
    "m.3mf": rl.load_stone,
    "i.hdr": read_sky_image,
    "i.exr": read_sky_image,
    "i.tif": read_sky_image,
    "i.npy": read_sky_image,
}
"""Every door through which a file of the user's comes in."""


@pytest.mark.parametrize("kind", ["a pipe", "a link to a device", "a socket", "a folder", "a link to nowhere"])
@pytest.mark.parametrize("name", READERS)
def test_only_regular_files_are_read(name, kind, tmp_path):
    path = tmp_path / name
    if kind == "a pipe":
        os.mkfifo(path)
    elif kind == "a folder":
        path.mkdir()
    elif kind == "a socket":
        os.mknod(path, 0o600 | 0o140000)
    else:
        path.symlink_to("/dev/zero" if "device" in kind else "nowhere")
    with within(60), pytest.raises(InputError) as caught:
        READERS[name](path)
    assert str(path) in str(caught.value)
    assert ("no such file" if kind == "a link to nowhere" else "cannot be read" if kind == "a socket" else "not a file") in str(
        caught.value
    )


@pytest.mark.parametrize("name", READERS)
def test_each_kind_of_file_has_a_size_that_is_named(name, tmp_path):
    """The file is all hole: it takes no room, and must not be read."""
    with open(tmp_path / name, "wb") as file:
        file.truncate(2 << 30)
    with within(60), pytest.raises(InputError, match=r"file too large \(2147483648 bytes\); expected .* of at most \d+ bytes"):
        READERS[name](tmp_path / name)


def test_a_file_is_read_as_it_is(tmp_path):
    (tmp_path / "f").write_bytes(b"\xef\xbb\xbfabc")
    assert read_file(tmp_path / "f", ANY) == b"\xef\xbb\xbfabc"
    assert read_text(tmp_path / "f", ANY) == "abc"
    (tmp_path / "f").write_bytes(b"a\nb\xff")
    with pytest.raises(InputError, match="f: line 2: not UTF-8; expected a test file in UTF-8"):
        read_text(tmp_path / "f", ANY)
    (tmp_path / "f").write_bytes(bytes(1000))
    assert len(read_file(tmp_path / "f", ANY)) == 1000
    (tmp_path / "f").write_bytes(bytes(1001))
    with pytest.raises(InputError, match="name: file too large"):
        read_file(tmp_path / "f", ANY, "name")


@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="a file system of Linux's")
def test_a_file_that_states_no_size_is_refused():
    with pytest.raises(InputError, match="not a plain file, or a file that changes"):
        read_file("/proc/self/status", ANY)


@pytest.mark.parametrize(("name", "says"), [("x" * 300, "cannot be read: File name too long"), ("a\0b", "no such file")])
def test_names_that_no_file_can_have(name, says):
    with pytest.raises(InputError, match=says):
        read_file(name, ANY)


def test_whatever_a_reader_raises_is_one_line_and_its_warnings_are_kept(recwarn):
    def fails(fault: BaseException) -> None:
        with parsing("f"):
            np.float64(1.0) / np.float64(0.0)
            raise fault

    for fault in (KeyError("k"), RecursionError("deep"), AssertionError(), np.linalg.LinAlgError("singular"), StopIteration()):
        with pytest.raises(InputError, match="^f: cannot be read: " + type(fault).__name__) as caught:
            fails(fault)
        assert caught.value.__cause__ is fault
    with pytest.raises(InputError, match=r"^f: not enough memory"):
        fails(MemoryError())
    with pytest.raises(KeyboardInterrupt):
        fails(KeyboardInterrupt())
    assert len(recwarn) == 0


def test_the_traceback_of_a_fault_is_shown_on_demand_only(tmp_path, monkeypatch, capsys):
    (tmp_path / "a.csv").write_text("x")
    for wanted in (False, True):
        monkeypatch.setenv("RAYLAB_DEBUG", "1" if wanted else "")
        assert main(["measure", str(tmp_path / "a.csv")]) == 2
        lines = capsys.readouterr().err.splitlines()
        assert (lines[0].startswith("Traceback"), len(lines) > 1) == (wanted, wanted)
        assert lines[-1].startswith(f"raylab: {tmp_path / 'a.csv'}")


# Lines


def test_a_line_is_short_and_acts_on_no_terminal(tmp_path, capsys):
    assert one_line("a\x1b[31m\x07b\u202e\x9b\udcff\nc") == "a\\x1b[31m\\x07b\\u202e\\x9b\\udcff c"
    assert len(one_line("x" * 10**6)) == LONGEST_LINE
    assert len(str(InputError("p", key="k" * 10**5, value="v" * 10**6, file="f", expected="e" * 10**4))) == LONGEST_LINE
    assert "a very long int" in str(InputError("p", key="k", value=10**5000))
    evil = tmp_path / "\x1b[31mred\x9b\n.csv"
    evil.write_text(rl.stone.facet_table.facet_table(STONE).replace("# name: ", "# name: \x1b[2J"))
    assert main(["measure", str(evil)]) == 0
    assert main(["measure", str(evil), "--unit", "\x1b[2J"]) == 2
    out, err = capsys.readouterr()
    assert "\\x1b[2J" in out
    assert "\\x1b[31mred" in err
    assert not any(mark in out + err for mark in "\x1b\x9b")


STONE = rl.round_brilliant(table_pct=57, crown_angle_deg=34.5, pavilion_angle_deg=40.75)


# Contents


def glb(tree: bytes) -> bytes:
    padded = tree + b" " * (-len(tree) % 4)
    return struct.pack("<4sIIII", b"glTF", 2, 20 + len(padded), len(padded), 0x4E4F534A) + padded


def tiff(pixels: np.ndarray, folder: Path, **options: object) -> bytes:
    tifffile.imwrite(folder / "made.tif", pixels, **options)
    return (folder / "made.tif").read_bytes()


def npy(header: bytes) -> bytes:
    return b"\x93NUMPY\x01\x00" + struct.pack("<H", len(header)) + header


DEEP = ".".join(["a"] * 5000)
PLY = "ply\nformat {} 1.0\nelement vertex {}\nproperty float x\nproperty float y\nproperty float z\n{}end_header\n0 0 0\n"
FACES = "element face {}\nproperty list uchar int vertex_indices\n"
CONTENTS: list[tuple[str, bytes]] = [
    ("s.toml", f"schema = 1\n{DEEP} = 1\n".encode()),
    ("d.toml", f"schema = 1\n[{DEEP}]\nb = 1\n".encode()),
    ("t.toml", b"schema = 1\nstone = " + b"[" * 50_000),
    ("w.toml", b"schema = 1\naxes = " + b"{a=" * 5_000),
    ("s.toml", f"schema = 1\n{'a.' * 400_000}b = 1\n".encode()),
    ("s.toml", b"schema = " + b"9" * 5000),
    ("a.csv", b"# " + b"a" * 10**6 + b": x\n"),
    ("a.csv", b"facet,tier,side,slope_deg,azimuth_deg,distance_mm\n" + b"9" * 10**6 + b",table,up,0,0,1\n"),
    ("b.csv", b"# invented\nwavelength_nm,absorption_per_cm\n" + b"9" * 10**5 + b",1\n"),
    ("m.ply", PLY.format("ascii", "9" * 5000, "").encode()),
    ("m.ply", PLY.format("ascii", "\u0663", "").encode()),
    ("m.ply", PLY.format("binary_little_endian", 1, FACES.format(10**9)).encode()),
    ("m.ply", b"ply\nformat ascii 1.0\nelement vertex 999999999\nelement face 1\nend_header\n"),
    ("m.stl", b"solid\nfacet normal 0 0 1\nvertex nan nan nan\nendsolid"),
    ("m.obj", b"v 1 2 3\nv 1 2\nf 1 2 99999999999999999999\n"),
    ("m.glb", glb(b"[" * 60_000)),
    ("m.glb", glb(b'{"accessors": [{"count": ' + b"9" * 5000 + b"}]}")),
    ("m.glb", glb(b'{"asset": {"version": "2.0"}, "meshes": [{"primitives": [{"attributes": {"POSITION": 7}}]}]}')),
    ("m.3mf", b"PK\x03\x04" + bytes(100)),
    ("i.npy", npy(b"{'descr':" + b"(" * 3000)),
    ("i.npy", npy(b"{'descr': '<f8', 'fortran_order': False, 'shape': (4611686018427387904, 2), }\n")),
    ("i.npy", npy(b"{'descr': '<f8', 'fortran_order': False, 'shape': (-1, 4), }\n") + bytes(640)),
    ("i.npy", npy(b"{'descr': '<f8', 'fortran_order': False, 'shape': (True, 4.0), }\n") + bytes(640)),
    ("i.hdr", b"#?RADIANCE\nFORMAT=32-bit_rle_rgbe\nEXPOSURE=x\n\n-Y 1 +X 1\n0000"),
    ("i.hdr", b"#?RADIANCE\nFORMAT=32-bit_rle_rgbe\n\n-Y " + b"9" * 5000 + b" +X 1\n0000"),
    ("i.tif", b"II*\x00\xff\xff\xff\xff"),
]


@pytest.mark.parametrize("case", range(len(CONTENTS)))
def test_contents_that_no_reader_expects_are_one_line(case, tmp_path, recwarn, capfd):
    name, content = CONTENTS[case]
    (tmp_path / name).write_bytes(content)
    with within(60), pytest.raises(InputError) as caught:
        READERS[name](tmp_path / name)
    assert str(tmp_path / name) in str(caught.value)
    assert "Traceback" not in str(caught.value)
    assert len(str(caught.value)) <= LONGEST_LINE
    assert len(recwarn) == 0
    assert capfd.readouterr().err == ""


def test_a_tiff_cut_short_is_one_line(tmp_path, capfd):
    whole = tiff(np.ones((64, 128), np.float32), tmp_path)
    (tmp_path / "i.tif").write_bytes(whole[: len(whole) // 2])
    with pytest.raises(InputError, match=r"i\.tif': cannot be read: "):
        read_sky_image(tmp_path / "i.tif")
    assert capfd.readouterr().err == ""


# Sizes


def test_what_an_image_unpacks_to_is_bounded_by_its_header(tmp_path):
    """Before it is unpacked: the picture that this header states has no pixels at all."""
    data = bytearray(tiff(np.zeros((8, 16), np.float32), tmp_path, compression="zlib"))
    with tifffile.TiffFile(tmp_path / "made.tif") as file:
        for name in ("ImageWidth", "ImageLength"):
            tag = file.pages[0].tags[name]
            struct.pack_into({3: "<H", 4: "<I"}[tag.dtype], data, tag.valueoffset, 60_000)
    (tmp_path / "i.tif").write_bytes(data)
    with pytest.raises(InputError, match=r"60000 x 60000 samples; at most 33554432 pixels are read \(8192 x 4096\)"):
        read_sky_image(tmp_path / "i.tif")
    shape = (1, MOST_PIXELS + 1)
    (tmp_path / "i.npy").write_bytes(npy(f"{{'descr': '<f8', 'fortran_order': False, 'shape': {shape}, }}\n".encode()))
    with pytest.raises(InputError, match="at most 33554432 pixels"):
        read_sky_image(tmp_path / "i.npy")


def test_pictures_come_back_bit_for_bit(tmp_path):
    pixels = np.random.default_rng(1).random((130, 9, 3)).astype(np.float32)
    expected = pixels.astype(float) @ [0.2126, 0.7152, 0.0722]
    (tmp_path / "i.tif").write_bytes(tiff(pixels, tmp_path, compression="zlib", photometric="rgb"))
    np.save(tmp_path / "i.npy", pixels)
    for name in ("i.tif", "i.npy"):
        np.testing.assert_array_equal(read_sky_image(tmp_path / name), expected)


def test_a_parser_that_crashes_or_runs_on_takes_nothing_along(monkeypatch):
    with pytest.raises(ValueError, match="its reader crashed"):
        foreign.parsed("ctypes", "string_at", b"")  # reads what isn't there
    monkeypatch.setattr(foreign, "MOST_S", 0.05)
    with pytest.raises(ValueError, match=r"reading it takes longer than 0\.05 s"):
        foreign.parsed("time", "sleep", b"")


def test_an_archive_that_unpacks_to_more_than_is_read_is_refused(tmp_path, monkeypatch):
    monkeypatch.setattr("raylab.stone.scanning.mesh_file.MESH", Kind("a mesh", 5_000_000))
    with zipfile.ZipFile(tmp_path / "m.3mf", "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("3D/3dmodel.model", bytes(6_000_000))
    with pytest.raises(InputError, match="the archive unpacks to 6000000 bytes; expected at most 5000000"):
        rl.load_stone(tmp_path / "m.3mf")
