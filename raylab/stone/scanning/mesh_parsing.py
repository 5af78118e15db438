"""trimesh at work: the triangles in the bytes of a mesh file, as they stand."""

from __future__ import annotations

import io
import logging

import numpy as np

MAX_TRIANGLES = 5_000_000
"""Largest mesh that is read."""


def glb(content: bytes) -> dict[str, np.ndarray]:
    return parsed_mesh(content, "glb")


def three_mf(content: bytes) -> dict[str, np.ndarray]:
    return parsed_mesh(content, "3mf")


def parsed_mesh(content: bytes, kind: str) -> dict[str, np.ndarray]:
    """Of a file's content: `vertices` (V, 3) in its unit, `triangles` (T, 3), and the `unit` it declares, empty for none.

    Raises ValueError for a file without triangles or with too many, and whatever trimesh raises on damage.
    """
    import trimesh  # half a second to import: only when used

    logging.getLogger("trimesh").addHandler(logging.NullHandler())  # else what it logs of damage goes to stderr
    scene = trimesh.load_scene(io.BytesIO(content), file_type=kind, process=False)
    placed = [(scene.geometry[name], matrix) for matrix, name in map(scene.graph.get, scene.graph.nodes_geometry)]
    meshes = [(body, matrix) for body, matrix in placed if isinstance(body, trimesh.Trimesh) and len(body.faces)]
    if sum(len(body.faces) for body, _ in meshes) > MAX_TRIANGLES:
        raise ValueError(f"more than {MAX_TRIANGLES} triangles")
    if not meshes:
        raise ValueError("no triangles")
    points = [np.asarray(body.vertices, dtype=float) @ matrix[:3, :3].T + matrix[:3, 3] for body, matrix in meshes]
    faces = [np.asarray(body.faces, dtype=np.int64) for body, _ in meshes]
    first = np.cumsum([0] + [len(p) for p in points])
    triangles = np.concatenate([f + start for f, start in zip(faces, first[:-1], strict=True)])
    unit = scene.units if kind in ("glb", "3mf") and isinstance(scene.units, str) else ""
    return {"vertices": np.concatenate(points), "triangles": triangles, "unit": np.array(unit)}
