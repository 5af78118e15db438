"""What every command shares: lines, tables, JSON."""

from __future__ import annotations

import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

from ..errors import printable

if TYPE_CHECKING:
    import xarray as xr

    from ..results.summary import Summary


def say(line: str = "") -> None:
    """One line on stdout: no wrapping, no markup, what no terminal should act on escaped."""
    sys.stdout.write(printable(line) + "\n")


def say_json(facts: Any) -> None:
    """Facts as JSON on stdout."""
    from ..files import to_json

    sys.stdout.write(to_json(facts))


def table(heads: Sequence[str], rows: Sequence[Sequence[str]], *, left: int = 1) -> None:
    """A plain table on stdout: the first `left` columns to the left, numbers to the right, nothing cut off."""
    widths = [max(len(row[k]) for row in [heads, *rows]) for k in range(len(heads))]
    rule = ["-" * width for width in widths]
    for row in (heads, rule, *rows):
        cells = [
            cell.ljust(width) if k < left else cell.rjust(width)
            for k, (cell, width) in enumerate(zip(row, widths, strict=True))
        ]
        say(("  " + "  ".join(cells)).rstrip())


def say_shortfalls(summary: Summary, whose: str) -> None:
    """Print the numbers of a summary that miss the requested precision, and the remedy."""
    for subject, note in summary.shortfalls.items():
        say(f"  {whose}: {subject}: {note}")


def say_wide(found: xr.Dataset, what: str) -> None:
    """Print how many of a series (`what`, in the plural) have brackets wider than the requested precision, and the remedy."""
    if "standard_error" in found.attrs:
        return
    precision, untraced = float(found.attrs["precision"]), found.untraced_high.values
    wide = int((untraced > precision * (1.0 + 1e-9)).sum())
    if wide:
        say(f"  {wide} of {untraced.size} {what} have brackets wider than the requested precision {precision:g},")
        most = float(untraced[untraced > precision].max())
        say(f"  with an untraced share of up to {most:.3g}; a larger max_bounces narrows them")
        say()


@contextmanager
def faults_by_option(*keys: str, **renamed: str) -> Iterator[None]:
    """Name the option in errors about these keys; `renamed` maps a key to the option of another name."""
    from ..errors import InputError

    try:
        yield
    except InputError as error:
        key = renamed.get(error.key or "", error.key or "")
        if error.file is not None or key not in keys:
            raise
        option = "--" + key.replace("_", "-")
        raise InputError(error.problem, key=option, value=error.value, expected=error.expected) from error
