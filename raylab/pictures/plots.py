"""Pictures: one per map, an overview, and line drawings of a stone. matplotlib is imported when used.

Maps of one quantity use perceptually uniform colour maps that colour-blind people can read (cividis, viridis, magma);
signed contrast a diverging one about zero. Every picture has a colour bar, axes in mm, y up, and the number in its title.

Figures are plain `Figure` objects, without pyplot's global state: no display is needed, and threads don't meet.
"""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from ..plane_geometry import convex_outline
from ..results.maps import DEFINITIONS
from ..scene.view import silhouette
from ..tracers.ledger import ENTRIES
from ..tracing import Result

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.colorbar import Colorbar
    from matplotlib.figure import Figure
    from matplotlib.image import AxesImage

MOST_PIXELS = 1500
"""A map with more pixels along a side is averaged in blocks before it is drawn."""

NEUTRAL = "0.86"
_INK = "0.15"
_WIDTH, _HEIGHT, _SIDE, _LEFT, _BOTTOM = 6.4, 6.0, 4.85, 0.65, 0.55  # inches
_DPI = 110


class Look(NamedTuple):
    """How a map is drawn: colour map, and its range, None for what the map itself needs."""

    colors: str
    low: float
    high: float | None


LOOKS = {
    "luminance": Look("cividis", 0.0, None),
    "contrast": Look("PuOr_r", -1.0, None),  # never below -1; each side of zero has its own scale
    "sky": Look("cividis", 0.0, 1.0),
    "head": Look("magma", 0.0, 1.0),
    "leak": Look("magma", 0.0, 1.0),
    "window": Look("magma", 0.0, 1.0),
    "absorbed": Look("magma", 0.0, None),
    "included": Look("magma", 0.0, None),
    "by_scattering": Look("magma", 0.0, None),
    "scattered": Look("magma", 0.0, None),
    "untraced": Look("magma", 0.0, None),
    "glare": Look("cividis", 0.0, None),
    "source_elevation": Look("viridis", -90.0, 90.0),
    "bounces": Look("viridis", 0.0, None),
    "coverage": Look("cividis", 0.0, 1.0),
    "luminance_error": Look("magma", 0.0, None),
}
"""How each map of `DEFINITIONS` is drawn."""
_LEAST_RANGE = 1e-6


def map_figure(result: Result, name: str, wavelength_nm: float | None = None) -> Figure:
    """One map with colour bar, scale, and a title that says stone, dome and number.

    Parameters
    ----------
    name : a variable of `Result.maps`. wavelength_nm : the wavelength to take from several; the middle one by default.
    """
    figure = _page()
    _fill(figure, result, name, wavelength_nm)
    return figure


def map_pictures(result: Result, names: Sequence[str], dpi: int = _DPI) -> Iterator[tuple[str, np.ndarray]]:
    """The figures of several maps as pixels, (rows, columns, 3) of 8 bits, one by one.

    Axes, ticks and frame are the same on all and drawn once, which takes most of the time that a figure does.
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg

    figure = _page()
    figure.set_dpi(dpi)
    canvas = FigureCanvasAgg(figure)
    ground = None
    for name in names:
        _fill(figure, result, name, None)
        axes, beside = figure.axes
        changing = (*axes.images, *axes.patches, beside, *figure.texts)
        if ground is None:
            for artist in changing:
                artist.set_visible(False)
            canvas.draw()  # type: ignore[no-untyped-call]
            ground = canvas.copy_from_bbox(figure.bbox)  # type: ignore[no-untyped-call]
            for artist in changing:
                artist.set_visible(True)
        canvas.restore_region(ground)  # type: ignore[no-untyped-call]
        for artist in changing:
            figure.draw_artist(artist)
        yield name, np.array(canvas.buffer_rgba())[..., :3]  # type: ignore[no-untyped-call]


def _page() -> Figure:
    """A figure with axes for a map."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(_WIDTH, _HEIGHT))
    figure.add_axes((_LEFT / _WIDTH, _BOTTOM / _HEIGHT, _SIDE / _WIDTH, _SIDE / _HEIGHT))
    return figure


def _fill(figure: Figure, result: Result, name: str, wavelength_nm: float | None) -> None:
    """A map onto a page, in the place of the one before."""
    axes, *bars = figure.axes
    for old in (*bars, *axes.images, *axes.patches, *figure.texts):
        old.remove()
    # A bar of its own for each map: one that had arrow heads keeps room for them.
    beside = figure.add_axes(((_LEFT + _SIDE + 0.12) / _WIDTH, _BOTTOM / _HEIGHT, 0.16 / _WIDTH, _SIDE / _HEIGHT))
    image = draw_map(axes, result, name, wavelength_nm)
    bar = figure.colorbar(image, cax=beside, label=_label(name), extend=arrow_heads(name, image))
    bar.ax.tick_params(labelsize=8)
    tick_both_sides(bar)
    if name == "source_elevation":
        bar.set_ticks(list(range(-90, 91, 30)))
    top = _BOTTOM + _SIDE
    _write(figure, _LEFT / _WIDTH, (top + 0.08) / _HEIGHT, _headline(result, name, wavelength_nm), 11)
    _write(figure, _LEFT / _WIDTH, (top + 0.28) / _HEIGHT, _subject(result, wavelength_nm, 96), 8.5)


