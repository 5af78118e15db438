"""What a picture in 3D shows: a stone's tiers and edges, view rays with what leaves at each hit, and the eye."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Any, NamedTuple

import numpy as np

from ..single_ray import HEAD, LEAK, SCATTERED, SKY, Hit, RayPath
from ..stone.stone import Stone
from ..units import direction

LEAST_INSIDE = 0.12
"""A ray is drawn until less than this share of it is left inside."""

LEAST_WEIGHT = 0.005
"""What leaves with less than this share of the ray is not drawn."""

PAPER = "#f4f3ef"
_INK, _FAR, _RAY, _OUT = "#202224", "#9a9c9a", "#111315", "#0b5c73"
_WORDS = {SKY: "to the sky", HEAD: "to the head", LEAK: "leaks", SCATTERED: "scattered"}
_MARGIN = 1.05
_LINE = 0.004
"""Width of an edge, a share of the picture's height."""


class Eye(NamedTuple):
    """A parallel view: `axes` (3, 3) are unit vectors to the right, up and to the eye; `middle` (3,) mm is the picture's middle
    and `half_mm` half its height."""

    axes: np.ndarray
    middle: np.ndarray
    half_mm: float
    size: tuple[int, int]

    def pixels(self, points_mm: np.ndarray) -> np.ndarray:
        """(P, 2) where points (P, 3) appear, x to the right and y downwards."""
        width, height = self.size
        at = (points_mm - self.middle) @ self.axes[:2].T * (height / 2.0 / self.half_mm)
        return np.array([width / 2.0, height / 2.0]) + at * np.array([1.0, -1.0])


def eye_on(
    stone: Stone, paths: Sequence[RayPath], azimuth_deg: float, elevation_deg: float, size: tuple[int, int], column: float
) -> Eye:
    """The eye in a direction that has the stone and the rays just fill the picture between two columns, shares of its width."""
    to_eye = direction(elevation_deg, azimuth_deg)
    right = direction(0.0, azimuth_deg + 90.0)
    axes = np.array([right, np.cross(to_eye, right), to_eye])
    shown = np.concatenate([stone.vertices_mm, *(_extent(path, stone) for path in paths)]) @ axes.T
    low, high = shown.min(axis=0), shown.max(axis=0)
    across, upright, _ = (high - low) / 2.0
    half = _MARGIN * max(upright, across * size[1] / (size[0] * (1.0 - 2.0 * column)))
    return Eye(axes, axes.T @ ((low + high) / 2.0), float(half), size)


def plotter_of(stone: Stone, paths: Sequence[RayPath], eye: Eye, *, off_screen: bool) -> Any:
    """A plotter with stone and rays, seen by the eye."""
    import pyvista

    plotter: Any = pyvista.Plotter(off_screen=off_screen, window_size=list(eye.size))
    plotter.set_background(PAPER)
    plotter.enable_anti_aliasing("msaa")
    _add_tiers(plotter, stone, eye, off_screen)
    radius = _radius(stone)
    for path in paths:
        _add_path(plotter, path, radius)
    plotter.camera_position = [tuple(eye.middle + 6.0 * radius * eye.axes[2]), tuple(eye.middle), tuple(eye.axes[1])]
    plotter.camera.enable_parallel_projection()
    plotter.camera.parallel_scale = eye.half_mm
    plotter.reset_camera_clipping_range()
    return plotter


def labels_of(stone: Stone, paths: Sequence[RayPath], eye: Eye) -> tuple[np.ndarray, list[str]]:
    """Points (P, 3) mm and their words: each tier once, where it faces the eye, and each share of a ray that leaves."""
    spots, words = [], []
    for tier, rows in _tiers(stone):
        seen = stone.normals[rows] @ eye.axes[2] * stone.polyhedron.areas[rows]
        if seen.max() > 0.0:
            spots.append(stone.polyhedron.centroids[rows[int(seen.argmax())]])
            words.append(tier)
    for path in paths:
        for hit in _drawn(path):
            if hit.weight >= LEAST_WEIGHT:
                spots.append(_tip(hit, _radius(stone)))
                words.append(f"{100.0 * hit.weight:.1f} % {_WORDS.get(hit.fate, '')}".rstrip())
    return np.array(spots).reshape(-1, 3), words


def _tiers(stone: Stone) -> Iterator[tuple[str, list[int]]]:
    for tier in dict.fromkeys(stone.tiers):
        yield tier, [f for f, name in enumerate(stone.tiers) if name == tier]


