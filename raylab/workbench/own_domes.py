"""Domes of a page's own: read from a dome file that the page sends, kept by the page, and sent with each of its questions.

The server keeps nothing of them. A dome is the keys of its file as JSON; it is checked by the reader of dome files each time,
and may name no other file: neither a picture nor a second dome.
"""

from __future__ import annotations

import functools
import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from ..errors import InputError, nearest
from ..lighting.dome import Dome
from ..lighting.dome_file import dome_from, dome_names
from ..toml_tables import Table, read_toml

MOST_BYTES = 32 * 1024
"""Longest dome of a page, as JSON; a lamp takes 70 bytes."""

LONGEST_NAME = 40
DOME_KEYS = ("sky", "sky_radiance", "head_half_angle_deg", "tray_radiance", "zone", "lamp", "image", "absolute")
"""Keys by which a file is a dome's, where it has no [stone] and no [dome]."""


OwnDome = dict[str, Any]
"""A dome as the page keeps it: `name`, `description` and `table`, the keys of its file."""


def dome_in_file(path: Path, name: str, taken: Mapping[str, Dome]) -> OwnDome | None:
    """The dome in a TOML file; its name is none of those `taken`.

    None where the file is no dome's. Raises InputError, one line that names the file by `name`, for a faulty one.
    """
    tables = read_toml(path, name).values
    if {"stone", "dome"} & set(tables) or not set(DOME_KEYS) & set(tables):
        return None
    own = "".join(character for character in path.stem if character.isprintable())[:LONGEST_NAME] or "dome"
    try:
        dome = own_dome(own, tables)
    except InputError as error:
        raise error.within(file=name) from error
    return {"name": f"{own} (own)" if own in taken else own, "description": dome.description, "table": tables}


def dome_of_page(question: Mapping[str, Any], known: Mapping[str, Dome]) -> Dome:
    """The dome of a question: the page's own where it sends one, else the known one of that name."""
    name, own = str(question.get("dome", "")), question.get("own_dome")
    if own is not None:
        try:
            return own_dome(name, own)
        except InputError as error:
            raise error.within(section="own_dome") from error
    if name not in known:
        raise InputError("unknown dome", key="dome", value=name, expected=nearest(name, known))
    return known[name]


def dome_keys(question: Mapping[str, Any]) -> dict[str, Any] | None:
    """The [dome] section of a scene file for the dome of a question; None for a dome that no file can state.

    Raises InputError as `dome_of_page` does.
    """
    if question.get("own_dome") is not None:
        dome_of_page(question, {})
        return dict(question["own_dome"])
    return {"name": question["dome"]} if question.get("dome") in dome_names() else None


def own_dome(name: str, tables: Any) -> Dome:
    """The dome that the keys of a dome file mean. Raises InputError as the reader of dome files does, and for a picture."""
    if isinstance(tables, dict) and "image" in tables:
        raise InputError(
            "a dome of the page reads no picture",
            key="image",
            expected="the command raylab workbench SCENE, whose dome has one",
        )
    try:
        text = json.dumps(tables)
    except (TypeError, ValueError) as error:  # a date, or tables in circles
        raise InputError("no dome", expected="the keys of a dome file") from error
    if len(text) > MOST_BYTES:
        raise InputError(f"dome too large ({len(text)} bytes)", expected=f"at most {MOST_BYTES} bytes")
    return _dome(name[:LONGEST_NAME], text)


@functools.lru_cache(maxsize=16)
def _dome(name: str, text: str) -> Dome:
    """The same dome for the same keys, so that its tables are made once."""
    return dome_from(Table("", "", json.loads(text)), name=name, folder=None)
