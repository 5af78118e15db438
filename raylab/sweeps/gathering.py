"""The chunks of a sweep traced and put together: in one table, or in pieces while the sweep runs."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from .. import netcdf
from ..designs.design import COLUMNS
from ..progress import Progress, reporter
from ..scene.settings import TraceSettings
from ..tracers.engine import DeviceEngine
from ..tracers.engines import engine_named
from .axes import Plan
from .dealing import Deal
from .labels import dataset, form
from .pieces import Pieces
from .store import Store
from .workers import Chunk, Done, Work, in_cluster, in_processes, in_this_process

if TYPE_CHECKING:
    from .swept import Sweep


@dataclass(frozen=True)
class Crew:
    """Who traces designs: by which settings, the workers of a dask client or so many processes, and who is told of it."""

    settings: TraceSettings
    client: Any
    count: int
    progress: bool | Progress

    def around(self, count: int) -> list[dict[str, str]]:
        """What is added to the environment of each of so many processes: devices are shared out among them."""
        engine = engine_named(str(self.settings.engine))
        devices = engine.devices() if isinstance(engine, DeviceEngine) else 0
        return [engine.only(k % devices) if isinstance(engine, DeviceEngine) and devices else {} for k in range(count)]

    def trace(self, chunks: Iterator[Chunk], number: int, work: Work) -> Done:
        """Trace so many chunks, and give each as soon as it is done."""
        count = min(self.count, number)
        if self.client is not None:
            return in_cluster(chunks, work, self.client)
        if count < 2:
            return in_this_process(chunks, work)
        return in_processes(chunks, work, self.around(count))


def in_one(plan: Plan, crew: Crew, deal: Deal, store: Store | None) -> Sweep:
    """The result in one table, and in one file where there is a store."""
    rows = np.empty((len(plan), len(COLUMNS)))

    def fill(number: int, part: np.ndarray) -> None:
        start, stop = deal.span(number)
        rows[start:stop] = part

    _gather(Work(plan, crew.settings, None), crew, deal, store, fill, 0)
    found = dataset(plan, crew.settings, rows)
    if store is not None:
        store.finish(netcdf.of_dataset(found))
    return found


def in_pieces(plan: Plan, crew: Crew, store: Store) -> None:
    """The result in a Zarr folder, a block as soon as all of its chunks are done; only blocks that are begun are in memory.

    A chunk that is a block is written where it is traced, but on a cluster.
    """
    deal, pieces = store.deal, Pieces(store.folder, plan, store.deal, store.key)
    pieces.describe(form(plan, crew.settings))
    begun: dict[int, tuple[np.ndarray, int]] = {}
    found = 0
    for block in sorted(store.written):
        if store.proves(block, pieces.read(block)):
            store.clear_parts(block)
            start, stop = deal.block_span(block)
            found += stop - start

    def fill(number: int, part: np.ndarray) -> None:
        block, (start, stop) = deal.block_of(number), deal.span(number)
        first, last = deal.block_span(block)
        rows, left = begun.pop(block) if block in begun else (np.empty((last - first, len(COLUMNS))), last - first)
        rows[start - first : stop - first] = part
        left -= stop - start
        if left:
            begun[block] = rows, left
        else:
            pieces.write(block, rows)
            store.settle(block)

    there = crew.client is None and deal.chunks == deal.blocks
    _gather(Work(plan, crew.settings, pieces if there else None), crew, deal, store, fill, found)
    pieces.clear()
    store.seal()


def _gather(
    work: Work, crew: Crew, deal: Deal, store: Store | None, fill: Callable[[int, np.ndarray], None], done: int
) -> None:
    """Hand over the chunks that are kept and trace those that are missing; `done` designs are there already."""
    plan = work.plan
    if store is not None:
        for number in sorted(store.done):
            if (part := store.load(number)) is not None:
                fill(number, part)
                done += len(part)
    if crew.progress is True and done:
        sys.stderr.write(f"{done} of {len(plan)} designs found from an earlier run\n")
    there = (store.done, store.written) if store is not None else (set(), set())
    missing = [
        number
        for number in range(deal.chunks)
        if number not in there[0] and deal.block_of(number) not in there[1] and deal.span(number)[0] < deal.span(number)[1]
    ]
    if not plan.anywhere:  # functions of the user are asked here, where they are
        work = replace(work, plan=replace(plan, conditions=()))
    chunks = (
        Chunk(number, start, stop, None if plan.anywhere else plan.kept(start, stop))
        for number in missing
        for start, stop in [deal.span(number)]
    )
    with reporter(crew.progress, "designs") as update:
        update(done, len(plan))
        for chunk, rows in crew.trace(chunks, len(missing), work):
            if rows is not None:
                if store is not None:
                    store.save(chunk.number, rows)
                fill(chunk.number, rows)
            elif store is not None:
                store.settle(chunk.number)
            done += chunk.stop - chunk.start
            update(done, len(plan))
