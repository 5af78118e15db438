"""The doors through which files come in: for each kind of file, what reads it and whole files to damage."""

from __future__ import annotations

import functools
import io
import json
import zipfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import tifffile
import trimesh
from workbench_link import answers_to

import raylab as rl
from raylab.errors import InputError
from raylab.lighting.sky_image import read_sky_image
from raylab.optics.absorption import read_absorption
from raylab.sweeps.store import MANIFEST, Store
from raylab.sweeps.sweep_file import read_sweep_file
from raylab.workbench.design_json import DEMO, facet_design, stone_of
from raylab.workbench.file_exchange import open_bytes, open_demo
from raylab.workbench.pages import Workbench

ROOT = Path(__file__).parents[2]
FACTS = {
    "raylab_sweep": 1,
    "code": "0",
    "settings": {"precision": 0.1},
    "layout": "grid",
    "axes": {"table_pct": [57.0, 58.0]},
    "order": ["table_pct"],
    "fixed": {"dome": "even-sky 0"},
}


@dataclass(frozen=True)
class Door:
    """One kind of file.

    Attributes
    ----------
    name : of the file that is read, its suffix included. read : raises InputError or nothing. seeds : whole files.
    text : whether they are text. foreign : whether a library that isn't ours reads it. packed : whether it does so in a process
        of its own. ready : what is done once before any case, because it takes longer than a case may.
    """

    name: str
    read: Callable[[Path], object]
    seeds: Callable[[], tuple[bytes, ...]]
    text: bool = True
    foreign: bool = False
    packed: bool = False
    ready: Callable[[], object] = tuple


def shipped(*patterns: str) -> Callable[[], tuple[bytes, ...]]:
    return lambda: tuple(path.read_bytes() for pattern in patterns for path in sorted(ROOT.glob(pattern)))


@functools.cache
def mesh(kind: str) -> tuple[bytes, ...]:
    unit = 1e-3 if kind == "glb" else 1.0  # GLB is in metres
    box = trimesh.creation.box(extents=(4.0 * unit, 5.0 * unit, 6.0 * unit))
    data = box.export(file_type=kind)
    return (data.encode() if isinstance(data, str) else bytes(data),)


@functools.cache
def three_mf() -> tuple[bytes, ...]:
    box = trimesh.creation.box(extents=(4.0, 5.0, 6.0))
    corners = "".join('<vertex x="{}" y="{}" z="{}"/>'.format(*corner) for corner in box.vertices)
    faces = "".join('<triangle v1="{}" v2="{}" v3="{}"/>'.format(*face) for face in box.faces)
    core = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
    model = (
        f'<model unit="millimeter" xmlns="{core}"><resources><object id="1" type="model"><mesh><vertices>{corners}</vertices>'
        f'<triangles>{faces}</triangles></mesh></object></resources><build><item objectid="1"/></build></model>'
    )
    stored = io.BytesIO()
    with zipfile.ZipFile(stored, "w") as archive:  # not packed, so that damage reaches the XML
        archive.writestr("3D/3dmodel.model", model)
    return (stored.getvalue(),)


PIXELS = np.linspace(0.1, 2.0, 8 * 16 * 3, dtype=np.float32).reshape(8, 16, 3)


def tiff() -> tuple[bytes, ...]:
    found = []
    for options in ({}, {"compression": "zlib", "tile": (16, 16)}):
        stored = io.BytesIO()
        tifffile.imwrite(stored, PIXELS, photometric="rgb", **options)
        found.append(stored.getvalue())
    return tuple(found)


def npy() -> tuple[bytes, ...]:
    stored = io.BytesIO()
    np.save(stored, PIXELS)
    return (stored.getvalue(),)


def hdr() -> tuple[bytes, ...]:
    head = b"#?RADIANCE\nFORMAT=32-bit_rle_rgbe\nEXPOSURE=1.5\n\n-Y 2 +X 16\n"
    row = bytes([2, 2, 0, 16]) + 4 * (bytes([128 + 10, 130, 6]) + bytes(range(100, 106)))
    return (head + 2 * row, head + bytes(range(128)))


def manifest(path: Path) -> object:
    """The description of a sweep in whose folder it lies."""
    store = Store(path.parent, FACTS, lambda: 1)
    store.close()
    return store


def sweep_json() -> tuple[bytes, ...]:
    return (json.dumps({**FACTS, "chunk": 1}, indent=1).encode(), json.dumps({**FACTS, "chunk": 2}).encode())


