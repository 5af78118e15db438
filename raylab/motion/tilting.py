"""`tilt`: exact statistics of a stone that is rocked, turned, or both, against the angle.

The stone moves under a fixed observer and a fixed dome, as one rocks it in tweezers (see `view`). Each angle is one exact
trace without maps; the numbers are those of `trace`, with their certain brackets.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from ..darkness import dark_areas_in
from ..errors import InputError, UnsupportedScene
from ..lighting.dome_file import DomeLike, dome_of
from ..progress import Progress, reporter
from ..results.dark_areas import NUMBERS, UNDEFINED, DarkAreas
from ..results.statistics import PARTS, STATISTICS, Description, Statistic
from ..results.summary import Record, exact_record, exact_result, record_of
from ..scene.pixel_grid import grid_around
from ..scene.scene import Scene
from ..scene.settings import TraceSettings
from ..scene.view import View
from ..stone.stone import Stone
from ..threads import in_order
from ..tracers.engines import exactly
from ..units import number_in
from ..version import __version__

if TYPE_CHECKING:
    import xarray as xr

AXES = {
    "tilt_deg": "tilt of the table's normal from the line of sight",
    "azimuth_deg": "azimuth towards which the table leans",
    "turn_deg": "turn of the stone about its own axis",
}
MOST_STEPS = 100_000
USUAL = TraceSettings(standard_error=2e-4)
"""Settings where none are given. As certain a number as `precision` alone would give, in a fifth of the time."""
DARK_RESOLUTION = 256
"""Pixels along each side on which connected dark areas are found."""


def tilt(
    stone: Stone,
    dome: DomeLike,
    tilt_deg: Any = tuple(range(31)),
    azimuth_deg: Any = 0.0,
    turn_deg: Any = 0.0,
    *,
    settings: TraceSettings | None = None,
    dark: bool = False,
    progress: bool | Progress = False,
) -> xr.Dataset:
    """Exact statistics of a stone over a series of angles.

    >>> import raylab as rl
    >>> stone = rl.round_brilliant(table_pct=57, crown_angle_deg=34.5, pavilion_angle_deg=40.75)
    >>> found = rl.tilt(stone, rl.load_dome("head-shadow"), [0, 5, 10], settings=rl.TraceSettings(precision=0.02))
    >>> found.brightness.dims, found.brightness.shape
    (('tilt_deg',), (3,))

    Parameters
    ----------
    tilt_deg, azimuth_deg, turn_deg : a number or a list each; `raylab.azimuth_about` gives the azimuth of a tilt about the
        stone's length or width. Several lists run in parallel and have equal length: a path. A
        negative tilt leans in the opposite direction; -180 to 180.
    settings : settings of the traces: one wavelength, an exact engine; by default `USUAL`, a standard error of 2e-4.
    dark : also the largest connected dark area and the dark band of long stones, see `dark_areas`; takes about as long again.
    progress : True for a bar, or a function that is called with how many angles are done and of how many.

    Returns
    -------
    xarray.Dataset : each statistic (unit 1) with its certain bracket as ``_low`` and ``_high`` and its standard error as
        ``_error``, and the outline's area in mm^2, along the angle that varies, or along ``step`` where several do. With
        `dark` also its numbers, NaN for the band of a stone that isn't long, and ``dark_x_mm`` and ``dark_y_mm``, the centroid.

    Raises InputError for invalid angles, and as `trace`.
    """
    angles = _together({"tilt_deg": tilt_deg, "azimuth_deg": azimuth_deg, "turn_deg": turn_deg})
    scene = exactly(Scene(stone, dome_of(dome), settings=settings or USUAL))
    records, areas = list[Record](), list[DarkAreas]()
    with reporter(progress, "angles") as update:
        for one, area in in_order(lambda view: _seen(replace(scene, view=view), dark), views(**angles)):
            records.append(one)
            areas += [area] if area is not None else []
            update(len(records), len(angles["tilt_deg"]))
    return _dataset(scene, angles, _varied(tilt_deg, azimuth_deg, turn_deg), records, areas)


def _seen(scene: Scene, dark: bool) -> tuple[Record, DarkAreas | None]:
    """The numbers of one view, and its dark areas where they are wanted."""
    if not dark:
        return exact_record(scene, threads=1), None
    traced = exact_result(scene, early=False, threads=1)
    if traced.polygons is None:
        raise UnsupportedScene.by((traced.engine, "dark areas need virtual facets"))
    grid = grid_around(scene.stone, scene.view, DARK_RESOLUTION)
    return record_of(scene, traced), dark_areas_in(traced.polygons, scene, grid)


def by_error(settings: TraceSettings) -> TraceSettings:
    """A scene's settings for a series: with the usual standard error, unless it asks for an error or a precision itself."""
    asks = settings.standard_error is not None or settings.precision != USUAL.precision or settings.precision_of
    return settings if asks else replace(settings, standard_error=USUAL.standard_error)


