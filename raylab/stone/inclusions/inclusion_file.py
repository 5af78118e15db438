"""Inclusions in files: tables of a scene or stone file, or rows of a CSV file.

    [[stone.inclusions]]          # one table for each; or inclusions = "plotted.csv" in [stone]
    name = "crystal"
    shape = "sphere"              # sphere, ellipsoid, disc or polyhedron
    center_mm = [0.5, 0.2, -0.4]  # in the stone's frame; or as plotted with a microscope:
                                  # facet = "table", at_mm = [0.4, 0.1], and depth_mm or apparent_depth_mm
    radius_mm = 0.05              # sphere and disc; an ellipsoid has radii_mm, and axis and second_axis
    transmittance = 0.0           # what passes at each crossing

A disc has a `normal`, a polyhedron `corners_mm` (and no other position). In a CSV file the keys are the columns, lists are
numbers with spaces between them, an empty cell is a key left out, and lines that begin with # are comments.
"""

from __future__ import annotations

import csv
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any, Literal

from ...errors import InputError, nearest
from ...reading import MIB, Kind, read_text, reader
from ...toml_tables import Table, schema
from ..stone import Stone
from .inclusion import MOST, Inclusion
from .placing import point_below
from .shapes import Disc, Ellipsoid

Coordinates, Corners = list[float] | None, list[list[float]] | None

_PLOTTED: dict[str, Any] = {
    "facet": (str, None), "at_mm": (Coordinates, None), "depth_mm": (float, None), "apparent_depth_mm": (float, None)
}  # fmt: skip
_PLACE: dict[str, Any] = {"center_mm": (Coordinates, None), **_PLOTTED}
_SIZES: dict[str, dict[str, Any]] = {
    "sphere": {**_PLACE, "radius_mm": (float, ...)},
    "ellipsoid": {**_PLACE, "radii_mm": (Coordinates, ...), "axis": (Coordinates, None), "second_axis": (Coordinates, None)},
    "disc": {**_PLACE, "radius_mm": (float, ...), "normal": (Coordinates, None)},
    "polyhedron": {"corners_mm": (Corners, ...)},
}
"""What the keys of each shape are, beside those of all."""
SIZES = {shape: [key for key in own if key not in _PLACE] for shape, own in _SIZES.items()}
"""By shape, the keys that say how large it is and how it lies."""
_SCHEMAS = {
    shape: schema(shape=(Literal[shape], ...), name=(str, None), transmittance=(float, None), **own)
    for shape, own in _SIZES.items()
}

PLOTTED = Kind("plotted inclusions, a table", MIB)
COLUMNS = tuple(dict.fromkeys(["name", "shape", *(key for own in _SIZES.values() for key in own), "transmittance"]))
_LISTS = {key for own in _SIZES.values() for key, (kind, _) in own.items() if kind == Coordinates}


@reader
def load_inclusions(path: str | Path, stone: Stone) -> tuple[Inclusion, ...]:
    """The inclusions in a CSV file; see the module.

    Parameters
    ----------
    stone : whose facets the file may refer to.

    Raises InputError, with the line, for what is none.
    """
    file, found, columns = str(path), list[Inclusion](), list[str]()
    for line, words in enumerate(read_text(Path(path), PLOTTED).splitlines(), start=1):
        if not words.strip(" ,\t") or words.lstrip().startswith("#"):
            continue
        cells = [cell.strip() for cell in next(csv.reader([words]))]
        try:
            if not columns:
                columns = _heading(cells)
                continue
            if len(cells) != len(columns):
                raise InputError(f"{len(cells)} values for {len(columns)} columns", expected="one value per column")
            values = {key: _cell(key, cell) for key, cell in zip(columns, cells, strict=True) if cell}
            found.append(_inclusion(Table("", "", values), stone))
        except InputError as error:
            raise error.within(file=f"{file}:{line}") from error
    return tuple(found)


def with_inclusions_of(table: Table, stone: Stone) -> Stone:
    """The stone with the inclusions that the key `inclusions` of a [stone] table states, beside those that it has."""
    given = table.values["inclusions"]
    if isinstance(given, str):
        found = load_inclusions(table.path("inclusions"), stone)
    elif isinstance(given, list) and len(given) <= MOST:
        found = tuple(_inclusion(one, stone) for one in table.parts("inclusions"))
    else:
        raise table.fault("wrong type or too many", "inclusions", None, f"a CSV file, or at most {MOST} [[stone.inclusions]]")
    return table.build(stone.with_inclusions, inclusions=[*stone.inclusions, *found])


