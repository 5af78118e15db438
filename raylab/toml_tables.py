"""TOML files as checked tables: the keys of a table are the parameters of a constructor, and every error is one line.

A `Table` knows its place, so each fault in it names file, section and key. Its schema is taken from the constructor that it
feeds (`schema_of`): a parameter added there can be written in a file at once and has its default in one place only. pydantic
checks types and unknown keys, strictly (`Table.checked`); ranges and combinations are the constructor's own business
(`Table.build`).
"""

from __future__ import annotations

import inspect
import os
import re
import tomllib
import typing
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Annotated, Any, TypeVar

from pydantic import BaseModel, ConfigDict, Field, ValidationError, create_model

from .errors import InputError, nearest
from .reading import MIB, Kind, read_text

SCHEMA = 1
"""The version of the file format that this raylab reads and its files state as ``schema = 1``."""

TOML = Kind("a TOML file", 4 * MIB)
MOST_DEEP = 20
_DOTTED = re.compile(r"""(?<![\w"'-])(?:[\w"'-]+[ \t]*\.[ \t]*){50}""")
"""A key of fifty parts; Python's reader takes the square of their number of time."""

Pair = Annotated[list[float], Field(min_length=2, max_length=2)]
Numbers = float | list[float]
NumberOrPairs = float | list[Pair]
_WRITTEN_AS: dict[Any, Any] = {
    tuple[float, float]: Pair,
    float | tuple[float, ...]: Numbers,
}
_WORDS: dict[Any, str] = {
    float: "a number",
    float | None: "a number",
    int: "a whole number",
    str: "text in quotes",
    str | None: "text in quotes",
    bool: "true or false",
    int | str | None: "a number or text",
    list[str]: "a list of names",
    list[float]: "two numbers in brackets",
    list[float] | None: "a list of numbers",
    list[list[float]] | None: "a list of points",
    Numbers: "a number or a list of numbers",
    dict: "a table of keys",
    list[dict[str, Any]]: "a list of tables",
    NumberOrPairs: "a number or a list of pairs of numbers",
}
T = TypeVar("T")


@dataclass(frozen=True)
class Table:
    """A table of keys with its place.

    Attributes
    ----------
    file : the file's name, for faults; the paths in the table are relative to its folder. Empty where there is no file.
    section : dotted name of the table within the file, such as ``"dome.lamp#2"``; empty for the file's top.
    values : the keys as the file states them; `checked` makes sure that they are keys at all.
    """

    file: str
    section: str
    values: Any

    def checked(self, expected: type[BaseModel]) -> Table:
        """The table with the types that the schema wants; lists become tuples.

        Raises one InputError for the first fault, which says how many more there are.
        """
        try:
            found = expected.model_validate(self.values).model_dump(exclude_unset=True)
        except ValidationError as error:
            faults = error.errors(include_url=False)
            first = min(faults, key=lambda fault: fault["type"] != "extra_forbidden")  # a mistyped key is also a missing one
            more = len({fault["loc"][:1] for fault in faults}) - 1
            top = ("schema",) if self.file and not self.section else ()
            raise self._placed(_fault(first, more, expected, top)) from None
        return replace(self, values={key: tuple(one) if isinstance(one, list) else one for key, one in found.items()})

    def part(self, key: str) -> Table:
        """The table under a key; an empty one where the key is missing."""
        return Table(self.file, self._section(key), self.values.get(key, {}))

    def parts(self, key: str) -> list[Table]:
        """The tables in the list under a key."""
        listed = enumerate(self.values.get(key, ()), start=1)
        return [Table(self.file, self._section(f"{key}#{number}"), values) for number, values in listed]

    def build(self, constructor: Callable[..., T], /, **arguments: Any) -> T:
        """``constructor(**arguments)``; its InputError gets the table's place."""
        try:
            return constructor(**arguments)
        except InputError as error:
            raise self._placed(error) from error

    def path(self, key: str) -> Path:
        """The file that a key names. Raises InputError where there is none."""
        path = Path(self.file).parent / self.values[key]
        if not os.path.isfile(path):
            problem = "not a file" if os.path.exists(path) else "no such file"
            raise self.fault(problem, key, self.values[key], f"a file at {path}")
        return path

    def fault(self, problem: str, key: str, value: object = None, expected: str | None = None) -> InputError:
        """An error about a key of this table."""
        return self._placed(InputError(problem, key=key, value=shown(value), expected=expected))

    def _section(self, key: str) -> str:
        return f"{self.section}.{key}" if self.section else key

    def _placed(self, error: InputError) -> InputError:
        return error.within(file=self.file or None, section=self.section or None)


