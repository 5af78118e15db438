"""How a stone lies and how large it is, seen from above: the azimuth of its length, its length and its width.

The length of a stone runs as its outline says (`length_azimuth_deg`). A stone with a round outline has no length: it lies by
its mains, and its length is its mean diameter.

`measure` takes length and width along and across the mirror plane of the recognised cut instead (`Callipers.length_deg`): the
same direction on an even stone, and on an uneven one that of the cut's pattern, from which its facets are measured. Of a stone
of no known cut it takes them as they are taken here.
"""

from __future__ import annotations

import math
from typing import Literal, NamedTuple, get_args

from ..errors import InputError
from .cuts.outline import Circle
from .known_cuts import cut_of, tiers_of
from .measuring.callipers import Callipers
from .measuring.length import extents, length_azimuth_deg
from .recognition import recognized
from .stone import Stone

About = Literal["length", "width"]
"""What a stone can be tilted about."""


class Extent(NamedTuple):
    """The azimuth of the length, degrees counter-clockwise from +x in (-180, 180], and length and width, mm.

    `round` : the outline is a circle, so that length and width are the mean diameter.
    """

    azimuth_deg: float
    length_mm: float
    width_mm: float
    round: bool


def extent_of(stone: Stone) -> Extent:
    """How a stone lies, and its length and width.

    >>> from raylab.stone.cuts.oval_brilliant import oval_brilliant
    >>> found = extent_of(oval_brilliant(table_pct=57, width_mm=5, length_ratio=1.4))
    >>> print(f"{found.azimuth_deg:z.3f} {found.length_mm:.3f} {found.width_mm:.3f}")
    0.000 7.000 5.000
    """
    named = recognized(stone)
    known = cut_of(named)
    if known is not None and isinstance(known.outline, Circle):
        callipers = Callipers(named, tiers_of(named))
        azimuth = callipers.pattern.azimuth_deg if callipers.pattern.fits() else 0.0
        return Extent(azimuth, callipers.diameter.mean, callipers.diameter.mean, True)
    azimuth = length_azimuth_deg(stone.outline_mm)
    along, across = extents(stone.outline_mm, azimuth).tolist()
    return Extent(azimuth, along, across, False)


def size_words(stone: Stone) -> str:
    """Length, width and depth in words; of a round stone mean diameter and depth."""
    extent, depth = extent_of(stone), stone.size_mm[2]
    if extent.round:
        return f"{extent.length_mm:.3f} mm diameter, {depth:.3f} mm depth"
    return f"{extent.length_mm:.3f} x {extent.width_mm:.3f} x {depth:.3f} mm"


def azimuth_about(stone: Stone, about: About, turn_deg: float = 0.0) -> float:
    """The azimuth towards which the table leans where a stone is tilted about its length or about its width, degrees.

    A stone tilted about its width leans towards the end that its length points to; about its length, to the side a quarter turn
    counter-clockwise from there. `turn_deg` : turn of the stone before it is tilted, see `View`.

    Raises InputError for another word.

    >>> from raylab.stone.cuts.oval_brilliant import oval_brilliant
    >>> stone = oval_brilliant(table_pct=57)
    >>> print(f"{azimuth_about(stone, 'width'):z.1f} {azimuth_about(stone, 'length'):.1f}")
    0.0 90.0
    """
    if about not in get_args(About):
        raise InputError("unknown axis", key="about", value=about, expected=" or ".join(map(repr, get_args(About))))
    azimuth = extent_of(stone).azimuth_deg + turn_deg + (90.0 if about == "length" else 0.0)
    return math.remainder(round(azimuth, 9), 360.0)
