"""Pictures of a blocked stone's choices: the maps of some side by side on one scale, and the whole grid as small heat maps.

In the heat maps each number has one scale for all its panels. How surely the tracing knows it stands above it, since a scale
that is drawn over less than that shows no difference.
"""

from __future__ import annotations

import math
import textwrap
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from ..cutting.last_facets import LastFacets
from ..cutting.preview import Preview
from ..cutting.repolishing import Repolished
from ..errors import InputError
from .plots import NEUTRAL, arrow_heads, color_range, draw_map, tick_both_sides

if TYPE_CHECKING:
    import xarray as xr
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

PANELS = {"brightness": "brightness", "contrast_rms": "contrast (RMS)", "leak": "leak", "lost_points": "weight lost / 0.01 ct"}
"""The numbers of a grid that are drawn, in the words above their panels."""

MOST_ROWS = 6
MOST_WRITTEN = 8
"""Cells along a side that have room for their number."""

_INK = "0.15"


def preview_figure(preview: Preview) -> Figure:
    """Contrast maps of all alternatives on one scale, each with its choice and its numbers."""
    from matplotlib.figure import Figure

    count = len(preview.results)
    figure = Figure(figsize=(3.5 * count + 1.1, 4.6), layout="constrained")
    row = figure.subplots(1, count, squeeze=False)[0]
    ends = -1.0, max(color_range("contrast", one.arrays.values("contrast"))[1] for one in preview.results)
    images = []
    for k, (axes, result) in enumerate(zip(row, preview.results, strict=True)):
        images.append(draw_map(axes, result, "contrast", None, ends))
        record = result.summary
        numbers = (
            f"brightness {record.brightness.value:.4f}   contrast {record.contrast_rms.value:.3f}",
            f"leak {100.0 * record.ledger['leak'].value:.2f} %",
            f"{preview.stones[k].weight_ct:.4f} ct, {preview.lost_points(k):.2f} points removed",
        )
        choice = textwrap.wrap(f"{k + 1}: {preview.choices[k]}", 48)
        axes.set_title("\n".join([*choice, *numbers]), fontsize=8.5, loc="left", color=_INK)
        axes.set_ylabel("y / mm" if k == 0 else "")
    widest = next((image for image in images if arrow_heads("contrast", image) != "neither"), images[0])
    tick_both_sides(figure.colorbar(widest, ax=list(row), shrink=0.8, label="contrast", extend=arrow_heads("contrast", widest)))
    stone = preview.blocked.stone
    _subject(figure, f"{stone.name}, {stone.material.name}, now {stone.weight_ct:.4f} ct", preview.scene.dome.name)
    return figure


def repolish_figure(found: Repolished) -> Figure:
    """Contrast before and after on one scale, and the difference in luminance."""
    from matplotlib.colors import CenteredNorm
    from matplotlib.figure import Figure

    figure = Figure(figsize=(12.6, 4.4), layout="constrained")
    row = figure.subplots(1, 3)
    both = (found.before, found.after)
    ends = -1.0, max(color_range("contrast", one.arrays.values("contrast"))[1] for one in both)
    for axes, result, when in zip(row, both, ("before", "after"), strict=False):
        image = draw_map(axes, result, "contrast", None, ends)
        record, stone = result.summary, result.scene.stone
        axes.set_title(
            f"{when}: {stone.weight_ct:.4f} ct\n"
            f"brightness {record.brightness.value:.4f}   contrast {record.contrast_rms.value:.3f}",
            fontsize=8.5, loc="left", color=_INK,
        )  # fmt: skip
    tick_both_sides(
        figure.colorbar(image, ax=list(row[:2]), shrink=0.85, label="contrast", extend=arrow_heads("contrast", image))
    )
    field, first = found.difference["luminance"].squeeze(), row[0]
    edge = (*first.get_xlim(), *first.get_ylim())
    drawn = row[2].imshow(field.values, origin="lower", extent=edge, cmap="PuOr_r", norm=CenteredNorm(0.0))
    row[2].set_facecolor(NEUTRAL)
    row[2].set(xlabel="x / mm")
    row[2].tick_params(labelsize=8)
    row[2].set_title("after minus before", fontsize=8.5, loc="left", color=_INK)
    figure.colorbar(drawn, ax=row[2], shrink=0.85, label="difference in luminance")
    scene = found.before.scene
    _subject(figure, f"{scene.stone.name}, {found.what}", scene.dome.name)
    return figure


def varied(sizes: Mapping[str, int]) -> tuple[list[str], list[str]]:
    """The axes along which a grid of these sizes varies: at most two that are the sides of a heat map, and the others.

    Raises InputError where the others take more rows of panels than fit on a page.
    """
    names = sorted((name for name, size in sizes.items() if size > 1), key=lambda name: -sizes[name])
    rows = math.prod(sizes[name] for name in names[2:])
    if rows > MOST_ROWS:
        raise InputError(
            "too many values to draw", key=" x ".join(names[2:]), value=rows, expected=f"at most {MOST_ROWS} rows of maps"
        )
    return names[:2], names[2:]


