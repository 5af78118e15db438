"""The outlines that a recipe can state, by shape, each with its lengths in mm."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Mapping, Sequence
from typing import Any, NamedTuple

import numpy as np

from ...errors import StoneError, nearest
from ...toml_tables import Pair, Table, schema
from ...units import number_in, whole_in
from ..cuts.outline import Circle, Outline
from ..cuts.outlines import (
    HEART,
    NOT_CONVEX,
    TURN,
    Arcs,
    Ellipse,
    Sides,
    bowed_triangle,
    cushion,
    hexagon,
    marquise,
    pear,
    rectangle,
    regular,
    tapered,
)
from .outline_csv import checked_corners, read_corners


class Shape(NamedTuple):
    """A shape: what makes the outline from its lengths, those lengths by key, and those that may be left out."""

    make: Callable[..., Outline]
    keys: tuple[str, ...]
    optional: Mapping[str, float] = {}


def _longer(make: Callable[[float, float], Outline]) -> Callable[[float, float], Outline]:
    """The same, for shapes that are at least as long as wide."""

    def checked(length: float, width: float) -> Outline:
        if length < width:
            raise StoneError("shorter than wide", key="length", value=length, expected=f"at least {width:g} mm")
        return make(length, width)

    return checked


def _cushion(length: float, width: float, side_radius: float, corner_radius: float) -> Outline:
    try:
        return cushion(length, width, side_radius, corner_radius)
    except StoneError as error:  # it speaks of percent
        raise error.but(key="corner_radius", value=corner_radius) from error


SHAPES: dict[str, Shape] = {
    "circle": Shape(lambda diameter: Circle(diameter / 2.0), ("diameter",)),
    "oval": Shape(lambda length, width: Ellipse(length / 2.0, width / 2.0), ("length", "width")),
    "marquise": Shape(_longer(marquise), ("length", "width")),
    "pear": Shape(_longer(pear), ("length", "width")),
    "cushion": Shape(_cushion, ("length", "width", "side_radius", "corner_radius")),
    "bowed triangle": Shape(bowed_triangle, ("width", "side_radius")),
    "rectangle": Shape(rectangle, ("length", "width", "corner"), {"corner": 0.0}),
    "tapered": Shape(tapered, ("length", "width", "narrow")),
    "hexagon": Shape(hexagon, ("length", "width")),
}
"""By name; a key in a file is the length's name with the unit, such as ``length_mm``."""

REGULAR, POLYGON = "regular polygon", "polygon"
_MOST_SIDES = 96
_SCHEMAS = {
    name: schema(
        shape=(str, ...),
        **{f"{key}_mm": (float, None if key in shape.optional else ...) for key in shape.keys},
    )
    for name, shape in SHAPES.items()
} | {
    REGULAR: schema(shape=(str, ...), sides=(int, ...), width_mm=(float, ...)),
    POLYGON: schema(shape=(str, ...), corners_mm=(list[Pair], None), file=(str, None)),
}


def outline_from(table: Table) -> Outline:
    """The outline that an [outline] table states, in mm."""
    name = table.values.get("shape")
    if not isinstance(name, str) or name not in _SCHEMAS:
        if isinstance(name, str) and HEART in name.lower():
            raise table.fault(f"a heart is {NOT_CONVEX}", "shape", name, "a convex outline")
        hint = nearest(name, _SCHEMAS) if isinstance(name, str) else "one of " + ", ".join(_SCHEMAS)
        raise table.fault("missing" if name is None else "unknown outline", "shape", name, hint)
    table = table.checked(_SCHEMAS[name])
    if name == POLYGON:
        return _polygon(table)
    values = {key: value for key, value in table.values.items() if key != "shape"}
    if name == REGULAR:
        return table.build(_regular, **values)
    return table.build(_made, shape=SHAPES[name], values=values)


def _made(shape: Shape, values: Mapping[str, float]) -> Outline:
    stated = {f"{key}_mm": length for key, length in shape.optional.items()} | dict(values)
    lengths = [
        number_in(f"{key}_mm", stated[f"{key}_mm"], 0.0, 1e4, "mm", open_ends=key not in shape.optional) for key in shape.keys
    ]
    try:
        return shape.make(*lengths)
    except StoneError as error:  # outlines know no unit
        raise error.but(key=f"{error.key}_mm") from error


def _regular(sides: int, width_mm: float) -> Outline:
    width = number_in("width_mm", width_mm, 0.0, 1e4, "mm", open_ends=True)
    return regular(whole_in("sides", sides, 3, _MOST_SIDES), width)


def _polygon(table: Table) -> Outline:
    stated = [key for key in ("corners_mm", "file") if key in table.values]
    if len(stated) != 1:
        raise table.fault("a polygon is stated once", "corners_mm", None, "either corners_mm or file")
    if "file" in table.values:
        return read_corners(table.path("file"))
    return table.build(checked_corners, corners=table.values["corners_mm"], key="corners_mm")


_SMOOTH = 1e-9
"""Arcs whose normals turn by less, radians, from one to the next meet in no corner."""
Places = tuple[tuple[float, ...], tuple[float, ...]]


def places_of(outline: Outline) -> Places:
    """The azimuths, degrees, that an outline's sides and its corners face.

    A side faces where its middle does. A corner, sharp, cut or round, faces halfway between the sides beside it.
    """
    if isinstance(outline, Sides):
        normals = outline.flats()[0]
        sides = np.arctan2(normals[:, 1], normals[:, 0]).tolist()
        if len(sides) == 8 and _cuts_corners(outline):
            return _degrees(sides[0::2]), _degrees(sides[1::2])
        return _degrees(sides), _degrees(_between(sides))
    if not isinstance(outline, Arcs):
        return (), ()
    middles = [(arc.start + arc.end) / 2.0 for arc in outline.arcs]
    if len(middles) == 8:  # a cushion's, whose corners are arcs too
        return _degrees(middles[0::2]), _degrees(middles[1::2])
    turns = [(a.end, (b.start - a.end) % TURN) for a, b in itertools.pairwise([*outline.arcs, outline.arcs[0]])]
    return _degrees(middles), _degrees([end + turn / 2.0 for end, turn in turns if _SMOOTH < turn < TURN - _SMOOTH])


def _cuts_corners(outline: Sides) -> bool:
    """Is it a rectangle with cut corners, as `outlines.rectangle` makes it?"""
    normals = np.abs(outline.flats()[0][:, :2])
    return bool((normals[0::2].min(axis=1) < 1e-12).all() and (np.ptp(normals[1::2], axis=1) < 1e-12).all())


def _between(azimuths: Sequence[float]) -> list[float]:
    """Halfway from each azimuth to the next one counter-clockwise, radians."""
    after = [*azimuths[1:], azimuths[0]]
    return [a + (b - a) % TURN / 2.0 for a, b in zip(azimuths, after, strict=True)]


def _degrees(azimuths: Sequence[float]) -> tuple[float, ...]:
    """Degrees from 0 to 360, whole right angles exact."""
    return tuple(tidy(math.degrees(azimuth) % 360.0) % 360.0 for azimuth in azimuths)


def tidy(number: Any) -> float:
    """A number without the noise of rounding: with nine decimals, where it is within a few units in the last place of that."""
    short = round(float(number), 9)
    return short + 0.0 if abs(short - number) <= 1e-14 * max(1.0, abs(number)) else float(number)
