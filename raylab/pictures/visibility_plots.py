"""Pictures of a field of visibility: slices through the stone, level and upright."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import xarray as xr

from ..results.visibility_field import FIELDS, VisibilityField
from ..units import with_minus_signs

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

LEVELS = (0.15, 0.35, 0.55, 0.75, 0.9)
"""Heights of the level slices, as shares of the stone's height."""
_WORDS = {
    "images": "number of images",
    "area": "area of the images over cross-section",
    "taken": "light taken per cross-section, % per mm²",
    "lost": "luminance lost per cross-section, % per mm²",
}
BRIGHTEST = 0.99
"""The colours end at the value that this share of the voxels stays below; brighter ones have the last colour. They go by the
root of the value, as most of a stone is far below its brightest part."""


def slices_figure(field: VisibilityField, name: str = "lost") -> Figure:
    """One field in five level slices, from the pavilion up, and in the two upright slices through the axis; one colour bar."""
    from matplotlib.figure import Figure

    values = _shown(field.maps, name)
    top = float(np.nanquantile(values.values, BRIGHTEST))
    figure = Figure(figsize=(13.0, 7.4), layout="constrained")
    halves: Any = figure.subfigures(2, 1, height_ratios=(1.0, 1.25))
    above, below = halves
    z = field.maps.z.values
    axes = above.subplots(1, len(LEVELS), sharex=True, sharey=True)
    for one, share in zip(axes, LEVELS, strict=True):
        level = values.isel(z=min(int(share * len(z)), len(z) - 1))
        _draw(one, level.transpose("y", "x"), top)
        one.set_title(with_minus_signs(f"z = {float(level.z):.2f} mm"), fontsize=9)
        one.label_outer()
    for one, across, other in zip(below.subplots(1, 2, sharey=True), ("y", "x"), ("x", "y"), strict=True):
        middle = values.sel({across: 0.0}, method="nearest")
        image = _draw(one, middle.transpose("z", other), top)
        one.set_title(with_minus_signs(f"{across} = {float(middle[across]):z.2f} mm"), fontsize=9)
        one.label_outer()
    below.colorbar(image, ax=below.axes, label=_WORDS[name], shrink=0.9, extend="max")
    figure.suptitle(
        f"{field.maps.attrs['stone']}; dome {field.maps.attrs['dome']}: {FIELDS[name][0]}; standard error of a voxel "
        f"{100.0 * field.relative_error:.1f} % (median)",
        x=0.01, ha="left", fontsize=10, parse_math=False,
    )  # fmt: skip
    return figure


def _shown(maps: xr.Dataset, name: str) -> xr.DataArray:
    """A field as it is drawn; shares per mm^2 in percent."""
    return maps[name] * (100.0 if FIELDS[name][1] == "mm-2" else 1.0)


def _draw(axes: Axes, values: xr.DataArray, top: float) -> Any:
    """A slice on (rows, columns), with its axes in mm."""
    from matplotlib.colors import PowerNorm

    down, across = values.dims
    steps = {dim: 0.5 * float(values[dim][1] - values[dim][0]) if len(values[dim]) > 1 else 0.5 for dim in (down, across)}
    left, right, bottom, top_end = (
        float(values[dim][end]) + sign * steps[dim] for dim in (across, down) for end, sign in ((0, -1), (-1, 1))
    )
    extent = (left, right, bottom, top_end)
    image = axes.imshow(values.values, origin="lower", extent=extent, cmap="magma", norm=PowerNorm(0.5, 0.0, top))
    axes.set_aspect("equal")
    axes.set_facecolor("0.86")
    axes.set_xlabel(f"{across} / mm")
    axes.set_ylabel(f"{down} / mm")
    return image