def grid_figure(grid: xr.Dataset, marked: tuple[LastFacets, ...] = ()) -> Figure:
    """What `brillianteering_grid` found: heat maps of brightness, contrast, leak and weight lost. `marked`: numbered choices.

    Hatched where a choice can't be cut. Axes beyond two are laid out as rows. Raises InputError, see `varied`.
    """
    from matplotlib.figure import Figure

    sides, others = varied({str(name): grid.sizes[name] for name in grid.reason.dims})
    across, up = (*sides, None, None)[:2]
    flat = grid.isel({name: 0 for name in map(str, grid.reason.dims) if grid.sizes[name] == 1})
    rows = [dict(zip(others, at, strict=True)) for at in np.ndindex(*(grid.sizes[name] for name in others))]
    figure = Figure(figsize=(16.0, 0.9 + (3.3 if up else 1.9) * len(rows)), layout="constrained")
    panels = figure.subplots(len(rows), len(PANELS), squeeze=False)
    for column, (name, words) in enumerate(PANELS.items()):
        drawn: Any = None
        for number, at in enumerate(rows):
            axes, panel = panels[number, column], flat.isel(at)
            drawn = _cells(axes, panel, name, across, up, _ends(grid[name].values))
            for k, choice in enumerate(marked):
                if all(getattr(choice, key) == float(grid[key][i]) for key, i in at.items()):
                    x, y = getattr(choice, across) if across else 0.0, getattr(choice, up) if up else 0.0
                    axes.annotate(
                        str(k + 1), (x, y), (0, 9), textcoords="offset points", ha="center", va="center", fontsize=9,
                        color=_INK, bbox={"boxstyle": "circle,pad=0.15", "facecolor": "white", "edgecolor": _INK},
                    )  # fmt: skip
            if column == 0 and others:
                record = ", ".join(_words(key).replace("/", f"{float(grid[key][i]):g}") for key, i in at.items())
                axes.set_ylabel(f"{record}\n{axes.get_ylabel()}", fontsize=9)
        panels[0, column].set_title(words + _known_to(grid, name), fontsize=10, loc="left")
        figure.colorbar(drawn, ax=list(panels[:, column]))
    about = grid.attrs
    _subject(figure, f"{about['stone']}, now {about['weight_now_ct']:.4f} ct", about["dome"])
    return figure


def _cells(axes: Axes, panel: xr.Dataset, name: str, across: str | None, up: str | None, ends: tuple[float, float]) -> Any:
    """One heat map, its numbers written in where they fit; hatched where nothing can be cut."""
    sides = [panel[side].values if side else np.zeros(1) for side in (across, up)]
    x, y = sides
    values = panel[name].transpose(*(side for side in (up, across) if side)).values.reshape(len(y), len(x))
    axes.set_facecolor("0.9")
    axes.patch.set(hatch="///", edgecolor="0.65")
    shown = np.ma.masked_invalid(values)
    image = axes.pcolormesh(_borders(x), _borders(y), shown, cmap="cividis", vmin=ends[0], vmax=ends[1])
    if max(values.shape) <= MOST_WRITTEN:
        digits = 2 if name == "lost_points" else 4
        for j, i in np.argwhere(np.isfinite(values)):
            light = values[j, i] > (ends[0] + ends[1]) / 2.0
            axes.annotate(
                f"{values[j, i]:.{digits}f}", (x[i], y[j]), (0, -6), textcoords="offset points", ha="center", va="center",
                fontsize=7, color="black" if light else "white",
            )  # fmt: skip
    for axis, side, at in ((axes.xaxis, across, x), (axes.yaxis, up, y)):
        if side is None or len(at) <= MOST_WRITTEN:
            axis.set_ticks(list(at) if side else [])
        axis.set_label_text(_words(side) if side else "")
    axes.tick_params(labelsize=8)
    return image


def _borders(at: np.ndarray) -> np.ndarray:
    """(K + 1,) where the cells about values (K,) meet; one alone has a cell of width 1."""
    if len(at) == 1:
        return at[0] + np.array([-0.5, 0.5])
    between = (at[1:] + at[:-1]) / 2.0
    return np.concatenate([[2.0 * at[0] - between[0]], between, [2.0 * at[-1] - between[-1]]])


def _ends(values: np.ndarray) -> tuple[float, float]:
    """Ends of a scale over what can be cut; never of no length."""
    seen = values[np.isfinite(values)]
    low, high = (float(seen.min()), float(seen.max())) if len(seen) else (0.0, 1.0)
    return low, max(high, low + 1e-9 * max(1.0, abs(low)))


def _known_to(grid: xr.Dataset, name: str) -> str:
    """How wide the widest bracket of a statistic is, in words; weights have none."""
    if name + "_low" not in grid:
        return ""
    widths = (grid[name + "_high"] - grid[name + "_low"]).values
    seen = widths[np.isfinite(widths)]
    return f", bracket at most {float(seen.max()):.1g} wide" if len(seen) else ""


def _words(key: str) -> str:
    name, _, unit = key.rpartition("_")
    return f"{name.replace('_', ' ')} / {'%' if unit == 'pct' else '°'}"


def _subject(figure: Figure, stone: str, dome: str) -> None:
    figure.suptitle(f"{stone}; dome: {dome}", x=0.01, ha="left", fontsize=11, color=_INK, parse_math=False)