def views(tilt_deg: np.ndarray, azimuth_deg: np.ndarray, turn_deg: np.ndarray) -> Iterator[View]:
    """The views of equally many angles; a negative tilt leans to the opposite azimuth."""
    for tilted, azimuth, turn in zip(tilt_deg, azimuth_deg, turn_deg, strict=True):
        lean = float(azimuth) if tilted >= 0.0 else float(azimuth) + (180.0 if azimuth <= 0.0 else -180.0)
        yield View(abs(float(tilted)), lean, float(turn))


def angle_steps(first_deg: float, last_deg: float, step_deg: float) -> list[float]:
    """Angles from the first to the last, both included where the step fits.

    >>> angle_steps(0.0, 1.0, 0.4)
    [0.0, 0.4, 0.8]
    """
    number_in("step_deg", step_deg, 1e-6, 360.0, "degrees")
    if not last_deg > first_deg:
        raise InputError("empty range of angles", key="to_deg", value=last_deg, expected=f"more than {first_deg:g} degrees")
    count = int((last_deg - first_deg) / step_deg + 1e-9) + 1
    if count > MOST_STEPS:
        raise InputError("too many steps", key="step_deg", value=step_deg, expected=f"at most {MOST_STEPS} steps")
    return [first_deg + k * step_deg for k in range(count)]


def path_of(tilt_deg: Any, azimuth_deg: Any, turn_deg: Any) -> list[View]:
    """The views of a path given as to `tilt`. Raises InputError for angles that can't be used or don't fit together."""
    return list(views(**_together({"tilt_deg": tilt_deg, "azimuth_deg": azimuth_deg, "turn_deg": turn_deg})))


def _together(given: dict[str, Any]) -> dict[str, np.ndarray]:
    """Angles of equal length from numbers and lists."""
    checked = {}
    for key, value in given.items():
        limit = {"tilt_deg": 180.0, "azimuth_deg": 360.0, "turn_deg": 3600.0}[key]
        several = np.atleast_1d(np.asarray(value))
        if several.ndim != 1 or not 1 <= several.size <= MOST_STEPS:
            raise InputError("not angles", key=key, value=value, expected=f"a number, or a list of 1 to {MOST_STEPS} numbers")
        checked[key] = np.array([number_in(key, angle, -limit, limit, "degrees") for angle in several.tolist()])
    most = max(map(len, checked.values()))
    for key, angles in checked.items():
        if len(angles) not in (1, most):
            raise InputError("different number of angles", key=key, value=len(angles), expected=f"1 or {most} angles")
    return {key: np.broadcast_to(angles, most) for key, angles in checked.items()}


def _columns(one: Description, values: list[Statistic], dim: str) -> dict[str, Any]:
    """A statistic's parts as variables of a dataset."""
    columns = {}
    for suffix, (part, words) in PARTS.items():
        about = {"long_name": one.key.replace("_", " ") + words, "units": one.unit, "definition": one.definition}
        columns[one.key + suffix] = ((dim,), np.array([getattr(value, part) for value in values]), about)
    return columns


def _varied(*given: Any) -> list[str]:
    return [key for key, value in zip(AXES, given, strict=True) if np.ndim(value) > 0]


def _dataset(
    scene: Scene, angles: dict[str, np.ndarray], varied: list[str], records: list[Record], dark: list[DarkAreas]
) -> xr.Dataset:
    import xarray as xr

    dim = varied[0] if len(varied) == 1 else "step"
    coords: dict[str, Any] = {}
    for key, long_name in AXES.items():
        about = {"long_name": long_name, "units": "degree"}
        fixed = key not in varied and len(varied) > 0
        coords[key] = ((), float(angles[key][0]), about) if fixed else ((dim,), np.array(angles[key]), about)
    coords["wavelength_nm"] = ((), scene.settings.wavelength_nm, {"long_name": "wavelength in air", "units": "nm"})
    variables: dict[str, Any] = {}
    for key, one in STATISTICS.items():
        variables |= _columns(one, [record.statistics[key] for record in records], dim)
    if dark:
        for key, number in NUMBERS.items():
            variables |= _columns(number, [area.statistics.get(key, UNDEFINED) for area in dark], dim)
        for axis, place in zip("xy", np.array([area.center_mm for area in dark]).T, strict=True):
            about = {"long_name": f"{axis} of the centroid of the largest connected dark area", "units": "mm"}
            variables[f"dark_{axis}_mm"] = ((dim,), place, about)
    areas = np.array([record.area_mm2 for record in records])
    variables["area_mm2"] = ((dim,), areas, {"long_name": "area of the outline as seen", "units": "mm^2"})
    attrs: dict[str, Any] = {
        "title": "raylab tilt: exact statistics against angle",
        "raylab_version": __version__,
        "stone": scene.stone.name,
        "material": scene.stone.material.name,
        "dome": scene.dome.name,
        "engine": str(scene.settings.engine),
        "precision": scene.settings.precision,
        "polarized": int(scene.settings.polarized),
        "max_bounces": scene.settings.max_bounces,
    }
    if scene.settings.standard_error is not None:
        attrs["standard_error"] = scene.settings.standard_error
    return xr.Dataset(variables, coords, attrs)
