"""A stone in 3D with its tiers, and view rays with the light that leaves at each hit. pyvista is imported when used.

Drawing in 3D needs an OpenGL driver, and where it is missing VTK doesn't raise: it draws nothing or ends the process. So
the first drawing of a process tries each way of drawing in a process of its own, and takes the first that gives a picture.
(The function is `raylab.view3d`; the module has another name so that one doesn't hide the other.)
"""

from __future__ import annotations

import math
import os
import subprocess
import sys
from collections.abc import Sequence
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from ..errors import InputError
from ..single_ray import HEAD, LEAK, SCATTERED, SKY, RayPath
from ..stone.stone import Stone
from ..units import direction, number_in
from ..whole_files import whole_file

WINDOWS = ("", "vtkEGLRenderWindow", "vtkOSOpenGLRenderWindow")
"""VTK's ways to draw, as its environment variable names them: the screen's, EGL's and Mesa's without a screen."""

MOST_RUNS = 12
"""Hits of a ray that are drawn; a trapped ray can go on for a hundred."""

LEAST_WEIGHT = 0.005
"""What leaves with less than this share of the ray is not drawn."""

_VARIABLE = "VTK_DEFAULT_OPENGL_WINDOW"
_WORDS = {SKY: "to the sky", HEAD: "to the head", LEAK: "leaks", SCATTERED: "scattered"}
_INK, _PAPER, _RAY = "#202224", "#f4f3ef", "#0b5c73"
_PROBE = """
import sys, pyvista
hidden = sys.argv[1] == "hidden"
plotter = pyvista.Plotter(off_screen=hidden, window_size=(16, 16))
plotter.add_mesh(pyvista.Sphere())
plotter.show(interactive=False, auto_close=False)
if not hidden and ("EGL" in plotter.render_window.GetClassName() or "OSOpenGL" in plotter.render_window.GetClassName()):
    raise SystemExit(4)
picture = plotter.screenshot(return_img=True)
raise SystemExit(0 if picture.std() > 1.0 else 3)
"""


def view3d(
    stone: Stone,
    paths: Sequence[RayPath] = (),
    *,
    file: str | Path | None = None,
    azimuth_deg: float = -65.0,
    elevation_deg: float = 25.0,
    size: tuple[int, int] = (1200, 900),
    labels: bool = True,
    force: bool = False,
) -> None:
    """Show a stone in a window that can be turned, or draw it into a PNG.

    Parameters
    ----------
    paths : view rays to draw through the stone, see `ray_path`. An arrow at each hit shows the light that leaves; its length
        grows with the share, which is written beside it.
    file : a PNG file to write; None opens a window and waits until it is closed.
    azimuth_deg, elevation_deg : direction of the eye, degrees.
    size : pixels across and down, 16 to 8192.
    labels : label the tiers and the arrows.
    force : overwrite an existing file.

    Raises
    ------
    InputError : no display for a window, no OpenGL driver, an existing file, a number out of range.
    """
    number_in("elevation_deg", elevation_deg, -90.0, 90.0, "degrees")
    number_in("azimuth_deg", azimuth_deg, -360.0, 360.0, "degrees")
    for pixels in size:
        number_in("size", pixels, 16, 8192, "pixels")
    if file is None:
        if not has_display():
            raise InputError("this machine has no display", key="file", expected="a PNG file to write instead")
        _use(_window(on_screen=True))
        _plotter(stone, paths, azimuth_deg, elevation_deg, size, labels, off_screen=False).show(title=stone.name)
        return
    with whole_file(file, force=force) as target:
        _use(_window(on_screen=False))
        plotter = _plotter(stone, paths, azimuth_deg, elevation_deg, size, labels, off_screen=True)
        plotter.show(auto_close=False)  # a first frame: a picture taken before it can be stale
        picture = np.asarray(plotter.screenshot(return_img=True))
        plotter.close()
        import imageio.v3 as iio

        target.write_bytes(iio.imwrite("<bytes>", picture, extension=".png"))


def why_not_drawn() -> str:
    """Why this machine draws no 3D pictures; empty where it does."""
    try:
        _window(on_screen=False)
    except InputError as error:
        return str(error)
    return ""


def has_display() -> bool:
    """Whether a window can be opened here at all."""
    if sys.platform in ("win32", "darwin"):
        return True
    return bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))


@cache
def _window(*, on_screen: bool) -> str:
    """The first of `WAYS` that draws, each tried in a process of its own: a missing driver may end it."""
    windows = WINDOWS[:1] if on_screen else (WINDOWS if has_display() else WINDOWS[1:])
    reasons = []
    for window in windows:
        environment = {**os.environ, _VARIABLE: window} if window else os.environ
        try:
            tried = subprocess.run(
                [sys.executable, "-c", _PROBE, "window" if on_screen else "hidden"],
                env=environment,
                capture_output=True,
                timeout=120,
                check=False,
            )
        except subprocess.TimeoutExpired:
            reasons.append(f"{window or 'the display'}: no answer")
            continue
        if tried.returncode == 0:
            return window
        reasons.append(f"{window or 'the display'}: {_reason(tried.returncode)}")
    raise InputError(
        f"no 3D drawing on this machine ({'; '.join(reasons)})",
        expected="an OpenGL driver (Debian: apt-get install libegl1 libgl1-mesa-dri)",
    )


