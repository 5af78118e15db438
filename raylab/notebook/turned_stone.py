"""A stone in 3D in a notebook, turned by mouse, touch and keys; where scripts are not allowed, nothing of it is seen."""

from __future__ import annotations

from ..pictures.turning import turning_script
from ..stone.stone import Stone
from .html import FAINT, Html, tag

SIDE = 300
"""Pixels along a side."""
_FIGURE = "--body:#ffffff;--ink:currentColor;--accent:#0b7c93;display:none"
_CANVAS = f"width:{SIDE}px;height:{SIDE}px;background:rgba(128,128,128,0.18);border-radius:4px;touch-action:none;cursor:grab"
_SHOW = "document.currentScript.parentElement.querySelector('[data-solid]').style.display = '';"


def turned_stone(stone: Stone) -> Html:
    """The stone and its script, which shows the figure: a notebook that leaves scripts out shows no empty frame."""
    words = f"{stone.name} in 3D. Arrow keys turn it, plus and minus zoom, comma and full stop choose a facet."
    canvas = tag("canvas", tabindex="0", role="application", aria_label=words, title="Drag to turn", style=_CANVAS)
    facet = tag("span", "Drag to turn; click a facet to name it", data_facet="", style=FAINT)
    figure = tag("div", canvas, tag("div", data_missing="", hidden=""), tag("div", facet), data_solid="", style=_FIGURE)
    script = turning_script([stone], "[data-solid]", "button", "document.currentScript.parentElement")
    return tag("div", figure, tag("script", Html(f"{_SHOW}\n{script}")))
