"""`gradient`: derivatives and slopes of each exact statistic by each proportion.

The **derivative** is that of the sum over fixed light paths, by steps so small that no path is lost; see `stepping`.

The statistic jumps where the light of a virtual facet crosses the edge of the head, of a zone or of the girdle plane. A stone
has thousands of virtual facets, and over a tenth of a degree the jumps often outweigh the smooth part. The **slope** over a
stated step to both sides includes the jumps and has a certain bracket. A cutter needs the slope; the derivative describes the
change between the jumps.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

import numpy as np

from ..errors import InputError, StoneError, nearest
from ..results.statistics import STATISTICS
from ..scene.settings import TraceSettings
from ..stone.known_cuts import get_cut
from ..stone.stone import Stone
from ..tracers.engines import exact_only
from ..tracers.exact.beams import Beams
from ..tracers.exact.tracer import trace_beams
from .design import COLUMNS, scene_of, trace_designs
from .keys import CUT, GEOMETRY, KEYS, STONE, STONE_KEYS, complete
from .making import dome_in, geometry_of, stone_of
from .stepping import SOLID_STEP, Stepped, light_derivative, solid_derivative

if TYPE_CHECKING:
    import xarray as xr

HALF_STEPS = {"degree": 0.1, "%": 0.5, "mm": 0.05, "ct": 0.01, "1": 0.01, "1/mm": 0.001}
"""Reach to both sides of the slope, by the proportion's unit: about what a good cutter holds (common practice, no source)."""
FINE = TraceSettings(precision=1e-3)
"""Settings where none are given: half of the usual bracket, since a slope is a difference."""
_SOLID = tuple(name for name in GEOMETRY if name != "area_mm2")


def gradient(
    design: dict[str, Any],
    dome: Any = None,
    *,
    keys: Iterable[str] | None = None,
    half_step: dict[str, float] | None = None,
    settings: TraceSettings | None = None,
) -> xr.Dataset:
    """Derivatives and slopes of each exact statistic, and of weight and depth, by each proportion.

    >>> import raylab as rl
    >>> design = {"table_pct": 57, "crown_angle_deg": 34.5, "pavilion_angle_deg": 40.75}
    >>> coarse = rl.TraceSettings(precision=0.02)
    >>> found = rl.gradient(design, "even-sky", keys=["pavilion_angle_deg"], settings=coarse)
    >>> bool(found.derivative.sel(statistic="depth_pct", proportion="pavilion_angle_deg") > 0)
    True

    Parameters
    ----------
    design : proportions, as for `sweep`; with a material, a tilt and a wavelength if not the default ones.
    dome : a `Dome`, or the name or file of one.
    keys : proportions of the derivatives; by default those of the design, without its size.
    half_step : half-width of the finite difference by key; by default 0.1 degree, 0.5 %, or 0.01 of a ratio.
    settings : by default `FINE`, a precision of 1e-3. Their wavelength holds where the design states none.

    Returns
    -------
    xarray.Dataset on (statistic, proportion), per degree, per percent, ...:
        derivative : derivative along fixed paths; NaN if no step was small enough.
        derivative_error : numerical error, estimated from two steps.
        slope, slope_low, slope_high : finite difference over the full step, jumps included, with bracket.
    and `value`, `low`, `high` on (statistic); `half_step` on (proportion).

    Raises
    ------
    InputError : a design without a valid stone, at the design or within the step; a number nearer than the step to the end of
        its range; a key that is not a number, or none.
    """
    import xarray as xr

    settings = exact_only(settings or FINE)
    full = complete(design if dome is None else {**design, "dome": dome}, wavelength_nm=settings.wavelength_nm)
    chosen = _chosen(full, design, keys)
    wide = {key: HALF_STEPS[KEYS[key][1]] for key in chosen}
    wide.update({key: float(value) for key, value in (half_step or {}).items() if key in chosen})
    names = [*STATISTICS, *_SOLID]
    middle = _traced(full, settings)
    for key in chosen:
        _check_room(full, key, max(wide[key], SOLID_STEP))
    stepped = [_derivative(full, key, settings) for key in chosen]
    slopes = np.stack([_slope(full, key, wide[key], settings) for key in chosen], axis=-1)
    grid = ("statistic", "proportion")
    return xr.Dataset(
        {
            "derivative": (grid, np.stack([s.values for s in stepped], axis=-1), {"long_name": "derivative along fixed paths"}),
            "derivative_error": (grid, np.stack([s.errors for s in stepped], axis=-1), {"long_name": "estimated error"}),
            "slope": (grid, slopes[0], {"long_name": "slope over the full step, jumps included"}),
            "slope_low": (grid, slopes[1], {"long_name": "slope, lower bound"}),
            "slope_high": (grid, slopes[2], {"long_name": "slope, upper bound"}),
            **{part: ("statistic", numbers) for part, numbers in zip(("value", "low", "high"), middle, strict=True)},
            "half_step": ("proportion", [wide[key] for key in chosen], {"long_name": "half-width of the step"}),
        },
        {
            "statistic": names,
            "proportion": list(chosen),
            "unit": ("proportion", [KEYS[key][1] for key in chosen], {"long_name": "unit of the proportion"}),
            "statistic_unit": ("statistic", [one.unit for one in STATISTICS.values()] + [GEOMETRY[name][1] for name in _SOLID]),
        },
        {"precision": settings.precision, "definition": "change of the statistic per unit of the proportion"},
    )


