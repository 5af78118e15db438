"""What a notebook shows of an object: a card in HTML.

A class says ``_repr_html_ = shown_by("stone_card")``. The card is made in the package `notebook` at the top, above pictures and
statistics. Its module is imported by name when a notebook asks for it, so that no class knows what draws it and
``import raylab`` stays quick. The name carries no ``raylab.``: a card decides no number, and what is kept by a hash of its
makers (see `package_files`) stays valid when a card changes.
"""

from __future__ import annotations

import importlib
from collections.abc import Callable
from typing import Any


def shown_by(module: str) -> Callable[[Any], str]:
    """The method ``_repr_html_`` of a class whose card the function `card` of that module of `notebook` makes."""

    def html(self: Any) -> str:
        """What a notebook shows."""
        made: str = importlib.import_module(f".notebook.{module}", __package__).card(self)
        return made

    return html
