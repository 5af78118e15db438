"""The card of a sweep: its axes, its main statistics over them, the designs at their ends, and the ledger of all designs.

Over one axis of numbers a statistic is a curve, over two a picture; further axes leave of each place the lowest and the highest
value (a curve becomes two, a picture shows the highest). Designs that are no grid are points over the first axis of numbers.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np

from ..designs.keys import NAMED, STONE, about_key
from ..designs.making import stone_of
from ..errors import InputError
from ..pictures.drawings import EYES
from ..results.statistics import STATISTICS
from ..sweeps.slabs import axes_of
from .html import Html, bar_of, figure, note, page, row, table, tag
from .line_drawing import drawing
from .map_picture import WIDTH, range_picture

if TYPE_CHECKING:
    import xarray as xr

SHOWN = ("brightness", "contrast_rms", "leak", "head")
"""Statistics that are drawn."""
LEDGER = ("sky", "head", "leak", "absorbed", "scattered", "untraced")
MOST = 1_000_000
"""Designs of which a card looks at the numbers: it is made at once."""
HEIGHT, MARGIN = 110, 4
MOST_POINTS = 2000


def card(found: xr.Dataset) -> Html:
    """Axes, statistics, ends and ledger; what was selected from a sweep and has none of them is listed as xarray does."""
    shown = [name for name in SHOWN if name in found.data_vars]
    if not shown or "reason" not in found.data_vars:
        import xarray as xr

        return Html(xr.Dataset._repr_html_(found))
    axes, designs = axes_of(found, shown[0]), int(found[shown[0]].size)
    about = ", ".join(f"{key} {value}" for key in ("engine", "layout") if (value := found.attrs.get(key)))
    more = tag("details", tag("summary", "all variables"), tag("pre", repr(found), style="white-space:pre-wrap"))
    rows = table([(about_key(axis)[0], _axis(found, axis)) for axis in axes] or [("one design", "")])
    heading = f"Sweep of {designs} design{'s' * (designs != 1)}"
    if designs > MOST:
        return page(heading, about, rows, note("rl.profile shows statistics over one or two axes"), more)
    numbers = [name for name in axes if found[name].dtype.kind in "fiu" and found[name].size > 1]
    drawn = row(*(_statistic(found, name, numbers) for name in shown if np.isfinite(found[name].values).any()))
    missing = int((found.reason.values != 0).sum())
    lines = [note(found.attrs["materials"])] if "materials" in found.attrs else []
    lines += [note(f"{missing} designs have no numbers: found.reason says why")] if missing else []
    parts = (rows, drawn, _ends(found, shown, axes), _ledger(found))
    return page(heading, about, *(tag("div", part, style="margin-bottom:8px") for part in parts), *lines, more)


def _axis(found: xr.Dataset, name: str) -> str:
    """An axis in words: its ends and how many values, or its names."""
    values = found[name].values
    kept = np.unique(values)
    if values.dtype.kind not in "fiu":
        return ", ".join(map(str, kept[:6])) + (f" and {len(kept) - 6} more" if len(kept) > 6 else "")
    if len(kept) == 1:
        return _value(name, kept[0])
    return f"{_value(name, kept[0])} to {_value(name, kept[-1])}, {len(kept)} values"


def _value(axis: str, value: Any) -> str:
    """A value of an axis with its unit, or a name."""
    if isinstance(value, str | bool | np.bool_):
        return str(value)
    unit = about_key(axis)[1]
    return f"{value:z.6g}" + {"degree": "°", "1": "", "": ""}.get(unit, f" {unit}")


def _statistic(found: xr.Dataset, name: str, numbers: list[str]) -> Html:
    """A statistic over one or two axes of numbers."""
    values = found[name]
    label = STATISTICS[name].label
    grid = [axis for axis in numbers if found[axis].dims == (axis,)]
    if len(grid) >= 2:
        down, across = grid[:2]
        others = [dim for dim in values.dims if dim not in (down, across)]
        layer = values.max(others) if others else values
        words = f"{label} over {about_key(across)[0]} (to the right) and {about_key(down)[0]} (upward)"
        most = ", highest of the other axes" if others else ""
        rising = layer.transpose(down, across).sortby([down, across])
        picture, scale = range_picture(rising.values, "cividis", f"{words}{most}.")
        return figure(tag("div", picture, scale), label, f"{about_key(down)[0]} over {about_key(across)[0]}{most}")
    if grid:
        others = [dim for dim in values.dims if dim != grid[0]]
        ordered = values.sortby(grid[0])
        low, high = (ordered.min(others), ordered.max(others)) if others else (ordered, ordered)
        return _plot(label, grid[0], found[grid[0]].sortby(grid[0]).values, [low.values, high.values][: 1 + bool(others)])
    if numbers:
        return _plot(label, numbers[0], found[numbers[0]].values.ravel(), [values.values.ravel()], points=True)
    return figure(Html(""), label, _span(values.values))


def _plot(label: str, axis: str, x: np.ndarray, curves: list[np.ndarray], points: bool = False) -> Html:
    """Curves or points over an axis, with the ends of both scales in words."""
    low, high = (float(end(one)) for end, one in ((np.nanmin, curves[0]), (np.nanmax, curves[-1])))
    if points:
        kept = slice(None, None, math.ceil(x.size / MOST_POINTS))
        x, curves = x[kept], [one[kept] for one in curves]
    across = MARGIN + (WIDTH - 2 * MARGIN) * (x - x.min()) / (np.ptp(x) or 1.0)
    parts = []
    for one in curves:
        up = HEIGHT - MARGIN - (HEIGHT - 2 * MARGIN) * (one - low) / ((high - low) or 1.0)
        there = np.isfinite(one)
        steps = [
            f"{'M' if points or k == 0 or not there[k - 1] else 'L'}{a:.1f} {b:.1f}{'h0' if points or one.size == 1 else ''}"
            for k, (a, b) in enumerate(zip(across, up, strict=True))
            if there[k]
        ]
        parts.append(tag("path", d="".join(steps), stroke_width="3" if points else "1.6", stroke_linecap="round"))
    name = about_key(axis)[0]
    words = f"{label} over {name}, from {low:z.4f} to {high:z.4f}."
    picture = tag(
        "svg",
        tag("path", d=f"M0 0V{HEIGHT}H{WIDTH}", stroke_opacity="0.5"),
        *parts,
        role="img",
        aria_label=words,
        viewBox=f"0 0 {WIDTH} {HEIGHT}",
        width=f"{WIDTH}",
        height=f"{HEIGHT}",
        fill="none",
        stroke="currentColor",
    )
    return figure(picture, label, f"{low:z.4f} to {high:z.4f} over {name}")


def _ends(found: xr.Dataset, shown: list[str], axes: list[str]) -> Html:
    """Lowest and highest value of each statistic with their designs, and drawings of the two for the first statistic."""
    rows, stones = [], []
    for name in shown:
        values = found[name].values
        for end, pick in (("lowest", np.nanargmin), ("highest", np.nanargmax)) if np.isfinite(values).any() else ():
            at = np.unravel_index(int(pick(values)), values.shape)
            place = dict(zip(found[name].dims, map(int, at), strict=True))
            design = found.isel(place)
            where = ", ".join(f"{about_key(axis)[0]} {_value(axis, design[axis].item())}" for axis in axes)
            rows.append((f"{end} {STATISTICS[name].label}", f"{values[at]:z.4f}", where))
            if name == shown[0]:
                stones.append(_side_view(design, f"{end} {STATISTICS[name].label}"))
    return row(*filter(None, stones), table(rows, ("", "value", "design")))


def _side_view(design: xr.Dataset, words: str) -> Html | None:
    """The stone of one design from the side; None where the labels don't make it again, as of stones given as they are."""
    if STONE in design.coords:
        return None
    stated = {str(key): one.item() for key, one in design.coords.items()}
    known = {key: value for key, value in stated.items() if value == value and (key in NAMED or value != "")}
    try:
        stone = stone_of(known)
    except InputError:  # a material of the user's own, of which only the name is kept
        return None
    return figure(drawing(stone, EYES["from the side"], f"Stone of {words}, from the side"), f"{words}, from the side")


def _ledger(found: xr.Dataset) -> Html:
    """Where the light goes: mean of all designs, and the range."""
    rows = []
    for name in LEDGER:
        if name in found.data_vars and np.isfinite(found[name].values).any():
            mean = float(np.nanmean(found[name].values))
            rows.append((STATISTICS[name].label, bar_of(mean), f"{mean:z.4f}", _span(found[name].values)))
    return table(rows, ("ledger", "", "mean of the designs", "lowest to highest"))


def _span(values: np.ndarray) -> str:
    return f"{np.nanmin(values):z.4f} to {np.nanmax(values):z.4f}"
