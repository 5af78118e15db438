"""Drawings of a stone: its facets from above, from the side and from below, with tiers and slopes, scale in mm; and the
leakage through each facet, seen from below."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ..errors import UnsupportedScene
from ..stone.extent import size_words
from ..stone.recognition import recognized
from ..stone.recognizing.rings import ring_alone
from ..stone.stone import Stone
from ..tracing import Result

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_INK, _FAINT, _GROUND = "0.15", "0.55", "0.86"
_SEEN = 1e-9
"""Facets are drawn where their normal leans towards the eye by more than this cosine."""

UNLIKE_DEG = 2.0
"""Slopes of a tier that differ by more are those of unlike facets, not of uneven ones."""

LINE = 22
"""Most letters of a label's line."""

EYES = {
    "from above": np.array([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]),
    "from the side": np.array([[1.0, 0.0, 0.0], [0.0, 0.0, 1.0], [0.0, -1.0, 0.0]]),
    "from below": np.array([[1.0, 0.0, 0.0], [0.0, -1.0, 0.0], [0.0, 0.0, -1.0]]),
}
"""Directions of a drawing: name to rows (3, 3) that take the stone's axes to the drawing's right, up and towards the eye."""
UP = {"from above": "y", "from the side": "z", "from below": "\N{MINUS SIGN}y"}
"""The axis of the stone that points up in a drawing; x points to the right in all of them."""


def stone_figure(stone: Stone) -> Figure:
    """Facet outlines from above, side and below; each tier named once with its slope, length, width and depth in mm.

    The slope is the mean of the tier, or the smallest and the largest where they differ by more than `UNLIKE_DEG`, as those of
    an oval's mains do.
    """
    from matplotlib.figure import Figure

    width, height, side, bottom = 16.5, 4.75, 3.6, 0.55  # inches
    figure = Figure(figsize=(width, height))
    stone = recognized(stone)
    for number, (name, axes_of_eye) in enumerate(EYES.items()):
        left = 0.6 + 5.4 * number
        axes = figure.add_axes((left / width, bottom / height, side / width, side / height))
        half = _look_at(stone, name, axes)
        _outline(axes, stone, axes_of_eye)
        _name_tiers(axes, stone, axes_of_eye, half)
        axes.set_title(name, fontsize=10.5, loc="left")
        axes.spines[["top", "right"]].set_visible(False)
    title = f"{stone.name}, {stone.material.name}, {stone.weight_ct:.3f} ct, {size_words(stone)}, {len(stone)} facets"
    figure.text(0.6 / width, (bottom + side + 0.34) / height, title, fontsize=11, color=_INK, va="bottom", parse_math=False)
    return figure


def _look_at(stone: Stone, name: str, axes: Axes) -> float:
    """Set axes to a direction of `EYES`, the stone in the middle; returns half of what they show, mm, alike for all of them."""
    half = 0.54 * float(stone.size_mm.max())
    across, up = (EYES[name] @ (stone.vertices_mm.min(axis=0) + stone.vertices_mm.max(axis=0)))[:2] / 2.0
    axes.set(xlim=(across - half, across + half), ylim=(up - half, up + half), aspect="equal")
    axes.set(xlabel="x / mm", ylabel=f"{UP[name]} / mm")
    axes.tick_params(labelsize=8)
    return half


