"""Batches of beams: what a run starts from and leaves behind, and how some of them are put together anew."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from ...jit import njit
from ...lighting.dome import DomeTable
from ..ledger import CHANNELS
from ..stone_table import StoneTable
from .beam_optics import SIDES, START, WIDTH


class Rules(NamedTuple):
    """How a run goes.

    floor : mm^2; a beam with less PROMISE is set aside. base : number of the first new node. paths : keep nodes at all.
    limit : when so many beams are held, all that remain are set aside. tolerance : see clip.split, mm.
    polarized, max_bounces. absorption : 1/mm.
    """

    floor: float
    base: int
    paths: bool
    limit: int
    tolerance: float
    polarized: bool
    max_bounces: int
    absorption: float


class Setting(NamedTuple):
    """What beams run through.

    stone : filled up, see `facing`. fence, fences : see `fence`. dome. turn : (3, 3) the stone's frame to the dome's.
    """

    stone: StoneTable
    fence: np.ndarray
    fences: np.ndarray
    dome: DomeTable
    turn: np.ndarray


class Batch(NamedTuple):
    """Beams that a run left behind.

    beams : (B, WIDTH). ledgers : (B, CHANNELS). corners : (K, 2) all polygons end to end, mm.
    nodes : (N, 2) the paths' nodes: number of the node before (-1: none) and the facet met; the run's own are numbered from
    `Rules.base` on. events : (N, EVENT) in a tinted stone, else empty. pieces : number of reflected pieces.
    lost : number of beams that could not be split and were left as they were. stopped : True if the limit ended the work.
    through : (F, CHANNELS) mm^2, area times ledger of what left or was scattered at each facet; colourless stones only.
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


Some = tuple[np.ndarray, np.ndarray, np.ndarray]
"""Beams, their ledgers and the corners of their polygons."""


def gather(chosen: list[tuple[Batch, np.ndarray]]) -> Some:
    """Beams of batches, by their rows, close together in new arrays."""
    rows = sum(len(which) for _, which in chosen)
    places = sum(int(batch.beams[which, SIDES].sum()) for batch, which in chosen)
    into = np.empty((rows, WIDTH)), np.empty((rows, CHANNELS)), np.empty((places, 2))
    row = used = 0
    for batch, which in chosen:
        row, used = _copy(batch.beams, batch.ledgers, batch.corners, which, *into, row, used)
    return into


@njit()
def _copy(beams, ledgers, corners, which, into, into_ledgers, into_corners, row, used):  # type: ignore[no-untyped-def]
    """Copy the rows `which` to `row` and on, their corners to `used` and on; returns where they end."""
    for b in which:
        size, start = int(beams[b, SIDES]), int(beams[b, START])
        for k in range(WIDTH):
            into[row, k] = beams[b, k]
        for k in range(CHANNELS):
            into_ledgers[row, k] = ledgers[b, k]
        for k in range(size):
            into_corners[used + k, 0], into_corners[used + k, 1] = corners[start + k, 0], corners[start + k, 1]
        into[row, START] = used
        row, used = row + 1, used + size
    return row, used
