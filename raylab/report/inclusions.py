"""Plotted inclusions of offered stones: what the face shows of them, in a table and a picture for the report."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from ..comparison.comparison import Comparison
from ..inclusions import inclusion_images
from ..pictures.inclusion_plots import inclusion_figure
from ..results.inclusion_images import InclusionImage, InclusionImages
from ..results.statistics import Statistic
from ..scene.scene import Scene
from . import tables
from .pictures import data_uri, packed_png

LISTED = 8
"""So many images of a stone are listed."""
NONE = "none plotted"
_MOST_FACETS = 4


def panel(comparison: Comparison) -> dict[str, Any] | None:
    """What the page shows of inclusions in the first view; None where no stone has some."""
    if not comparison.left_out():
        return None
    found = [images_of(comparison, k) for k in range(len(comparison.stones))]
    eye = next(one.eye for one in found if one is not None)
    wide = f"at least {eye.resolves_arcmin:g} arc min wide from {eye.distance_mm:g} mm, of contrast {eye.contrast:g} or more"
    quantities: dict[str, Callable[[InclusionImages, int], str]] = {
        "Inclusions": lambda one, k: f"{len(comparison.stones[k].inclusions)}",
        "Images that take 1 % or more": lambda one, k: f"{len(one.images)}",
        f"Images {wide}": lambda one, k: f"{one.large_and_strong}",
        "Light that is taken": lambda one, k: _share(one.taken),
        "Luminance that is missing": lambda one, k: _share(one.lost),
    }
    rows = [
        {"name": name, "cells": [NONE if one is None else words(one, k) for k, one in enumerate(found)]}
        for name, words in quantities.items()
    ]
    shown = [_stone(comparison, k, one) for k, one in enumerate(found) if one is not None]
    return {"view": tables.view_name(comparison.views[0]), "rows": rows, "stones": shown}


def images_of(comparison: Comparison, stone: int) -> InclusionImages | None:
    """The images of a stone's inclusions in the first view, laid like the others and at true size; None without inclusions."""
    offered = comparison.stones[stone]
    if not offered.inclusions:
        return None
    laid = replace(comparison.poses[stone], factor=1.0).lay(offered)
    return inclusion_images(Scene(laid, comparison.dome, comparison.views[0], resolution=comparison.resolution))


def _share(one: Statistic) -> str:
    return f"{100.0 * one.value:.2f} ± {100.0 * one.error:.2f} %"


def _stone(comparison: Comparison, stone: int, found: InclusionImages) -> dict[str, Any]:
    """The picture of a stone, and a table of its images."""
    label, name = comparison.labels[stone], comparison.stones[stone].name
    more = len(found.images) - min(len(found.images), LISTED)
    return {
        "heading": f"{label}: {name}",
        "picture": data_uri("inclusions.png", packed_png(inclusion_figure(found))),
        "alt": f"Inclusions of stone {label}: luminance with them, contrast against the stone without, and internal "
        f"reflections before one is seen. {len(found.images)} images.",
        "caption": "The images that take most luminance from the face first"
        + (f"; {more} more, and {found.faint} that take less than 1 %" if more or found.faint else ""),
        "images": [{"name": one.name, "cells": _cells(one)} for one in found.images[:LISTED]],
    }


def _cells(one: InclusionImage) -> list[str]:
    facets = one.facets if len(one.facets) <= _MOST_FACETS else (*one.facets[: _MOST_FACETS - 1], "...", one.facets[-1])
    return [", ".join(facets), f"{one.area_mm2:.4f} mm²", f"{one.diameter_arcmin:.1f} arc min", f"{one.contrast:+.2f}"]
