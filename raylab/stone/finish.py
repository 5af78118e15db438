"""The finish of a facet: what the facet does with light that meets it.

A polished facet reflects and refracts by Fresnel's equations. An absorbing facet ends every light path that meets it; the
ledger books its weight as `scattered`. A bruted girdle is modeled as absorbing: it scatters light in all directions, and the
tracers follow none of them.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from ..errors import InputError, nearest

FINISHES = {
    "polished": "reflects and refracts light",
    "absorbing": "ends every light path that meets it, as a bruted (rough) girdle does",
}
"""Every kind of finish and what it does. The position of a kind is its code in kernels."""

REFRACTS, ABSORBS = range(len(FINISHES))


@dataclass(frozen=True)
class Finish:
    """The finish of one facet.

    Attributes
    ----------
    kind : one of `FINISHES`.

    Raises
    ------
    InputError : no such kind.
    """

    kind: str

    def __post_init__(self) -> None:
        if not isinstance(self.kind, str) or self.kind not in FINISHES:
            raise InputError("unknown finish", key="finish", value=self.kind, expected=nearest(str(self.kind), FINISHES))

    @cached_property
    def code(self) -> int:
        """What kernels know this finish by: REFRACTS or ABSORBS."""
        return list(FINISHES).index(self.kind)


POLISHED, ABSORBING = map(Finish, FINISHES)


def get_finish(finish: str | Finish, key: str = "finish") -> Finish:
    """The finish of a name. Raises InputError, which names `key`, for a name that no finish has."""
    if isinstance(finish, Finish):
        return finish
    try:
        return Finish(finish)
    except InputError as error:
        raise InputError(error.problem, key=key, value=error.value, expected=error.expected) from None
