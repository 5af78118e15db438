"""What the stones look like: colour pictures, face-up and tilted, under the light of the comparison and two others.

Under a light every stone has the same exposure, which the pictures themselves decide (`color.picture.exposure_for`), so that a
stone under lamps is seen as a stone, not as a few sparks in the dark.

In the lights that are not the comparison's own an observer looks on: the head of the dome `head-shadow` is dark in them too.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from ..color.picture import Picture, color_picture, exposure_for
from ..color.wavelength_choice import ColorError
from ..comparison.alignment import common_grid
from ..comparison.comparison import Comparison
from ..comparison.summing_up import light_in_words
from ..lighting.dome import Dome
from ..lighting.dome_file import load_dome
from ..optics.spectrum import HIGH_NM, LOW_NM, WavelengthSet, wavelength_set
from ..pictures.color_files import eight_bits, png8
from ..progress import Progress, silent
from ..scene.scene import Scene
from ..scene.settings import TraceSettings
from ..scene.view import View
from ..stone.stone import Stone

SIDE = 280
"""Pixels along each side of a picture."""
WAVELENGTHS = 10
"""Enough for the large coloured facets of a brilliant, which look the same with 48."""
LOOSE = TraceSettings(precision=5e-2)
"""Settings of the pictures: at most this share of the light stays untraced, in the mean a few of a screen's 255 steps."""
GREY = 0.04
"""Linear grey around a stone: dark, so that its outline is seen under every light."""


@dataclass(frozen=True, eq=False)
class Look:
    """All stones under one light, at one exposure.

    Attributes: `dome`; `light`, its light in words; `views`; `exposure`; `pictures`, by stone and view.
    """

    dome: Dome
    light: str
    views: tuple[View, ...]
    exposure: float
    pictures: tuple[tuple[Picture, ...], ...]

    @property
    def error(self) -> ColorError:
        """The largest of each number of the error of the pictures' colours; see `Picture.error`."""
        known = [one.error for row in self.pictures for one in row if one.error is not None]
        parts = zip(*((one.median, one.percentile_95, one.largest) for one in known), strict=True)
        return ColorError(*(max(part) for part in parts))


def looking_on(dome: Dome) -> Dome:
    """The dome with the head of the observer of `head-shadow`, where it has none."""
    return replace(dome, head_half_angle_deg=dome.head_half_angle_deg or load_dome("head-shadow").head_half_angle_deg)


def lights(own: Dome) -> tuple[Dome, ...]:
    """The domes of the pictures: the comparison's own, and the first two of three others that differ from it."""
    others = (load_dome(name) for name in ("small-lamps", "side-window", "head-shadow"))
    return (own, *[looking_on(one) for one in others if one.digest != own.digest and one.name != own.name][:2])


def shown_views(views: Sequence[View]) -> tuple[View, ...]:
    """The views of the pictures: the least tilted one and the next."""
    return tuple(sorted(views, key=lambda view: view.tilt_deg)[:2])


def spectrum_for(stones: Sequence[Stone], number: int) -> WavelengthSet:
    """So many wavelengths over the usual range, or the part of it in which index and colour of every stone are known."""
    known = [stone.material.index.range_nm() for stone in stones]
    tables = ([nm for nm, _ in stone.material.absorption] for stone in stones)
    known += [(min(table), max(table)) for table in tables if len(table) > 1]
    low, high = zip(*known, strict=True)
    return wavelength_set(number, "uniform", max(LOW_NM, *low), min(HIGH_NM, *high))


def looks(comparison: Comparison, progress: Progress = silent) -> tuple[Look, ...]:
    """The stones of a comparison, as laid for it, under each light in each view.

    `progress` is called with the pictures done and their number.
    """
    stones, views, domes = comparison.shown, shown_views(comparison.views), lights(comparison.dome)
    grid, settings = common_grid(stones, views, SIDE), replace(LOOSE, polarized=comparison.settings.polarized)
    found: list[Look] = []
    total = len(domes) * len(stones) * len(views)
    waves = spectrum_for(stones, WAVELENGTHS)
    for dome in domes:
        rows: list[tuple[Picture, ...]] = []
        for stone in stones:
            row: list[Picture] = []
            for view in views:
                row.append(color_picture(Scene(stone, dome, view, settings), spectrum=waves, grid=grid))
                progress(len(found) * len(stones) * len(views) + len(rows) * len(views) + len(row), total)
            rows.append(tuple(row))
        exposure = exposure_for([one for row in rows for one in row])
        exposed = tuple(tuple(replace(one, exposure=exposure) for one in row) for row in rows)
        found.append(Look(dome, light_in_words(dome.name), views, exposure, exposed))
    return tuple(found)


def png(picture: Picture) -> bytes:
    """A colour picture on grey as a PNG of 8 bits a channel."""
    return png8(eight_bits(picture.srgb(GREY)))