@functools.cache
def workbench() -> Workbench:
    """One that has answered every kind of question: kernels are compiled."""
    made = Workbench(open_demo())
    answers_to([question.decode() for question in questions()], made)
    return made


def link(path: Path) -> None:
    """The file as a text message to the workbench; where that is no text, as a binary one."""
    data = path.read_bytes()
    try:
        frame: str | bytes = data.decode()
    except UnicodeDecodeError:
        frame = data
    (answer,) = answers_to([frame], workbench())
    if "error" in answer:
        line = answer["error"]["text"]
        assert "internal error" not in line
        assert line.isprintable()
        raise InputError(line)


def questions() -> tuple[bytes, ...]:
    """Messages of a page, all of them quickly answered; a pair of escapes makes one character, and half of it makes none."""
    base = {"id": 7, "side": "a", "dome": "head-shadow", "tilt_deg": 3.0, "tilt_azimuth_deg": 20}
    smile = {**DEMO, "name": "smile \U0001f600"}
    picture = {**base, "kind": "picture", "step": "coarse", "maps": ["contrast", "leak"], "facet": "table 0"}
    ray = {**base, "kind": "ray", "x_mm": 0.5, "y_mm": -1}
    polished = {
        "kind": "repolished",
        "of": smile,
        "facet": "pavilion main 3",
        "slope_deg": 0.3,
        "azimuth_deg": 0,
        "depth_mm": 0,
    }
    rays = [{**ray, "design": design} for design in (smile, facet_design(stone_of(DEMO)), polished)]
    specks = [
        {"shape": "sphere", "facet": "table", "at_mm": [0.4, 0.1], "apparent_depth_mm": 0.3, "radius_mm": 0.1},
        {
            "name": "feather",
            "shape": "disc",
            "center_mm": [0.1, 0, 0.2],
            "radius_mm": 0.3,
            "normal": [0, 1, 1],
            "transmittance": 0.5,
        },
    ]
    plot = {**base, "kind": "plot", "design": {**smile, "inclusions": specks}}
    plots = [{**plot, "x_mm": 0.5, "y_mm": -1}, {**plot, "facet": "table 0", "point_mm": [0.3, 0.2, 1.07]}]
    strip = {**base, "kind": "strip", "step": "coarse", "key": "table_pct", "values": [57.0], "tilt_deg": 0.0, "design": smile}
    light = {**base, "kind": "light", "design": smile}
    pictures = [{**picture, "design": smile}, {**picture, "live": True, "design": smile}]
    return tuple(json.dumps(one).encode() for one in (*rays, *rays, *plots, strip, light, *pictures))


DOORS = (
    Door("scene.toml", rl.load_scene, shipped("scenes/*.toml")),
    Door("stone.toml", rl.load_stone, shipped("scenes/w*.toml", "scenes/t*.toml", "scenes/stones/*.toml")),
    Door("dome.toml", rl.load_dome, shipped("raylab/lighting/domes/*.toml")),
    Door("sweep.toml", read_sweep_file, shipped("scenes/sweeps/*.toml")),
    Door("facets.csv", rl.load_stone, shipped("scenes/stones/*.csv")),
    Door("tint.csv", read_absorption, shipped("raylab/optics/data/absorption/*.csv")),
    Door(MANIFEST, manifest, sweep_json),
    Door("page.csv", lambda path: open_bytes(path.name, path.read_bytes()), shipped("scenes/stones/*.csv")),
    Door(
        "page.toml", lambda path: open_bytes(path.name, path.read_bytes()), shipped("scenes/[wp]*.toml", "scenes/stones/*.toml")
    ),
    Door("link.json", link, questions, ready=workbench),
    Door("box.stl", lambda path: rl.load_stone(path, unit="mm"), lambda: mesh("stl"), text=False, foreign=True),
    Door("text.stl", lambda path: rl.load_stone(path, unit="mm"), lambda: mesh("stl_ascii"), foreign=True),
    Door("box.obj", lambda path: rl.load_stone(path, unit="mm"), lambda: mesh("obj"), foreign=True),
    Door("box.ply", lambda path: rl.load_stone(path, unit="mm"), lambda: mesh("ply"), text=False, foreign=True),
    Door("box.glb", rl.load_stone, lambda: mesh("glb"), foreign=True, packed=True),
    Door("box.3mf", rl.load_stone, three_mf, foreign=True, packed=True),
    Door("sky.tif", read_sky_image, tiff, text=False, foreign=True, packed=True),
    Door("sky.npy", read_sky_image, npy, foreign=True),
    Door("sky.hdr", read_sky_image, hdr, foreign=True),
)
