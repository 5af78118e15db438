"""The text of a facet table: notes and rows, with an error that names the line for whatever is not one of them.

Columns are separated by what separates the headings: a tab (as spreadsheets copy), a semicolon or a comma. Where that is no
comma, a decimal number may be written with one, if all are. Headings are read as `facet_headings` says. What else a spreadsheet
leaves is passed over: empty lines and columns, quotes around a comment, the unit behind a number.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Sequence
from pathlib import Path
from typing import Any, NamedTuple

from ..errors import InputError, nearest
from ..reading import MIB, Kind, read_text
from .facet_headings import COLUMNS, NUMBERS, columns_of

NOTES = ("unit", "cut", "material", "absorption_per_mm", "finish", "symmetry", "name")

TABLE = Kind("a table of facets", 16 * MIB)
"""A thousand facets take 1 % of this size."""

_NOTE = re.compile(r"#\s*([A-Za-z_]+)\s*:\s*(.*)$")
_QUOTED_NOTE = re.compile(r'\s*"(#[^"]*)"')
_EMPTY_CELLS = re.compile(r"[\t;,]{3,}\s*$")
_SEPARATORS = {"\t": "tabs", ";": "semicolons", ",": "commas"}
_DECIMAL_COMMA = re.compile(r"[-+]?\d*,\d+([eE][-+]?\d+)?")
_UNIT = re.compile(r"\s*(°|deg|mm)$")
_NUMBER = re.compile(r"[-+]?(\d+\.?\d*|\.\d+)([eE][-+]?\d+)?$")


class LineError(InputError):
    """An error in one line of a table."""

    line = 0

    @classmethod
    def at(cls, line: int, problem: str, **where: Any) -> LineError:
        error = cls(problem, **where)
        error.line = line
        return error


def text_of(path: Path) -> str:
    text = read_text(path, TABLE)
    if "\0" in text:
        raise InputError("not a text file; it contains zero bytes")
    return text


class Layout(NamedTuple):
    """How lines are divided: the `separator`, and the name of each column, ``""`` for one that is passed over."""

    separator: str
    columns: list[str]


def split(text: str) -> tuple[dict[str, tuple[int, str]], list[tuple[int, dict[str, str]]]]:
    """Notes (key: line and value) and rows (line and values by column)."""
    notes: dict[str, tuple[int, str]] = {}
    rows: list[tuple[int, dict[str, str]]] = []
    layout: Layout | None = None
    for line, words in enumerate(text.splitlines(), start=1):
        quoted = _QUOTED_NOTE.match(words)
        if quoted or words.lstrip().startswith("#"):
            _note(line, quoted[1] if quoted else _EMPTY_CELLS.sub("", words).strip(), notes)
        elif not words.strip(" \t;,"):
            continue
        elif layout is None:
            layout = _header(line, words)
        else:
            rows.append((line, _row(line, words, layout)))
    if layout is None:
        raise InputError("empty file", expected="a first line " + ",".join(COLUMNS))
    return notes, rows if layout.separator == "," else _with_points(rows)


def _note(line: int, words: str, notes: dict[str, tuple[int, str]]) -> None:
    found = _NOTE.match(words)
    if not found:
        return
    key, value = found[1].lower(), found[2].strip()
    if key in NOTES:
        if key in notes:
            raise LineError.at(line, f"repeats line {notes[key][0]}", key=key, value=value)
        if key == "unit" and value != "mm":
            raise LineError.at(
                line, "wrong unit of distance", key=key, value=value, expected="mm, as in the column distance_mm"
            )
        notes[key] = (line, value)
    elif nearest(key, NOTES).startswith("did you mean") and key not in COLUMNS:
        raise LineError.at(line, "unknown note in a comment", key=key, expected=nearest(key, NOTES))


def _header(line: int, words: str) -> Layout:
    separator = max(_SEPARATORS, key=words.count)
    try:
        return Layout(separator, columns_of(_cells(line, words, separator)))
    except InputError as error:
        raise LineError.at(line, error.problem, key=error.key, value=error.value, expected=error.expected) from error


def _row(line: int, words: str, layout: Layout) -> dict[str, str]:
    separator, columns = layout
    cells = [cell.strip() for cell in _cells(line, words, separator)]
    while len(cells) > len(columns) and not cells[-1]:
        cells.pop()
    if len(cells) != len(columns):
        decimal = " (a comma in a decimal number?)" if separator == "," and len(cells) > len(columns) else ""
        others = [name for mark, name in _SEPARATORS.items() if mark != separator and mark in words]
        hint = f" ({others[0]}?)" if others and separator == "," else decimal
        raise LineError.at(line, f"{len(cells)} values for {len(columns)} columns{hint}", expected="one value per column")
    return {name: _UNIT.sub("", cell) if name in NUMBERS else cell for name, cell in zip(columns, cells, strict=True) if name}


def _with_points(rows: Sequence[tuple[int, dict[str, str]]]) -> list[tuple[int, dict[str, str]]]:
    """The rows with decimal points for decimal commas. Raises LineError where a table has both: 1,234 may then be 1234."""
    cells = [(line, key, row[key]) for line, row in rows for key in NUMBERS]
    commas = [cell for cell in cells if _DECIMAL_COMMA.fullmatch(cell[2])]
    points = [cell for cell in cells if "." in cell[2]]
    if commas and points:
        line, key, word = (commas if len(commas) <= len(points) else points)[0]
        raise LineError.at(
            line, "decimal points and decimal commas in one table", key=key, value=word, expected="one of the two"
        )
    if not commas:
        return list(rows)
    with_comma = _DECIMAL_COMMA.fullmatch
    return [(line, {key: word.replace(",", ".") if key in NUMBERS and with_comma(word) else word for key, word in row.items()})
            for line, row in rows]  # fmt: skip


def _cells(line: int, words: str, separator: str) -> list[str]:
    try:
        return next(csv.reader([words], delimiter=separator, strict=True))
    except (csv.Error, StopIteration) as error:
        raise LineError.at(line, f"invalid line: {error}") from error


def number(line: int, key: str, word: str, least: float, most: float) -> float:
    if not _NUMBER.match(word):
        comma = ", with a point" if re.fullmatch(r"[-+]?\d+,\d+", word) else ""
        raise LineError.at(line, "not a number", key=key, value=word, expected=f"a decimal number{comma}")
    value = float(word)
    if not least <= value <= most or (least == 0.0 and word.startswith("-")):
        raise LineError.at(line, "out of range", key=key, value=value, expected=f"{least:g} to {most:g}")
    return value


def whole(line: int, word: str) -> int:
    if not re.fullmatch(r"\d{1,6}", word):
        raise LineError.at(line, "invalid facet number", key="facet", value=word, expected="0, 1, 2, ...")
    return int(word)
