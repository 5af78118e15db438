"""What a page may send: JSON objects with keys of stated types, checked before anything else looks at them.

What a page sends is text that anybody may have written. Its keys are checked here; the values' ranges, and what is inside a
design, are checked by what makes scenes and stones of them. Only plain values are sent back.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Literal

from pydantic import BaseModel, TypeAdapter

from ..errors import InputError
from ..scene.view import View
from ..toml_tables import Numbers, Table, schema

MAX_QUESTION = 1 << 20
"""Longest question, bytes; a table of 2000 facets takes a tenth of it."""

_JSON = TypeAdapter(Any)

LONGEST_ECHO = 60
"""Characters of a text that an answer repeats."""

_PLACE: dict[str, Any] = {
    "side": (Literal["a", "b"] | None, None),
    "design": (dict, ...),
    "own_dome": (dict | None, None),
    "tilt_deg": (float, 0.0),
    "tilt_azimuth_deg": (float, 0.0),
}
LINK = schema(
    kind=(Literal["picture", "ray", "strip", "dark", "light", "inclusions", "plot"], ...),
    id=(int | str | None, None),
    step=(str, ""),
    dome=(str, ...),
    maps=(list[str], []),
    live=(bool, False),
    facet=(str | None, None),
    x_mm=(float, None),
    y_mm=(float, None),
    point_mm=(Numbers, []),
    key=(str, ""),
    number=(str, ""),
    values=(Numbers, []),
    **_PLACE,
)
"""A question on the link; see `answers`."""

SAVE = schema(title=(str, ""), dome=(str | None, None), **_PLACE)
"""A design that becomes a file."""

REPORT = schema(
    designs=(list[dict[str, Any]], ...),
    dome=(str, ""),
    own_dome=(dict | None, None),
    title=(str, ""),
    tilts=(Numbers, []),
    tilt_azimuth_deg=(float, 0.0),
    known_to_pct=(float, 10.0),
    looks=(bool, True),
)
"""The two stones of a report."""


COLOR = schema(dome=(str, ...), step=(str, ""), exposure=(float, 1.0), **_PLACE)
"""A colour picture or a film of one stone."""

AROUND = schema(dome=(str, ...), keys=(list[str], ...), lows=(Numbers, ...), highs=(Numbers, ...), designs=(int, ...), **_PLACE)
"""Designs around a stone, over some of its keys."""

FIELD = schema(dome=(str, ...), **_PLACE)
"""The field of visibility of one stone."""


def view_of(question: Mapping[str, Any]) -> View:
    """The view that a question states; face-up where it states none."""
    return View(tilt_deg=question.get("tilt_deg", 0.0), tilt_azimuth_deg=question.get("tilt_azimuth_deg", 0.0))


def parsed(text: str | bytes) -> dict[str, Any]:
    """A request as a dict.

    Raises InputError for a long text, for other JSON than an object, and for JSON that can't be written again: with half a
    character (a lone surrogate), or nested deeper than 200 times.
    """
    if len(text) > MAX_QUESTION:
        raise InputError("request too long", expected=f"at most {MAX_QUESTION} characters")
    try:
        question = _JSON.validate_json(text)
    except (ValueError, TypeError) as error:
        raise InputError("invalid request", expected="JSON") from error
    if not isinstance(question, dict):
        raise InputError("invalid request", expected="a JSON object")
    return question


def checked(question: dict[str, Any], expected: type[BaseModel]) -> dict[str, Any]:
    """The question; raises InputError for the first key that the schema doesn't know or whose value has another type."""
    Table("", "", question).checked(expected)
    return question


def about(question: dict[str, Any]) -> dict[str, Any]:
    """What an answer repeats of its question, so that the page knows which it was; None for what is no plain value."""
    return {key: value if _is_plain(value := question.get(key)) else None for key in ("kind", "id", "side", "step")}


def _is_plain(value: object) -> bool:
    if isinstance(value, str):
        return len(value) <= LONGEST_ECHO and value.isprintable()
    return isinstance(value, int | float) and abs(value) < 2**53
