"""Pictures of a stone's inclusions: the face with them, what is missing, where they are seen and after how many reflections."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import xarray as xr

from ..results.inclusion_images import InclusionImages
from .plots import NEUTRAL

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

NUMBERED = 9
"""So many images bear their number on the map, the strongest."""


def inclusion_figure(found: InclusionImages) -> Figure:
    """Three maps: luminance, contrast against the stone without inclusions, internal reflections before one is seen.

    The strongest images that are large and strong enough bear their numbers in the table.
    """
    from matplotlib.figure import Figure
    from matplotlib.patheffects import withStroke

    maps = found.maps
    figure = Figure(figsize=(14.0, 5.2), layout="constrained")
    left, middle, right = figure.subplots(1, 3, sharex=True, sharey=True)
    _draw(left, maps.luminance, "luminance", cmap="cividis", vmin=0.0)
    worst = max(0.05, float(np.nanmax(np.abs(maps.contrast.values), initial=0.0)))
    _draw(middle, maps.contrast, "contrast against the stone without inclusions", cmap="PuOr_r", vmin=-worst, vmax=worst)
    most = max(1.0, float(maps.reflections.max()))
    shown = maps.reflections.where(maps.image >= 0)
    right.imshow(_gray(maps.bare), origin="lower", extent=_extent(maps), cmap="gray", vmin=0.0, vmax=1.6)
    _draw(right, shown, "internal reflections before an inclusion is seen", cmap="viridis", vmin=0.0, vmax=most)
    strong = [(k, one) for k, one in enumerate(found.images, start=1) if one.large_and_strong]
    for number, one in strong[:NUMBERED]:
        right.annotate(
            str(number), one.center_mm, xytext=(6, 6), textcoords="offset points", fontsize=9, weight="bold",
            path_effects=[withStroke(linewidth=2.5, foreground="white")],
        )  # fmt: skip
    for axes in (middle, right):
        axes.label_outer()
    eye = found.eye
    figure.suptitle(
        f"{maps.attrs['stone']}; dome {maps.attrs['dome']}: {len(found.images)} images, {found.large_and_strong} of them at "
        f"least {eye.resolves_arcmin:g} arc min wide from {eye.distance_mm:g} mm and of contrast {eye.contrast:g} or more; "
        f"{100.0 * found.lost.value:.2f} % of the luminance is missing",
        x=0.01, ha="left", fontsize=10, parse_math=False,
    )  # fmt: skip
    return figure


def tilt_figure(series: xr.Dataset) -> Figure:
    """Numbers of images, and shares of the face and of its light, against the tilt."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(7.2, 5.6), layout="constrained")
    above, below = figure.subplots(2, 1, sharex=True)
    tilt = series.tilt_deg.values
    above.plot(tilt, series.images, color="#3b528b", label="images")
    above.plot(tilt, series.large_and_strong, color="#d1495b", linestyle="--", label="large and strong enough")
    above.set_ylabel("number")
    for name, style in (("area", ":"), ("taken", "-"), ("lost", "--")):
        below.plot(tilt, 100.0 * series[name], linestyle=style, color="#3b528b", label=series[name].attrs["long_name"])
    below.set_ylabel("share / %")
    below.set_xlabel("tilt / degree")
    for axes in (above, below):
        axes.set_ylim(bottom=0.0)
        axes.legend(fontsize=8, frameon=False)
    figure.suptitle(f"{series.attrs['stone']}; dome {series.attrs['dome']}", x=0.01, ha="left", fontsize=10, parse_math=False)
    return figure


def _draw(axes: Axes, values: xr.DataArray, label: str, **look: Any) -> None:
    """A map with its colour bar."""
    from matplotlib.ticker import MaxNLocator

    image = axes.imshow(values.values, origin="lower", extent=_extent(values), **look)
    bar = axes.figure.colorbar(image, ax=axes, label=label, shrink=0.8, location="bottom")
    bar.locator = MaxNLocator(5)
    axes.set(aspect="equal", facecolor=NEUTRAL)
    axes.set_xlabel("x / mm")
    axes.set_ylabel("y / mm")


def _gray(values: xr.DataArray) -> np.ndarray:
    """A map between 0 and 1."""
    return np.asarray(values.values / max(float(np.nanmax(values.values, initial=0.0)), 1e-9))


def _extent(maps: xr.Dataset | xr.DataArray) -> tuple[float, float, float, float]:
    x, y = maps.x.values, maps.y.values
    half = 0.5 * float(x[1] - x[0]) if len(x) > 1 else 0.5
    return float(x[0] - half), float(x[-1] + half), float(y[0] - half), float(y[-1] + half)
