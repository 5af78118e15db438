"""Curves of a moving stone: contrast, brightness, ledger and flashing area against the angle."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from ..results.dark_areas import NUMBERS
from ..tracers.ledger import ENTRIES
from .bands import band

if TYPE_CHECKING:
    import xarray as xr
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

LABELS = {
    "azimuth_deg": "azimuth / degree",
    "turn_deg": "turn / degree",
    "step": "step",
}


def tilt_figure(found: xr.Dataset, scintillation: Any = None) -> Figure:
    """Contrast and brightness, the ledger, and (where given) dark areas and the `Scintillation` against the angle; brackets are
    shaded."""
    from matplotlib.figure import Figure

    dark = [name for name in NUMBERS if name in found and bool(np.isfinite(found[name]).any())]
    panels = 2 + bool(dark) + (scintillation is not None)
    figure = Figure(figsize=(6.2 * panels, 4.4), layout="constrained")
    axes = figure.subplots(1, panels)
    _curves(axes[0], found, ("contrast_rms", "brightness"))
    axes[0].set_title("contrast and brightness", fontsize=11, loc="left")
    _curves(axes[1], found, [name for name in ENTRIES if float(found[name].max()) > 0.0])
    axes[1].set_title("ledger (area mean)", fontsize=11, loc="left")
    axes[1].set_ylim(0.0, 1.0)
    if dark:
        _curves(axes[2], found, dark)
        axes[2].set_title("largest connected dark area, and dark band", fontsize=11, loc="left")
        axes[2].set_ylim(min(0.0, 1.1 * min(float(found[name].min()) for name in dark)), None)
    if scintillation is not None:
        _flashes(axes[-1], found, scintillation)
    about = found.attrs
    figure.suptitle(
        f"{about['stone']}, {about['material']}; dome {about['dome']}; {float(found.wavelength_nm):g} nm", x=0.01, ha="left",
        fontsize=11, parse_math=False,
    )  # fmt: skip
    return figure


def _axis(found: xr.Dataset) -> tuple[np.ndarray, str]:
    """Where each view stands along the curves, and what that is; a rising tilt, if the stone is tilted and turned at once."""
    dim = str(found.area_mm2.dims[0])
    if dim in found.coords:
        towards = f"tilt towards azimuth {round(float(found.azimuth_deg), 1):g}° / degree" if dim == "tilt_deg" else LABELS[dim]
        return found[dim].values, towards
    tilts, turns = (np.broadcast_to(found[key].values, found.sizes[dim]) for key in ("tilt_deg", "turn_deg"))
    if found.azimuth_deg.ndim == 0 and np.all(np.diff(tilts) > 0.0):
        return tilts, f"tilt / degree, with a turn of {turns[-1] - turns[0]:g} degrees"
    return np.arange(found.sizes[dim]), LABELS["step"]


def _curves(axes: Axes, found: xr.Dataset, names: Any) -> None:
    """Lines with their brackets or errors, in colours that differ in lightness too."""
    from matplotlib import colormaps

    at, label = _axis(found)
    tints = colormaps["viridis"](np.linspace(0.0, 0.85, len(names)))
    for name, tint, style in zip(names, tints, ("-", "--", "-.", ":", "-", "--"), strict=False):
        axes.fill_between(at, *band(found, name), color=tint, alpha=0.25, linewidth=0)
        axes.plot(at, found[name], style, color=tint, label=name.replace("_", " "), linewidth=1.6)
    axes.set(xlabel=label, ylabel="share or ratio", ylim=(0.0, None))
    axes.grid(alpha=0.3)
    axes.legend(fontsize=8, frameon=False)


def _flashes(axes: Axes, found: xr.Dataset, scintillation: Any) -> None:
    at, label = _axis(found)
    middle = (at[1:] + at[:-1]) / 2.0
    share = 100.0 * scintillation.share_per_deg
    axes.plot(middle, share, "-", color="#31688e", linewidth=1.6, label="flashing area, % per degree")
    off = 100.0 * scintillation.share_error
    axes.fill_between(middle, share - off, share + off, color="#31688e", alpha=0.25, linewidth=0)
    axes.set(xlabel=label, ylabel="% of the face per degree", ylim=(0.0, None))
    axes.set_title("scintillation", fontsize=11, loc="left")
    axes.grid(alpha=0.3)
    beside = axes.twinx()
    beside.plot(middle, scintillation.count, ":", color="0.25", linewidth=1.4, label="flashing spots")
    beside.set(ylabel="spots", ylim=(0.0, None))
    lines = [*axes.get_lines(), *beside.get_lines()]
    axes.legend(lines, [str(line.get_label()) for line in lines], fontsize=8, frameon=False)
