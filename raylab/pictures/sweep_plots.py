"""Pictures of a sweep: heat maps with contours, lines with brackets, slices, clouds of samples, and the extreme designs.

A grid of one axis is drawn as a line with its certain bracket; of two, as a heat map with contours; of three, as slices along
the shortest; further axes are held where the statistic is highest. Names (domes, materials) are never an axis of a picture:
each gets its own line, or slice. Designs that are no stone are hatched. Colour maps can be read by colour-blind people.
"""

from __future__ import annotations

import itertools
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from ..designs.design import scene_of
from ..designs.keys import CUT, DOME_KEYS, STONE, needed
from ..designs.making import stone_of
from ..errors import InputError, nearest
from ..scene.settings import TraceSettings
from ..stone.cuts import USUAL
from ..stone.known_cuts import get_cut
from ..sweeps.axes import Plan, label_of
from ..tracers.engines import exactly
from ..tracing import trace_scene
from ..units import with_minus_signs
from .bands import band, band_name

if TYPE_CHECKING:
    import xarray as xr
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_INK = "0.15"
_MOST_SLICES = 9
_MOST_SAMPLES = 5000
_MOST_LINES = 6
_MOST_TICKS = 6
"""Values of a heat map's axis that are all named, unless they crowd; of more, round numbers are."""
_MARKS = ("-", "--", ":", "-.", (0, (1, 1)), (0, (5, 1, 1, 1)))


def sweep_figure(found: xr.Dataset, statistic: str) -> Figure:
    """The picture of one statistic of a sweep that suits its layout.

    Parameters
    ----------
    found : what `rl.sweep`, `rl.load_sweep` or `rl.profile` gives.
    statistic : name of one of its variables, such as "brightness".

    Returns
    -------
    A line with its bracket for one axis, a heat map with contours for two, slices of it for three; further axes are held where
    the statistic is highest. Designs that are no grid are a cloud of points over each axis.

    Raises
    ------
    InputError : the sweep has no such variable, or no numbers in it.
    """
    if statistic not in found.data_vars or found[statistic].dtype.kind != "f":
        known = [str(name) for name, one in found.data_vars.items() if one.dtype.kind == "f"]
        raise InputError("no number of this sweep", key="statistic", value=statistic, expected=nearest(str(statistic), known))
    if found[statistic].dims == ("design",) and "design" not in found.coords:
        return samples_figure(found, statistic)
    held, axes, slices = _arranged(found, statistic)
    chosen = found.isel(held)
    if len(axes) == 2:
        return heat_figure(chosen, statistic, axes, slices, _subject(found, held))
    return line_figure(chosen, statistic, axes[0], slices, _subject(found, held))


def _arranged(found: xr.Dataset, statistic: str) -> tuple[dict[str, int], list[str], str | None]:
    """Which dimensions are held (and where), which are a picture's axes, and along which it is sliced."""
    sizes = {str(dim): size for dim, size in found[statistic].sizes.items()}
    varied = [dim for dim in sizes if sizes[dim] > 1]
    plain = [dim for dim in varied if found[dim].dtype.kind in "fiu"]
    axes = sorted(plain, key=lambda dim: -sizes[dim])[:2] or list(sizes)[:1]
    rest = [dim for dim in varied if dim not in axes]
    fit = [dim for dim in rest if sizes[dim] <= (_MOST_SLICES if len(axes) == 2 else _MOST_LINES)]
    named = [dim for dim in fit if dim not in plain]
    slices = next(iter(named or sorted(fit, key=lambda dim: sizes[dim])), None)
    largest = _position(found, statistic)
    held = {dim: largest[dim] for dim in sizes if dim not in axes and dim != slices}
    return held, sorted(axes, key=list(sizes).index), slices


def _position(found: xr.Dataset, statistic: str) -> dict[str, int]:
    """Where a statistic is highest."""
    values = found[statistic].values
    if not np.isfinite(values).any():
        return dict.fromkeys(found[statistic].dims, 0)  # type: ignore[arg-type]
    at = np.unravel_index(int(np.nanargmax(values)), values.shape)
    return {str(dim): int(k) for dim, k in zip(found[statistic].dims, at, strict=True)}


