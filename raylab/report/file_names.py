"""Names of the report's pictures: letters within the page, the buyer's own names of the stones in a folder."""

from __future__ import annotations

import itertools
import re
import unicodedata
from collections.abc import Sequence

from ..lighting.dome import Dome
from ..results.maps import STATISTIC_OF
from ..scene.view import View

MAPS = tuple(STATISTIC_OF)
FILM = "film.webp"
LONGEST = 40
"""Characters of a stone's name in the name of a file."""


def letters(stones: int) -> tuple[str, ...]:
    """What stands for each stone in names within the page: a, b, ..."""
    return tuple(chr(ord("a") + k) for k in range(stones))


def marks(names: Sequence[str]) -> tuple[str, ...]:
    """What stands for each stone in names of files: its own name in small plain letters, with its letter where two are equal.

    >>> marks(["Offer A (invented)", "Größe 2"]), marks(["stone", "stone", "***"])
    (('offer-a-invented', 'grosse-2'), ('stone-a', 'stone-b', 'c'))
    """
    plain = [_plain(name) for name in names]
    found = []
    for letter, one in zip(letters(len(names)), plain, strict=True):
        found.append(one if one and plain.count(one) == 1 else "-".join(filter(None, (one, letter))))
    return tuple(found) if len(set(found)) == len(found) else letters(len(names))


def _plain(name: str) -> str:
    """Letters and digits of ASCII, with a dash for what lies between them."""
    spelled = unicodedata.normalize("NFKD", name.replace("ß", "ss")).encode("ascii", "ignore").decode()
    return re.sub(r"[^a-z0-9]+", "-", spelled.lower())[:LONGEST].strip("-")


def figure_names(each: Sequence[str]) -> list[str]:
    """Maps, ledger, drawings and differences of stones with these marks."""
    names = [f"{one}-{name}.png" for name in MAPS for one in each]
    names += ["ledger.svg", *(f"{one}-drawing.svg" for one in each)]
    pairs = itertools.combinations(each, 2)
    return names + [f"{a}-and-{b}-{what}" for a, b in pairs for what in ("verdicts.svg", "difference.png")]


def look_names(each: Sequence[str], domes: Sequence[Dome], views: Sequence[View]) -> list[str]:
    """Colour pictures of stones with these marks, by light, stone and view."""
    return [f"{one}-{_plain(dome.name) or 'light'}-{_view(view)}.png" for dome in domes for one in each for view in views]


def _view(view: View) -> str:
    """A view in the name of a file; its tilt, of which views differ."""
    return f"tilt-{view.tilt_deg:g}" if view.tilt_deg else "face-up"
