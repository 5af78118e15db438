"""What is wrong with a command line, in the words of all other faults: option, value, what was expected."""

from __future__ import annotations

from pathlib import Path

from cyclopts import CoercionError, CycloptsError, MissingArgumentError, UnusedCliTokensError

KINDS = {float: "a number", int: "a whole number", Path: "a path"}
"""What values of a type are called."""


def described(error: CycloptsError) -> str:
    """One line: in our words for a value that is missing, of the wrong type or one too many, else in those of cyclopts."""
    option, command = error.argument, f"raylab {' '.join(error.command_chain or ())}"
    if isinstance(error, UnusedCliTokensError) and error.unused_tokens:
        return f"{error.unused_tokens[0]}: one value too many; see `{command} --help`"
    if isinstance(error, MissingArgumentError) and option is not None:
        many, _ = option.token_count()
        expected = f"{many} values" if many > 1 else KINDS.get(option.hint, "a value")
        return f"{error.keyword or option.name}: missing; expected {expected}; see `{command} --help`"
    if isinstance(error, CoercionError) and error.target_type in KINDS and error.token is not None:
        name = error.token.keyword or (option.name if option is not None else "value")
        return f"{name} = {error.token.value!r}: wrong type; expected {KINDS[error.target_type]}"
    return str(error)
