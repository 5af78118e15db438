"""Vector pictures: every virtual facet as a polygon of an SVG file, with its path as a title that a browser shows on hover.

One polygon each, nothing merged and nothing sampled: zoom in and the edges stay edges. Coordinates are in mm, y up, rounded to
less than 1/30,000 of the picture's width; polygons that this leaves without area are left out and counted in the
description. The file is plain SVG 1.1: no script, no style sheet, no reference to anything outside.
"""

from __future__ import annotations

import math
import textwrap

import numpy as np

from ..errors import InputError, UnsupportedScene
from ..results.maps import DEFINITIONS
from ..results.paths import strongest_paths
from ..scene.pixel_grid import PixelGrid, grid_around
from ..scene.scene import Scene
from ..tracers.exact.beams import Beams
from ..tracers.ledger import ENTRIES, FIELDS, LUMINANCE, SKY
from ..tracing import Result

DRAWN = ("luminance", *ENTRIES, "glare", "window")
"""What the polygons can be coloured by."""
MOST_POLYGONS = 100_000
"""More are refused: at about 230 bytes each they make a file that browsers are slow to draw."""
MOST_FACETS = 12
"""Facets of a longer path that its title lists: the first one and the last ones."""

_INK, _GROUND = "#262626", "#dbdbdb"
_ABOVE, _BELOW, _LEFT, _RIGHT = 0.13, 0.08, 0.03, 0.2  # room around the picture, shares of its width
_BAR = 32  # steps of the colour bar
_END = "zl0 0"
"""How a polygon ends: closed, then an empty second part. A browser (Chromium 156) has a shortcut for shapes of one part that
are convex, and it leaves some of those unfilled that have a very short edge."""


def svg(result: Result, name: str = "luminance", wavelength_nm: float | None = None) -> str:
    """The virtual facets of a traced view as the text of an SVG file.

    Parameters
    ----------
    name : what they are coloured by, one of DRAWN: luminance and glare in cividis, the others in magma.
    wavelength_nm : the wavelength to take from several (the nearest one); the middle one by default.

    Raises
    ------
    InputError : an unknown name, more polygons than MOST_POLYGONS.
    UnsupportedScene : a result without virtual facets.
    """
    if name not in DRAWN:
        raise InputError("unknown quantity", key="name", value=name, expected="one of " + ", ".join(DRAWN))
    if not result.beams:
        raise UnsupportedScene.by((result.summary.engine, "the result has no virtual facets"))
    known = result.scene.settings.all_nm
    number = len(known) // 2 if wavelength_nm is None else int(np.argmin(np.abs(np.array(known) - wavelength_nm)))
    whole = result.beams[number].unfolded()
    if len(whole) > MOST_POLYGONS:
        raise InputError(
            f"too many virtual facets for a vector picture ({len(whole)})",
            key="precision",
            value=result.scene.settings.precision,
            expected=f"a larger one, for at most {MOST_POLYGONS}",
        )
    return _document(whole, result.scene, name, known[number])


def _document(whole: Beams, scene: Scene, name: str, wavelength_nm: float) -> str:
    """The parts of the file put together."""
    grid = grid_around(scene.stone, scene.view, 1)  # one pixel: the picture
    width, size = grid.pixel_mm, 0.026 * grid.pixel_mm
    left, top = grid.x0_mm, -(grid.y0_mm + width)  # y grows downward outside the turned group
    values = whole.rows[:, FIELDS.index(name)]
    most = _scale_end(values, whole.areas_mm2) if name not in ("sky", "head", "leak") else 1.0
    polygons, left_out = _polygons(whole, scene, width, _shades(name, np.clip(values / most, 0.0, 1.0)))
    stone, view = scene.stone, scene.view
    parts = [stone.name, stone.material.name, f"{stone.weight_ct:.2f} ct", f"dome: {scene.dome.name}", f"{wavelength_nm:g} nm"]
    if view.tilt_deg:
        parts.insert(4, f"tilted {view.tilt_deg:g}° towards {view.tilt_azimuth_deg:g}°")
    subject = textwrap.wrap(" · ".join(parts), 78, max_lines=2, placeholder=" ...")
    heading = f"{DEFINITIONS[name][0]} of {len(whole)} virtual facets"
    above = [
        f'<text x="{left:.7g}" y="{top - (0.7 + 1.3 * (len(subject) - k)) * size:.7g}">{_text(line)}</text>'
        for k, line in enumerate([heading, *subject])
    ]
    across, upright = 1.0 + _LEFT + _RIGHT, 1.0 + _ABOVE + _BELOW
    box = (left - _LEFT * width, top - _ABOVE * width, across * width, upright * width)
    return "\n".join(
        [
            '<?xml version="1.0" encoding="UTF-8"?>',
            f'<svg xmlns="http://www.w3.org/2000/svg" version="1.1" viewBox="{" ".join(f"{x:.7g}" for x in box)}" '
            f'width="{1000.0 * across:.0f}" height="{1000.0 * upright:.0f}">',
            f"<title>{heading}: {_text(' · '.join(parts))}</title>",
            f"<desc>{_text(DEFINITIONS[name][2])}. Coordinates in mm. {len(polygons)} polygons; "
            f"{left_out} more are too small for the rounding of coordinates.</desc>",
            f'<rect x="{left:.7g}" y="{top:.7g}" width="{width:.7g}" height="{width:.7g}" fill="{_GROUND}"/>',
            # A hair of its own colour around each polygon closes the seams that smoothing leaves between neighbours.
            f'<g transform="scale(1 -1)" fill="currentColor" stroke="currentColor" stroke-width="{5e-4 * width:.3g}">',
            *polygons,
            "</g>",
            f'<g font-family="sans-serif" fill="{_INK}" font-size="{size:.4g}">',
            *above,
            *_color_bar(name, most, bool(values.max() > most * (1.0 + 1e-9)), grid, size),
            *_ruler(grid, size),
            "</g>",
            "</svg>",
            "",
        ]
    )


