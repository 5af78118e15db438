"""The pictures of the report: maps of all stones on one scale, their differences, ledger bars, and significance.

Every picture can be read without colour: maps of one quantity grow lighter with it; a difference is shown signed and once
more as two maps that grow lighter with it; bars differ by hatching and carry their numbers.
"""

from __future__ import annotations

import base64
import io
import itertools
import math
from collections.abc import Callable, Sequence
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np

from ..comparison.comparison import Comparison
from ..comparison.verdicts import Verdict, words
from ..pictures.drawings import stone_figure
from ..pictures.plots import NEUTRAL, tick_both_sides
from ..plane_geometry import convex_outline
from ..results.maps import STATISTIC_OF
from ..scene.view import silhouette
from ..stone.stone import Stone
from ..stopping import pause
from ..tracers.ledger import ENTRIES
from .file_names import MAPS, figure_names, letters
from .tables import tilt_name

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

INK, FAINT = "0.15", "0.5"
HATCHES = ("", "////", "\\\\\\\\", "xxxx", "----", "++++")
"""Of lines alone: a hatch of dots makes an SVG file of 300 kB."""
SHADES = ("0.35", "0.8", "0.6", "0.92", "0.5", "0.7")
FAR = 10.0
"""Differences that exceed so many times the smallest certain one are all drawn there."""

WIDE = 7.4
"""Inches that the maps of all tilts share: letters keep nearly their size on a sheet of A4."""

QUALITY = 95
"""Of the page's colour pictures as WebP, 0 to 100; the files beside the page lose nothing."""

_COLORS = {"luminance": "cividis", "contrast": "PuOr_r", "leak": "magma", "window": "magma"}


def picture_names(stones: int) -> list[str]:
    """Names within the page of the pictures that `drawn` makes of so many stones."""
    return figure_names(letters(stones))


def drawn(comparison: Comparison) -> dict[str, bytes]:
    """Every figure of a comparison, drawn once: the file's content by its name, in the order of `picture_names`."""
    count = len(comparison.stones)
    pairs = list(itertools.combinations(range(count), 2))
    works: list[Callable[[], bytes]] = [partial(_map, comparison, name, k) for name in MAPS for k in range(count)]
    works.append(lambda: vector(ledger_figure(comparison)))
    works += [partial(_drawing, stone) for stone in comparison.stones]
    works += [partial(draw, comparison, pair) for pair in pairs for draw in (_verdicts, _difference)]
    made = []
    for work in works:
        pause()
        made.append(work())
    return dict(zip(picture_names(count), made, strict=True))


def _map(comparison: Comparison, name: str, stone: int) -> bytes:
    return packed_png(maps_figure(comparison, name, [stone]))


def _drawing(stone: Stone) -> bytes:
    return vector(drawing_figure(stone))


def _verdicts(comparison: Comparison, pair: tuple[int, int]) -> bytes:
    return vector(verdict_figure(comparison, *pair))


def _difference(comparison: Comparison, pair: tuple[int, int]) -> bytes:
    return packed_png(difference_figure(comparison, *pair))


def maps_figure(comparison: Comparison, name: str, stones: Sequence[int] | None = None) -> Figure:
    """One map of every stone (rows), or of some, at every tilt (columns), each with its number; one scale for all stones."""
    from matplotlib.colors import Normalize, TwoSlopeNorm

    values = np.asarray(comparison.maps[name])
    high = _round_up(float(np.nanquantile(np.abs(values), 0.998))) if name == "contrast" else 1.0
    most = comparison.dome.peak_radiance if name == "luminance" else 1.0
    norm = TwoSlopeNorm(0.0, -1.0, max(high, 1.0)) if name == "contrast" else Normalize(0.0, most)
    statistic = STATISTIC_OF.get(name, name)
    shown = words(statistic)
    rows = [
        (
            label,
            values[k],
            (k,),
            [f"{shown.name} {shown.show(light[k][statistic].statistic.value)}" for light in comparison.light],
        )
        for k, label in enumerate(comparison.labels)
        if stones is None or k in stones
    ]
    bar = {
        "luminance": "luminance (1: brightest radiance)",
        "contrast": "contrast (L - mean)/mean",
        "leak": "leakage",
        "window": "seen straight through",
    }
    return _grid(comparison, rows, [(_COLORS[name], norm, bar[name])] * len(rows))


def difference_figure(comparison: Comparison, one: int = 0, another: int = 1) -> Figure:
    """Luminance of one stone minus another's: signed, and each side of it by itself."""
    from matplotlib.colors import Normalize

    first, other = comparison.labels[one], comparison.labels[another]
    values = np.asarray(comparison.difference("luminance", first, other))
    most = max(_round_up(float(np.nanquantile(np.abs(values), 0.998))), 0.01)
    blank = [""] * len(comparison.views)
    rows = [
        (f"{first} minus {other}", values, (one, another), blank),
        (f"{first} brighter", np.maximum(values, 0.0), (one,), blank),
        (f"{other} brighter", np.maximum(-values, 0.0), (another,), blank),
    ]
    signed, unsigned = ("PuOr_r", Normalize(-most, most)), ("cividis", Normalize(0.0, most))
    return _grid(comparison, rows, [(*signed, "difference in luminance"), *[(*unsigned, "absolute difference")] * 2])