OVERVIEW = ("luminance", "contrast", "leak")
"""The maps of the overview."""


def overview_picture(result: Result, drawn: Mapping[str, np.ndarray] | None = None) -> np.ndarray:
    """Luminance, contrast and leak side by side, with the ledger as bars, as pixels like those of `map_pictures`.

    The maps' pictures are set in as they are, which takes a third of the time of a figure that draws them as images.

    Parameters
    ----------
    drawn : those pictures, if `map_pictures` has drawn them already at its usual `dpi`.
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg

    pictures = dict(map_pictures(result, OVERVIEW)) if drawn is None else drawn
    canvas = FigureCanvasAgg(_overview_page(result))
    canvas.draw()  # type: ignore[no-untyped-call]
    whole = np.array(canvas.buffer_rgba())[..., :3]  # type: ignore[no-untyped-call]
    kept = round((_BOTTOM + _SIDE + 0.27) * _DPI)  # rows of a map's picture; its lines about the stone stand once, above
    for number, name in enumerate(OVERVIEW):
        picture, left = pictures[name][-kept:], round(number * _WIDTH * _DPI)
        whole[-kept:, left : left + picture.shape[1]] = picture
    return whole


def _overview_page(result: Result) -> Figure:
    """The overview with room for its maps."""
    from matplotlib.figure import Figure

    height, beside = _BOTTOM + _SIDE + 0.6, 3.6  # inches
    width = len(OVERVIEW) * _WIDTH + beside
    figure = Figure(figsize=(width, height), dpi=_DPI)
    left = len(OVERVIEW) * _WIDTH + 0.85
    ledger = figure.add_axes((left / width, _BOTTOM / height, (width - left - 0.15) / width, _SIDE / height))
    _ledger_bars(ledger, result)
    _write(figure, _LEFT / width, (height - 0.28) / height, _subject(result, None, 170), 13)
    return figure


def _write(figure: Figure, x: float, y: float, text: str, size: float) -> None:
    """Text over a figure, growing upward; a dollar sign in a stone's name is no formula."""
    figure.text(x, y, text, fontsize=size, color=_INK, va="bottom", parse_math=False)


