"""The strongest path of each virtual facet: from the entry facet to the ledger entry of the exit.

A view ray runs through the stone and loses part of its weight at every hit. Of its parts the largest that is booked at
once explains best why a spot looks as it does: the path up to that hit, and the ledger entry under which that part is
booked. Body colour takes its share all along and is no such part. Where more is still untraced than left at once, the
path is not settled: its words are the entry facet and ``untraced``.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..stone.stone import Stone
from ..tracers.exact.beams import Beams
from ..tracers.ledger import CHANNELS, FIELDS, UNTRACED


@dataclass(frozen=True)
class Paths:
    """The different strongest paths of a view, those that show the largest area first.

    Attributes
    ----------
    facets : (P, D) facet numbers, the facet looked through first, padded with -1. towards : (P,) ledger entry in which each
        ends, as a channel of `ledger`. areas_mm2 : (P,) outline seen along each.
    which : (L,) the path of each polygon of `Beams.unfolded`.
    """

    facets: np.ndarray
    entry: np.ndarray
    areas_mm2: np.ndarray
    which: np.ndarray

    def __len__(self) -> int:
        return len(self.facets)

    def name(self, path: int, stone: Stone, most: int | None = None) -> str:
        """A path in words, such as ``"table 0 > pavilion main 3 > pavilion main 7 > leak"``.

        A path of more than `most` facets is shortened to its last ones, with the number of omitted facets.
        """
        return self.names(np.array([path]), stone, most)[0]

    def names(self, which: np.ndarray, stone: Stone, most: int | None = None) -> list[str]:
        """The same for the paths `which`."""
        facet_names = [stone.facet_name(f) for f in range(len(stone))]
        lengths = (self.facets[which] >= 0).sum(axis=1).tolist()
        found = []
        for facets, length, entry in zip(self.facets[which].tolist(), lengths, self.entry[which].tolist(), strict=True):
            words = [facet_names[f] for f in facets[:length]] + [FIELDS[entry]]
            if most is not None and length > most:
                words[1 : length - most + 1] = [f"({length - most} more)"]
            found.append(" > ".join(words))
        return found


def strongest_paths(beams: Beams) -> Paths:
    """The strongest path of each polygon of `beams.unfolded()`. Raises InputError if paths were not kept."""
    whole = beams.unfolded()
    node = np.where(whole.strongest_entry == UNTRACED, whole.first, whole.strongest)
    shape = (len(whole.nodes), len(whole.symmetry.facets), CHANNELS)
    keys, of_polygon = np.unique(np.ravel_multi_index((node, whole.copy_of, whole.strongest_entry), shape), return_inverse=True)
    node, copy, entry = np.unravel_index(keys, shape)
    chains = _chains(whole.nodes, node)
    chains = np.where(chains >= 0, whole.symmetry.facets[copy[:, None], chains], -1)
    # Copies of a path may run along the same facets: those are one path.
    rows, of_end = np.unique(np.column_stack([chains, entry]), axis=0, return_inverse=True)
    which = of_end.ravel()[of_polygon.ravel()]
    areas = np.bincount(which, whole.areas_mm2, len(rows))
    order = np.argsort(-areas, kind="stable")
    rank = np.empty_like(order)
    rank[order] = np.arange(len(order))
    return Paths(rows[order, :-1], rows[order, -1], areas[order], rank[which])


def _chains(nodes: np.ndarray, ends: np.ndarray) -> np.ndarray:
    """(E, D) facets met on the way to each node of `ends`, the first first, padded with -1."""
    columns, node = [], ends.copy()
    while np.any(node >= 0):
        columns.append(np.where(node >= 0, nodes[node, 1], -1))
        node = np.where(node >= 0, nodes[node, 0], -1)
    backward = np.array(columns).T
    depth = (backward >= 0).sum(axis=1)
    at = depth[:, None] - 1 - np.arange(len(columns))
    return np.where(at >= 0, np.take_along_axis(backward, np.maximum(at, 0), axis=1), -1)
