"""The errors of raylab: one line each, with the place, the problem and the expected value.

Everything that a user can mend is an `InputError`; the command line turns it into exit code 2. Anything else that
escapes is a fault of ours and keeps its traceback.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Callable, Iterable
from typing import Self

LONGEST_LINE = 1000
"""Characters of a message; a longer one loses its middle."""


class RaylabError(Exception):
    """Base class of the errors of raylab."""


class RaylabWarning(UserWarning):
    """What went otherwise than planned, and what was done about it; the result is not affected."""


class InputError(RaylabError, ValueError):
    """Invalid input, described in one line.

    The parts are kept separately, so that a loader can add file and section.

    Parameters
    ----------
    problem : the problem, as a clause without a full stop.
    key : the name of the offending parameter, e.g. ``"stone.table_pct"``.
    value : the offending value, shown as ``key = value``.
    expected : an acceptable value, in words.
    file : the file of the value.
    also : the names of other parameters that the words name.
    """

    def __init__(
        self,
        problem: str,
        *,
        key: str | None = None,
        value: object = None,
        expected: str | None = None,
        file: str | None = None,
        also: tuple[str, ...] = (),
    ) -> None:
        self.problem, self.key, self.value, self.expected, self.file = problem, key, value, expected, file
        self.also = also
        super().__init__(str(self))

    def __str__(self) -> str:
        where = [self.file] if self.file else []
        if self.key is not None:
            where.append(self.key if self.value is None else f"{self.key} = {_repr(self.value)}")
        what = self.problem
        if self.expected is not None:
            what += f"; {self.expected}" if self.expected.startswith("did you mean") else f"; expected {self.expected}"
        return one_line(": ".join([*where, what]))

    def within(self, *, file: str | None = None, section: str | None = None) -> Self:
        """The same error with the file and the section of its key."""
        found = self if section is None else self._renamed(lambda key: f"{section}.{key}")
        return found.but(key=found.key or section, file=file or found.file)

    def called(self, name: Callable[[str], str]) -> Self:
        """The same error with each parameter that it names, such as its key, by the name that a door knows it by."""
        found = self._renamed(name)
        told = found.expected and re.sub(r"(?<=^did you mean ')\w+(?=')", lambda one: name(one[0]), found.expected)
        return found.but(expected=told)

    def but(self, **parts: object) -> Self:
        """The same error with other parts, by their names; what else it carries stays."""
        found = type(self).__new__(type(self))  # `copy` asks copyreg, where dask has errors share their parts
        vars(found).update(vars(self), **parts)
        found.args = (str(found),)
        return found

    def _renamed(self, name: Callable[[str], str]) -> Self:
        """The same error with its key, and the parameters in `also`, by other names."""

        def words(text: str | None) -> str | None:
            each = "|".join(map(re.escape, self.also))
            return re.sub(rf"(?<![\w.-])(?:{each})(?![\w.-])", lambda found: name(found[0]), text) if each and text else text

        key = None if self.key is None else " or ".join(map(name, self.key.split(" or ")))  # one of several is missing
        return self.but(problem=words(self.problem), key=key, expected=words(self.expected), also=tuple(map(name, self.also)))


class StoneError(InputError):
    """Planes or proportions that do not form a closed convex stone."""

    reason: str | None = None
    """Name of the cut's reason why, where it stated one (`stone.cuts.cut.Reason`)."""


class UnsupportedScene(InputError):  # noqa: N818 - names what is refused, as StoneError does
    """A scene that the requested engine, or every engine of the table, can't trace."""

    @classmethod
    def by(cls, *refusals: tuple[str, str]) -> UnsupportedScene:
        """The error for one engine or several, each given as (engine, reason)."""
        return cls(
            "; ".join(f"the engine `{name}` can't trace this scene: {reason}" for name, reason in refusals), key="engine"
        )


def one_line(text: str) -> str:
    """A text as a terminal can show it in a line: spaces folded, control characters escaped, the middle of a long one left out.

    >>> one_line("a\\x1b[31mb\\n c")
    'a\\\\x1b[31mb c'
    """
    line = printable(" ".join(text.split()))
    return line if len(line) <= LONGEST_LINE else f"{line[: LONGEST_LINE - 405]} ... {line[-400:]}"


def printable(text: str) -> str:
    """A text with its control characters, line breaks among them, and what else doesn't print, escaped."""
    return text if text.isprintable() else "".join(c if c.isprintable() else ascii(c)[1:-1] for c in text)


def _repr(value: object) -> str:
    try:
        return repr(value)
    except (ValueError, RecursionError):  # an integer of thousands of digits; thousands of brackets in each other
        return f"a very long {type(value).__name__}"


def nearest(word: str, known: Iterable[str]) -> str:
    """A suggestion for a mistyped name or the beginning of one, or the list of names when nothing is close.

    >>> nearest("diamnod", ["diamond", "spinel"])
    "did you mean 'diamond'?"
    >>> nearest("oval", ["oval brilliant", "rose cut"])
    "did you mean 'oval brilliant'?"
    """
    names = sorted(known)
    begun = [name for name in names if word and name.lower().startswith(word.lower())]
    close = begun if len(begun) == 1 else difflib.get_close_matches(word[:100], names, n=1, cutoff=0.6)
    return f"did you mean {close[0]!r}?" if close else "one of " + ", ".join(names)
