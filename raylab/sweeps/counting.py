"""How many designs of a sweep its conditions leave, asked of all of them before it begins."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass

import numpy as np

from ..errors import InputError
from .axes import Plan
from .conditions import name_of

ASKED = 1 << 14
"""Designs that are asked at a time."""


@dataclass(frozen=True)
class Count:
    """What the conditions of a sweep leave of it.

    Attributes
    ----------
    designs, traced : how many there are, and how many meet every condition. first : number of the first of these.
    excluded : how many each condition excludes, in words of its own; a design may be excluded by several.
    digest : SHA-256 (hexadecimal) of which designs are traced.
    """

    designs: int
    traced: int
    first: int
    excluded: tuple[tuple[str, int], ...]
    digest: str

    def __str__(self) -> str:
        each = "; ".join(f"{name} excludes {count}" for name, count in self.excluded)
        return f"{self.traced} of {self.designs} designs meet the conditions: {each}"


def count_of(plan: Plan) -> Count:
    """What a plan's conditions leave of it. Raises InputError where that is nothing, or where a condition fails."""
    if not plan.conditions:
        return Count(len(plan), len(plan), 0, (), "")
    digest, traced, first = hashlib.sha256(), 0, 0
    excluded = np.zeros(len(plan.conditions), dtype=np.int64)
    for start in range(0, len(plan), ASKED):
        met = plan.met(start, start + ASKED)
        kept = met.all(axis=0)
        if not traced and kept.any():
            first = start + int(kept.argmax())
        traced += int(kept.sum())
        excluded += (~met).sum(axis=1)
        digest.update(np.packbits(kept).tobytes())
    words = tuple((name_of(one), int(count)) for one, count in zip(plan.conditions, excluded, strict=True))
    found = Count(len(plan), traced, first, words, digest.hexdigest())
    if not traced:
        raise InputError(f"no design is left: {found}", key="conditions", expected="conditions that some design meets")
    return found
