"""Cuts by name: their stones, their common quantities, and the cut of a stone."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from ..errors import InputError, nearest
from .cuts import CUTS
from .cuts.cut import Cut, Measured
from .cuts.long_measured import OF_NO_CUT
from .cuts.outlines import HEART, NOT_CONVEX
from .cuts.shared import OF_ANY_STONE
from .stone import Stone
from .tier import SHARED, Tier


def cuts() -> tuple[Cut, ...]:
    """All cuts, with parameters, tiers and measured quantities.

    >>> [parameter.key for parameter in cuts()[0].parameters][:2]
    ['table_pct', 'crown_angle_deg']
    """
    return tuple(CUTS.values())


def get_cut(name: Any) -> Cut:
    """The cut of a name. Raises InputError for one that isn't known."""
    if not isinstance(name, str) or name not in CUTS:
        if HEART in str(name).lower():
            raise InputError(f"a heart is {NOT_CONVEX}", key="cut", value=name, expected="a cut with a convex outline")
        raise InputError("unknown cut", key="cut", value=name, expected=nearest(str(name), CUTS))
    return CUTS[name]


def check_own(cut: Cut, stated: Iterable[str]) -> None:
    """Raise InputError for a parameter of other cuts that this one lacks; what no cut has is for others to refuse."""
    for key in stated:
        owners = [other.name for other in CUTS.values() if key in other.keys]
        if owners and key not in cut.keys:
            whose = owners[0] if len(owners) == 1 else f"{owners[0]} and others"
            raise InputError(
                f"no parameter of the {cut.name}, but of the {whose}", key=key, expected=f"one of {', '.join(sorted(cut.keys))}"
            )


def cut(name: str, /, **parameters: Any) -> Stone:
    """A stone of a cut, by the name of the cut.

    >>> len(cut("round brilliant", table_pct=57, crown_angle_deg=34.5, pavilion_angle_deg=40.75))
    153

    Parameters
    ----------
    name : name of the cut, see `cuts`.
    **parameters : parameters of that cut by key; also `material`, and `name` for the stone.

    Raises
    ------
    InputError : an unknown cut, or an unknown, missing, doubly stated or out-of-range parameter.
    StoneError : parameters without a valid stone; the message names the key and the bound.
    """
    known = get_cut(name)
    check_own(known, parameters)
    return known.stone(**parameters)


def cut_of(stone: Stone) -> Cut | None:
    """The cut of a stone: the one it states, else the first that owns the name of one of its tiers; None where none does."""
    if stone.cut is not None:
        return CUTS.get(stone.cut)
    names = set(stone.tiers) - {tier.name for tier in SHARED}
    return next((known for known in CUTS.values() if names & {tier.name for tier in known.tiers}), None)


def tiers_of(stone: Stone) -> tuple[Tier, ...]:
    """The tiers of a stone's cut; those of every cut where its cut isn't known."""
    known = cut_of(stone)
    return SHARED if known is None else known.tiers


def tiers_by_name() -> dict[str, Tier]:
    """Every tier that a cut names; a name stands for one side in all of them."""
    return {tier.name: tier for known in CUTS.values() for tier in known.tiers}


def measured_of(name: str | None) -> tuple[Measured, ...]:
    """The quantities of a cut's stones, those of any stone first; without a cut, those of stones of none."""
    return (*OF_ANY_STONE, *(CUTS[name].measured if name is not None else OF_NO_CUT))


def measured_by_key() -> dict[str, Measured]:
    """Every quantity that is measured on some cut; the same key means the same in all of them."""
    every = (*OF_ANY_STONE, *(one for known in CUTS.values() for one in known.measured))
    return {one.key: one for one in every}
