"""Triangles from a mesh file: STL, OBJ, PLY, GLB or 3MF, read by trimesh after the file has been found honest.

A file is looked at before any of its numbers is believed: that its content is what its suffix says, that it is whole, and
that the counts it states fit into its length, so that a header can't make us allocate what the file does not hold.

Units are stated by the user or by the file (3MF names one; GLB is in metres by its standard). STL, OBJ and PLY state none,
and none is guessed.
"""

from __future__ import annotations

import io
import json
import re
import struct
import zipfile
from collections.abc import Callable
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path

import numpy as np

from ...errors import InputError
from ...foreign import parsed
from ...reading import MIB, Kind, parsing, read_file, reader
from ...room import Need
from . import mesh_parsing

UNITS_MM = {"um": 1e-3, "mm": 1.0, "cm": 10.0, "m": 1e3, "in": 25.4}
"""Length of each unit that a user may state, mm."""

MESH = Kind("a mesh", 1024 * MIB)
"""The size holds for the content of a compressed one too."""

MEMORY_PER_BYTE = 10
"""Memory that reading a file and finding its facets takes for each byte of the file; 4.3 were measured with an STL of 22 MB."""

FOR_3MF = ("lxml", "networkx")
"""Packages that trimesh reads 3MF with, and nothing else; the extra ``3mf`` brings them."""

_PACKED = {".glb": "glb", ".3mf": "three_mf"}
"""Kinds that may hold more than their length, by what parses them beside this process."""

_DECLARED = {"micron": "um", "millimeter": "mm", "centimeter": "cm", "meter": "m", "inch": "in"}
_PLY_BYTES = {"char": 1, "uchar": 1, "int8": 1, "uint8": 1, "short": 2, "ushort": 2, "int16": 2, "uint16": 2}


@dataclass(frozen=True)
class MeshFile:
    """What a mesh file holds: `vertices_mm` (V, 3), `triangles` (T, 3) indices, and the `unit` that was taken."""

    vertices_mm: np.ndarray
    triangles: np.ndarray
    unit: str


@reader
def read_mesh(path: str | Path, *, unit: str | None = None) -> MeshFile:
    """The triangles of a mesh file in mm, as they stand: nothing is merged, dropped or turned.

    Parameters
    ----------
    path : a file that ends in .stl, .obj, .ply, .glb or .3mf.
    unit : the file's unit of length, one of `UNITS_MM`; None to take the one the file states.

    Raises
    ------
    InputError : the file can't be read or is not what it says, a number is not finite, or no unit is known.
    """
    path = Path(path)
    try:
        return _read(path, unit)
    except InputError as error:
        raise error.within(file=str(path)) from error


def _read(path: Path, unit: str | None) -> MeshFile:
    suffix = path.suffix.lower()
    if suffix not in _CHECKS:
        kind = path.suffix or "no suffix"
        raise InputError(f"unknown kind of mesh file ({kind})", expected="a file that ends in " + ", ".join(_CHECKS))
    if unit is not None and unit not in UNITS_MM:
        raise InputError("unknown unit", key="unit", value=unit, expected="one of " + ", ".join(UNITS_MM))
    content = read_file(path, MESH)
    if not content:
        raise InputError("empty file")
    found = _kind(content)
    if found is not None and found != suffix:
        raise InputError(f"the content is that of a {found} file", expected=f"the content of a {suffix} file")
    _CHECKS[suffix](content)
    Need(f"a mesh of {len(content)} bytes", MEMORY_PER_BYTE * len(content)).check(None, "a smaller mesh")
    vertices, triangles, declared = _parsed(content, suffix)
    taken = unit or _declared_unit(declared)
    if taken is None:
        raise InputError(f"a {suffix} file states no unit", key="unit", expected="one of " + ", ".join(UNITS_MM))
    return MeshFile(vertices * UNITS_MM[taken], triangles, taken)


def _kind(content: bytes) -> str | None:
    """The suffix that matches the first bytes, or None."""
    if content.startswith(b"glTF"):
        return ".glb"
    if content.startswith(b"PK\x03\x04"):
        return ".3mf"
    if content.startswith((b"ply\n", b"ply\r")):
        return ".ply"
    start = content[:4096]
    if re.match(rb"\s*solid\b", start) and re.search(rb"\bfacet\b", start):
        return ".stl"
    return ".obj" if b"\0" not in start and re.search(rb"(?m)^v\s+[-+.\d]+\s+[-+.\d]", start) else None


def _check_stl(content: bytes) -> None:
    stated = int.from_bytes(content[80:84], "little") if len(content) >= 84 else None
    if stated is not None and 84 + 50 * stated == len(content):
        if not stated:
            raise InputError("no triangles")
        return
    if re.match(rb"\s*solid\b", content[:256]) and b"\0" not in content[:4096]:
        if not re.search(rb"(?i)endsolid", content[-4096:]):
            raise InputError("text STL without a final 'endsolid' (truncated?)")
        return
    if stated is None:
        raise InputError(f"too short for an STL ({len(content)} bytes)", expected="84 bytes and 50 more for each triangle")
    raise InputError(
        f"the header states {stated} triangles, {84 + 50 * stated} bytes, but the file has {len(content)} (truncated?)"
    )


