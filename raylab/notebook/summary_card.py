"""The card of a summary: the ledger as bars, and the statistics with their brackets and errors."""

from __future__ import annotations

from ..results.statistics import Statistic, description_of
from ..results.summary import Summary
from .html import FAINT, Html, bar_of, joined, note, page, row, table, tag


def card(summary: Summary) -> Html:
    """Ledger, statistics and notes."""
    waves = ", ".join(f"{record.wavelength_nm:g}" for record in summary.records)
    return page("Summary", f"engine {summary.engine}, {waves} nm", numbers(summary))


def numbers(summary: Summary) -> Html:
    """The ledger with bars beside the statistics, and the notes below."""
    ledger = [(_name(key), bar_of(one.value), *_numbers(one)) for key, one in summary.ledger.items()]
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
