"""`visibility`: how much a small speck would show at each place of a stone; `results.visibility_field` defines it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numba
import numpy as np
import xarray as xr

from .errors import InputError, UnsupportedScene
from .lighting.dome_file import DomeLike, dome_of
from .progress import Progress, reporter
from .results.visibility_field import FIELDS, LEAST_INSIDE, VisibilityField
from .room import Need
from .scene.scene import Scene
from .scene.view import View
from .stone.finish import ABSORBING, POLISHED
from .stone.stone import Stone
from .tracers.sampled.visibility_sums import VisibilitySums, visibility_sums
from .tracers.stone_table import stone_table
from .tracers.voxels import VoxelGrid, fill, voxels_of_box
from .units import number_in, whole_in

RAYS = 400_000
"""View rays by default: about 2 % standard error of `lost` in a voxel of a 64^3 field."""
MOST_VOXELS, MOST_RAYS = 1024, 10**10
_RAY_S, _BYTES = 3e-5, 32
"""Processor time of a ray, measured on a round brilliant; memory of a voxel's sums."""

Box = tuple[Sequence[float], Sequence[float]]


def visibility(
    scene: Scene | Stone,
    dome: DomeLike | None = None,
    view: View | None = None,
    *,
    voxels: int | tuple[int, int, int] = 64,
    rays: int = RAYS,
    box_mm: Box | None = None,
    progress: bool | Progress = False,
) -> VisibilityField:
    """The number of images, their area, and the light that a small speck would take, at each place of a stone.

    >>> import raylab as rl
    >>> stone = rl.round_brilliant(table_pct=57, crown_angle_deg=34.5, pavilion_angle_deg=40.75, girdle_facets=32)
    >>> field = rl.visibility(stone, "head-shadow", voxels=8, rays=4000)
    >>> field.maps.lost.dims, field.maps.lost.attrs["units"]
    (('x', 'y', 'z'), 'mm-2')
    >>> at = field.at((0.2, 0.1, 0.3))
    >>> at["images"] > 1.0, 0.0 < at["lost"] < 1.0
    (True, True)

    Parameters
    ----------
    scene : a scene, at whose middle wavelength light is followed; or a stone, with the dome and the view (by default face-up).
    voxels : along each side of the box, 1 to 1024; one number or three.
    rays : number of view rays, 1000 to 10^10, in eight independent runs whose scatter gives the standard error.
    box_mm : two opposite corners (3,) of the box, stone's frame; by default the box around the stone.
    progress : True for a bar, or a function that is called with the finished and the total amount of work.

    Returns
    -------
    VisibilityField : the same numbers for any number of threads.

    Raises
    ------
    InputError : a number out of range, an empty box, too little memory. UnsupportedScene : a facet that is neither polished nor
        absorbing.
    """
    scene = _scene_of(scene, dome, view)
    counts = tuple(whole_in("voxels", one, 1, MOST_VOXELS) for one in (voxels if isinstance(voxels, tuple) else (voxels,) * 3))
    if len(counts) != 3:
        raise InputError("wrong number", key="voxels", value=list(counts), expected="one number or three")
    rays = whole_in("rays", rays, 1000, MOST_RAYS)
    corners = scene.stone.vertices_mm
    low, high = (corners.min(axis=0), corners.max(axis=0)) if box_mm is None else _box(box_mm)
    grid = voxels_of_box(low, high, counts)
    threads = numba.get_num_threads()
    what = f"{' x '.join(map(str, counts))} voxels by {rays:,} rays"
    need = Need(what, float(_BYTES * np.prod(counts) * (2 * threads + 8)), seconds=rays * _RAY_S / threads)
    need.check("voxels", "fewer voxels or fewer rays")
    if progress is True:
        need.say()
    with reporter(progress, "visibility", counted=False) as update:
        sums = visibility_sums(scene, scene.settings.middle_nm, grid, rays, update)
    return VisibilityField(_dataset(scene, grid, sums, rays), scene.stone, scene.view)


def _scene_of(scene: Scene | Stone, dome: DomeLike | None, view: View | None) -> Scene:
    """The scene without inclusions; refused where light is scattered and followed on."""
    if isinstance(scene, Stone):
        if dome is None:
            raise InputError("missing", key="dome", expected="a dome, or the name or file of one")
        scene = Scene(scene, dome_of(dome), view or View())
    elif not isinstance(scene, Scene):
        raise InputError("wrong type", key="scene", value=scene, expected="a Scene or a Stone")
    elif dome is not None or view is not None:
        raise InputError("a scene has its own", key="dome" if dome is not None else "view", expected="a stone beside it")
    if any(one not in (POLISHED, ABSORBING) for one in scene.stone.finishes):
        raise UnsupportedScene(
            "the field of visibility follows no scattered light",
            key="finish",
            expected="polished or absorbing facets",
        )
    return replace(scene, stone=scene.stone.with_inclusions(())) if scene.stone.inclusions else scene


def _box(box_mm: Box) -> tuple[np.ndarray, np.ndarray]:
    """Lower and upper corner (3,) of a box."""
    low, high = (np.array([number_in("box_mm", one, -1000.0, 1000.0, "mm") for one in corner]) for corner in box_mm)
    if low.shape != (3,) or high.shape != (3,) or not (low < high).all():
        raise InputError("an empty box", key="box_mm", value=[low.tolist(), high.tolist()], expected="the lower corner first")
    return low, high


def _dataset(scene: Scene, grid: VoxelGrid, sums: VisibilitySums, rays: int) -> xr.Dataset:
    """The sums as means over the voxels' parts in the stone, with labels."""
    table = stone_table(scene.stone, scene.settings.middle_nm)
    inside = np.zeros(grid.nx * grid.ny * grid.nz)
    fill(grid, table.planes, inside)
    held = np.where(inside >= LEAST_INSIDE, inside, np.nan) * grid.voxel_mm3
    per = {"images": 1.0, "area": 1.0, "taken": sums.face_mm2, "lost": sums.face_luminance or np.nan}
    dims, arrays = ("x", "y", "z"), {}
    for k, (name, (words, units)) in enumerate(FIELDS.items()):
        for ending, values, more in (("", sums.mean, ""), ("_error", sums.error, "standard error of the ")):
            shown = (values[:, k] / held / per[name]).reshape(grid.shape)
            arrays[name + ending] = (dims, shown, {"long_name": more + words, "units": units})
    arrays["inside"] = (dims, inside.reshape(grid.shape), {"long_name": "share of the voxel in the stone", "units": "1"})
    coords = {
        axis: (axis, at, {"units": "mm", "long_name": f"{axis}, stone's frame"})
        for axis, at in zip(dims, grid.middles_mm, strict=True)
    }
    view = scene.view
    about = {
        "stone": scene.stone.name,
        "dome": scene.dome.name,
        "material": scene.stone.material.name,
        "wavelength_nm": scene.settings.middle_nm,
        "rays": rays,
        "tilt_deg": view.tilt_deg,
        "tilt_azimuth_deg": view.tilt_azimuth_deg,
        "turn_deg": view.turn_deg,
        "dx_mm": grid.dx,
        "dy_mm": grid.dy,
        "dz_mm": grid.dz,
        "face_mm2": sums.face_mm2,
        "brightness_of_face": sums.face_luminance / sums.face_mm2,
    }
    return xr.Dataset(arrays, coords, about)