def read_toml(source: Path, label: str) -> Table:
    """What a TOML file states below its ``schema = 1``; errors call it `label`.

    Raises InputError, with the line where there is one, for a missing or unreadable file, bytes that are no UTF-8, faulty
    TOML, and a file that doesn't state ``schema = 1``.
    """
    text = read_text(source, TOML, label)
    try:
        if _DOTTED.search(text):
            raise RecursionError
        tables = tomllib.loads(text)
        if _is_deep(tables):
            raise RecursionError
    except RecursionError as error:
        raise InputError("brackets or dotted keys nested too deeply", file=label, expected="a TOML file") from error
    except tomllib.TOMLDecodeError as error:
        found = re.search(r"\(at line (\d+), column (\d+)\)", str(error))
        line, column = (int(found[1]), f", column {found[2]}") if found else (text.count("\n") + 1, "")
        problem = str(error).split(" (at ")[0]
        raise InputError(f"not TOML: {problem}", file=label, key=f"line {line}{column}") from error
    except ValueError as error:  # an integer of thousands of digits; Python says what its programmers may do
        raise InputError(f"not TOML: {str(error).partition(';')[0]}", file=label, expected="a TOML file") from error
    stated = tables.pop("schema", None)
    if stated != SCHEMA or isinstance(stated, bool | float):
        problem = "missing" if stated is None else "unknown file format"
        raise InputError(problem, file=label, key="schema", value=shown(stated), expected=f"schema = {SCHEMA}")
    return Table(label, "", tables)


def _is_deep(tables: dict[str, Any]) -> bool:
    """Whether tables and lists lie in each other more than `MOST_DEEP` times."""
    level: list[Any] = [tables]
    for _ in range(MOST_DEEP):
        inside = (entry for one in level for entry in (one.values() if isinstance(one, dict) else one))
        level = [entry for entry in inside if isinstance(entry, dict | list)]
    return bool(level)


def schema_of(constructor: Callable[..., Any], *, omit: tuple[str, ...] = (), **extra: Any) -> type[BaseModel]:
    """The schema of a table that feeds `constructor`: its parameters but those in `omit`, and `extra` keys as
    ``key=(type, default)``, ``...`` for no default."""
    hints = typing.get_type_hints(constructor)
    fields: dict[str, Any] = {}
    for key, parameter in inspect.signature(constructor).parameters.items():
        if key not in omit:
            required = parameter.default is inspect.Parameter.empty
            fields[key] = (_written_as(hints[key]), ... if required else None)
    return schema(**fields, **extra)


def _written_as(hint: Any) -> Any:
    """The type that a file states for a parameter: a pair as a list of two, an object that has a name by its name."""
    if hint in _WRITTEN_AS:
        return _WRITTEN_AS[hint]
    return str if str in typing.get_args(hint) and type(None) not in typing.get_args(hint) else hint


def schema(**fields: Any) -> type[BaseModel]:
    """The schema of a table from ``key=(type, default)``; other keys are errors, and no type is converted.

    pydantic builds its validator when the first table is checked.
    """
    config = ConfigDict(strict=True, extra="forbid", protected_namespaces=(), defer_build=True)
    return create_model("Table", __config__=config, **fields)


def _fault(fault: Any, more: int, expected: type[BaseModel], also: tuple[str, ...]) -> InputError:
    """A fault that pydantic found, in our words; `also` are further keys to suggest."""
    key = str(fault["loc"][0]) if fault["loc"] else None
    rest = f" ({more} more error{'s' if more > 1 else ''} in this section)" if more else ""
    if fault["type"] == "extra_forbidden":
        known = [*expected.model_fields, *also]
        return InputError("unknown key", key=_bare(key), value=shown(fault["input"]), expected=nearest(str(key), known) + rest)
    if key is None:
        return InputError("not a table", value=shown(fault["input"]), expected="a table of keys" + rest)
    field = expected.model_fields[key]
    choice = fault["type"] == "literal_error"
    words = str(fault["ctx"]["expected"]) if choice else _words(field.annotation, str(fault["msg"]))
    if fault["type"] == "missing":
        return InputError("missing", key=key, expected=words + rest)
    problem = "not a choice" if choice and isinstance(fault["input"], str) else "wrong type"
    return InputError(problem, key=key, value=shown(fault["input"]), expected=words + rest)


def _words(kind: Any, otherwise: str) -> str:
    """What a key of a type takes, in words."""
    if typing.get_origin(kind) is typing.Literal:
        return " or ".join(repr(choice) for choice in typing.get_args(kind))
    return _WORDS.get(kind, otherwise)


def _bare(key: str | None) -> str:
    """A key as it is written in a file: in quotes where it holds more than letters, digits, - and _."""
    return str(key) if re.fullmatch(r"[A-Za-z0-9_-]{1,60}", str(key)) else repr(str(key)[:60])


def shown(value: object) -> object:
    """A value that fits on a line; a long text is cut, a long list or table is left out."""
    if isinstance(value, str):
        return value if len(value) <= 60 else value[:57] + "..."
    try:
        return value if len(repr(value)) <= 60 and not isinstance(value, dict) else None
    except ValueError:  # an integer of thousands of digits has no repr
        return None
