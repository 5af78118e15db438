"""Batches of beams: what a run starts from and leaves behind, and how some of them are put together anew."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from ...jit import njit
from ...lighting.dome import DomeTable
from ..ledger import ON_POLYGONS
from ..stone_table import StoneTable
from .beam_optics import SIDES, START, WIDTH


class Rules(NamedTuple):
    """How a run goes.

    Attributes
    ----------
    floor : mm^2; a beam with less PRIORITY is set aside.
    first_node : number of the first new node.
    keep_paths : keep nodes at all; always in a tinted stone.
    limit : when so many beams are held, all that remain are set aside.
    tolerance : mm, see `clipping.split`.
    polarized, max_bounces : see `trace_beams`.
    """

    floor: float
    first_node: int
    keep_paths: bool
    limit: int
    tolerance: float
    polarized: bool
    max_bounces: int


class Surroundings(NamedTuple):
    """What beams run through.

    Attributes
    ----------
    stone : padded, see `nearest_plane`. neighbors, neighbor_starts : see `single_facet.neighbor_planes`.
    dome : what is around the stone. turn : (3, 3) rotation from the stone's frame to the dome's.
    """

    stone: StoneTable
    neighbors: np.ndarray
    neighbor_starts: np.ndarray
    dome: DomeTable
    turn: np.ndarray


class BeamSet(NamedTuple):
    """Beams and their polygons.

    Attributes
    ----------
    beams : (B, WIDTH). ledgers : (B, ON_POLYGONS). corners : (K, 2) all polygons, mm; a beam's are at its START.
    """

    beams: np.ndarray
    ledgers: np.ndarray
    corners: np.ndarray


class Batch(NamedTuple):
    """Beams that a run left behind.

    Attributes
    ----------
    beams, ledgers, corners : as in `BeamSet`, the polygons end to end.
    nodes : (N, 2) the paths' nodes: number of the node before (-1: none) and the facet met; the run's own are numbered from
        `Rules.first_node` on.
    events : (N, EVENT) in a tinted stone, else empty.
    pieces : number of reflected pieces.
    lost : number of beams that could not be split and were left as they were.
    stopped : True if the limit ended the work.
    through : (F, ON_POLYGONS) mm^2, area times ledger of what left or was scattered at each facet; colourless stones only.
    """

    beams: np.ndarray
    ledgers: np.ndarray
    corners: np.ndarray
    nodes: np.ndarray
    events: np.ndarray
    pieces: int
    lost: int
    stopped: bool
    through: np.ndarray


def gather(chosen: list[tuple[Batch, np.ndarray]]) -> BeamSet:
    """Beams of batches, chosen by their numbers, close together in new arrays."""
    count = sum(len(which) for _, which in chosen)
    corners = sum(int(batch.beams[:, SIDES][which].sum()) for batch, which in chosen)
    into = BeamSet(np.empty((count, WIDTH)), np.empty((count, ON_POLYGONS)), np.empty((corners, 2)))
    first = used = 0
    for batch, which in chosen:
        if not len(which):
            continue
        first, used = _copy(batch.beams, batch.ledgers, batch.corners, which, *into, first, used)
    return into


@njit(in_place=True)
def _copy(beams, ledgers, corners, which, into, into_ledgers, into_corners, first, used):
    """Copy the beams `which` (T,) to `first` and on, their corners to `used` and on; returns where they end.

    Three arrays as in `BeamSet` to copy from, three to copy into.
    """
    for b in which:
        size, start = int(beams[b, SIDES]), int(beams[b, START])
        for k in range(WIDTH):
            into[first, k] = beams[b, k]
        for k in range(ON_POLYGONS):
            into_ledgers[first, k] = ledgers[b, k]
        for k in range(size):
            into_corners[used + k, 0], into_corners[used + k, 1] = corners[start + k, 0], corners[start + k, 1]
        into[first, START] = used
        first, used = first + 1, used + size
    return first, used