def inclusion_tables(inclusions: Sequence[Inclusion]) -> list[dict[str, Any]]:
    """Inclusions as the tables that state them, placed by coordinates in the stone's frame; plain values, ready for JSON.

    >>> inclusion_tables([Inclusion.sphere((0.5, 0.0, -0.4), 0.05, name="speck")])
    [{'name': 'speck', 'shape': 'sphere', 'center_mm': [0.5, 0.0, -0.4], 'radius_mm': 0.05, 'transmittance': 0.0}]
    """
    return [
        {**({"name": one.name} if one.name else {}), **_stated(one), "transmittance": one.transmittance} for one in inclusions
    ]


def _stated(one: Inclusion) -> dict[str, Any]:
    """Shape, place and size of an inclusion."""
    shape = one.shape
    if isinstance(shape, Ellipsoid):
        middle = list(shape.center_mm)
        if len(set(shape.radii_mm)) == 1:
            return {"shape": "sphere", "center_mm": middle, "radius_mm": shape.radii_mm[0]}
        axes = {key: row.tolist() for key, row in zip(("axis", "second_axis"), shape.axes, strict=False)}
        return {"shape": "ellipsoid", "center_mm": middle, "radii_mm": list(shape.radii_mm), **axes}
    if isinstance(shape, Disc):
        place = {"shape": "disc", "center_mm": list(shape.center_mm)}
        return {**place, "radius_mm": shape.radius_mm, "normal": list(shape.normal)}
    return {"shape": "polyhedron", "corners_mm": [list(corner) for corner in shape.corners_mm]}


def _inclusion(table: Table, stone: Stone) -> Inclusion:
    """The inclusion that a table states."""
    shape = table.values.get("shape") if isinstance(table.values, Mapping) else None
    if not isinstance(shape, str) or shape not in _SCHEMAS:
        hint = nearest(shape, _SCHEMAS) if isinstance(shape, str) else "one of " + ", ".join(_SCHEMAS)
        raise table.fault("missing" if shape is None else "unknown shape", "shape", shape, hint)
    table = table.checked(_SCHEMAS[shape])
    values = {key: value for key, value in table.values.items() if key not in ("shape", *_PLOTTED)}
    plotted = {key: value for key, value in table.values.items() if key in _PLOTTED}
    if plotted and "center_mm" in values:
        raise table.fault("facet and center_mm are alternatives; give only one", next(iter(plotted)))
    if shape != "polyhedron" and "center_mm" not in values:
        if "facet" not in plotted:
            raise table.fault("missing", "center_mm", None, "center_mm, or facet and a depth")
        values["center_mm"] = table.build(point_below, stone=stone, **plotted)
    return table.build(getattr(Inclusion, shape), **values)


def _heading(cells: list[str]) -> list[str]:
    for cell in cells:
        if cell not in COLUMNS:
            raise InputError("unknown column", key=cell or None, expected=nearest(cell, COLUMNS))
    if len(set(cells)) < len(cells):
        raise InputError("repeated column", expected="each column once")
    return cells


def _cell(key: str, cell: str) -> Any:
    """A cell's value as a table of TOML would hold it."""
    if key in ("name", "shape", "facet"):
        return cell
    try:
        numbers = [float(word) for word in cell.split()]
    except ValueError:
        raise InputError("not a number", key=key, value=cell[:60], expected="numbers, with spaces between them") from None
    if key == "corners_mm":
        return _threes(numbers)
    if key in _LISTS:
        return numbers
    if len(numbers) != 1:
        raise InputError("not one number", key=key, value=cell[:60], expected="one number")
    return numbers[0]


def _threes(numbers: Iterable[float]) -> list[list[float]]:
    given = list(numbers)
    if len(given) % 3:
        raise InputError(
            "not three numbers a corner", key="corners_mm", value=len(given), expected="a multiple of three numbers"
        )
    return [given[k : k + 3] for k in range(0, len(given), 3)]
