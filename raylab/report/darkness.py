"""Dark areas of long stones, and what is seen straight through them: pictures and a table for the report.

Everything is found on the pixels of the comparison's maps. The share of the dark band is left out: pixels blur its small parts,
so that it would come out smaller than `dark_areas` finds it from virtual facets.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from ..comparison.comparison import Comparison
from ..comparison.verdicts import words
from ..pictures.dark_plots import mark_dark_areas
from ..results.accounting import DARK_BELOW
from ..results.dark_areas import BAND, DarkAreas, Pixels, cells_of_pixels, dark_areas_of, strip_across
from ..scene.pixel_grid import PixelGrid
from . import tables
from .pictures import data_uri, maps_figure, packed_png

WINDOW = "window"
LEAST_WINDOW = 0.005
"""A window that covers less of every stone in every view has no maps."""


def panel(comparison: Comparison) -> dict[str, Any] | None:
    """What the page shows of dark areas and windows; None where no stone is long."""
    found = [[dark_of(comparison, k, v) for v in range(len(comparison.views))] for k in range(len(comparison.shown))]
    if all(one.strip is None for views in found for one in views):
        return None
    window = words(WINDOW)
    rows = [row for v in range(len(comparison.views)) for row in _rows(comparison, [views[v] for views in found], v)]
    return {
        "below": f"{100 * DARK_BELOW:g} %",
        "band": f"{100 * BAND:g} %",
        "rows": rows,
        "dark": [
            _figure(comparison, k, data_uri("dark.png", _dark_png(comparison, k, found[k])), rows) for k in range(len(found))
        ],
        "window": [
            {
                "picture": data_uri("window.png", packed_png(maps_figure(comparison, WINDOW, [k]))),
                "alt": tables.map_text(comparison, WINDOW, k),
                "caption": f"{label}: {stone.name}",
            }
            for k, (label, stone) in enumerate(zip(comparison.labels, comparison.stones, strict=True))
        ]
        if any(one[WINDOW].statistic.value > LEAST_WINDOW for light in comparison.light for one in light)
        else [],
        "window_title": window.title,
    }


def dark_of(comparison: Comparison, stone: int, view: int) -> DarkAreas:
    """The dark areas of a stone's map in a view."""
    maps = comparison.maps.isel(stone=stone, tilt_deg=view)
    pixel_mm = float(maps.attrs["pixel_mm"])
    grid = PixelGrid(float(maps.x[0]) - pixel_mm / 2.0, float(maps.y[0]) - pixel_mm / 2.0, pixel_mm, maps.sizes["x"])
    coverage, luminance, untraced = (np.asarray(maps[name].values) for name in ("coverage", "luminance", "untraced"))
    pixels = Pixels(grid, coverage, luminance, untraced * comparison.dome.peak_radiance)
    strip = strip_across(comparison.shown[stone], comparison.views[view], BAND)
    cells = cells_of_pixels(pixels, np.zeros_like(coverage), strip)
    return dark_areas_of(cells, pixels, strip, below=DARK_BELOW, band=BAND)


def _rows(comparison: Comparison, found: list[DarkAreas], view: int) -> list[dict[str, Any]]:
    """The numbers of a view, a cell for each stone."""
    where = tables.tilt_name(comparison, view)
    share = [
        f"{100 * one.largest.value:.1f} % about ({one.center_mm[0]:z.2f}, {one.center_mm[1]:z.2f}) mm"
        if one.where.any()
        else "none"
        for one in found
    ]
    depth = ["no band" if one.band_depth is None else f"{one.band_depth.value:z.2f}" for one in found]
    window = [words(WINDOW).show(light[WINDOW].statistic.value) for light in comparison.light[view]]
    names = ("Largest dark area", "Depth of the dark band", words(WINDOW).title)
    return [{"name": f"{name}, {where}", "cells": cells} for name, cells in zip(names, (share, depth, window), strict=True)]


def _figure(comparison: Comparison, stone: int, picture: str, rows: list[dict[str, Any]]) -> dict[str, str]:
    label, about = comparison.labels[stone], comparison.stones[stone].name
    dark = "; ".join(f"{row['name']}: {row['cells'][stone]}" for row in rows if row["name"].startswith(("Largest", "Depth")))
    return {
        "picture": picture,
        "alt": f"Dark areas of stone {label}, one picture for each tilt. {dark}.",
        "caption": f"{label}: {about}",
    }


def _dark_png(comparison: Comparison, stone: int, found: list[DarkAreas]) -> bytes:
    """The luminance of a stone at every tilt, its largest dark area outlined and the strip across it marked."""
    figure = maps_figure(comparison, "luminance", [stone])
    for axes, one in zip(figure.axes, found, strict=False):  # a colour bar follows
        axes.autoscale(False)
        mark_dark_areas(axes, one)
        axes.set_xlabel(f"largest dark area {100 * one.largest.value:.1f} %", fontsize=9)
    return packed_png(figure)
