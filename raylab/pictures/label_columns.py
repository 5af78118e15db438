"""Labels beside a picture: two columns of words with a line from each to its point, so that no label lies on another.

Positions are pixels, x to the right and y downwards.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np

COLUMN = 0.16
"""Width of each column, a share of the picture's width."""

_INK, _LINE = "#202224", "#7d7f80"
_SIZE, _GAP = 0.027, 1.75  # height of the type, a share of the picture's; line spacing, in such heights
_DPI = 100.0


class Label(NamedTuple):
    """Words, the point that they are about, and whether they stand in the left column; y of their middle."""

    words: str
    point: tuple[float, float]
    on_left: bool
    y: float


def placed(points: np.ndarray, words: Sequence[str], size: tuple[int, int]) -> list[Label]:
    """Labels for points (P, 2) in a picture of a size: each on the side of its point, in the order of the points' heights.

    A side that would hold more than its column has room for gives its innermost labels to the other one.
    """
    width, height = size
    step = _GAP * _SIZE * height
    room = max(1, int(height / step) - 1)
    by_x = np.argsort(points[:, 0], kind="stable")
    count = int(np.clip((points[:, 0] < width / 2.0).sum(), len(points) - room, room))
    found = []
    for on_left, side in ((True, by_x[:count]), (False, by_x[count:])):
        order = side[np.argsort(points[side, 1], kind="stable")]
        for k, y in zip(order, _spread(points[order, 1], step, height), strict=True):
            found.append(Label(words[k], (float(points[k, 0]), float(points[k, 1])), on_left, y))
    return found


def _spread(wanted: np.ndarray, step: float, height: float) -> list[float]:
    """Rising positions at least a step apart, near those wanted and within the picture."""
    found: list[float] = []
    for k, y in enumerate(wanted):
        found.append(max(float(y), step, found[-1] + step if k else step))
    lowest = height - step
    for k in reversed(range(len(found))):
        found[k] = min(found[k], lowest)
        lowest = found[k] - step
    return found


def with_labels(picture: np.ndarray, points: np.ndarray, words: Sequence[str]) -> np.ndarray:
    """A picture (H, W, 3) of 8 bits with labels for points (P, 2) of it."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    height, width = picture.shape[:2]
    figure = Figure(figsize=(width / _DPI, height / _DPI), dpi=_DPI)
    canvas: Any = FigureCanvasAgg(figure)
    figure.figimage(picture)
    axes = figure.add_axes((0.0, 0.0, 1.0, 1.0), zorder=1.0)  # above the picture
    axes.set(xlim=(0.0, width), ylim=(height, 0.0))
    axes.axis("off")
    axes.patch.set_alpha(0.0)
    for label in placed(points, words, (width, height)):
        edge = 0.012 * width if label.on_left else 0.988 * width
        text = axes.text(
            edge,
            label.y,
            label.words,
            ha="left" if label.on_left else "right",
            va="center",
            fontsize=_SIZE * height * 72.0 / _DPI,
            color=_INK,
            parse_math=False,
        )
        box = text.get_window_extent(canvas.get_renderer())
        start = (box.x1 + 0.006 * width) if label.on_left else (box.x0 - 0.006 * width)
        axes.plot([start, label.point[0]], [label.y, label.point[1]], color=_LINE, linewidth=0.9, solid_capstyle="round")
        axes.plot(*label.point, marker="o", markersize=3.2, color=_INK)
    canvas.draw()
    return np.asarray(canvas.buffer_rgba())[..., :3].copy()
