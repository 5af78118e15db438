"""Which end of a number is asked for, by the words that every search over designs takes."""

from __future__ import annotations

from typing import Any

from ..errors import InputError

SIGNS = {"highest": 1.0, "lowest": -1.0}


def sign_of(goal: Any, key: str) -> float:
    """1 where the highest number is asked for, -1 where the lowest is; `key` names the argument in the error of any other goal.

    >>> sign_of("lowest", "goal")
    -1.0
    """
    if not isinstance(goal, str) or goal not in SIGNS:
        raise InputError("unknown goal", key=key, value=goal, expected=" or ".join(map(repr, SIGNS)))
    return SIGNS[goal]
