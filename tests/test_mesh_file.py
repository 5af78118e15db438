"""Mesh files: five kinds read to the same body, units as stated, and whatever is no whole file refused in one line."""

from __future__ import annotations

import io
import struct
import subprocess
import sys
import zipfile
from functools import cache
from pathlib import Path

import numpy as np
import pytest
import trimesh
from foreign_here import parse_here
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import raylab as rl
from raylab.stone.scanning.mesh_file import SUFFIXES, read_mesh

BOX = trimesh.creation.box((4.0, 5.0, 6.0))


def three_mf(unit: str = "millimeter") -> bytes:
    """The box as a 3MF package, written out by hand from the standard's core specification."""
    core = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
    corners = "".join('<vertex x="{}" y="{}" z="{}"/>'.format(*v) for v in BOX.vertices)
    faces = "".join('<triangle v1="{}" v2="{}" v3="{}"/>'.format(*f) for f in BOX.faces)
    model = (
        f'<?xml version="1.0" encoding="UTF-8"?><model unit="{unit}" xmlns="{core}">'
        '<resources><object id="1" type="model"><mesh>'
        f"<vertices>{corners}</vertices><triangles>{faces}</triangles></mesh></object></resources>"
        '<build><item objectid="1"/></build></model>'
    )
    package = io.BytesIO()
    with zipfile.ZipFile(package, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("3D/3dmodel.model", model)
    return package.getvalue()


@cache
def content(suffix: str) -> bytes:
    """The box as a file of a kind, numbers in mm (GLB: to be taken as metres)."""
    if suffix == ".3mf":
        return three_mf()
    data = BOX.export(file_type=suffix[1:])
    return data.encode() if isinstance(data, str) else bytes(data)


TEXT_STL = BOX.export(file_type="stl_ascii").encode()


@pytest.mark.parametrize("suffix", SUFFIXES)
def test_every_kind_gives_the_body(suffix, tmp_path):
    path = tmp_path / f"box{suffix}"
    path.write_bytes(content(suffix))
    scan = rl.load_scan(path, unit="mm")
    assert len(scan.stone) == 6
    assert scan.stone.volume_mm3 == pytest.approx(120.0, rel=1e-6)
    assert (scan.stone.name, scan.report.unit) == ("box", "mm")


def test_text_stl_is_read_too(tmp_path):
    (tmp_path / "box.STL").write_bytes(TEXT_STL)
    assert rl.load_stone(tmp_path / "box.STL", unit="mm").volume_mm3 == pytest.approx(120.0, rel=1e-6)


@pytest.mark.parametrize(("unit", "mm"), [("um", 1e-3), ("mm", 1.0), ("cm", 10.0), ("m", 1e3), ("in", 25.4)])
def test_numbers_are_taken_in_the_unit_that_is_stated(unit, mm, tmp_path):
    (tmp_path / "box.stl").write_bytes(content(".stl"))
    assert np.ptp(read_mesh(tmp_path / "box.stl", unit=unit).vertices_mm, axis=0) == pytest.approx(
        np.array([4.0, 5.0, 6.0]) * mm
    )


@pytest.mark.parametrize(
    ("word", "mm"), [("micron", 1e-3), ("millimeter", 1.0), ("centimeter", 10.0), ("inch", 25.4), ("meter", 1e3)]
)
def test_a_3mf_states_its_unit(word, mm, tmp_path, monkeypatch):
    """The words are those of the 3MF core specification."""
    parse_here(monkeypatch)
    (tmp_path / "box.3mf").write_bytes(three_mf(word))
    assert np.ptp(read_mesh(tmp_path / "box.3mf").vertices_mm, axis=0) == pytest.approx(np.array([4.0, 5.0, 6.0]) * mm)


def test_a_glb_is_in_meters(tmp_path, monkeypatch):
    parse_here(monkeypatch)
    (tmp_path / "box.glb").write_bytes(content(".glb"))
    found = read_mesh(tmp_path / "box.glb")
    assert (found.unit, np.ptp(found.vertices_mm, axis=0)[0]) == ("m", pytest.approx(4000.0))


def ply(vertices: int) -> bytes:
    header = f"ply\nformat binary_little_endian 1.0\nelement vertex {vertices}\n"
    header += "property float x\nproperty float y\nproperty float z\n"
    return (header + "element face 1\nproperty list uchar int vertex_indices\nend_header\n").encode() + bytes(64)


def package_without_model() -> bytes:
    data = io.BytesIO()
    with zipfile.ZipFile(data, "w") as archive:
        archive.writestr("a.txt", "tea")
    return data.getvalue()


NAN_OBJ = content(".obj").replace(b"v ", b"v nan ", 1)
OPEN_OBJ = b"\n".join(
    line for k, line in enumerate(content(".obj").split(b"\n")) if not (line.startswith(b"f") and k % 12 == 0)
)
LIE = bytes(80) + struct.pack("<I", 2**32 - 1) + content(".stl")[84:]

BAD = [
    ("empty.stl", b"", "empty file"),
    ("short.stl", bytes(50), "too short for an STL"),
    ("cut.stl", content(".stl")[:-30], "the header states 12 triangles, 684 bytes, but the file has 654"),
    ("lie.stl", LIE, "the header states 4294967295 triangles"),
    ("text.stl", TEXT_STL[:-200], "without a final 'endsolid'"),
    ("none.stl", bytes(84), "no triangles"),
    ("lie.ply", ply(700_000_000), "states elements of at least 8400000001 bytes, but"),
    ("head.ply", b"ply\nformat ascii 1.0\n", "no PLY header"),
    ("cut.ply", content(".ply")[:-40], "invalid PLY file"),
    ("really-stl.obj", TEXT_STL, r"the content is that of a \.stl file"),
    ("really-obj.stl", content(".obj"), r"the content is that of a \.obj file"),
    ("words.obj", b"a cup of tea\n", "no OBJ lines"),
    ("nan.obj", NAN_OBJ, "not finite|invalid OBJ"),
    ("open.obj", OPEN_OBJ, "open mesh|too few triangles"),
    ("cut.glb", content(".glb")[:-10], "truncated"),
    (
        "lie.glb",
        content(".glb")[:12] + struct.pack("<I", 2**31) + content(".glb")[16:],
        "a description of 2147483648 bytes, but",
    ),
    ("short.glb", b"glTF", "too short for a GLB"),
    ("cut.3mf", content(".3mf")[:-60], "invalid 3MF archive"),
    ("tea.3mf", package_without_model(), "has no part 3D/3dmodel.model"),
    ("furlong.3mf", three_mf("furlong"), "unknown unit in the file"),
    ("box.step", b"tea", "unknown kind of stone file"),
]


@pytest.mark.parametrize(("name", "data", "reason"), BAD, ids=[name for name, _, _ in BAD])
def test_files_that_are_not_what_they_say(name, data, reason, tmp_path):
    (tmp_path / name).write_bytes(data)
    unsaid = name.endswith((".stl", ".obj", ".ply"))
    with pytest.raises(rl.InputError, match=reason) as facts:
        rl.load_stone(tmp_path / name, unit="mm" if unsaid else None)
    assert str(facts.value).startswith(str(tmp_path / name))
    assert "\n" not in str(facts.value)


def test_a_missing_file_and_a_folder_are_reported(tmp_path):
    (tmp_path / "folder.stl").mkdir()
    for name, says in (("none.stl", "no such file"), ("folder.stl", "not a file")):
        with pytest.raises(rl.InputError, match=rf"{name}: {says}"):
            rl.load_stone(tmp_path / name, unit="mm")


@pytest.mark.parametrize("suffix", SUFFIXES)
@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_damaged_files_give_a_stone_or_one_line(suffix, tmp_path, monkeypatch, data):
    """Bytes overwritten, cut off or put in anywhere: no other error, whatever the parser of the file meets."""
    parse_here(monkeypatch)
    whole = bytearray(content(suffix))
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, max(len(whole) - 1, 0)))
        kind = data.draw(st.sampled_from(["set", "cut", "add", "drop"]))
        some = data.draw(st.binary(min_size=1, max_size=6))
        if kind == "set":
            whole[at : at + len(some)] = some
        elif kind == "cut":
            del whole[at:]
        elif kind == "add":
            whole[at:at] = some
        else:
            del whole[at : at + len(some)]
    path = tmp_path / f"x{suffix}"
    path.write_bytes(whole)
    try:
        stone = rl.load_stone(path, unit="mm")
    except rl.InputError as error:
        line = str(error)
        assert line.startswith(str(path))
        assert len(line.splitlines()) == 1
    else:
        assert stone.volume_mm3 > 0.0


@pytest.mark.parametrize("command", ["measure", "render"])
def test_the_command_line_refuses_with_one_line_and_leaves_nothing(command, tmp_path):
    (tmp_path / "cut.stl").write_bytes(content(".stl")[:-30])
    out = ["--out", "out"] if command == "render" else ["--save", "out.csv"]
    ran = subprocess.run(
        [sys.executable, "-m", "raylab", command, "cut.stl", "--unit", "mm", *out],
        cwd=tmp_path,
        env={"PYTHONPATH": str(Path(__file__).parents[1]), "PATH": ""},
        capture_output=True,
        text=True,
        check=False,
    )
    assert (ran.returncode, ran.stdout, len(ran.stderr.splitlines())) == (2, "", 1)
    assert "cut.stl: the header states 12 triangles" in ran.stderr
    assert [path.name for path in tmp_path.iterdir()] == ["cut.stl"]