def _chosen(full: dict[str, Any], design: dict[str, Any], keys: Iterable[str] | None) -> tuple[str, ...]:
    """The keys to derive by, checked."""
    if STONE in full:
        raise InputError("a stone as it is has no proportions to derive by", key=STONE, expected="proportions of a cut")
    able = [key for key in STONE_KEYS if isinstance(full.get(key), float)]
    cut = get_cut(full[CUT])
    sizes = (cut.size, *(one.key for one in cut.parameters if one.instead_of == cut.size))
    shaping = [key for key in able if key not in sizes]
    chosen = tuple([key for key in shaping if key in design] if keys is None else keys)
    for key in chosen:
        if key not in able:
            raise InputError("not a number of this design", key="keys", value=key, expected=nearest(key, able))
    if not chosen:
        raise InputError("nothing to derive by", key="keys", expected=f"some of {', '.join(shaping)}")
    return chosen


def _check_room(design: dict[str, Any], key: str, half_step: float) -> None:
    """Raise InputError where a step to either side of a proportion leaves what is allowed."""
    for step in (half_step, -half_step):
        try:
            stone_of({**design, key: design[key] + step})
        except StoneError:
            raise
        except InputError as error:
            raise InputError(
                f"a slope needs steps of {half_step:g} to both sides",
                key=key,
                value=design[key],
                expected=f"{half_step:g} or more from the ends of {error.expected}",
            ) from error


def _traced(design: dict[str, Any], settings: TraceSettings) -> np.ndarray:
    """(3, names) values and brackets of a design. Raises the error of one that is no stone."""
    row = trace_designs([design], settings)[0]
    if row[-1] != 0:  # what was made a code of is raised here
        scene_of(stone_of(design), design, settings)
    record = dict(zip(COLUMNS, row, strict=True))
    parts = [[record[name + part] for name in STATISTICS] for part in ("", "_low", "_high")]
    return np.array([[*part, *(record[name] for name in _SOLID)] for part in parts])


def _slope(design: dict[str, Any], key: str, half_step: float, settings: TraceSettings) -> np.ndarray:
    """(3, names) the slope over `half_step` to both sides and its bracket."""
    after, before = (_traced({**design, key: design[key] + sign * half_step}, settings) for sign in (1.0, -1.0))
    return np.stack([after[0] - before[0], after[1] - before[2], after[2] - before[1]]) / (2.0 * half_step)


def _derivative(design: dict[str, Any], key: str, settings: TraceSettings) -> Stepped:
    """The derivative by one proportion, by central steps."""

    def stone_at(step: float) -> Stone:
        return stone_of({**design, key: design[key] + step})

    def solid_at(step: float) -> np.ndarray:
        record = geometry_of(stone_at(step))
        return np.array([record[name] for name in _SOLID])

    def virtual_facets(stone: Stone) -> Beams:
        return trace_beams(scene_of(stone, design, settings), design["wavelength_nm"])

    light = light_derivative(stone_at, virtual_facets, dome_in(design).peak_radiance)
    solid = solid_derivative(solid_at)
    return Stepped(*(np.concatenate(parts) for parts in zip(light, solid, strict=True)))