def _reason(code: int) -> str:
    reasons = {3: "an empty picture", 4: "no answer; VTK draws off screen"}
    return f"ended by signal {-code}" if code < 0 else reasons.get(code, f"ended with code {code}")


def _use(window: str) -> None:
    """Make VTK draw that way from now on; it reads the variable when it makes a window."""
    if window:
        os.environ[_VARIABLE] = window


def _plotter(
    stone: Stone,
    paths: Sequence[RayPath],
    azimuth_deg: float,
    elevation_deg: float,
    size: tuple[int, int],
    labels: bool,
    *,
    off_screen: bool,
) -> Any:
    """A plotter with stone and rays, seen from the given direction."""
    import pyvista

    plotter: Any = pyvista.Plotter(off_screen=off_screen, window_size=list(size))
    plotter.set_background(_PAPER)
    eye = direction(elevation_deg, azimuth_deg)
    _add_tiers(plotter, stone, eye, labels)
    radius = float(stone.size_mm.max()) / 2.0
    for path in paths:
        _add_path(plotter, path, radius, labels)
    middle = (stone.vertices_mm.min(axis=0) + stone.vertices_mm.max(axis=0)) / 2.0
    up = (0.0, 0.0, 1.0) if abs(elevation_deg) < 89.0 else (0.0, math.copysign(1.0, elevation_deg), 0.0)
    plotter.camera_position = [tuple(middle + 6.0 * radius * eye), tuple(middle), up]
    plotter.camera.enable_parallel_projection()
    plotter.camera.parallel_scale = (1.5 if paths else 1.05) * radius * max(1.0, size[1] / size[0])
    return plotter


def _add_tiers(plotter: Any, stone: Stone, eye: np.ndarray, labels: bool) -> None:
    """Each tier in a tone of its own, see-through, with dark edges; named once where it faces the eye."""
    import pyvista
    from matplotlib import colormaps

    tiers = list(dict.fromkeys(stone.tiers))
    spots, names = [], []
    for number, tier in enumerate(tiers):
        rows = [f for f, name in enumerate(stone.tiers) if name == tier]
        loops = [stone.polyhedron.loops[f] for f in rows]
        faces = np.concatenate([np.r_[len(loop), loop] for loop in loops])
        tone = 0.45 + 0.55 * np.array(colormaps["viridis"](0.15 + 0.75 * number / max(1, len(tiers) - 1))[:3])  # pale
        body = pyvista.PolyData(stone.vertices_mm, faces)
        for culled in ("front", "back"):  # the far side first: no driver need sort what is see-through
            plotter.add_mesh(body, color=tone, opacity=0.45, culling=culled, ambient=0.4, smooth_shading=False)
        lines = np.concatenate([np.r_[len(loop) + 1, loop, loop[0]] for loop in loops])
        plotter.add_mesh(pyvista.PolyData(stone.vertices_mm, lines=lines), color=_INK, line_width=1.6)
        seen = stone.normals[rows] @ eye * stone.polyhedron.areas[rows]
        if seen.max() > 0.0:
            spots.append(stone.polyhedron.centroids[rows[int(seen.argmax())]])
            names.append(tier)
    if labels:
        _label(plotter, np.array(spots), names)


def _add_path(plotter: Any, path: RayPath, radius: float, labels: bool) -> None:
    """A ray's run through the stone, and an arrow where a share of it leaves."""
    import pyvista

    hits = path.hits[:MOST_RUNS]
    if not hits:
        return
    run = np.array([path.start_mm, *(hit.point_mm for hit in hits)])
    plotter.add_mesh(pyvista.lines_from_points(run).tube(radius=0.006 * radius), color=_INK)
    spots, words = [], []
    for hit in hits:
        if hit.weight < LEAST_WEIGHT:
            continue
        tip = hit.point_mm
        if hit.direction is not None:
            length = 0.7 * radius * math.sqrt(hit.weight)
            arrow = pyvista.Arrow(
                start=hit.point_mm, direction=hit.direction, scale=length, tip_radius=0.04, shaft_radius=0.016, tip_length=0.2
            )
            plotter.add_mesh(arrow, color=_RAY)
            tip = hit.point_mm + 1.05 * length * hit.direction
        spots.append(tip)
        words.append(f"{100.0 * hit.weight:.1f} % {_WORDS.get(hit.fate, '')}")
    if labels and spots:
        _label(plotter, np.array(spots), words)


def _label(plotter: Any, spots: np.ndarray, words: list[str]) -> None:
    plotter.add_point_labels(
        spots,
        words,
        font_size=20,
        text_color=_INK,
        shape_color=_PAPER,
        shape_opacity=0.75,
        margin=2,
        show_points=False,
        always_visible=True,
    )