def heat_figure(found: xr.Dataset, statistic: str, axes: list[str], slices: str | None, subject: str) -> Figure:
    """Heat maps with contours over two axes, one panel for each value along `slices`, all on one scale."""
    from matplotlib.figure import Figure

    panels = [found] if slices is None else [found.isel({slices: k}) for k in range(found.sizes[slices])]
    columns = min(3, len(panels))
    rows = -(-len(panels) // columns)
    figure = Figure(figsize=(1.6 + 4.4 * columns, 1.1 + 3.7 * rows), layout="constrained")
    grid = figure.subplots(rows, columns, squeeze=False, sharex=True, sharey=True)
    finite = found[statistic].values[np.isfinite(found[statistic].values)]
    low, high = (float(finite.min()), float(finite.max())) if len(finite) else (0.0, 1.0)
    drawn: Any = None
    for axis, panel in itertools.zip_longest(grid.flat, panels):
        if panel is None:
            axis.set_visible(False)
            continue
        drawn = _heat(axis, panel, statistic, axes, low, high)
        if slices is not None:
            axis.set_title(_value(panel, slices), fontsize=9.5, loc="left")
    for axis in grid[:, 0]:
        axis.set_ylabel(_label(found, axes[0]))
    for axis in grid[-1, :]:
        axis.set_xlabel(_label(found, axes[1]))
    figure.colorbar(drawn, ax=grid, label=_label(found, statistic), shrink=0.9)
    low_end, high_end = band(found, statistic)
    width = float(np.nanmax(high_end - low_end))
    marks = "cross: highest" if len(finite) == found[statistic].size else "cross: highest; hatched: no numbers"
    figure.suptitle(
        f"{_name(statistic)}, {band_name(found)} {width:.2g} wide or less; {marks}\n{subject}", fontsize=10, x=0.01, ha="left"
    )
    return figure


def _heat(axes: Axes, panel: xr.Dataset, statistic: str, dims: list[str], low: float, high: float) -> Any:
    """One heat map with contours; hatched where there is no stone; a cross where the statistic is highest."""
    from matplotlib.ticker import MaxNLocator

    values = panel[statistic].transpose(*dims).values
    y, x = panel[dims[0]].values, panel[dims[1]].values
    high = max(high, low + 1e-9)
    axes.set_facecolor("0.9")
    axes.patch.set(hatch="///", edgecolor="0.65")
    image = axes.pcolormesh(x, y, values, cmap="cividis", vmin=low, vmax=high, shading="nearest")
    if min(values.shape) > 2 and np.isfinite(values).any() and high > low + 1e-6:
        levels = [level for level in MaxNLocator(8).tick_values(low, high) if low < level < high]  # round numbers
        lines = axes.contour(x, y, np.ma.masked_invalid(values), levels=levels, colors="white", linewidths=0.8)
        for line in lines.get_paths():
            line.should_simplify = False
        axes.clabel(lines, fmt="%g", fontsize=7)
    if np.isfinite(values).any():
        j, i = np.unravel_index(int(np.nanargmax(values)), values.shape)
        axes.plot(x[i], y[j], marker="x", color="white", markersize=8, markeredgewidth=2.6)
        axes.plot(x[i], y[j], marker="x", color=_INK, markersize=7, markeredgewidth=1.2)
    for axis, values in ((axes.xaxis, x), (axes.yaxis, y)):
        if len(values) <= _MOST_TICKS and (np.diff(np.sort(values)) > np.ptp(values) / 20.0).all():
            axis.set_ticks(values)
    axes.tick_params(labelsize=8)
    return image


def line_figure(found: xr.Dataset, statistic: str, axis: str, slices: str | None, subject: str) -> Figure:
    """A statistic along one axis, its certain bracket as a band; one line for each value along `slices`."""
    from matplotlib import colormaps
    from matplotlib.figure import Figure

    figure = Figure(figsize=(7.2 if slices is None else 8.6, 4.4), layout="constrained")
    axes = figure.subplots()
    lines = [found] if slices is None else [found.isel({slices: k}) for k in range(found.sizes[slices])]
    for k, line in enumerate(lines):
        color = _INK if len(lines) == 1 else colormaps["viridis"](k / max(1, len(lines) - 1) * 0.85)
        name = None if slices is None else _value(line, slices)
        x, y = line[axis].values, line[statistic].values
        if line[axis].dtype.kind not in "fiu":
            x = np.arange(len(x))
            axes.set_xticks(x, [str(label) for label in line[axis].values])
        axes.plot(x, y, linestyle=_MARKS[k % len(_MARKS)], color=color, linewidth=1.5, label=name)
        axes.fill_between(x, *band(line, statistic), color=color, alpha=0.3, linewidth=0)
    axes.set(xlabel=_label(found, axis), ylabel=_label(found, statistic))
    axes.grid(alpha=0.25)
    axes.spines[["top", "right"]].set_visible(False)
    if slices is not None:
        axes.legend(loc="upper left", bbox_to_anchor=(1.0, 1.0), fontsize=8, frameon=False)  # no line lies there
    figure.suptitle(f"{_name(statistic)}; the band is the {band_name(found)}\n{subject}", fontsize=10, x=0.01, ha="left")
    return figure


def samples_figure(found: xr.Dataset, statistic: str) -> Figure:
    """A statistic of single designs against each axis, with brackets; of very many, some, evenly through their order."""
    from matplotlib.figure import Figure

    count = found.sizes["design"]
    found = found.isel(design=slice(None, None, -(-count // _MOST_SAMPLES)))
    varied = [str(key) for key in found.coords if found[key].dims == ("design",)]
    columns = min(3, len(varied))
    rows = -(-len(varied) // columns)
    figure = Figure(figsize=(1.0 + 4.0 * columns, 1.0 + 3.3 * rows), layout="constrained")
    grid = figure.subplots(rows, columns, squeeze=False, sharey=True)
    middle = found[statistic].values
    low_end, high_end = band(found, statistic)
    below, above = np.maximum(middle - low_end, 0.0), np.maximum(high_end - middle, 0.0)
    for axis, key in itertools.zip_longest(grid.flat, varied):
        if key is None:
            axis.set_visible(False)
            continue
        at = found[key].values
        axis.errorbar(at, middle, yerr=(below, above), fmt=".", color=_INK, ecolor="0.6", markersize=4, linewidth=0.8)
        axis.set_xlabel(_label(found, key))
        axis.grid(alpha=0.25)
        axis.spines[["top", "right"]].set_visible(False)
    for axis in grid[:, 0]:
        axis.set_ylabel(_label(found, statistic))
    figure.suptitle(
        f"{_name(statistic)} of {len(middle)}{f' of {count}' if count > len(middle) else ''} designs, each with its "
        f"{band_name(found)}",
        fontsize=10,
        x=0.01,
        ha="left",
    )
    return figure


def extremes_figure(plan: Plan, found: xr.Dataset, statistic: str, settings: TraceSettings, *, count: int = 3) -> Figure:
    """The designs where a statistic is highest and lowest, each with its contrast map and what sets it apart."""
    from matplotlib.figure import Figure

    values = found[statistic].values.ravel()
    order = np.argsort(values, kind="stable")
    order = order[np.isfinite(values[order])]
    count = min(count, len(order))
    figure = Figure(figsize=(1.2 + 3.5 * max(1, count), 8.4), layout="constrained")
    if not count:
        figure.suptitle("no design is a stone", fontsize=10)
        return figure
    grid = figure.subplots(2, count, squeeze=False)
    image: Any = None
    for row, numbers in zip(grid, (order[::-1][:count], order[:count]), strict=True):
        for axis, number in zip(row, numbers, strict=True):
            design = next(plan.designs(int(number), int(number) + 1))
            image = _contrast(axis, design, settings)
            low, high = (float(end.ravel()[number]) for end in band(found, statistic))
            lines = [f"{_name(statistic)} {low:.4f} to {high:.4f}"]
            lines += [_label_value(found, key, design[key]) for key in plan.columns]
            axis.set_title("\n".join(lines), fontsize=8, loc="left")
    figure.colorbar(image, ax=grid, label="contrast (L - mean)/mean, clipped at 1", shrink=0.7, extend="max")
    figure.suptitle(f"above: highest {_name(statistic)}; below: lowest", fontsize=10, x=0.01, ha="left")
    return figure


def _contrast(axes: Axes, design: dict[str, Any], settings: TraceSettings) -> Any:
    exact = replace(settings, engine=None)  # whatever traced the sweep: its samples would be the map's noise
    scene = replace(scene_of(stone_of(design), design, exact), resolution=256)
    maps = trace_scene(exactly(scene), by_facet=False).arrays
    left, bottom, side = maps.grid.x0_mm, maps.grid.y0_mm, maps.grid.pixel_mm * maps.grid.resolution
    extent = (left, left + side, bottom, bottom + side)
    image = axes.imshow(maps.values("contrast"), origin="lower", extent=extent, cmap="PuOr_r", vmin=-1.0, vmax=1.0)
    axes.set(xlabel="x / mm", ylabel="y / mm", facecolor="0.9")
    axes.tick_params(labelsize=7)
    return image


def _name(statistic: str) -> str:
    return statistic.replace("_", " ")


def _label(found: xr.Dataset, name: str) -> str:
    """Long name and unit, for an axis."""
    about = found[name].attrs
    unit = about.get("units", "")
    return about["long_name"] if unit in ("", "1") else f"{about['long_name']} / {'°' if unit == 'degree' else unit}"


def _value(found: xr.Dataset, key: str) -> str:
    return _label_value(found, key, found[key].values.item())


def _label_value(found: xr.Dataset, key: str, value: Any) -> str:
    """A key and its value, such as ``"table size 57 %"``."""
    value, unit = label_of(value), found[key].attrs.get("units", "")
    number = with_minus_signs(f"{value:g}") if isinstance(value, int | float) and not isinstance(value, bool) else str(value)
    return f"{found[key].attrs['long_name']} {number}{ {'degree': '°', '1': '', '': ''}.get(unit, ' ' + unit) }"


def _subject(found: xr.Dataset, held: dict[str, int]) -> str:
    """What all points of a picture share."""
    keys = [STONE, "material", "dome", *DOME_KEYS]
    if CUT in found.coords:
        cut = get_cut(str(found[CUT].values.ravel()[0]))
        keys = [*([] if cut.name == USUAL else [CUT]), *(key for choices in needed(cut) for key in choices), *keys]
    parts = [_label_value(found, key, found[key].values.item()) for key in keys if key in found.coords and found[key].ndim == 0]
    parts += [_label_value(found, key, found[key].values[k].item()) for key, k in held.items()]
    parts += [str(found.attrs["profile"])] if "profile" in found.attrs else []
    lines = [", ".join(parts[k : k + 4]) for k in range(0, len(parts), 4)]
    return "\n".join(lines)
