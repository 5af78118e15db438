"""The library's docstrings in the form that numpydoc sets well.

A parameter is written ``name : description`` there, shape and unit first, on one line or several; numpydoc takes what follows
the colon on that line for a type, and would set the two halves of a sentence apart. Here the whole description is moved under
the name.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from sphinx.application import Sphinx

SECTIONS = ("Parameters", "Attributes", "Returns", "Raises")
_NAMES = r"\*{0,2}\w+(?:, \*{0,2}\w+)*"
_ENTRY = re.compile(rf"({_NAMES}) : (.*)")
_NEXT = re.compile(rf"(?<=[.;]) (?={_NAMES} : )")
"""Where another entry begins on the same line."""


def rewritten(lines: list[str]) -> list[str]:
    """The lines of a docstring, each entry of a section as its name and, indented below, its description."""
    out, inside = [], False
    for number, line in enumerate(lines):
        if re.fullmatch(r"-{3,}", line) and number and lines[number - 1] in SECTIONS:
            inside = True
            out.append(line)
            continue
        if number + 1 < len(lines) and re.fullmatch(r"-{3,}", lines[number + 1]):
            inside = False
        for part in _NEXT.split(line) if inside else [line]:
            found = _ENTRY.fullmatch(part) if inside else None
            if found is None:
                out.append(part)
            else:
                out += [found[1].replace("*", r"\*"), f"    {found[2]}"]
    return out


def _process(app: Sphinx, what: str, name: str, obj: Any, options: Any, lines: list[str]) -> None:
    lines[:] = rewritten(lines)


def setup(app: Sphinx) -> dict[str, Any]:
    app.connect("autodoc-process-docstring", _process, priority=400)  # before numpydoc
    return {"parallel_read_safe": True, "parallel_write_safe": True}
