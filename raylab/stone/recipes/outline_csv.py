"""A free convex polygon as an outline, from a CSV file with one corner a line.

    # an outline (invented)
    x_mm,y_mm
    3.0,-2.0
    3.2,1.8
    -2.9,2.4
    -2.5,-2.2

Lines that start with # are comments. The corners may run either way around the axis.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from ...errors import InputError, StoneError
from ...plane_geometry import area, following
from ...reading import MIB, Kind, read_text, reader
from ...units import number_in
from ..cuts.outlines import Sides

OUTLINE = Kind("an outline, a table of corners", MIB)
COLUMNS = ["x_mm", "y_mm"]
MOST_CORNERS = 360


@reader
def read_corners(path: str | Path) -> Sides:
    """The outline in a CSV file. Raises InputError, with the line, for what isn't one."""
    file, corners, heading = str(path), [], False
    for line, words in enumerate(read_text(path, OUTLINE).splitlines(), start=1):
        if not words.strip() or words.lstrip().startswith("#"):
            continue
        cells = [cell.strip() for cell in next(csv.reader([words]))]
        if not heading:
            if cells != COLUMNS:
                raise InputError("unknown columns", file=f"{file}:{line}", value=None, expected=",".join(COLUMNS))
            heading = True
            continue
        if len(cells) != len(COLUMNS):
            raise InputError(f"{len(cells)} values for 2 columns", file=f"{file}:{line}", expected="one value per column")
        corners.append([_number(f"{file}:{line}", key, cell) for key, cell in zip(COLUMNS, cells, strict=True)])
    try:
        return checked_corners(corners)
    except InputError as error:
        raise error.within(file=file) from error


def _number(place: str, key: str, word: str) -> float:
    try:
        return number_in(key, float(word), -1e4, 1e4, "mm")
    except ValueError as error:  # an InputError is one
        raise InputError("not a length", file=place, key=key, value=word, expected="a number of mm") from error


def checked_corners(corners: Sequence[Sequence[float]], key: str = "corners") -> Sides:
    """The polygon with these corners (x, y) mm, which may run either way around the axis; errors name the `key`.

    Raises StoneError for a polygon that isn't convex, that runs around more than once, or that doesn't hold the axis.
    """
    if len(corners) > MOST_CORNERS:
        raise StoneError("too many corners", key=key, value=len(corners), expected=f"at most {MOST_CORNERS}")
    points = np.array([[number_in(key, x, -1e4, 1e4, "mm") for x in pair] for pair in corners]).reshape(-1, 2)
    ordered = points[::-1] if area(points) < 0.0 else points
    try:
        outline = Sides(tuple((float(x), float(y)) for x, y in ordered))
    except StoneError as error:
        raise error.but(key=key) from error
    side = following(outline.points) - outline.points
    azimuths = np.arctan2(side[:, 1], side[:, 0])
    if ((following(azimuths) - azimuths) % (2.0 * math.pi)).sum() > 2.0 * math.pi + 1e-6:
        raise StoneError("the outline crosses itself", key=key, expected="one way around")
    if not (outline.flats()[1] > 0.0).all():
        raise StoneError("the axis x = y = 0 lies outside the outline", key=key, expected="corners around the axis")
    return outline
