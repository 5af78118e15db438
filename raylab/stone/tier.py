"""`Tier`: facets of one kind, by trade name, and what is known of their kind: side, place in the pattern, mates.

Table, girdle and culet are the same tiers in every cut. All others belong to a cut, which names them in its own file.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Side = Literal["crown", "girdle", "pavilion"]


@dataclass(frozen=True)
class Tier:
    """A tier of facets.

    Attributes
    ----------
    name : the trade's, such as ``"upper half"``. side : of the stone it belongs to.
    per_main : facets to each main of the pattern; 0 where the tier has no place in one (table, girdle, culet).
    offset : where its first facet stands, in steps from one main to the next.
    main : True for the mains, which set the pattern.
    mates : names of the tiers that it is laid to: its planes follow from theirs.
    borders : name of the tier that it borders in its whole width once the stone is done; None where it meets others in points.
        A facet whose tier is not known is named by this.
    painted_toward : name of the mains that it can be turned towards (painting); None where it is not painted.
    last : True where it is cut last, on a stone that is blocked: table, mains and girdle done.
    """

    name: str
    side: Side
    per_main: int = 0
    offset: float = 0.0
    main: bool = False
    mates: tuple[str, ...] = ()
    borders: str | None = None
    painted_toward: str | None = None
    last: bool = False


TABLE = Tier("table", "crown")
GIRDLE = Tier("girdle", "girdle")
CULET = Tier("culet", "pavilion")

SHARED = (TABLE, GIRDLE, CULET)
"""Tiers that many cuts have; their names do not identify a cut."""

PLAIN = {"crown": "crown", "pavilion": "pavilion"}
"""Names by side for facets whose tier is not known."""

FACET = "facet"
"""What a facet is called whose tier nobody states."""

EXTRA = "extra"
"""A facet at a place of the pattern that a larger one holds already."""
