"""The JavaScript of the explorer as one text: the page's own modules and style sheets, fitted to a shadow."""

from __future__ import annotations

import json
import re

from ..package_files import shipped

STATIC = shipped("workbench/static")
START = "explorer.js"
STYLES = ("look.css", "layout.css", "explorer.css")
_IMPORTED = re.compile(r'(?:from|import) "\./([\w.]+)"')


def widget_source() -> str:
    """The module that a notebook loads."""
    text = (STATIC / "widget.js").read_text(encoding="utf-8")
    return text.replace("__SOURCES__", json.dumps(sources())).replace("__STYLE__", json.dumps(style()))


def sources() -> dict[str, str]:
    """The explorer's module and all that it imports, however deep, by name."""
    found: dict[str, str] = {}
    waiting = [START]
    while waiting:
        name = waiting.pop()
        if name not in found:
            found[name] = (STATIC / name).read_text(encoding="utf-8")
            waiting += _IMPORTED.findall(found[name])
    return dict(sorted(found.items()))


def style() -> str:
    """The page's style sheets for the inside of a shadow, whose root is the element that casts it."""
    text = "".join((STATIC / name).read_text(encoding="utf-8") for name in STYLES)
    return re.sub(r":root(\[[^\]]*\])?", lambda found: f":host({found[1]})" if found[1] else ":host", text)
