"""The JavaScript of the explorer as one text: the page's own modules and style sheets, fitted to a shadow."""

from __future__ import annotations

import json
import re
from pathlib import Path

from ..package_files import shipped

STATIC = shipped("workbench/static")
LIVE = shipped("live/static")
START = "explorer.js"
STYLES = ("look.css", "layout.css", "explorer.css")
_IMPORTED = re.compile(r'(?:from|import) "\./([\w./]+)"')


def widget_source() -> str:
    """The module that a notebook loads."""
    text = (STATIC / "widget.js").read_text(encoding="utf-8")
    return text.replace("__SOURCES__", json.dumps(sources())).replace("__STYLE__", json.dumps(style()))


def sources() -> dict[str, str]:
    """The explorer's module and all that it imports, however deep, by the address below the page's own modules."""
    found: dict[str, str] = {}
    waiting = [START]
    while waiting:
        name = waiting.pop()
        if name not in found:
            found[name] = module_file(name).read_text(encoding="utf-8")
            folder = name[: name.rfind("/") + 1]
            waiting += [folder + other for other in _IMPORTED.findall(found[name])]
    return dict(sorted(found.items()))


def module_file(name: str) -> Path:
    """The file of a module, from where the page's server takes it, too."""
    return LIVE / name.removeprefix("live/") if name.startswith("live/") else STATIC / name


def style() -> str:
    """The page's style sheets for the inside of a shadow, whose root is the element that casts it."""
    text = "".join((STATIC / name).read_text(encoding="utf-8") for name in STYLES)
    return re.sub(r":root(\[[^\]]*\])?", lambda found: f":host({found[1]})" if found[1] else ":host", text)
