"""Dark areas drawn over the luminance: the largest connected one outlined, and the strip across a long stone."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ..results.dark_areas import DarkAreas
from ..tracing import Result
from ..units import with_minus_signs
from .plots import draw_map

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.image import AxesImage

_LINE = "#d1495b"


def dark_figure(result: Result, found: DarkAreas) -> Figure:
    """The luminance of a traced view with its dark areas, and their numbers as a title."""
    from matplotlib.figure import Figure

    words = headline(found)
    figure = Figure(figsize=(6.4, 5.5 + 0.17 * words.count("\n")), layout="constrained")
    axes = figure.subplots()
    figure.colorbar(draw_dark_areas(axes, result, found), label="luminance")
    axes.set_title(words, fontsize=10, loc="left")
    figure.suptitle(
        f"{result.scene.stone.name}; dome {result.scene.dome.name}", x=0.01, ha="left", fontsize=11, parse_math=False
    )
    return figure


def draw_dark_areas(axes: Axes, result: Result, found: DarkAreas) -> AxesImage:
    """The same onto axes, without a title; returns the image, for a colour bar."""
    image = draw_map(axes, result, "luminance", None)
    mark_dark_areas(axes, found)
    return image


def mark_dark_areas(axes: Axes, found: DarkAreas) -> None:
    """The outline and the centroid of the largest dark area, and the edges of the strip, over a map."""
    grid = found.grid
    if found.where.any():
        axes.contour(grid.x_mm, grid.y_mm, found.where, [0.5], colors=_LINE, linewidths=1.4)
        axes.plot(*found.center_mm, "+", color=_LINE, markersize=9)
    if found.strip is not None:
        along, across = found.strip.along, found.strip.along[::-1] * (-1.0, 1.0)
        reach = grid.pixel_mm * grid.resolution * np.array([-1.0, 1.0])
        for side in (-found.strip.half_mm, found.strip.half_mm):
            line = side * along[:, None] + across[:, None] * reach
            axes.plot(*line, color=_LINE, linewidth=0.9, linestyle="--")


def headline(found: DarkAreas) -> str:
    """The numbers in a line or two."""
    words = f"largest connected dark area {100.0 * found.largest.value:.2f} % of the face"
    if found.band_share is None or found.band_depth is None:
        return words
    depth = with_minus_signs(f"{found.band_depth.value:z.3f}")
    return f"{words}\ndark band {100.0 * found.band_share.value:.2f} %, its depth {depth}"
