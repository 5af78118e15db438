"""The records of cuts from which the page builds sliders, tables and lists."""

from __future__ import annotations

from typing import Any

from ..stone.cuts.cut import Cut, Measured
from ..stone.cuts.outline import Circle
from ..stone.cuts.parameter import Parameter
from ..stone.cuts.shared import OF_ANY_STONE
from ..stone.tier import TABLE

SIGNS = {"%": "%", "degree": "°", "deg": "°", "mm": "mm", "ct": "ct", "1": "", "": ""}
"""A unit as the page writes it."""

SPOKEN = {"%": "percent", "degree": "degrees", "mm": "millimetres", "ct": "carat", "1": "", "": ""}
"""A unit as the page has it read aloud."""


def cut_facts(cut: Cut) -> dict[str, Any]:
    """A cut: its parameters that are shown, its tiers, and what is measured of its parameters and of any stone.

    Of a cut with length and width all that is measured is shown: its parameters alone say little of it.
    """
    plain = [one for one in cut.parameters if one.instead_of is None]
    shown = {one.key for one in (cut.measured if cut.of_width else plain)}
    return {
        "name": cut.name,
        "round": isinstance(cut.outline, Circle),
        "parameters": [parameter_facts(one) for one in plain],
        "tiers": [{"name": tier.name, "side": tier.side, "main": tier.main, "last": tier.last} for tier in cut.tiers],
        "blocked": [TABLE.name, *cut.mains()] if cut.last else [],
        "last": list(cut.last),
        "measured": [measured_facts(one) for one in (*OF_ANY_STONE, *cut.measured) if one in OF_ANY_STONE or one.key in shown],
    }


def parameter_facts(one: Parameter) -> dict[str, Any]:
    """A parameter as a control is made from it; `slider` is None where the page shows none."""
    return {
        "key": one.key,
        "label": _capital(one.label),
        "unit": SIGNS[one.unit],
        "spoken": SPOKEN[one.unit],
        "group": _capital(one.group),
        "description": one.description,
        "least": one.low,
        "most": one.high,
        "slider": None if one.slider is None else one.slider._asdict(),
        "whole": bool(one.multiple),
        "choices": list(one.choices),
        "default": one.default,
        "unset": one.unset if one.optional else None,
    }


def measured_facts(one: Measured) -> dict[str, str]:
    """A measured quantity as a row is made from it."""
    return {"key": one.key, "label": _capital(one.label), "unit": SIGNS[one.unit]}


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