def _radius(stone: Stone) -> float:
    return float(stone.size_mm.max()) / 2.0


def _drawn(path: RayPath) -> tuple[Hit, ...]:
    """The hits up to the one that leaves too little inside."""
    inside = _inside(path)
    return tuple(hit for hit, share in zip(path.hits, [1.0, *inside], strict=False) if share >= LEAST_INSIDE)


def _inside(path: RayPath) -> np.ndarray:
    """(hits,) the share of the ray that goes on inside after each hit, body colour left aside."""
    return 1.0 - np.cumsum([hit.weight for hit in path.hits])


def _start(path: RayPath, radius: float) -> np.ndarray:
    """Where the drawing of the view ray begins."""
    first = path.hits[0].point_mm
    towards = path.start_mm - first
    return first + 0.6 * radius * towards / float(np.linalg.norm(towards))


def _tip(hit: Hit, radius: float) -> np.ndarray:
    """Where the arrow of a hit ends."""
    if hit.direction is None:
        return hit.point_mm
    return hit.point_mm + 0.7 * radius * math.sqrt(hit.weight) * hit.direction


def _extent(path: RayPath, stone: Stone) -> np.ndarray:
    """(P, 3) the ends of what is drawn of a path."""
    if not path.hits:
        return np.empty((0, 3))
    tips = [_tip(hit, _radius(stone)) for hit in _drawn(path) if hit.weight >= LEAST_WEIGHT]
    return np.array([_start(path, _radius(stone)), *tips])


def _add_tiers(plotter: Any, stone: Stone, eye: Eye, fixed: bool) -> None:
    """Each tier in a tone of its own, see-through; edges of facets that are turned away from a fixed eye are faint."""
    import pyvista
    from matplotlib import colormaps

    tiers = list(_tiers(stone))
    loops = stone.polyhedron.loops
    away = (stone.normals @ eye.axes[2] < 0.0) & fixed
    line = _LINE * eye.size[1]
    for culled in ("front", "back"):  # the far side first: no driver need sort what is see-through
        for number, (_, rows) in enumerate(tiers):
            faces = np.concatenate([np.r_[len(loops[f]), loops[f]] for f in rows])
            tone = 0.3 + 0.7 * np.array(colormaps["viridis"](0.15 + 0.75 * number / max(1, len(tiers) - 1))[:3])  # pale
            look = {"opacity": 0.4 if culled == "front" else 0.45, "ambient": 0.3, "diffuse": 0.75, "specular": 0.3}
            body = pyvista.PolyData(stone.vertices_mm, faces)
            plotter.add_mesh(body, color=tone, culling=culled, specular_power=40, smooth_shading=False, **look)
        sides = {"front": away, "back": ~away}[culled]
        if sides.any():
            lines = np.concatenate([np.r_[len(loops[f]) + 1, loops[f], loops[f][0]] for f in np.flatnonzero(sides)])
            mesh = pyvista.PolyData(stone.vertices_mm, lines=lines)
            plotter.add_mesh(
                mesh, color=_FAR if culled == "front" else _INK, line_width=line * (0.6 if culled == "front" else 1.0)
            )


def _add_path(plotter: Any, path: RayPath, radius: float) -> None:
    """A ray's run through the stone, and an arrow where a share of it leaves."""
    import pyvista

    hits = _drawn(path)
    if not hits:
        return
    run = np.array([_start(path, radius), *(hit.point_mm for hit in hits)])
    for begin, end, share in zip(run[:-1], run[1:], [1.0, *_inside(path)], strict=False):
        tube = pyvista.Line(begin, end).tube(radius=0.013 * radius * math.sqrt(max(share, LEAST_INSIDE)))
        plotter.add_mesh(tube, color=_RAY, lighting=False)
    for hit in hits:
        plotter.add_mesh(pyvista.Sphere(radius=0.018 * radius, center=hit.point_mm), color=_RAY, lighting=False)
        length = float(np.linalg.norm(_tip(hit, radius) - hit.point_mm))
        if hit.weight >= LEAST_WEIGHT and hit.direction is not None:
            thick = 0.014 * radius / length
            arrow = pyvista.Arrow(
                start=hit.point_mm,
                direction=hit.direction,
                scale=length,
                tip_radius=2.6 * thick,
                shaft_radius=thick,
                tip_length=min(0.5, 8.0 * thick),
            )
            plotter.add_mesh(arrow, color=_OUT, lighting=False)