def _check_ply(content: bytes) -> None:
    header, ending, body = content.partition(b"end_header")
    if not content.startswith(b"ply") or not ending:
        raise InputError("no PLY header ('ply' ... 'end_header')")
    least, binary = 0, b"format binary" in header
    per_row, count = 0, 0
    for words in [*(line.split() for line in header.decode("ascii", "replace").splitlines()), ["element", "", "0"]]:
        if words[:1] == ["element"]:
            least += count * per_row
            if len(words) != 3 or not re.fullmatch(r"[0-9]{1,12}", words[2]):
                raise InputError(f"invalid PLY header line: {' '.join(words)[:80]!r}")
            count, per_row = int(words[2]), 0
        elif words[:1] == ["property"] and len(words) > 2:
            # a list holds at least its own length; in text, a number is at least a digit and a space
            per_row += 1 if words[1] == "list" else (_PLY_BYTES.get(words[1], 4) if binary else 2)
    if least > len(body) + 8:
        raise InputError(f"the header states elements of at least {least} bytes, but {len(body)} follow (truncated?)")


def _check_glb(content: bytes) -> None:
    if len(content) < 20:
        raise InputError(f"too short for a GLB ({len(content)} bytes)")
    magic, _, length, chunk, kind = struct.unpack_from("<4sIIII", content)
    if magic != b"glTF" or kind != 0x4E4F534A:
        raise InputError("no GLB header")
    if length != len(content):
        raise InputError(f"the header states {length} bytes, but the file has {len(content)} (truncated?)")
    if chunk > length - 20:
        raise InputError(f"the header states a description of {chunk} bytes, but {length - 20} follow")
    try:
        tree = json.loads(content[20 : 20 + chunk])
        counts = [entry.get("count", 0) for entry in tree.get("accessors", [])]
        largest = max(map(int, counts), default=0)
    except (ValueError, TypeError, AttributeError, RecursionError) as error:
        raise InputError(f"invalid GLB description: {error}") from error
    if largest > length:
        raise InputError(f"an accessor states {largest} elements, more than the file has bytes ({length})")


def _check_3mf(content: bytes) -> None:
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            parts = {entry.filename.lower(): entry.file_size for entry in archive.infolist()}
    except (zipfile.BadZipFile, ValueError, OSError, NotImplementedError, struct.error) as error:
        raise InputError(f"invalid 3MF archive: {error}") from error
    if sum(parts.values()) > MESH.most:
        raise InputError(f"the archive unpacks to {sum(parts.values())} bytes", expected=f"at most {MESH.most}")
    if not any("3d/3dmodel.model" in name for name in parts):
        raise InputError("the archive has no part 3D/3dmodel.model")
    if missing := [package for package in FOR_3MF if find_spec(package) is None]:
        raise InputError(f"no package {' and no '.join(missing)} to read 3MF with", expected="pip install 'raylab[3mf]'")


def _check_obj(content: bytes) -> None:
    if b"\0" in content[:4096] or not re.search(rb"(?m)^\s*v\s", content) or not re.search(rb"(?m)^\s*f\s", content):
        raise InputError("no OBJ lines 'v x y z' and 'f a b c'")


_CHECKS: dict[str, Callable[[bytes], None]] = {
    ".stl": _check_stl,
    ".obj": _check_obj,
    ".ply": _check_ply,
    ".glb": _check_glb,
    ".3mf": _check_3mf,
}
"""What looks a file over before it is parsed, by suffix."""

SUFFIXES = tuple(_CHECKS)
"""Suffixes of the mesh files that are read."""

UNIT_UNSAID = (".stl", ".obj", ".ply")
"""Those whose files can't state a unit of length."""


def _parsed(content: bytes, suffix: str) -> tuple[np.ndarray, np.ndarray, str | None]:
    """Vertices (V, 3) in the file's unit, triangles (T, 3), and the unit the file declares."""
    try:
        if suffix in _PACKED:
            found = parsed("raylab.stone.scanning.mesh_parsing", _PACKED[suffix], content)
        else:
            with parsing():
                found = mesh_parsing.parsed_mesh(content, suffix[1:])
    except ValueError as error:  # InputError is one
        reason = error.problem if isinstance(error, InputError) else str(error)
        raise InputError(f"invalid {suffix[1:].upper()} file ({reason})") from error
    return found["vertices"], found["triangles"], str(found["unit"]) or None


def _declared_unit(declared: str | None) -> str | None:
    """Our name for the unit that a file declares."""
    if declared is None:
        return None
    word = declared.strip().lower().removesuffix("s")
    name = _DECLARED.get(word, word)
    if name not in UNITS_MM:
        raise InputError(
            "unknown unit in the file", key="unit", value=declared, expected="that you state one of " + ", ".join(UNITS_MM)
        )
    return name
