"""Stones in 3D that turn by mouse, touch and keys in any page: the workbench's own view as one script."""

from __future__ import annotations

import json
import re
from typing import Any

import numpy as np

from ..package_files import shipped
from ..stone.planes import facing_deg
from ..stone.stone import Stone

START = "turning.js"
DIGITS = 5
"""Decimals of lengths in mm and of unit vectors, so that a page stays small."""

_IMPORT = re.compile(r'^import (\{[^}]*\}) from "\./([\w.]+)";$', re.MULTILINE)
_EXPORT = re.compile(r"^export ((?:class|function|const) (\w+))", re.MULTILINE)


def turning_script(stones: list[Stone], figures: str, buttons: str, within: str = "document") -> str:
    """A script that shows stones in the elements that the selector `figures` finds; `buttons` finds those that turn them.

    Both are looked for within the element that the expression `within` gives. The modules are those of the workbench, each in a
    function of its own, so that no name is left behind. The same stones give the same text.
    """
    modules: dict[str, str] = {}
    _gather(START, modules)
    names = {name: f"module{k}" for k, name in enumerate(modules)}
    parts = [f"const {names[name]} = {_wrapped(text, names)};" for name, text in modules.items()]
    figure_list, button_list = (f"[...{within}.querySelectorAll({_literal(one)})]" for one in (figures, buttons))
    solids = _literal([solid_of(stone) for stone in stones])
    call = f"{names[START]}.showStones({figure_list}, {solids}, {button_list});"
    return "(() => {\n" + "\n".join([*parts, call]) + "\n})();"


def solid_of(stone: Stone) -> dict[str, Any]:
    """A stone as plain numbers: corners, each facet's corners in turn, its plane, its tier, number, slope and azimuth."""
    body = stone.polyhedron
    _, slopes, azimuths = facing_deg(stone.normals)
    rows = zip(stone.tiers, stone.indices, slopes.round(2).tolist(), azimuths.round(2).tolist(), strict=True)
    return {
        "vertices": _rounded(body.vertices),
        "normals": _rounded(stone.normals),
        "distances": _rounded(stone.distances_mm),
        "loops": [loop.tolist() for loop in body.loops],
        "facets": [list(row) for row in rows],
    }


def _rounded(numbers: np.ndarray) -> list[float]:
    """Numbers in one row, none of them minus zero."""
    return (numbers.round(DIGITS) + 0.0).ravel().tolist()  # type: ignore[no-any-return]


def _gather(name: str, found: dict[str, str]) -> None:
    """A module's text by its name, after those of the modules that it imports."""
    text = (shipped("workbench/static") / name).read_text(encoding="utf-8")
    for _, other in _IMPORT.findall(text):
        if other not in found:
            _gather(other, found)
    found[name] = text


def _wrapped(text: str, names: dict[str, str]) -> str:
    """A module as a function that is called at once and returns what the module exports."""
    exported = [name for _, name in _EXPORT.findall(text)]
    text = _IMPORT.sub(lambda one: f"const {one[1]} = {names[one[2]]};", text)
    return "(() => {\n" + _EXPORT.sub(r"\1", text) + f"return {{ {', '.join(exported)} }};\n}})()"


def _literal(value: Any) -> str:
    """A value as it stands in a script within HTML, which no text of it can end."""
    return json.dumps(value, separators=(",", ":")).replace("<", "\\u003c")
