"""The finish of a facet: what the facet does with light that meets it.

A polished facet reflects and refracts by Fresnel's equations. An absorbing facet ends every light path that meets it; the
ledger books its weight as `scattered`. A Lambertian facet is a diffuse wall on both sides: it reflects the share `albedo`
of the light, by the cosine law whatever the direction it came from, and takes the rest, booked as `scattered`. No light
passes through it. A rough facet is made of small mirrors, which reflect and refract as a polished facet does, and whose
normals scatter about its own: microfacets, see `tracers.microfacets`. A bruted girdle is modeled by any of the three.

A finish is written as its kind and its number, such as ``"lambertian 0.8"``.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from ..errors import InputError, nearest

FINISHES = {
    "polished": "reflects and refracts light",
    "absorbing": "ends every light path that meets it, as a black rough girdle would",
    "lambertian": "reflects a share, its albedo from 0 to 1, in all directions and takes the rest, as in `lambertian 0.8`",
    "rough": "reflects and refracts light at microfacets of a roughness (GGX) from 0 to 1, as in `rough 0.2`",
}
"""Every kind of finish and what it does. The position of a kind is its code in kernels."""

NUMBERS = {"lambertian": "albedo", "rough": "roughness"}
"""What the number of a kind is called; other kinds have none."""

_EXAMPLES = {"lambertian": 0.8, "rough": 0.2}
REFRACTS, ABSORBS, DIFFUSES, ROUGH = range(len(FINISHES))


@dataclass(frozen=True)
class Finish:
    """The finish of one facet.

    Attributes
    ----------
    kind : one of `FINISHES`.
    amount : the number of a kind that has one, from 0 to 1: the albedo of ``"lambertian"``, the roughness
        of ``"rough"``.

    Raises
    ------
    InputError : no such kind, or a number that the kind doesn't have, lacks, or doesn't allow.
    """

    kind: str
    amount: float | None = None

    def __post_init__(self) -> None:
        if not isinstance(self.kind, str) or self.kind not in FINISHES:
            raise InputError("unknown finish", key="finish", value=self.kind, expected=nearest(str(self.kind), FINISHES))
        wanted = NUMBERS.get(self.kind)
        if wanted is None:
            if self.amount is not None:
                raise InputError("this finish has no number", key="finish", value=str(self), expected=repr(self.kind))
            return
        given, expected = self.amount, f"'{self.kind} {_EXAMPLES[self.kind]}', with the {wanted} from 0 to 1"
        if given is None or isinstance(given, bool) or not isinstance(given, int | float) or not 0.0 <= given <= 1.0:
            raise InputError(f"missing or impossible {wanted}", key="finish", value=str(self), expected=expected)
        object.__setattr__(self, "amount", float(given))

    def __str__(self) -> str:
        """As it is written in files: the kind, and its number if it has one."""
        return self.kind if self.amount is None else f"{self.kind} {self.amount!r}"

    @cached_property
    def code(self) -> int:
        """What kernels know this finish by: REFRACTS, ABSORBS, DIFFUSES or ROUGH."""
        return list(FINISHES).index(self.kind)

    @property
    def scatters(self) -> bool:
        """Whether light goes on from it in directions that are drawn at random."""
        return self.code > ABSORBS


POLISHED, ABSORBING = Finish("polished"), Finish("absorbing")


def get_finish(finish: str | Finish, key: str = "finish") -> Finish:
    """The finish that a text states, such as ``"polished"`` or ``"lambertian 0.8"``.

    Raises InputError, which names `key`, for a text that states none.
    """
    if isinstance(finish, Finish):
        return finish
    try:
        return _parsed(finish)
    except InputError as error:
        raise error.but(key=key) from None


def _parsed(text: str) -> Finish:
    kind, *numbers = text.split() if isinstance(text, str) and text.strip() else [text]
    if not numbers or kind not in FINISHES:
        return Finish(kind)
    try:
        amount = float(numbers[0]) if len(numbers) == 1 else None
    except ValueError:
        amount = None
    if amount is None:
        expected = f"'{kind} {_EXAMPLES[kind]}'" if kind in NUMBERS else repr(kind)
        raise InputError("not a finish", key="finish", value=text[:60], expected=expected)
    return Finish(kind, amount)
