"""Maps of fire: the angle between two lines, on one scale for all that are shown."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from ..color.fire import Fire

TOP_DEG = 4.0
"""End of the colour bar: few virtual facets of diamond spread F and C further, and the bar says that there are some."""


def fire_figure(found: Sequence[Fire], titles: Sequence[str]) -> Figure:
    """The angle's map of one stone or of several side by side; grey where there is no angle."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(4.3 * len(found) + 0.9, 4.5), layout="constrained")
    for axes, one, title in zip(figure.subplots(1, len(found), squeeze=False)[0], found, titles, strict=True):
        grid = one.grid
        x1, y1 = (corner + grid.pixel_mm * grid.resolution for corner in (grid.x0_mm, grid.y0_mm))
        extent = (grid.x0_mm, x1, grid.y0_mm, y1)
        drawn = axes.imshow(one.spread_deg, origin="lower", cmap="viridis", vmin=0.0, vmax=TOP_DEG, extent=extent)
        axes.set(xlabel="x / mm", ylabel="y / mm", facecolor="0.86")
        axes.set_title(title, fontsize=11, loc="left", parse_math=False)
    short, long = found[0].lines_nm
    figure.colorbar(drawn, ax=figure.axes, label=f"angle between {short:.4g} and {long:.4g} nm / degree", extend="max")
    return figure