def ledger_figure(comparison: Comparison) -> Figure:
    """The ledger of every stone at every tilt as bars, with the range of each number as a line."""
    from matplotlib.figure import Figure

    count, views = len(comparison.labels), comparison.views
    entries = [
        e for e in ENTRIES if any(light[k][e].statistic.value > 5e-5 for light in comparison.light for k in range(count))
    ]
    height = 0.9 + 0.24 * count * len(entries) + 0.12 * len(entries)
    figure = Figure(figsize=(WIDE + 1.2, height), layout="constrained")
    thick = 0.8 / count
    for number, axes in enumerate(np.atleast_1d(figure.subplots(1, len(views), sharey=True))):
        for k, label in enumerate(comparison.labels):
            for row, entry in enumerate(entries):
                one = comparison.light[number][k][entry]
                y, value = row + (k - (count - 1) / 2.0) * thick, 100.0 * one.statistic.value
                look = {"color": SHADES[k % 6], "hatch": HATCHES[k % 6], "edgecolor": INK, "linewidth": 0.6}
                axes.barh(y, value, 0.9 * thick, **look, label=label if row == 0 else None)
                low, high = (100.0 * max(0.0, end) for end in one.interval(comparison.coverage))
                if entry != "untraced":
                    axes.plot([low, high], [y, y], color=INK, linewidth=1.3, marker="|", markersize=5)
                axes.text(max(high, value) + 2.0, y, f"{label} {value:.1f} %", va="center", fontsize=8)
        axes.set(xlim=(0.0, 118.0), ylim=(len(entries) - 0.45, -0.55), xlabel="share of the light / %")
        axes.set_xticks(range(0, 101, 25))  # the room beyond 100 % is for the numbers
        axes.spines["bottom"].set_bounds(0.0, 100.0)
        axes.set_yticks(range(len(entries)), entries)
        axes.set_title(tilt_name(comparison, number), loc="left", fontsize=10)
        axes.spines[["top", "right"]].set_visible(False)
    return figure


def verdict_figure(comparison: Comparison, one: int = 0, another: int = 1) -> Figure:
    """Each difference of two stones, in units of the difference that it has to exceed to be certain."""
    from matplotlib.figure import Figure

    pair = (comparison.labels[one], comparison.labels[another])
    rows: list[tuple[str, Verdict]] = []
    for k in range(len(comparison.views)):
        verdicts = comparison.light_verdicts(k)
        for name in ("brightness", "contrast_rms", "leak", "symmetry"):
            found = [v for v in verdicts.get(name, ()) if (v.first, v.second) == pair and v.outcome != "unknown"]
            rows += [(f"{words(name).name}, {tilt_name(comparison, k)}", v) for v in found]
    figure = Figure(figsize=(WIDE + 1.2, 0.9 + 0.27 * len(rows)), layout="constrained")
    axes = figure.subplots()
    axes.axvspan(-1.0, 1.0, facecolor="0.88", edgecolor="0.6", hatch="////", linewidth=0.0)
    axes.axvline(0.0, color=INK, linewidth=0.8)
    places = [_place(verdict) for _, verdict in rows]
    for row, (x, (_, verdict)) in enumerate(zip(places, rows, strict=True)):
        sure = verdict.established
        axes.plot(x, row, marker="D" if sure else "o", markersize=7, color=INK, markerfacecolor=INK if sure else "white")
    most = max([1.6, *(1.15 * abs(x) for x in places)])
    axes.set(xlim=(-most, most), ylim=(len(rows) - 0.5, -0.5))
    axes.set_yticks(range(len(rows)), [text for text, _ in rows])
    cut = f" (cut at {FAR:g})" if FAR in map(abs, places) else ""
    word = comparison.certain_word(pair)
    axes.set_xlabel(f"{pair[1]} larger  ←  difference / smallest {word} difference{cut}  →  {pair[0]} larger")
    axes.spines[["top", "right", "left"]].set_visible(False)
    axes.tick_params(axis="y", length=0)
    axes.set_title(f"inside the hatched band: not {word}; filled diamonds: {word}", loc="left", fontsize=10)
    return figure


def _place(verdict: Verdict) -> float:
    """A difference in units of the smallest that is certain, at most `FAR`; 0 where the numbers are equal as shown."""
    d = 0.0 if verdict.outcome == "equal" else verdict.difference
    return max(-FAR, min(d / verdict.least if verdict.least > 0.0 else FAR * float(np.sign(d)), FAR))


