"""What every command shares: lines, tables, JSON."""

from __future__ import annotations

import codecs
import io
import json
import sys
import time
from collections.abc import Iterator, Sequence
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ..errors import printable
from ..progress import LONG_S
from ..units import with_minus_signs

if TYPE_CHECKING:
    import xarray as xr

    from ..results.summary import Summary
    from ..stone.stone import Stone


PLAIN_CHARACTERS = {
    "\N{SUPERSCRIPT TWO}": "^2",
    "\N{SUPERSCRIPT THREE}": "^3",
    "\N{DEGREE SIGN}": " deg",
    "\N{MICRO SIGN}": "u",
    "\N{PLUS-MINUS SIGN}": "+-",
    "\N{MULTIPLICATION SIGN}": "x",
    "\N{MINUS SIGN}": "-",
}


class Compiling:
    """Says which kernel is being compiled, so that nobody takes the first command of an installation for stuck.

    A terminal gets a line for each kernel; other output only once compiling has taken long.
    """

    def __init__(self) -> None:
        self.start_s: float | None = None

    def __call__(self, kernel: str) -> None:
        now = time.monotonic()
        self.start_s = self.start_s or now
        if sys.stderr.isatty() or now - self.start_s > LONG_S:
            sys.stderr.write(f"raylab: compiling, once for this installation: {kernel}\n")
            sys.stderr.flush()


def never_fail_for_characters() -> None:
    """What the output's code page lacks is written in plain characters; what has none, by its number."""
    codecs.register_error("raylab.plain", _plain)
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="raylab.plain")


def _plain(error: UnicodeError) -> tuple[str | bytes, int]:
    if not isinstance(error, UnicodeEncodeError):
        raise error
    lacking = error.object[error.start : error.end]
    return "".join(PLAIN_CHARACTERS.get(one) or ascii(one)[1:-1] for one in lacking), error.end


def say(line: str = "") -> None:
    """One line on stdout: no wrapping, no markup, true minus signs, what no terminal should act on escaped."""
    sys.stdout.write(printable(with_minus_signs(line)) + "\n")


def say_json(facts: Any) -> None:
    """Facts as JSON on stdout, whose characters any code page has."""
    from ..files import to_json

    text = to_json(facts)
    sys.stdout.write(text if text.isascii() else json.dumps(json.loads(text), indent=2) + "\n")


def table(heads: Sequence[str], rows: Sequence[Sequence[str]], *, left: int = 1) -> None:
    """A plain table on stdout: the first `left` columns to the left, numbers to the right, nothing cut off."""
    rows = [[with_minus_signs(cell) for cell in row] for row in rows]  # before they are laid out
    widths = [max(len(row[k]) for row in [heads, *rows]) for k in range(len(heads))]
    rule = ["-" * width for width in widths]
    for row in (heads, rule, *rows):
        cells = [
            cell.ljust(width) if k < left else cell.rjust(width)
            for k, (cell, width) in enumerate(zip(row, widths, strict=True))
        ]
        say(("  " + "  ".join(cells)).rstrip())


def say_written(names: Sequence[str], folder: Path) -> None:
    """Print which files a command has written into a folder."""
    *first, last = names
    say(f"{', '.join(first)} and {last} in {folder}" if first else f"{last} in {folder}")


def say_materials(*stones: Stone) -> None:
    """Print once for each material what is left out of its model, and which of its numbers have no source."""
    for name, remark in dict.fromkeys((stone.material.name, stone.material.remark) for stone in stones):
        if remark:
            say(f"  {name}: {remark}")


def say_shortfalls(summary: Summary, whose: str) -> None:
    """Print the numbers of a summary that miss the requested precision, and the remedy."""
    for subject, note in summary.shortfalls.items():
        say(f"  {whose}: {subject}: {note}")


def say_wide(found: xr.Dataset, what: str) -> None:
    """Print how many of a series (`what`, in the plural) have brackets wider than the requested precision, and the remedy.

    A series that asked for a standard error has wide brackets; there, what counts is the light that rays did not trace either.
    """
    by_error, precision = "standard_error" in found.attrs, float(found.attrs["precision"])
    untraced = (found.untraced if by_error else found.untraced_high).values
    wide = int((untraced > precision * (1.0 + 1e-9)).sum())
    if wide:
        so = f"leave more than {precision:g} of the light untraced" if by_error else ""
        say(f"  {wide} of {untraced.size} {what} {so or f'have brackets wider than the requested precision {precision:g}'},")
        most = float(untraced[untraced > precision].max())
        say(f"  with an untraced share of up to {most:.3g}; a larger max_bounces {'lowers it' if by_error else 'narrows them'}")
        say()


@contextmanager
def goes_on(what: str, force: bool = False) -> Iterator[None]:
    """An interrupt says that the same command, but for `force` that would begin anew, goes on with what keeps its parts."""
    try:
        yield
    except KeyboardInterrupt as signalled:
        signalled.add_note(f"the same command{' without --force' if force else ''} goes on with the {what}")
        raise


@contextmanager
def faults_by_option(*keys: str, read: Path | None = None, **renamed: str) -> Iterator[None]:
    """Name the option in errors about these keys; `renamed` maps a key to the option of another name.

    Errors that name a file are about what stands in it; those about the file `read` itself are about how it is to be read.
    """
    from ..errors import InputError

    try:
        yield
    except InputError as error:

        def option(key: str) -> str:
            own = renamed.get(key, key)
            return "--" + own.replace("_", "-") if own in keys else key

        if error.file not in (None, str(read)):
            raise
        raise error.called(option) from error


def reading(path: Path) -> AbstractContextManager[None]:
    """Name the option in errors about how a stone's file is to be read."""
    return faults_by_option("unit", "material", "noise_um", read=path)