def leak_figure(result: Result) -> Figure:
    """The stone from below, each facet coloured by the share of the view's weight that leaks there.

    The title states the leakage through facets that are not visible from below. Raises UnsupportedScene for a result
    without an account by facet.
    """
    from matplotlib.collections import PolyCollection
    from matplotlib.figure import Figure

    stone, view, facets = result.scene.stone, result.scene.view, result.summary.facets
    if facets is None:
        raise UnsupportedScene.by((result.summary.engine, "the result has no accounting by facet"))
    eye, leak = EYES["from below"], 100.0 * facets.columns["leak"]
    seen = stone.normals @ eye[2] > _SEEN
    figure = Figure(figsize=(6.6, 6.0))
    axes = figure.add_axes((0.65 / 6.6, 0.55 / 6.0, 4.85 / 6.6, 4.85 / 6.0))
    _look_at(stone, "from below", axes)
    axes.set_facecolor(_GROUND)
    flat = stone.vertices_mm @ eye[:2].T
    polygons = [flat[stone.polyhedron.loops[f]] for f in np.flatnonzero(seen)]
    top = float(leak[seen].max()) if seen.any() else 0.0
    drawn = PolyCollection(polygons, array=leak[seen], cmap="magma", edgecolors=_FAINT, linewidths=0.7)
    drawn.set_clim(0.0, top if top > 0.0 else 1.0)
    axes.add_collection(drawn)
    beside = figure.add_axes((5.62 / 6.6, 0.55 / 6.0, 0.16 / 6.6, 4.85 / 6.0))
    figure.colorbar(drawn, cax=beside, label="leakage through this facet / % of the light")
    axes.set_title(
        f"leakage: {leak[seen].sum():.4g} % through these facets, {leak[~seen].sum():.2g} % through others",
        fontsize=11,
        loc="left",
    )
    subject = f"{stone.name}, {stone.material.name}, {stone.weight_ct:.2f} ct, from below  ·  dome: {result.scene.dome.name}"
    if view.tilt_deg:
        subject += f"  ·  tilted {view.tilt_deg:g}° towards {view.tilt_azimuth_deg:g}°"
    figure.text(0.65 / 6.6, 5.68 / 6.0, subject, fontsize=8.5, color=_INK, va="bottom", parse_math=False)
    return figure


def _label(tier: str, slopes: str) -> str:
    """A tier with its slopes, in two lines where one would reach into the next drawing; a ring has its slope in its name."""
    tier = ring_alone(tier)
    return f"{tier}{' ' if len(tier) + len(slopes) < LINE else chr(10)}{slopes}"


def _slopes(slopes: np.ndarray) -> str:
    """The slopes of a tier, degrees, in words."""
    if np.ptp(slopes) > UNLIKE_DEG:
        return f"{slopes.min():.1f}° to {slopes.max():.1f}°"
    return f"{slopes.mean():.2f}°"


def _outline(axes: Axes, stone: Stone, eye: np.ndarray) -> None:
    """The edges of all facets that lean towards the eye."""
    from matplotlib.collections import PolyCollection

    seen = np.flatnonzero(stone.normals @ eye[2] > _SEEN)
    flat = stone.vertices_mm @ eye[:2].T
    polygons = [flat[stone.polyhedron.loops[f]] for f in seen]
    axes.add_collection(PolyCollection(polygons, facecolors="white", edgecolors=_INK, linewidths=0.7))


def _name_tiers(axes: Axes, stone: Stone, eye: np.ndarray, half: float) -> None:
    """Each tier seen is named once, at the right, with a line to one of its facets; in the facets' order, so that no two
    lines cross."""
    seen = stone.normals @ eye[2]
    spots = stone.polyhedron.centroids @ eye[:2].T
    slopes = stone.slope_deg()
    named = []
    for tier in dict.fromkeys(stone.tiers):
        every = np.array([name == tier for name in stone.tiers])
        # of a tier's facets the one that shows most of itself, towards the upper right where several show the same
        shown = np.where(every, seen * stone.polyhedron.areas, 0.0)
        facing = np.flatnonzero(shown > max(0.3 * shown.max(), _SEEN))
        if facing.size:
            named.append((spots[facing[np.argmax(spots[facing] @ (1.0, 0.35))]], _label(tier, _slopes(slopes[every]))))
    named.sort(key=lambda entry: (round(float(entry[0][1]) / half, 6), entry[0][0]))
    (_, right), (low, high) = axes.get_xlim(), axes.get_ylim()
    heights = np.linspace(low + 0.35 * half, high - 0.35 * half, len(named)) if len(named) > 1 else [(low + high) / 2.0]
    for (spot, text), height in zip(named, heights, strict=True):
        axes.annotate(
            text,
            xy=tuple(spot),
            xytext=(right + 0.03 * half, height),
            fontsize=8,
            va="center",
            parse_math=False,
            annotation_clip=False,
            arrowprops={"arrowstyle": "-", "color": _FAINT, "linewidth": 0.6, "shrinkB": 0.0, "relpos": (0.0, 0.5)},
        )
        axes.plot(*spot, marker="o", markersize=2.2, color=_FAINT)
