"""An objective in words, ``most brightness with weight_ct >= 1.00 and leak <= 0.1``: the quantity sought, under limits."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

from ..errors import InputError, nearest

_EXPECTED = "an objective such as 'most brightness with weight_ct >= 1.00 and leak <= 0.1'"
_OBJECTIVE = re.compile(r"(most|least)\s+(\w+)(?:\s+with\s+(.+))?")
_LIMIT = re.compile(r"(\w+)\s*(>=|<=)\s*(\S+)")


@dataclass(frozen=True)
class Limit:
    """A number that must be at least (or at most) so much."""

    name: str
    at_least: bool
    bound: float


@dataclass(frozen=True)
class Objective:
    """`most` of the number `name` (or least), under limits."""

    text: str
    most: bool
    name: str
    limits: tuple[Limit, ...] = ()


def read_objective(text: str, known: Iterable[str]) -> Objective:
    """An objective from its words; `known` are the numbers it may name. Raises InputError for other words."""
    names = tuple(known)
    found = _OBJECTIVE.fullmatch(text.strip())
    if found is None:
        raise InputError("invalid syntax", key="objective", value=text, expected=_EXPECTED)
    most, name, rest = found.groups()
    limits = tuple(_limit(text, part, names) for part in re.split(r"\s+and\s+", rest)) if rest else ()
    return Objective(text.strip(), most == "most", _known(name, names), limits)


def _limit(text: str, part: str, names: tuple[str, ...]) -> Limit:
    found = _LIMIT.fullmatch(part.strip())
    if found is None:
        raise InputError(f"invalid limit '{part}'", key="objective", value=text, expected=_EXPECTED)
    name, sign, number = found.groups()
    try:
        return Limit(_known(name, names), sign == ">=", float(number))
    except ValueError as error:
        if isinstance(error, InputError):
            raise
        raise InputError(f"'{number}' is not a number", key="objective", value=text, expected=_EXPECTED) from error


def _known(name: str, names: tuple[str, ...]) -> str:
    if name not in names:
        raise InputError(f"unknown number '{name}'", key="objective", value=name, expected=nearest(name, names))
    return name
