"""`Cut`: one definition per cut: parameters, tiers, symmetry, planes and measured quantities.

Everything that lists a cut's keys, ranges, tiers or words (files, sweeps, help, the page, reports) reads them here. A new cut
is one module that makes a `Cut`, and one row in `raylab.stone.cuts.CUTS`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any, NamedTuple

import numpy as np

from ...errors import InputError, StoneError, nearest
from ...optics.materials import Material
from ...units import carat
from ..finish import POLISHED
from ..measuring.callipers import Callipers, Quantity
from ..stone import Stone
from ..symmetry_group import SymmetryGroup
from ..tier import GIRDLE, Side, Tier
from .bounds import with_bound
from .outline import Outline
from .parameter import Parameter, Values

GIRDLE_FINISH_KEY = "girdle_finish"
"""Key of the parameter that states the girdle's finish, in every cut that has one; without it the girdle is polished."""

WIDTH_KEY = "width_mm"
"""Key of the parameter that states the size of a cut with length and width, to whose width percentages refer."""

WEIGHT_KEY = "weight_ct"
"""Key of the parameter that states the size by the weight, in every cut that has one."""


NAMED = 3
"""Facets that a message names; more are counted."""


class Facets(NamedTuple):
    """The planes of one tier: outward unit normals (K, 3), and distances (K,) or the one that all share."""

    tier: Tier
    normals: np.ndarray
    distances: np.ndarray | float


@dataclass(frozen=True)
class Reason:
    """Why parameters within their ranges make no stone: a `name` for tables, the `key` to change, and the words."""

    name: str
    key: str
    meaning: str

    def error(self, value: float, expected: str | None = None) -> StoneError:
        """The error that refuses a stone for this reason; without words of its own `Cut.stone` finds what to expect."""
        refusal = StoneError(self.meaning, key=self.key, value=value, expected=expected)
        refusal.reason = self.name
        return refusal


@dataclass(frozen=True)
class Measured:
    """A quantity that is measured on stones of a cut.

    Attributes
    ----------
    key, label, unit : as for a `Parameter`; the key of a parameter where the quantity is that parameter's.
    definition : how it is measured, with its source.
    of : what callipers find; None where the facets it needs are missing.
    uneven : its spread (largest minus smallest) says how uneven the stone is.
    signed : it may be negative.
    mean : False where the mean says nothing and the spread is all.
    """

    key: str
    label: str
    unit: str
    definition: str
    of: Callable[[Callipers], Quantity | None]
    uneven: bool = False
    signed: bool = False
    mean: bool = True


