"""How the exact tracer's work is ordered: by rounds, largest beams first, dealt out to threads in fixed units.

In each round all beams that carry more than a floor are traced, with all their pieces, until each carries less; then the
floor is lowered. Rounds end when what is left inside is at most what the precision allows.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from typing import Any

import numpy as np

from .beam_kernel import Batch, Rules, pick, run
from .beam_optics import AREA, LIVE, NODE, POWER, SIDES, START

UNITS = 16
"""A round's beams are dealt out to so many units of work, whatever the number of threads, and joined in their order."""
ALONE = 64
"""Rounds of fewer beams than this are one unit."""


def by_rounds(first: Batch, rules: Rules, precision: float, scene: tuple[Any, ...], threads: int) -> tuple[Batch, int, bool]:
    """Lower the floor until little enough is left inside; returns all beams that ended or were set aside."""
    area = float(first.beams[:, AREA].sum())
    target, floor = precision * area, precision * area / 16.0
    chunks, alive = [first], [np.ones(len(first.beams), bool)]
    nodes, events, known, held, rounds = [first.nodes], [first.events], len(first.nodes), len(first.beams), 0
    while True:
        left = sum(float(c.beams[a, POWER].sum()) for c, a in zip(chunks, alive, strict=True))
        todo = [
            np.flatnonzero(a & (c.beams[:, LIVE] != 0.0) & (c.beams[:, POWER] >= floor))
            for c, a in zip(chunks, alive, strict=True)
        ]
        waiting = any(
            bool(np.any(a & (c.beams[:, LIVE] != 0.0) & (c.beams[:, POWER] > 0.0))) for c, a in zip(chunks, alive, strict=True)
        )
        full = held >= rules.limit
        if left <= target or full or not waiting or floor < 1e-9 * target:
            break
        active = [pick(c.beams, c.ledgers, c.corners, t) for c, t in zip(chunks, todo, strict=True) if len(t)]
        if active:
            for flags, t in zip(alive, todo, strict=True):
                flags[t] = False
            held -= sum(len(t) for t in todo)
            now = rules._replace(floor=floor, base=known, limit=rules.limit - held)
            new = _deal(_joined(active), now, scene, threads)
            chunks.append(new)
            alive.append(np.ones(len(new.beams), bool))
            nodes.append(new.nodes)
            events.append(new.events)
            known += len(new.nodes)
            held += len(new.beams)
            left = sum(float(c.beams[a, POWER].sum()) for c, a in zip(chunks, alive, strict=True))
        rounds += 1
        # What is left falls roughly as the root of the floor: aim at the target, but in steps.
        floor *= min(0.8, max(0.25, (target / left) ** 2)) if left > 0.0 else 1.0
    kept = [
        pick(c.beams, c.ledgers, c.corners, np.flatnonzero(a & (c.beams[:, SIDES] >= 3.0)))
        for c, a in zip(chunks, alive, strict=True)
    ]
    beams, ledgers, corners = _joined(kept)
    pieces, lost = sum(c.pieces for c in chunks), sum(c.lost for c in chunks)
    return Batch(beams, ledgers, corners, np.concatenate(nodes), np.concatenate(events), pieces, lost), rounds, full


def _joined(parts: list[tuple[np.ndarray, np.ndarray, np.ndarray]]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Several lists of beams with their ledgers and corners as one."""
    beams, ledgers, corners = (np.concatenate(arrays) for arrays in zip(*parts, strict=True))
    at = used = 0
    for part, _, polygons in parts:
        beams[at : at + len(part), START] += used
        at += len(part)
        used += len(polygons)
    return beams, ledgers, corners


def _deal(active: tuple[np.ndarray, ...], rules: Rules, scene: tuple[Any, ...], threads: int) -> Batch:
    """Trace beams in fixed units of work, on several threads, and join what they leave in the units' order."""
    count = len(active[0])
    units = UNITS if count >= ALONE else 1
    share = rules._replace(limit=max(1, rules.limit // units))
    shares = [np.arange(unit, count, units) for unit in range(units)]
    if units == 1 or threads == 1:
        batches = [run(share, *active, todo, *scene) for todo in shares]
    else:
        with ThreadPoolExecutor(threads) as pool:
            batches = list(pool.map(lambda todo: run(share, *active, todo, *scene), shares))
    if units == 1:
        return batches[0]
    known = 0
    for batch in batches:
        # A unit numbers its own nodes from the base on; nodes before the base are everyone's.
        parents, ends = batch.nodes[:, 0], batch.beams[:, NODE]
        parents[parents >= rules.base] += known
        ends[ends >= rules.base] += known
        known += len(batch.nodes)
    beams, ledgers, corners = _joined([(b.beams, b.ledgers, b.corners) for b in batches])
    return Batch(
        beams,
        ledgers,
        corners,
        np.concatenate([b.nodes for b in batches]),
        np.concatenate([b.events for b in batches]),
        sum(b.pieces for b in batches),
        sum(b.lost for b in batches),
    )