def draw_map(
    axes: Axes, result: Result, name: str, wavelength_nm: float | None, ends: tuple[float, float] | None = None
) -> AxesImage:
    """A map within the stone's outline, on a neutral ground; `ends` of the scale, by default what the map itself needs."""
    from matplotlib.colors import Normalize, TwoSlopeNorm
    from matplotlib.patches import Polygon

    field = result.map_values(name, wavelength_nm)
    grid = result.arrays.grid
    pixel, left, bottom = grid.pixel_mm, grid.x0_mm, grid.y0_mm
    side = pixel * grid.resolution
    block = -(-grid.resolution // MOST_PIXELS)
    values = block_mean(field, result.map_values("coverage", wavelength_nm), block) if block > 1 else field
    low, high = ends or color_range(name, values)
    extent = pixel * block * len(values)  # a last block that hangs over the edge is cut off by the limits
    image = axes.imshow(
        values,
        origin="lower",
        extent=(left, left + extent, bottom, bottom + extent),
        cmap=LOOKS[name].colors,
        norm=TwoSlopeNorm(0.0, low, max(high, 1.0)) if name == "contrast" else Normalize(low, high),
        interpolation="antialiased",
        interpolation_stage="data",
    )
    corners = silhouette(result.scene.stone, result.scene.view)
    outline = Polygon(convex_outline(corners), closed=True, fill=False, edgecolor=_INK, linewidth=1.1)
    axes.add_patch(outline)
    image.set_clip_path(outline)
    axes.set(xlim=(left, left + side), ylim=(bottom, bottom + side), xlabel="x / mm", ylabel="y / mm", aspect="equal")
    axes.set_facecolor(NEUTRAL)
    axes.tick_params(labelsize=8)
    return image


def block_mean(field: np.ndarray, coverage: np.ndarray, block: int) -> np.ndarray:
    """Means over square blocks of pixels, weighted by coverage; NaN where a block covers nothing.

    A last block that hangs over the edge is averaged over what it holds.
    """
    rows = []
    columns = np.arange(0, field.shape[1], block)
    for first in range(0, field.shape[0], block):
        weight = coverage[first : first + block]
        part = np.where(weight > 0.0, field[first : first + block], 0.0) * weight
        total = np.add.reduceat(weight.sum(axis=0), columns)
        held = np.add.reduceat(part.sum(axis=0), columns)
        rows.append(np.divide(held, total, out=np.full(len(columns), np.nan), where=total > 0.0))
    return np.array(rows)


def color_range(name: str, values: np.ndarray) -> tuple[float, float]:
    """The colour bar's ends: fixed ones, or what holds 99.5 % of the pixels, rounded up to two digits."""
    look = LOOKS[name]
    if look.high is not None:
        return look.low, look.high
    seen = np.abs(values[np.isfinite(values)])
    most = float(np.quantile(seen, 0.995)) if len(seen) else 0.0
    if most < _LEAST_RANGE:
        most = 1.0
    digit = 10.0 ** (math.floor(math.log10(most)) - 1)
    high = math.ceil(most / digit - 1e-9) * digit
    return look.low, high


def tick_both_sides(bar: Colorbar) -> None:
    """Ticks of their own below and above the zero of a contrast scale that reaches farther up; any other bar stays as it is."""
    from matplotlib.colors import TwoSlopeNorm
    from matplotlib.ticker import MaxNLocator

    low, high = bar.mappable.get_clim()
    if isinstance(bar.mappable.norm, TwoSlopeNorm) and high > -low:
        above = [tick for tick in MaxNLocator(5).tick_values(0.0, high) if tick <= high]
        bar.set_ticks([low, 0.5 * low, *above])


def arrow_heads(name: str, image: AxesImage) -> Any:
    """Arrow heads on a colour bar beyond whose ends values lie."""
    seen: np.ndarray = np.ma.compressed(np.ma.masked_invalid(np.ma.asarray(image.get_array())))  # type: ignore[no-untyped-call]
    low, high = image.get_clim()
    if LOOKS[name].high is not None or not len(seen):
        return "neither"
    above, below = bool(seen.max() > high * (1.0 + 1e-9)), bool(seen.min() < low - 1e-9 * abs(low))
    return {(True, True): "both", (True, False): "max", (False, True): "min", (False, False): "neither"}[above, below]


def _label(name: str) -> str:
    long_name, unit, _ = DEFINITIONS[name]
    return long_name if unit == "1" else f"{long_name} / {'°' if unit == 'degree' else unit}"


def _headline(result: Result, name: str, wavelength_nm: float | None) -> str:
    """The map's name and its number over the stone."""
    records = {record.wavelength_nm: record for record in result.summary.records}
    statistics = records[result.wavelength_near(wavelength_nm)].statistics
    what = DEFINITIONS[name][0]
    if name == "contrast":
        return f"{what}: RMS {statistics['contrast_rms'].value:.4g}"
    known = {key: one.value for key, one in statistics.items()}
    known["luminance"] = statistics["brightness"].value * result.scene.dome.peak_radiance
    known["untraced"] = statistics["untraced"].high
    if name in known:
        return f"{what}: mean {known[name]:.4g}"
    if name == "coverage":
        return f"{what}: {float(result.map_values(name, wavelength_nm).sum()) * result.arrays.grid.pixel_mm**2:.4g} mm²"
    field, weight = (result.map_values(key, wavelength_nm) for key in (name, "coverage"))
    used = np.isfinite(field) & (weight > 0.0)
    mean = float(np.average(field[used], weights=weight[used])) if used.any() else math.nan
    return f"{what}: mean {mean:.4g}{'°' if name == 'source_elevation' else ''}"


def _subject(result: Result, wavelength_nm: float | None, width: int) -> str:
    """Which stone, under which light, from where, at which wavelength."""
    scene = result.scene
    parts = [f"{scene.stone.name}, {scene.stone.material.name}, {scene.stone.weight_ct:.2f} ct", f"dome: {scene.dome.name}"]
    if scene.view.tilt_deg:
        parts.append(f"tilted {scene.view.tilt_deg:g}° towards {scene.view.tilt_azimuth_deg:g}°")
    if scene.view.distance_mm is not None:
        parts.append(f"eye at {scene.view.distance_mm:g} mm")
    parts.append(f"{result.wavelength_near(wavelength_nm):g} nm")
    return "\n".join(textwrap.wrap("  ·  ".join(parts), width, max_lines=2, placeholder=" ..."))


def _ledger_bars(axes: Axes, result: Result) -> None:
    """The ledger's entries as bars, with their brackets."""
    ledger = result.summary.ledger
    for number, name in enumerate(ENTRIES):
        entry = ledger[name]
        axes.barh(number, 100.0 * entry.value, color="0.45", height=0.62)
        if entry.high > entry.low:
            axes.plot(
                [100.0 * entry.low, 100.0 * entry.high], [number, number], color=_INK, linewidth=1.2, marker="|", markersize=5
            )
        axes.text(100.0 * entry.high + 4.0, number, f"{100.0 * entry.value:.2f} %", va="center", fontsize=9)
    axes.set_yticks(range(len(ENTRIES)), ENTRIES, fontsize=9)
    axes.set(ylim=(len(ENTRIES) - 0.4, -0.6), xlim=(0.0, 140.0))
    axes.set_xlabel("share of the light / %", x=50.0 / 140.0)
    axes.set_xticks(range(0, 101, 25))  # the room beyond 100 % is for the numbers
    axes.spines["bottom"].set_bounds(0.0, 100.0)
    axes.tick_params(labelsize=8, axis="x")
    axes.spines[["top", "right"]].set_visible(False)
    axes.set_title("ledger", fontsize=10.5, loc="left")