@dataclass(frozen=True)
class Cut:
    """A cut.

    Attributes
    ----------
    name : trade name. description : one line.
    parameters : parameters in order of display. size : key of the parameter that is the length of the stone; planes are made
        for length 1 and scaled.
    tiers : tiers from the top down. symmetry : symmetry of an ideal stone.
    outline : girdle outline of every stone of size 1; None where it depends on the parameters.
    planes : the facets of a stone of size 1, from the values of all parameters. Raises one of `reasons`.
    reasons : reasons why values give no stone. measured : measured quantities besides `shared.OF_ANY_STONE`.
    """

    name: str
    description: str
    parameters: tuple[Parameter, ...]
    size: str
    tiers: tuple[Tier, ...]
    symmetry: SymmetryGroup
    outline: Outline | None
    planes: Callable[[Values], list[Facets]]
    reasons: tuple[Reason, ...] = ()
    measured: tuple[Measured, ...] = ()

    @property
    def of_width(self) -> bool:
        """True for a cut with length and width: its percentages are of the width, not of the mean girdle diameter."""
        return self.size == WIDTH_KEY

    @cached_property
    def keys(self) -> dict[str, Parameter]:
        """The parameters by key."""
        return {parameter.key: parameter for parameter in self.parameters}

    @cached_property
    def alternatives(self) -> tuple[tuple[str, str], ...]:
        """Pairs of alternative keys for one quantity."""
        return tuple((one.instead_of, one.key) for one in self.parameters if one.instead_of is not None)

    def mains(self, side: Side | None = None) -> tuple[str, ...]:
        """Names of the tiers of mains, on one side or on both."""
        return tuple(tier.name for tier in self.tiers if tier.main and side in (None, tier.side))

    @property
    def last(self) -> tuple[str, ...]:
        """Names of the tiers that are cut last."""
        return tuple(tier.name for tier in self.tiers if tier.last)

    def stated_once(self, stated: Mapping[str, Any]) -> None:
        """Raise InputError for unknown keys and for two alternatives together."""
        for key in stated:
            if key not in self.keys:
                raise InputError(f"no parameter of the {self.name}", key=key, expected=nearest(key, self.keys))
        for pair in self.alternatives:
            if set(pair) <= set(stated):
                raise InputError(f"{' and '.join(pair)} are alternatives; give only one", key=pair[1], also=pair)

    def defaults(self, stated: Mapping[str, Any]) -> dict[str, Any]:
        """What is not stated and has a default; an alternative that is stated stands for its pair."""
        replaced = {one for one, other in self.alternatives if other in stated}
        left = [one for one in self.parameters if one.key not in stated and one.key not in replaced]
        return {one.key: one.default for one in left if one.default is not None}

    def settled(self, given: Mapping[str, Any]) -> dict[str, Any]:
        """The value of every parameter, with alternatives converted.

        Raises InputError for an unknown key, two alternatives together, a missing key, a value that is not allowed.
        """
        stated = {key: value for key, value in given.items() if value is not None}
        self.stated_once(stated)
        full = {**stated, **self.defaults(stated)}
        values = {one.key: one.checked(full[one.key]) for one in self.parameters if one.key in full}
        for one in self.parameters:
            if one.instead_of is not None and one.converted is not None and one.key in values:
                values[one.instead_of] = one.converted(values.pop(one.key), values)
        for one in self.parameters:
            if one.key not in values and not one.optional and one.instead_of is None:
                keys = [one.key, *(other for key, other in self.alternatives if key == one.key)]
                if not values.keys() & keys:
                    expected = one.span if len(keys) == 1 else "one of the two"
                    raise InputError("missing", key=" or ".join(keys), expected=expected)
        return values

    def stone(self, *, material: str | Material = "diamond", name: str | None = None, **given: Any) -> Stone:
        """A stone of this cut.

        Parameters
        ----------
        material : name or `Material`. name : name of the stone; by default that of the cut.
        **given : values of the parameters by key; None counts as not stated.

        Raises
        ------
        InputError : an unknown parameter, two alternatives together, a missing parameter, a value out of range.
        StoneError : values without a valid stone; the message names the key and the bound.
        """
        try:
            return self.made(material=material, name=name, **given)
        except StoneError as refused:
            stated = {key: value for key, value in given.items() if value is not None}
            values, standing = self.settled(stated), {*stated, *self.defaults(stated)}
            mine = [one for one in self.parameters if one.key in standing]

            def refusal(others: Values) -> StoneError | None:
                try:
                    self._of_size_1(others, material, self.name)
                except StoneError as error:
                    return error
                return None

            raise with_bound(refused, mine, values, refusal) from None

    def made(self, *, material: str | Material = "diamond", name: str | None = None, **given: Any) -> Stone:
        """As `stone`, but a StoneError names no bound, which takes some hundred stones to find: for sweeps over many."""
        values = self.settled(given)
        stone = self._of_size_1(values, material, self.name if name is None else name)
        size = values.get(self.size)
        if size is None:
            size = (values[WEIGHT_KEY] / carat(stone.volume_mm3, stone.material.density_g_cm3)) ** (1.0 / 3.0)
        stated = {key: value for key, value in given.items() if value is not None}
        return stone.scaled(size).relabeled(proportions=stated)

    def plainly(self, given: Mapping[str, Any], volume_mm3: float) -> dict[str, Any]:
        """The value of every parameter but alternatives, given of a stone of that volume: a weight becomes a size.

        Choices stay as they are stated.
        """
        values = self.settled(given)
        if self.size not in values:
            for key, other in self.alternatives:
                if key == self.size:
                    values.pop(other, None)
            values[self.size] = (volume_mm3 / self._of_size_1(values, "diamond", self.name).volume_mm3) ** (1.0 / 3.0)
        return values | {one.key: given.get(one.key, one.default) for one in self.parameters if one.choices}

    def _of_size_1(self, values: Values, material: str | Material, name: str) -> Stone:
        """The stone of size 1, each of whose planes is a facet."""
        tiers = self.planes(values)
        counts = [len(facets.normals) for facets in tiers]
        names = [facets.tier.name for facets, count in zip(tiers, counts, strict=True) for _ in range(count)]
        girdle = values.get(GIRDLE_FINISH_KEY, POLISHED)
        stone = Stone.from_planes(
            np.concatenate([facets.normals for facets in tiers]),
            np.concatenate([np.broadcast_to(facets.distances, count) for facets, count in zip(tiers, counts, strict=True)]),
            tiers=names,
            indices=[k for count in counts for k in range(count)],
            material=material,
            finishes=[girdle if tier == GIRDLE.name else POLISHED for tier in names],
            symmetry=self.symmetry,
            cut=self.name,
            name=name,
            redundant="drop",
        )
        if stone.dropped:
            more = f" and {len(stone.dropped) - NAMED} more" if len(stone.dropped) > NAMED else ""
            raise StoneError(f"nothing would be left of {', '.join(stone.dropped[:NAMED])}{more}")
        return stone
