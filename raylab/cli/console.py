"""What every command shares: lines, tables, JSON."""

from __future__ import annotations

import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any


def say(line: str = "") -> None:
    """One line on stdout, as it is: no wrapping, no markup."""
    sys.stdout.write(line + "\n")


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


@contextmanager
def told_by_option(*keys: str, **renamed: str) -> Iterator[None]:
    """Faults of these keys are told by the command line's option of that name; `renamed` gives a key another option's."""
    from ..errors import InputError

    try:
        yield
    except InputError as error:
        key = renamed.get(error.key or "", error.key or "")
        if error.file is not None or key not in keys:
            raise
        option = "--" + key.replace("_", "-")
        raise InputError(error.problem, key=option, value=error.value, expected=error.expected) from error
