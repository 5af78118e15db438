"""JavaScript modules put together into one script, each in a function of its own, so that no name is left behind."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

_IMPORT = re.compile(r'^import (\{[^}]*\}) from "\./([\w.]+)";$', re.MULTILINE)
_EXPORT = re.compile(r"^export ((?:class|function|const) (\w+))", re.MULTILINE)


def script(folder: Path, start: str, call: str) -> str:
    """One script of the module `start` in a folder and of all that it imports from there; it ends with ``start.`` and `call`.

    The same modules give the same text.
    """
    modules: dict[str, str] = {}
    _gather(folder, start, modules)
    names = {name: f"module{k}" for k, name in enumerate(modules)}
    parts = [f"const {names[name]} = {_wrapped(text, names)};" for name, text in modules.items()]
    return "(() => {\n" + "\n".join([*parts, f"{names[start]}.{call};"]) + "\n})();"


def _gather(folder: Path, name: str, found: dict[str, str]) -> None:
    """A module's text by its name, after those of the modules that it imports."""
    text = (folder / name).read_text(encoding="utf-8")
    for _, other in _IMPORT.findall(text):
        if other not in found:
            _gather(folder, other, found)
    found[name] = text


def _wrapped(text: str, names: dict[str, str]) -> str:
    """A module as a function that is called at once and returns what the module exports."""
    exported = [name for _, name in _EXPORT.findall(text)]
    text = _IMPORT.sub(lambda one: f"const {one[1]} = {names[one[2]]};", text)
    return "(() => {\n" + _EXPORT.sub(r"\1", text) + f"return {{ {', '.join(exported)} }};\n}})()"


def literal(value: Any) -> str:
    """A value as it stands in a script within HTML, which no text of it can end."""
    return json.dumps(value, separators=(",", ":")).replace("<", "\\u003c")
