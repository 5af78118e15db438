"""HTML of cards: tags with escaped text, tables and figures.

A card is self-contained: no style sheet, no id, nothing fetched, and no script but that of a stone in 3D, which leaves no name
behind. Styles stand in the tags, because a notebook shows many cards on one page. Text and lines have the notebook's own
colour, so a card suits light and dark themes.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape

from ..units import with_minus_signs

BAR = 120
"""Pixels that stand for all the light."""
LINE = "1px solid rgba(128,128,128,0.35)"
FAINT = "opacity:0.7;font-size:0.9em"
_CELL = "padding:1px 10px 1px 0;text-align:left;background:none;border:0;vertical-align:baseline"


class Html(str):
    """Text that is HTML already; plain text is escaped where it is put into a tag."""

    __slots__ = ()


def tag(name: str, *children: str, **attributes: str) -> Html:
    """An element; an underscore in an attribute's name stands for a dash.

    >>> tag("p", "a < b", title='"x"')
    '<p title="&quot;x&quot;">a &lt; b</p>'
    """
    words = "".join(f' {key.replace("_", "-")}="{escape(value)}"' for key, value in attributes.items())
    if name == "img":
        return Html(f"<img{words}>")
    return Html(f"<{name}{words}>{joined(children)}</{name}>")


def joined(parts: Iterable[str]) -> Html:
    """Parts one after the other, plain text escaped, with true minus signs."""
    return Html("".join(part if isinstance(part, Html) else escape(with_minus_signs(part), quote=False) for part in parts))


def page(heading: str, about: str, *parts: str) -> Html:
    """A card: a heading, a line about it, and its parts."""
    head = tag("div", tag("strong", heading), "  ", tag("span", about, style=FAINT), style="margin-bottom:6px")
    return tag("div", head, *parts, style=f"line-height:1.4;max-width:900px;padding:8px 10px;border:{LINE};border-radius:4px")


def row(*parts: str) -> Html:
    """Parts side by side, as far as there is room."""
    return tag("div", *parts, style="display:flex;flex-wrap:wrap;gap:8px 18px;align-items:flex-start")


def figure(picture: Html, caption: str, more: str = "") -> Html:
    """A picture with a line below, and a quieter line below that."""
    words = [tag("div", caption, style="font-size:0.9em")] + ([tag("div", more, style=FAINT)] if more else [])
    return tag("div", picture, *words)


def note(text: str) -> Html:
    """A quiet line."""
    return tag("div", text, style=FAINT)


def table(rows: Iterable[Sequence[str]], head: Sequence[str] = ()) -> Html:
    """A table whose first column names its rows."""
    top = [tag("tr", *(tag("th", word, scope="col", style=f"{_CELL};{FAINT}") for word in head))] if head else []
    body = [
        tag(
            "tr", tag("th", first, scope="row", style=f"{_CELL};font-weight:normal"), *(tag("td", x, style=_CELL) for x in rest)
        )
        for first, *rest in rows
    ]
    style = "border-collapse:collapse;border:0;margin:0;color:inherit;font-size:inherit;font-variant-numeric:tabular-nums"
    return tag("table", tag("tbody", *top, *body), style=style)


def bar_of(share: float) -> Html:
    """A bar from 0 to a share of the light; its end says it, so that it needs no text."""
    width = max(0.0, min(1.0, share)) * BAR
    inside = tag("div", style=f"width:{width:.1f}px;height:9px;background:currentColor;opacity:0.6")
    return tag("div", inside, style=f"width:{BAR}px;background:rgba(128,128,128,0.2)", aria_hidden="true")
