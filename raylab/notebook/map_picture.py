"""Maps and skies as small PNG pictures with their colour bars, within the page."""

from __future__ import annotations

import base64
import io

import numpy as np

from ..lighting.dome import Dome
from ..pictures.plots import LOOKS, block_mean
from ..units import direction
from ..workbench.colors import COLORS, color_tables, map_range
from .html import Html, tag

MOST_PIXELS, WIDTH = 280, 200
"""Pixels along a picture's side, and the width at which it is shown."""
_SKY, _NOTHING = 161, COLORS - 1


def map_picture(
    name: str,
    values: np.ndarray,
    coverage: np.ndarray,
    text: str,
    most: int = MOST_PIXELS,
    ends: tuple[float, float] | None = None,
) -> tuple[Html, Html]:
    """A map (N, N), row 0 at the bottom, and its colour bar; larger maps are averaged over blocks of pixels.

    Parameters
    ----------
    coverage : (N, N) share of each pixel that the stone covers. text : for who can't see it.
    most : pixels along a side. ends : of the scale; by default what the map itself needs.
    """
    block = -(-len(values) // most)
    small = block_mean(values, coverage, block) if block > 1 else values
    low, high = ends or map_range(name, small)
    share = _share(small, low, high, name == "contrast")
    return _picture(share[::-1], LOOKS[name].colors, text), bar(LOOKS[name].colors, low, high, signed=name == "contrast")


def values_picture(values: np.ndarray, colors: str, top: float, text: str) -> tuple[Html, Html]:
    """Values (rows, columns), row 0 at the bottom, from 0 to `top` and beyond in the last colour; and their colour bar."""
    height = round(WIDTH * values.shape[0] / values.shape[1])
    return _picture((values / top)[::-1], colors, text, height), bar(colors, 0.0, top)


def range_picture(values: np.ndarray, colors: str, text: str) -> tuple[Html, Html]:
    """Values (rows, columns), row 0 at the bottom, from their lowest to their highest, each a block of its own; their bar."""
    low, high = float(np.nanmin(values)), float(np.nanmax(values))
    places = (np.linspace(0, count - 1, MOST_PIXELS).round().astype(int) for count in values.shape)
    share = (values[np.ix_(*places)] - low) / ((high - low) or 1.0)
    return _picture(share[::-1], colors, text), bar(colors, low, high)


def sky_picture(dome: Dome, text: str) -> tuple[Html, Html]:
    """The upper half of a dome from above, zenith in the middle and horizon at the rim, elevation evenly spaced; its bar."""
    at = (np.arange(_SKY) + 0.5) / _SKY * 2.0 - 1.0
    x, y = np.meshgrid(at, at[::-1])
    elevation, azimuth = 90.0 * (1.0 - np.hypot(x, y)), np.degrees(np.arctan2(y, x))
    above = elevation >= 0.0
    toward = np.array([direction(*one) for one in zip(elevation[above], azimuth[above], strict=True)])
    values = np.full(x.shape, np.nan)
    values[above] = np.where(elevation[above] >= 90.0 - dome.head_half_angle_deg, 0.0, dome.radiance(toward))
    colors, high = LOOKS["luminance"].colors, dome.peak_radiance
    return _picture(_share(values, 0.0, high, False), colors, text), bar(colors, 0.0, high)


def bar(colors: str, low: float, high: float, *, signed: bool = False) -> Html:
    """A colour bar with its ends; a signed one has zero in the middle of its colours."""
    table = _table(colors)
    stops = ",".join("#{:02x}{:02x}{:02x}".format(*table[k]) for k in np.linspace(0, COLORS - 1, 9).astype(int))
    strip = tag("div", style=f"height:8px;background:linear-gradient(to right,{stops})")
    ends = [tag("span", f"{end:z.4g}") for end in ((low, 0.0, high) if signed else (low, high))]
    scale = tag("div", *ends, style="display:flex;justify-content:space-between;font-size:0.8em;opacity:0.7")
    return tag("div", strip, scale, style=f"width:{WIDTH}px")


def _share(values: np.ndarray, low: float, high: float, signed: bool) -> np.ndarray:
    """Position of each value in the colours, 0 to 1; NaN stays."""
    if signed:
        return np.where(values < 0.0, 0.5 * (1.0 - values / low), 0.5 + 0.5 * values / high)
    return (values - low) / (high - low)


def _picture(share: np.ndarray, colors: str, text: str, height: int = WIDTH) -> Html:
    """Positions in the colours as a picture, transparent where there is none."""
    from PIL import Image

    seen = np.isfinite(share)
    steps = np.clip(np.where(seen, share, 0.0), 0.0, 1.0) * (_NOTHING - 1)
    image = Image.fromarray(np.where(seen, np.rint(steps), _NOTHING).astype(np.uint8), "P")
    palette = _table(colors)[np.rint(np.linspace(0, COLORS - 1, _NOTHING)).astype(int)]
    image.putpalette([*palette.ravel().tolist(), 0, 0, 0])
    held = io.BytesIO()
    image.save(held, "PNG", transparency=_NOTHING, optimize=True)
    source = f"data:image/png;base64,{base64.b64encode(held.getvalue()).decode('ascii')}"
    return tag("img", src=source, alt=text, width=f"{WIDTH}", height=f"{height}", style="display:block;max-width:none")


def _table(colors: str) -> np.ndarray:
    """(COLORS, 3) of 8 bits."""
    return np.array(color_tables()[colors]).reshape(COLORS, 3)
