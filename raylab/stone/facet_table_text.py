"""The text of a facet table: notes and rows, with an error that names the line for whatever is not one of them."""

from __future__ import annotations

import csv
import re
from pathlib import Path
from typing import Any

from ..errors import InputError, nearest
from ..reading import MIB, Kind, read_text

COLUMNS = ("facet", "tier", "side", "slope_deg", "azimuth_deg", "distance_mm")
NOTES = ("unit", "cut", "material", "absorption_per_mm", "finish", "symmetry", "name")

TABLE = Kind("a table of facets", 16 * MIB)
"""A thousand facets take 1 % of this size."""

_NOTE = re.compile(r"#\s*([A-Za-z_]+)\s*:\s*(.*)$")
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


def split(text: str) -> tuple[dict[str, tuple[int, str]], list[tuple[int, dict[str, str]]]]:
    """Notes (key: line and value) and rows (line and values by column)."""
    notes: dict[str, tuple[int, str]] = {}
    rows: list[tuple[int, dict[str, str]]] = []
    columns: list[str] | None = None
    for line, words in enumerate(text.splitlines(), start=1):
        if words.lstrip().startswith("#"):
            _note(line, words.strip(), notes)
        elif words.strip() and columns is None:
            columns = _header(line, words)
        elif words.strip() and columns is not None:
            rows.append((line, _row(line, words, columns)))
    if columns is None:
        raise InputError("empty file", expected="a first line " + ",".join(COLUMNS))
    return notes, rows


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


def _header(line: int, words: str) -> list[str]:
    if ";" in words or "\t" in words:
        raise LineError.at(line, "wrong separator", expected="commas between columns and decimal points")
    columns = [word.strip().lower() for word in _cells(line, words)]
    missing = [name for name in COLUMNS if name not in columns]
    if missing:
        raise LineError.at(line, f"missing column {', '.join(missing)}", expected="a first line " + ",".join(COLUMNS))
    twice = [name for name in COLUMNS if columns.count(name) > 1]
    if twice:
        raise LineError.at(line, f"repeated column {twice[0]}", expected="each column once")
    return columns


def _row(line: int, words: str, columns: list[str]) -> dict[str, str]:
    cells = [cell.strip() for cell in _cells(line, words)]
    if len(cells) != len(columns):
        hint = " (a comma in a decimal number?)" if len(cells) > len(columns) else ""
        hint = " (semicolons?)" if ";" in words else hint
        raise LineError.at(line, f"{len(cells)} values for {len(columns)} columns{hint}", expected="one value per column")
    return dict(zip(columns, cells, strict=True))


def _cells(line: int, words: str) -> list[str]:
    try:
        return next(csv.reader([words], strict=True))
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
