"""The card of a summary: the ledger as bars, and the statistics with their brackets and errors."""

from __future__ import annotations

from ..results.statistics import Statistic, description_of
from ..results.summary import Summary
from .html import FAINT, Html, joined, note, page, row, table, tag

_BAR = 120
"""Pixels that stand for all the light."""


def card(summary: Summary) -> Html:
    """Ledger, statistics and notes."""
    waves = ", ".join(f"{record.wavelength_nm:g}" for record in summary.records)
    return page("Summary", f"engine {summary.engine}, {waves} nm", numbers(summary))


def numbers(summary: Summary) -> Html:
    """The ledger with bars beside the statistics, and the notes below."""
    ledger = [(_name(key), _bar(one), *_numbers(one)) for key, one in summary.ledger.items()]
    others = [(_name(key), *_numbers(one)) for key, one in summary.beside_ledger.items()]
    tables = row(
        table(ledger, ("ledger", "", "area mean", "certainly between")), table(others, ("statistic", "", "certainly between"))
    )
    return joined([tables, *(note(f"{subject}: {words}") for subject, words in summary.notes.items())])


def _name(key: str) -> Html:
    """The name of a statistic, with its definition on hover; an entry of the ledger by its key."""
    found = description_of(key)
    label, definition = (key, "") if found is None else (found.label, found.definition)
    return tag("span", label, title=definition)


def _numbers(one: Statistic) -> tuple[str, str]:
    """The value with its standard error, and the bracket; either is left out where it rounds to nothing."""
    error = tag("span", f" ± {one.error:.4f}", style=FAINT) if one.error >= 5e-5 else Html("")
    bracket = f"{one.low:z.4f} to {one.high:z.4f}" if one.low < one.high else ""
    return joined([f"{one.value:z.4f}", error]), bracket


def _bar(one: Statistic) -> Html:
    """A bar from 0 to the value; its end says it, so that it needs no text."""
    width = max(0.0, min(1.0, one.value)) * _BAR
    inside = tag("div", style=f"width:{width:.1f}px;height:9px;background:currentColor;opacity:0.6")
    return tag("div", inside, style=f"width:{_BAR}px;background:rgba(128,128,128,0.2)", aria_hidden="true")