def _polygons(whole: Beams, scene: Scene, width: float, shades: list[str]) -> tuple[list[str], int]:
    """One element per polygon, and how many have no area left."""
    digits = max(0, math.ceil(4.5 - math.log10(width)))
    corners = np.rint(whole.vertices_mm * 10.0**digits).astype(np.int64)  # whole numbers: areas are exact
    words = [f"{x:.{digits}f} {y:.{digits}f}" for x, y in (corners / 10.0**digits).tolist()]
    following = np.arange(1, len(corners) + 1)
    following[whole.starts[1:] - 1] = whole.starts[:-1]
    turned = corners[:, 0] * corners[following, 1] - corners[:, 1] * corners[following, 0]
    seen = np.add.reduceat(turned, whole.starts[:-1]) > 0
    paths = strongest_paths(whole)
    names = [_text(name) for name in paths.names(np.arange(len(paths)), scene.stone, MOST_FACETS)]
    starts, rows, which = whole.starts.tolist(), whole.rows.tolist(), paths.which.tolist()
    return [
        f'<path color="{shades[k]}" d="M{"L".join(words[starts[k] : starts[k + 1]])}{_END}">'
        f"<title>{names[which[k]]}\n{_title(rows[k])}</title></path>"
        for k in np.flatnonzero(seen).tolist()
    ], int((~seen).sum())


def _title(row: list[float]) -> str:
    """A polygon's luminance and its ledger, entries of at least 0.1 %."""
    shares = [f"{entry} {100.0 * row[SKY + k]:.1f} %" for k, entry in enumerate(ENTRIES) if row[SKY + k] >= 1e-3]
    return f"luminance {row[LUMINANCE]:.4g}; {', '.join(shares)}"


def _shades(name: str, levels: np.ndarray) -> list[str]:
    """Colours (#rrggbb) of levels from 0 to 1."""
    from matplotlib import colormaps

    colors = colormaps["cividis" if name in ("luminance", "glare") else "magma"](levels, bytes=True)
    return [f"#{r:02x}{g:02x}{b:02x}" for r, g, b, _ in colors.tolist()]


def _scale_end(values: np.ndarray, areas: np.ndarray) -> float:
    """The value that 99.5 % of the area does not exceed, rounded up to two digits; 1 where all is dark."""
    order = np.argsort(values)
    within = np.cumsum(areas[order]) <= 0.995 * areas.sum()
    end = float(values[order][min(int(within.sum()), len(values) - 1)])
    if end < 1e-6:
        return 1.0
    digit = 10.0 ** (math.floor(math.log10(end)) - 1)
    return math.ceil(end / digit - 1e-9) * digit


def _color_bar(name: str, most: float, beyond: bool, grid: PixelGrid, size: float) -> list[str]:
    """The colour bar beside the picture, as one gradient with five numbers; `beyond` marks values above its end."""
    width = grid.pixel_mm
    levels = np.linspace(0.0, 1.0, _BAR + 1)
    stops = [f'<stop offset="{x:.5g}" stop-color="{c}"/>' for x, c in zip(levels, _shades(name, levels), strict=True)]
    left, bottom = grid.x0_mm + 1.03 * width, -grid.y0_mm
    bar = f'<rect x="{left:.7g}" y="{bottom - width:.7g}" width="{0.03 * width:.7g}" height="{width:.7g}" fill="url(#scale)"/>'
    numbers = [
        f'<text x="{left + 0.04 * width:.7g}" y="{bottom - share * (width - 0.7 * size):.7g}">'
        f"{'≥ ' if beyond and share == 1.0 else ''}{share * most:.3g}</text>"
        for share in (0.0, 0.25, 0.5, 0.75, 1.0)
    ]
    x, y = left + 0.04 * width + 4.2 * size, bottom - 0.5 * width
    label = f'<text transform="translate({x:.7g} {y:.7g}) rotate(-90)" text-anchor="middle">{DEFINITIONS[name][0]}</text>'
    return ['<linearGradient id="scale" x1="0" y1="1" x2="0" y2="0">', *stops, "</linearGradient>", bar, *numbers, label]


def _ruler(grid: PixelGrid, size: float) -> list[str]:
    """A length of 1, 2 or 5 times a power of ten mm, about a fifth of the picture."""
    width = grid.pixel_mm
    power = 10.0 ** math.floor(math.log10(0.2 * width))
    length = max(step * power for step in (1.0, 2.0, 5.0) if step * power <= 0.2 * width)
    left, y = grid.x0_mm, -grid.y0_mm + 0.6 * size
    return [
        f'<rect x="{left:.7g}" y="{y:.7g}" width="{length:.7g}" height="{0.18 * size:.4g}"/>',
        f'<text x="{left:.7g}" y="{y + 1.3 * size:.7g}">{length:g} mm</text>',
    ]


def _text(words: str) -> str:
    """Words as XML text; control characters, which XML can't hold, become spaces, and ">" may stay."""
    return "".join(c if c.isprintable() else " " for c in words).replace("&", "&amp;").replace("<", "&lt;")
