"""A stone in 3D with its tiers, and view rays with the light that leaves at each hit. pyvista is imported when used.

Drawing in 3D needs an OpenGL driver, and where it is missing VTK doesn't raise: it draws nothing or ends the process. So
the first drawing of a process tries each way of drawing in a process of its own, and takes the first that gives a picture.
(The function is `raylab.view3d`; the module has another name so that one doesn't hide the other.)
"""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable, Sequence
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from ..errors import InputError
from ..single_ray import RayPath
from ..stone.stone import Stone
from ..units import number_in
from ..whole_files import whole_file
from .label_columns import COLUMN, with_labels
from .stone_in_3d import eye_on, labels_of, plotter_of

WINDOWS = ("", "vtkEGLRenderWindow", "vtkOSOpenGLRenderWindow")
"""VTK's ways to draw, as its environment variable names them: the screen's, EGL's and Mesa's without a screen."""

_VARIABLE = "VTK_DEFAULT_OPENGL_WINDOW"
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
    size: tuple[int, int] = (1400, 760),
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
    labels : label the tiers and the arrows, in two columns beside the stone; in a window, on it.
    force : overwrite an existing file.

    Raises
    ------
    InputError : no display for a window, no OpenGL driver, an existing file, a number out of range.
    """
    number_in("elevation_deg", elevation_deg, -90.0, 90.0, "degrees")
    number_in("azimuth_deg", azimuth_deg, -360.0, 360.0, "degrees")
    for pixels in size:
        number_in("size", pixels, 16, 8192, "pixels")
    eye = eye_on(stone, paths, azimuth_deg, elevation_deg, size, COLUMN if labels else 0.0)
    spots, words = labels_of(stone, paths, eye)
    if file is None:
        if not has_display():
            raise InputError("this machine has no display", key="file", expected="a PNG file to write instead")
        _use(_window(on_screen=True))
        plotter = plotter_of(stone, paths, eye, off_screen=False)
        if labels:  # they turn with the stone
            plotter.add_point_labels(spots, words, font_size=18, shape=None, show_points=False, always_visible=True)
        plotter.show(title=stone.name)
        return
    with whole_file(file, force=force) as target:
        picture = _picture(lambda: plotter_of(stone, paths, eye, off_screen=True))
        target.write_bytes(_png(with_labels(picture, eye.pixels(spots), words) if labels else picture))


def drawn_off_screen(plotter: Callable[[], Any]) -> bytes:
    """What a plotter shows, as PNG; it is made when VTK knows how to draw here. Raises InputError where it can't."""
    return _png(_picture(plotter))


def _picture(plotter: Callable[[], Any]) -> np.ndarray:
    _use(_window(on_screen=False))
    made = plotter()
    made.show(auto_close=False)  # a first frame: a picture taken before it can be stale
    picture = np.asarray(made.screenshot(return_img=True))
    made.close()
    return picture


def _png(picture: np.ndarray) -> bytes:
    import imageio.v3 as iio

    return bytes(iio.imwrite("<bytes>", picture, extension=".png"))


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
