"""Compile the kernels that most tests need, once for all processes of a run: ``python tests/kernels.py rays``, or ``beams``.

numba keeps what it compiles beside the source. Processes that begin at once compile everything each for itself, and the tests
begin in two. So `run.py` calls this before the tests, in two processes of about the same length side by side: one engine
each, and with `beams` a scan, with `rays` inclusions and where they are seen.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

import numpy as np
import scanned
import trimesh

import raylab as rl


def compile_kernels(engine: str) -> None:
    """Trace a small picture of a clear stone and of a tinted one by an engine, and do what goes with it."""
    dome, view = rl.load_dome("head-shadow"), rl.View(tilt_deg=10.0)
    for tint in (0.0, 0.05):
        stone = scanned.brilliant(material=rl.get_material("diamond").tinted(tint))
        rl.trace(stone, dome, view, resolution=16, engine=engine, precision=0.1)
    if engine == "beams":
        scan(stone)
    else:  # whose kernels inclusions need, too
        look_inside(stone, dome)


def scan(stone: rl.Stone) -> None:
    """Find a stone again in a mesh with noise."""
    vertices, triangles = scanned.sampled(stone, 4)
    mesh = trimesh.Trimesh(scanned.noisy(vertices, 0.002, np.random.default_rng(1)), triangles, process=False)
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "scan.ply"
        mesh.export(file)
        rl.load_scan(file, unit="mm")


def look_inside(stone: rl.Stone, dome: rl.Dome) -> None:
    """Area means of a stone with an inclusion, which are sampled, its images, and where specks are seen."""
    spotted = rl.Scene(stone.with_inclusions(rl.Inclusion.sphere((0.2, 0.1, 0.3), 0.2)), dome)
    sampled = rl.TraceSettings(engine="rays", standard_error=0.05)
    rl.sweep({"tilt_deg": [0.0]}, dome, stone=spotted.stone, settings=sampled, processes=1)
    rl.inclusion_images(spotted)
    rl.visibility(spotted, voxels=4, rays=1000)


if __name__ == "__main__":
    compile_kernels(sys.argv[1])