def drawing_figure(stone: Stone) -> Figure:
    """The stone's line drawing with larger letters, for a page that is narrower than the drawing was made for."""
    from matplotlib.text import Text

    figure = stone_figure(stone)
    for text in figure.findobj(lambda artist: isinstance(artist, Text)):
        text.set(fontsize=1.4 * text.get_fontsize())  # type: ignore[attr-defined]
    for axes in figure.axes:  # room for them: the scale in mm stands below
        axes.set(ylabel="", yticks=[])
        axes.spines["left"].set_visible(False)
    return figure


def data_uri(name: str, data: bytes) -> str:
    """A picture's file as an address that stands in the page itself; a PNG stands there as WebP, which is smaller."""
    kind = name.rsplit(".", 1)[1]
    media = {"png": "image/webp", "svg": "image/svg+xml", "webp": "image/webp"}[kind]
    return f"data:{media};base64,{base64.b64encode(_webp(data) if kind == 'png' else data).decode('ascii')}"


def _webp(png: bytes) -> bytes:
    """A PNG as WebP: one with a palette (maps, letters) pixel for pixel, a colour picture at a quality that hides the loss."""
    from PIL import Image

    held = io.BytesIO()
    with Image.open(io.BytesIO(png)) as picture:
        how = {"lossless": True, "quality": 25, "method": 2} if picture.mode == "P" else {"quality": QUALITY, "method": 4}
        picture.convert("RGB").save(held, "WEBP", **how)
    return held.getvalue()


def vector(figure: Figure) -> bytes:
    """A figure as SVG: the same bytes for the same figure."""
    from matplotlib import rc_context

    held = io.BytesIO()
    with rc_context({"svg.hashsalt": "raylab"}):  # else every file has ids of its own
        figure.savefig(held, format="svg", metadata={"Date": None}, bbox_inches="tight")
    return held.getvalue()


def packed_png(figure: Figure, dpi: int = 120) -> bytes:
    """A figure as a PNG in 256 colours, which keeps a page of maps small.

    The colours are shared out by an octree: cut at the median, a bar's rare colours would be merged into others' hues.
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from PIL import Image

    figure.set_dpi(dpi)
    canvas: Any = FigureCanvasAgg(figure)
    packed = io.BytesIO()
    canvas.draw()
    pixels = Image.fromarray(np.asarray(canvas.buffer_rgba())).convert("RGB")
    pixels.quantize(256, method=Image.Quantize.FASTOCTREE, dither=Image.Dither.NONE).save(packed, "PNG")
    return packed.getvalue()


def _grid(
    comparison: Comparison, rows: Sequence[tuple[str, Any, tuple[int, ...], list[str]]], looks: Sequence[tuple[str, Any, str]]
) -> Figure:
    """Maps in rows (label, layers, whose outlines, captions) and columns (tilts); a colour bar for each row."""
    from matplotlib.figure import Figure

    columns = len(comparison.views)
    side = min(2.5, WIDE / columns)
    figure = Figure(figsize=(side * columns + 1.2, (side + 0.3) * len(rows) + 0.2), layout="constrained")
    every = figure.subplots(len(rows), columns, squeeze=False)
    for (label, layers, whose, captions), (colors, norm, statistic), line in zip(rows, looks, every, strict=True):
        for k, axes in enumerate(line):
            image = axes.imshow(layers[k], origin="lower", extent=_extent(comparison), cmap=colors, norm=norm)
            axes.set_facecolor(NEUTRAL)
            axes.set_title(f"{label}, {tilt_name(comparison, k)}", loc="left", fontsize=9.5, parse_math=False)
            axes.set_xlabel(captions[k], fontsize=9)
            axes.set_xticks([])
            axes.set_yticks([])
            _outlines(axes, comparison, k, whose)
        bar = figure.colorbar(image, ax=list(line), label=statistic, fraction=0.03, pad=0.01, extend=_extend(layers, norm))
        tick_both_sides(bar)
        bar.ax.tick_params(labelsize=8)
    return figure


def _outlines(axes: Axes, comparison: Comparison, view: int, stones: Sequence[int]) -> None:
    from matplotlib.patches import Polygon

    for k in stones:
        corners = convex_outline(silhouette(comparison.shown[k], comparison.views[view]))
        axes.add_patch(Polygon(corners, closed=True, fill=False, edgecolor=INK, linewidth=0.9))


def _extend(layers: Any, norm: Any) -> str:
    above, below = bool(np.nanmax(layers) > norm.vmax * 1.001), bool(np.nanmin(layers) < norm.vmin * 1.001)
    return {(True, True): "both", (True, False): "max", (False, True): "min", (False, False): "neither"}[above, below]


def _extent(comparison: Comparison) -> tuple[float, float, float, float]:
    half = float(comparison.maps.attrs["pixel_mm"]) / 2.0
    x, y = comparison.maps.x, comparison.maps.y
    return float(x[0]) - half, float(x[-1]) + half, float(y[0]) - half, float(y[-1]) + half


def _round_up(value: float) -> float:
    """To one digit more than the first, upward."""
    if not value > 0.0:
        return 0.0
    digit = 10.0 ** (math.floor(math.log10(value)) - 1)
    return math.ceil(value / digit - 1e-9) * digit
