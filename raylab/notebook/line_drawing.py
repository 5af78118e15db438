"""Line drawings of a stone in the notebook's own text colour."""

from __future__ import annotations

import numpy as np

from ..pictures.drawings import EYES
from ..plane_geometry import convex_outline
from ..stone.stone import Stone
from .html import Html, figure, row, tag

SIDE = 180
"""Pixels along a side."""
_SEEN = 1e-9


def three_drawings(stone: Stone) -> Html:
    """The stone from above, from the side and from below, on one scale."""
    return row(*(figure(drawing(stone, eye, f"{stone.name} {name}"), name) for name, eye in EYES.items()))


def drawing(stone: Stone, eye: np.ndarray, text: str) -> Html:
    """The edges of the facets that face the eye, and the outline; the facets of the girdle are too narrow to draw.

    Parameters
    ----------
    eye : (3, 3) rows that take the stone's axes to the drawing's right, up and towards the eye.
    text : for who can't see it.
    """
    corners = stone.vertices_mm @ eye[:2].T
    middle = (corners.min(axis=0) + corners.max(axis=0)) / 2.0
    scale = 0.94 * SIDE / max(stone.size_mm.max(), np.ptp(corners, axis=0).max())
    points = np.column_stack([(corners[:, 0] - middle[0]), (middle[1] - corners[:, 1])]) * scale + SIDE / 2.0
    seen = (stone.normals @ eye[2] > _SEEN) & ~stone.on_girdle
    edges = "".join(_loop(points[stone.polyhedron.loops[f]]) for f in np.flatnonzero(seen))
    return tag(
        "svg",
        tag("path", d=edges, stroke_width="0.7", stroke_opacity="0.75"),
        tag("path", d=_loop(convex_outline(points)), stroke_width="1.2"),
        role="img",
        aria_label=text,
        viewBox=f"0 0 {SIDE} {SIDE}",
        width=f"{SIDE}",
        height=f"{SIDE}",
        fill="none",
        stroke="currentColor",
        stroke_linejoin="round",
    )


def _loop(points: np.ndarray) -> str:
    """A closed polygon of an SVG path, in tenths of a pixel."""
    return "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in points + 0.0) + "Z"
